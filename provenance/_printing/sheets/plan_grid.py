"""Draws the plan grid at true scale, with a scale bar and a printed length to check the printer by.

Metric scales count in meters, engineer's scales (1 inch on paper = 5 to 60 feet) in feet. An
inch is 25.4 mm exactly (international yard and pound agreement of 1959; cited from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from provenance._base.errors import TreenailError
from provenance._base.languages import _
from provenance._drawing.fitting import draw_line, write_line
from provenance._drawing.fonts import BOLD, CAP_HEIGHT, PLAIN
from provenance._drawing.paper import INCH, MM, Box, Paper
from provenance._printing.sheets.cells import EMPTY_BOX, LINE_MM
from provenance._printing.sheets.frame import PageDraft, content_box, draw_blanks

FOOT_M = 0.3048
LABEL_SPACE = 6.0 * MM
STRIP = 29.0 * MM
NORTH_WIDTH = 50.0 * MM
CHECK_MM = 100.0
CHECK_IN = 4.0
SMALL = 7.0
SKETCH_MM = 5.0
FIFTH = 5


@dataclass(frozen=True)
class PlanScale:
    """A scale: `unit_points` is what one meter or foot of the building takes on paper.

    `small` and `large` are the distances between thin and thick lines in that unit, `bar` the
    length of the scale bar.
    """

    name: str
    unit: str
    unit_points: float
    small: float
    large: float
    bar: float

    @property
    def ratio(self) -> float:
        """How many times larger the building is than the drawing."""
        metres = 1.0 if self.unit == "m" else FOOT_M
        return metres * 1000 * MM / self.unit_points


SCALES = (
    PlanScale("1:20", "m", 50 * MM, 0.1, 0.5, 2.0),
    PlanScale("1:50", "m", 20 * MM, 0.2, 1.0, 5.0),
    PlanScale("1:100", "m", 10 * MM, 0.5, 2.5, 10.0),
    *(
        PlanScale(f"1in={feet}ft", "ft", INCH / feet, feet / 5, feet, 4.0 * feet)
        for feet in (5, 10, 20, 30, 40, 50, 60)
    ),
)
"""The scales that are printed; at all of them the thin lines lie 4 to 5.1 mm apart."""


def scale_named(name: str) -> PlanScale:
    """The scale of that name; raises TreenailError that lists the names.

    >>> round(scale_named("1 in = 10 ft").ratio, 9)
    120.0
    """
    wanted = name.lower().replace(" ", "")
    for scale in SCALES:
        if scale.name == wanted:
            return scale
    names = ", ".join(scale.name for scale in SCALES)
    raise TreenailError(f"there is no scale '{name}' for plan grids; there are {names}")


def grid_area(scale: PlanScale, paper: Paper) -> Box:
    """Where the grid lies on the page: as many whole squares of `small` as there is room for."""
    page = content_box(paper)
    step = scale.small * scale.unit_points
    width = int((page.width - LABEL_SPACE) / step) * step
    height = int((page.height - STRIP - LABEL_SPACE) / step) * step
    spare = page.width - LABEL_SPACE - width
    return Box(page.x + LABEL_SPACE + spare / 2, page.top - height - 1.0 * MM, width, height)


def lay_out_grid(scale: PlanScale, norths: Sequence[str], unit: str, paper: Paper) -> PageDraft:
    """The page with the grid, its scale bar, the check length, and a ring to draw north in.

    `norths` are the words for the norths that there are, one of which is ticked; `unit` is that in
    which the record says coordinates.
    """
    return PageDraft(partial(_draw_grid_page, scale, norths, unit, paper))


def lay_out_sketch(paper: Paper) -> PageDraft:
    """A page of small squares without a scale, for sketches and notes on a back."""
    return PageDraft(partial(_draw_sketch, paper))


def _draw_grid_page(
    scale: PlanScale, norths: Sequence[str], unit: str, paper: Paper, canvas: Any
) -> None:
    area = grid_area(scale, paper)
    every = round(scale.large / scale.small)
    draw_squares(canvas, area, scale.small * scale.unit_points, every)
    _draw_numbers(canvas, area, scale)
    page = content_box(paper)
    foot = Box(page.x, page.y, page.width, STRIP)
    left, ring = foot.cut_left(foot.width - NORTH_WIDTH, 4 * MM)
    what, rest = left.cut_top(LINE_MM * MM)
    corner, bars = rest.cut_top(LINE_MM * MM)
    draw_blanks(canvas, what, ((_("What it shows"), 0.74), (_("Level"), 0.26)))
    corner_x = _("Lower left corner on the site grid, in {unit}:  x").format(unit=unit)
    texts = ((corner_x, 0.66), ("y", 0.34))
    draw_blanks(canvas, corner, texts)
    _draw_bar(canvas, bars.x, bars.y + 8.6 * MM, scale)
    _draw_check(canvas, bars, scale)
    _draw_north(canvas, norths, ring)


def draw_squares(canvas: Any, area: Box, step: float, every: int = FIFTH) -> None:
    """Draw light squares of `step` points over an area, and every so manieth line heavy."""
    for heavy in (False, True):
        canvas.setStrokeGray(0.45 if heavy else 0.7)
        canvas.setLineWidth(0.8 if heavy else 0.3)
        for number in range(round(area.width / step) + 1):
            if (number % every == 0) == heavy:
                canvas.line(area.x + number * step, area.y, area.x + number * step, area.top)
        for number in range(round(area.height / step) + 1):
            if (number % every == 0) == heavy:
                y = area.y + number * step
                canvas.line(area.x, y, area.right, y)
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.8)
    canvas.rect(area.x, area.y, area.width, area.height)


def _draw_numbers(canvas: Any, area: Box, scale: PlanScale) -> None:
    """Distances from the lower left corner, which the crew ties to the site grid."""
    step = scale.large * scale.unit_points
    for number in range(int(area.width / step + 1e-6) + 1):
        text = f"{number * scale.large:g}"
        x = area.x + number * step
        draw_line(canvas, text, PLAIN, SMALL, x, area.y - 3.0 * MM, align="centre")
    for number in range(int(area.height / step + 1e-6) + 1):
        text = f"{number * scale.large:g}"
        y = area.y + number * step - SMALL * CAP_HEIGHT / 2
        draw_line(canvas, text, PLAIN, SMALL, area.x - 1.0 * MM, y, align="right")


def _draw_bar(canvas: Any, x: float, y: float, scale: PlanScale) -> None:
    """Black and white pieces, five or four of them, with their numbers above."""
    pieces = 4 if scale.unit == "ft" else 5
    if scale.bar == 2.0:
        pieces = 4
    length = scale.bar * scale.unit_points
    piece = length / pieces
    canvas.setLineWidth(0.6)
    for number in range(pieces):
        canvas.rect(x + number * piece, y, piece, 1.6 * MM, stroke=1, fill=number % 2 == 0)
    for number in range(pieces + 1):
        text = f"{number * scale.bar / pieces:g}"
        align = "centre" if number else "left"
        draw_line(canvas, text, PLAIN, SMALL, x + number * piece, y + 2.3 * MM, align=align)
    draw_line(canvas, scale.unit, BOLD, 9, x + length + 2.5 * MM, y - 0.3 * MM)


def in_words(scale: PlanScale) -> str:
    """The scale as it is said: '1:50', '1 in = 10 ft'."""
    return scale.name.replace("in=", " in = ").replace("ft", " ft")


def _draw_check(canvas: Any, box: Box, scale: PlanScale) -> None:
    """A line of known length: a page that was fitted to the paper shows at once."""
    metric = scale.unit == "m"
    length = CHECK_MM * MM if metric else CHECK_IN * INCH
    said = f"{CHECK_MM:g} mm" if metric else f"{CHECK_IN:g} in"
    y = box.y + 1.8 * MM
    canvas.setLineWidth(0.6)
    canvas.line(box.x, y, box.x + length, y)
    for number in range(11 if metric else 5):
        x = box.x + length * number / (10 if metric else 4)
        ends = number in (0, 10 if metric else 4)
        canvas.line(x, y - (1.6 if ends else 0.8) * MM, x, y + (1.6 if ends else 0.8) * MM)
    text = _(
        "This line is {length} long. If it is not: print again at 100 %, not fitted to the page."
    ).format(length=said)
    at = (box.x, y + 2.5 * MM)
    write_line(canvas, text, PLAIN, box.width, *at, largest=7.5, smallest=SMALL)


def _draw_north(canvas: Any, norths: Sequence[str], box: Box) -> None:
    radius = 8.5 * MM
    x, y = box.right - radius - 0.5 * MM, box.y + radius + 3 * MM
    canvas.setLineWidth(0.6)
    canvas.circle(x, y, radius)
    canvas.circle(x, y, 0.4 * MM, stroke=0, fill=1)
    draw_line(canvas, _("Draw north"), BOLD, 7.5, x, y + radius + 1.2 * MM, align="centre")
    room = box.width - 2 * radius - 2 * MM
    baseline = y + radius + 1.2 * MM
    for north in norths[:5]:
        draw_line(canvas, EMPTY_BOX, PLAIN, 11, box.x, baseline - 0.5 * MM)
        at = (box.x + 4 * MM, baseline)
        write_line(canvas, north, PLAIN, room - 4 * MM, *at, largest=8, smallest=SMALL)
        baseline -= 5.2 * MM


def _draw_sketch(paper: Paper, canvas: Any) -> None:
    page = content_box(paper)
    baseline, note = page.top - 3.4 * MM, _("Not to scale: write the measurements in.")
    draw_line(canvas, _("Sketch and notes"), BOLD, 9, page.x, baseline)
    draw_line(canvas, note, PLAIN, 7.5, page.right, baseline, align="right")
    step = SKETCH_MM * MM
    across, up = int(page.width / step), int((page.height - 6 * MM) / step)
    spare = (page.width - across * step) / 2
    area = Box(page.x + spare, page.top - 5.5 * MM - up * step, across * step, up * step)
    draw_squares(canvas, area, step)
