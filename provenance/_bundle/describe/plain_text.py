"""Lays out texts for a person with a text editor: lines that fit, nothing hidden in them."""

from __future__ import annotations

import textwrap
from functools import cache
from typing import TYPE_CHECKING

from provenance._base.resources import shipped
from provenance._base.visible import visible

if TYPE_CHECKING:
    from jinja2 import Template

WIDTH = 78


def flat(text: str) -> str:
    """The text on one line, with what is hidden in it written out."""
    return " ".join(visible(text).split())


def plain(text: str) -> str:
    """The text on one line, in which Markdown and HTML have no power."""
    line = flat(text)
    for mark in ("\\", "|", "<", ">", "[", "]", "*", "_", "#", "&"):
        line = line.replace(mark, f"\\{mark}")
    return line


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


def bullets(text: str) -> str:
    """Each line of the text as one entry of a list."""
    return "".join(map(bullet, text.splitlines()))


def heading(text: str) -> str:
    """The text, underlined, with a blank line before it."""
    return f"\n{text}\n{'-' * len(text)}\n"


@cache
def text_template(name: str) -> Template:
    """A text of templates/, in which these functions are filters; an unknown name is an error."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    texts = Environment(
        loader=FileSystemLoader(shipped("templates")),
        autoescape=False,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    laid_out = (flat, plain, paragraph, bullet, bullets, heading)
    texts.filters |= {one.__name__: one for one in laid_out}
    return texts.get_template(name)
