"""Lays out texts for a person with a text editor: lines that fit, nothing hidden in them."""

from __future__ import annotations

import textwrap

from provenance._base.visible import visible

WIDTH = 78


def flat(text: str) -> str:
    """The text on one line, with what is hidden in it written out."""
    return " ".join(visible(text).split())


def paragraph(text: str, *, break_on_hyphens: bool = True) -> str:
    """The text in lines of at most WIDTH."""
    filled = textwrap.fill(
        flat(text), WIDTH, break_long_words=False, break_on_hyphens=break_on_hyphens
    )
    return filled + "\n"


def bullet(text: str) -> str:
    """The text as one entry of a list."""
    filled = textwrap.fill(
        flat(text),
        WIDTH,
        initial_indent="- ",
        subsequent_indent="  ",
        break_long_words=False,
        break_on_hyphens=False,
    )
    return filled + "\n"


def heading(text: str) -> str:
    """The text, underlined, with a blank line before it."""
    return f"\n{text}\n{'-' * len(text)}\n"
