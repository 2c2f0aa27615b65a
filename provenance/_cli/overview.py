"""Writes the table of commands into the README: `make docs`."""

from __future__ import annotations

import re
import sys
from pathlib import Path

from provenance._base.disk import write_text
from provenance._cli import SECTIONS

BEGIN, END = "<!-- commands: begin (made by 'make docs') -->", "<!-- commands: end -->"


def commands_table() -> str:
    """A Markdown table of every command with the line that --help shows, under its headings."""
    rows = ["| command | what it does |", "|---|---|"]
    for heading, section in SECTIONS.items():
        rows.append(f"| **{heading}** | |")
        rows += [
            f"| `treenail {name}` | {line} |" for name, (where, line) in section.items() if where
        ]
    return "\n".join(rows)


def with_commands_table(text: str) -> str:
    """The text with the table between its marks made anew; raises ValueError without marks."""
    if BEGIN not in text or END not in text:
        raise ValueError(f"the page lacks its marks {BEGIN} and {END}")
    block = f"{BEGIN}\n{commands_table()}\n{END}"
    return re.sub(f"{re.escape(BEGIN)}.*?{re.escape(END)}", lambda _: block, text, flags=re.DOTALL)


if __name__ == "__main__":
    page = Path(sys.argv[1])
    write_text(page, with_commands_table(page.read_text(encoding="utf-8")))
