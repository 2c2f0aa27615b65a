"""What the names of `provenance` stand for: each a thin layer over what the commands call too."""
