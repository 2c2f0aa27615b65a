"""Draws the face of a plug with its stamp as punched, either way up."""

from __future__ import annotations

from math import sqrt
from typing import Any

from provenance._drawing.drawing import Disc, Item, Line, Point, Text
from provenance._drawing.fonts import BOLD, CAP_HEIGHT, printable
from provenance._drawing.paper import MM
from provenance._drawing.pdf import draw_items
from provenance._identity.rotation import ORIENTATION_MARK

_RIM_MM, _WRITING_LINE_MM = 1 / MM, 0.5 / MM


def stamp_face(
    at: Point, radius: float, stamp: str, mark: str = "none", *, upside_down: bool = False
) -> tuple[Item, ...]:
    """A dowel's face of `radius` mm round `at`; `mark` is a code of orientation_mark.

    The digits have plain zeros, as steel dies have. A mark that is struck behind them ('66.') stays
    there; 'bar' and 'dot' stand below the number. A blank stamp gives a line to write on.
    """
    way = -1 if upside_down else 1

    def point(right: float, up: float) -> Point:
        return at[0] + way * right, at[1] + way * up

    face = Disc(at, radius, width=_RIM_MM)
    text = printable(stamp, BOLD)
    if not text:
        ends = (point(-radius * 0.6, -radius * 0.1), point(radius * 0.6, -radius * 0.1))
        return face, Line(ends, width=_WRITING_LINE_MM)
    size = min(radius * 0.95, 1.55 * radius / BOLD.width(text, 1.0))
    height = size * CAP_HEIGHT
    turn = 180.0 if upside_down else 0.0
    items: list[Item] = [face, Text(point(0, -height / 2), stamp, size, "bold", "centre", turn)]
    foot = -height / 2 - radius * 0.16
    if mark == "bar" and not text.endswith(ORIENTATION_MARK):
        half = min(BOLD.width(text, size) / 2, sqrt(radius**2 - foot**2) * 0.8)
        ends = (point(-half, foot), point(half, foot))
        items.append(Line(ends, width=max(_RIM_MM, radius * 0.06)))
    elif mark == "dot" and not text.endswith(ORIENTATION_MARK):
        items.append(Disc(point(0, foot - radius * 0.06), radius * 0.07, grey=None, fill=0.0))
    return tuple(items)


def draw_stamp_face(
    canvas: Any,
    x: float,
    y: float,
    radius: float,
    stamp: str,
    mark: str = "none",
    *,
    upside_down: bool = False,
) -> None:
    """Draw `stamp_face` on a page, all in points."""
    items = stamp_face((0, 0), radius / MM, stamp, mark, upside_down=upside_down)
    draw_items(canvas, items, x=x, y=y)
