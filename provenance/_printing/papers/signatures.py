"""Draws where those sign who agree to a paper, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from provenance._drawing.fitting import draw_line, write_line
from provenance._drawing.fonts import BOLD, PLAIN
from provenance._drawing.paper import MM, Box

SIGNERS_MM = 34.0
"""How much of the upper part of a box they take."""

_GAP_MM = 8.0
_TEXT = 9.0


def draw_signers(canvas: Any, box: Box, signers: Sequence[tuple[str, str]]) -> None:
    """Lines for name, signature and date of one or two: for whom each signs, and the known name.

    They begin at the upper edge of the box.
    """
    half = (box.width - _GAP_MM * MM) / 2
    for place, (who, name) in enumerate(signers):
        x, y = box.x + place * (half + _GAP_MM * MM), box.top - 4 * MM
        draw_line(canvas, who, BOLD, _TEXT, x, y)
        for word in ("name", "signature", "date"):
            y -= 9.5 * MM
            draw_line(canvas, word, PLAIN, 7.5, x, y)
            canvas.setLineWidth(0.4)
            canvas.line(x + 16 * MM, y - 1, x + half, y - 1)
            if word == "name" and name:
                room, at = half - 17 * MM, (x + 17 * MM, y + 0.6 * MM)
                write_line(canvas, name, PLAIN, room, *at, largest=_TEXT, smallest=5)
