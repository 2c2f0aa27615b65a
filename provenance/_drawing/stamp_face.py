"""Draws the face of a plug with its stamp as punched, right way up."""

from __future__ import annotations

from math import sqrt
from typing import Any

from provenance._drawing.fitting import draw_line
from provenance._drawing.fonts import BOLD, CAP_HEIGHT, printable
from provenance._identity.rotation import ORIENTATION_MARK


def draw_stamp_face(
    canvas: Any, x: float, y: float, radius: float, stamp: str, mark: str = "none"
) -> None:
    """Draw a dowel's face of `radius` points round x, y; `mark` is a code of orientation_mark.

    The digits have plain zeros, as steel dies have. A mark that is struck behind them ('66.') stays
    there; 'bar' and 'dot' stand below the number. A blank stamp gives a line to write on.
    """
    canvas.saveState()
    canvas.setStrokeGray(0)
    canvas.setFillGray(0)
    canvas.setLineWidth(1)
    canvas.circle(x, y, radius)
    text = printable(stamp, BOLD)
    if text:
        size = min(radius * 0.95, 1.55 * radius / BOLD.width(text, 1.0))
        height = size * CAP_HEIGHT
        draw_line(canvas, text, BOLD, size, x, y - height / 2, align="centre")
        foot = y - height / 2 - radius * 0.16
        if mark == "bar" and not text.endswith(ORIENTATION_MARK):
            half = min(BOLD.width(text, size) / 2, sqrt(radius**2 - (y - foot) ** 2) * 0.8)
            canvas.setLineWidth(max(1.0, radius * 0.06))
            canvas.line(x - half, foot, x + half, foot)
        elif mark == "dot" and not text.endswith(ORIENTATION_MARK):
            canvas.circle(x, foot - radius * 0.06, radius * 0.07, stroke=0, fill=1)
    else:
        canvas.setLineWidth(0.5)
        canvas.line(x - radius * 0.6, y - radius * 0.1, x + radius * 0.6, y - radius * 0.1)
    canvas.restoreState()
