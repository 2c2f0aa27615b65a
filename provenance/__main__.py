"""Runs the command line: `python -m provenance` is `treenail`."""

from provenance._cli import main

if __name__ == "__main__":
    main()
