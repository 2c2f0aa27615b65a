"""Draws the pictures of the wood that a crew marks: its two ends, its side, and the clock face."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from provenance._base.languages import _
from provenance._drawing.clock_face import draw_clock_face
from provenance._drawing.fitting import draw_line, write_block
from provenance._drawing.fonts import BOLD, CAP_HEIGHT, PLAIN
from provenance._drawing.paper import MM, Box
from provenance._record.cells import float_of

CAPTION = 7.5
SMALL = 7.0


@dataclass(frozen=True)
class Figure:
    """A drawing of the given height that fills the width of the page; `name` is for the reader."""

    name: str
    height: float
    paint: Callable[[Any, Box], None]

    def draw(self, canvas: Any, box: Box) -> None:
        """Draw it into the box."""
        canvas.saveState()
        canvas.setStrokeGray(0)
        canvas.setFillGray(0)
        self.paint(canvas, box)
        canvas.restoreState()


def figures_of(
    table: str, row: Mapping[str, str], length_m: float | None = None
) -> dict[str, Figure]:
    """The drawings of a table's form by the section that they stand in.

    `row` holds texts ('' where nothing is recorded); `length_m` is the length of the wood, with
    which a recorded hole is drawn at its place along it.
    """
    if table == "sample":
        hole = partial(
            _draw_hole,
            hours=_number(row.get("clock", ""), 0, 12),
            direction=row.get("direction") or None,
            share=_share(row.get("along_m", ""), length_m),
        )
        return {"hole": Figure("hole", 54 * MM, hole)}
    if table == "element":
        return {"size": Figure("ends", 37 * MM, _draw_ends)}
    return {}


def _number(text: str, low: float, high: float) -> float | None:
    value = float_of(text)
    return value if value is not None and low <= value <= high else None


def _share(along: str, length_m: float | None) -> float | None:
    """Where the hole lies between end A (0) and end B (1), if both lengths are known."""
    if length_m is None or length_m <= 0:
        return None
    along_m = _number(along, 0, length_m)
    return None if along_m is None else along_m / length_m


def _draw_hole(
    canvas: Any, box: Box, *, hours: float | None, direction: str | None, share: float | None
) -> None:
    left, right = box.cut_left(66 * MM, 6 * MM)
    asked = _(
        "End A, seen toward end B, 12 up: dot the hole, draw an arrow the way the drill went."
    )
    _caption(canvas, left, asked)
    radius = 16.5 * MM
    x, y = left.middle_x, left.y + radius * 1.3
    draw_clock_face(canvas, x, y, radius, hours=hours, direction=direction)
    asked = _(
        "Side: mark the hole. Measure from end A along the wood to its middle. Sketch joints, "
        "knots, bark and earlier holes nearby."
    )
    _caption(canvas, right, asked)
    wood = Box(right.x + 8 * MM, right.y + 16 * MM, right.width - 16 * MM, 21 * MM)
    _draw_side(canvas, wood)
    foot = right.y + 6 * MM
    _dimension(canvas, wood.x, wood.right, foot)
    _on_line(canvas, _("length of the wood"), wood.middle_x, foot)
    if share is not None:
        x = wood.x + share * wood.width
        canvas.circle(x, wood.middle_y, 1.4 * MM, stroke=0, fill=1)
        canvas.setDash(2, 1.5)
        canvas.line(x, wood.middle_y, x, wood.y - 4.5 * MM)
        canvas.setDash()
        _dimension(canvas, wood.x, max(x, wood.x + 0.1), wood.y - 4 * MM)


def _draw_ends(canvas: Any, box: Box) -> None:
    end_a, rest = box.cut_left(40 * MM, 4 * MM)
    side, end_b = rest.cut_left(rest.width - 44 * MM, 4 * MM)
    for end, letter in ((end_a, "A"), (end_b, "B")):
        _caption(
            canvas, end, _("End {letter}: draw its outline, pith and bark.").format(letter=letter)
        )
        _draw_end(canvas, end)
    asked = _(
        "Side: end A is where measuring begins. Draw joints, nails, tool marks and sampled holes."
    )
    _caption(canvas, side, asked)
    wood = Box(side.x + 6 * MM, side.y + 7.5 * MM, side.width - 12 * MM, 19 * MM)
    _draw_side(canvas, wood)
    _dimension(canvas, wood.x, wood.right, side.y + 2.5 * MM)
    _on_line(canvas, _("length"), wood.middle_x, side.y + 2.5 * MM)


def _draw_end(canvas: Any, box: Box) -> None:
    """A circle with the two diameters of the schema across it, square to each other."""
    radius = 12.5 * MM
    x, y = box.middle_x, box.y + radius + 1.0 * MM
    canvas.setLineWidth(0.8)
    canvas.circle(x, y, radius)
    canvas.setLineWidth(0.4)
    canvas.setDash(2, 2)
    canvas.line(x - radius, y, x + radius, y)
    canvas.line(x, y - radius, x, y + radius)
    canvas.setDash()
    draw_line(canvas, "1", BOLD, 8, x + radius + 1.2 * MM, y - 8 * CAP_HEIGHT / 2)
    draw_line(canvas, "2", BOLD, 8, x + 1.2 * MM, y + radius - 4 * MM)


def _draw_side(canvas: Any, box: Box) -> None:
    """A tapering piece with the letters of its ends, and a tick at every tenth of its length."""
    taper = box.height * 0.1
    canvas.setLineWidth(0.9)
    path = canvas.beginPath()
    path.moveTo(box.x, box.y)
    path.lineTo(box.right, box.y + taper)
    path.lineTo(box.right, box.top - taper)
    path.lineTo(box.x, box.top)
    path.close()
    canvas.drawPath(path)
    canvas.setLineWidth(0.4)
    for tenth in range(1, 10):
        x = box.x + tenth / 10 * box.width
        y = box.y + taper * tenth / 10
        canvas.line(x, y, x, y + (1.8 if tenth == 5 else 1.0) * MM)
    size = 13
    for letter, x in (("A", box.x - 4.2 * MM), ("B", box.right + 4.2 * MM)):
        baseline = box.middle_y - size * CAP_HEIGHT / 2
        draw_line(canvas, letter, BOLD, size, x, baseline, align="centre")


def _dimension(canvas: Any, start: float, end: float, y: float) -> None:
    """A measured line with a stroke at both ends."""
    canvas.setLineWidth(0.5)
    canvas.line(start, y, end, y)
    for x in (start, end):
        canvas.line(x, y - 1.2 * MM, x, y + 1.2 * MM)


def _on_line(canvas: Any, text: str, x: float, y: float) -> None:
    """Words in the middle of a line, on a white ground."""
    width = PLAIN.width(text, SMALL) + 2 * MM
    canvas.setFillGray(1)
    canvas.rect(x - width / 2, y - 1.3 * MM, width, 2.6 * MM, stroke=0, fill=1)
    canvas.setFillGray(0)
    draw_line(canvas, text, PLAIN, SMALL, x, y - SMALL * CAP_HEIGHT / 2, align="centre")


def _caption(canvas: Any, box: Box, text: str) -> None:
    above = box.cut_top(8.5 * MM)[0]
    write_block(canvas, text, PLAIN, above, largest=CAPTION, smallest=SMALL)
