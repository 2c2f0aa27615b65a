"""Stands before a terminal, so that no stranger's text can move it or hide a line."""

from __future__ import annotations

import re
from typing import Any, TextIO

from provenance._base.visible import visible

_OWN_COLORS = re.compile(r"(\x1b\[(?:3[0-7]|1|0)m)")


class Terminal:
    """A stream whose control characters are written out by their numbers, all but our own colors.

    `stream` is the terminal itself, for what moves in it on purpose, such as a progress bar.
    """

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream

    def write(self, text: str) -> int:
        """Write a text as text."""
        parts = _OWN_COLORS.split(text)
        parts[::2] = map(visible, parts[::2])
        return self.stream.write("".join(parts))

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)
