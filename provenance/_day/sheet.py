"""Prints a day on one sheet of paper, with boxes to check."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from provenance._base.languages import _
from provenance._base.listed import listed
from provenance._day.day import Day
from provenance._day.words import NAMES, numbers_left, so_far, table_of
from provenance._drawing.document import printed_pages
from provenance._drawing.fitting import draw_line, write_block, write_line
from provenance._drawing.fonts import BOLD, PLAIN
from provenance._drawing.paper import MM, Box, Paper

MARGIN_MM = 15.0
ROW_MM = 6.0
NAME_SHARE = 0.2
"""Share of the width that each of the two columns of names gets."""
SMALLEST = 7.0
NOTES_MM = 30.0


def print_day(day: Day, paper: Paper, out: Path) -> None:
    """Write the sheet to `out` (PDF): what was done, what is open, what to do tomorrow."""
    with printed_pages(out, (paper.width, paper.height), title=f"{day.title}, {day.on}") as pages:
        canvas = pages.begin_page()
        box = Box(0, 0, paper.width, paper.height).inset(MARGIN_MM * MM)
        head, box = box.cut_top(9 * MM)
        write_line(
            canvas,
            f"{day.title}, {day.on}",
            BOLD,
            head.width,
            head.x,
            head.y + 8,
            largest=16,
            smallest=9,
        )
        box = _draw_table(canvas, box, day)
        line, box = box.cut_top(7 * MM, 2 * MM)
        write_block(canvas, so_far(day), PLAIN, line, largest=9, smallest=SMALLEST)
        box = _draw_list(canvas, box, _("Tomorrow"), list(day.tomorrow), boxes=True)
        still_open = [f"{_(heading)}: {listed(keys, 40)}" for heading, keys in day.open.items()]
        if still_open:
            box = _draw_list(canvas, box, _("Open"), still_open)
        if day.numbers_left:
            box = _draw_list(canvas, box, _("Stamp numbers left"), list(numbers_left(day)))
        if box.height > NOTES_MM * MM:
            draw_line(canvas, _("Notes"), BOLD, 11, box.x, box.top - 11)
            _rule_lines(canvas, box.cut_top(8 * MM)[1])


def _draw_table(canvas: Any, box: Box, day: Day) -> Box:
    """The work by building and person; lines beyond half of the page are only counted."""
    rows = table_of(day)
    most = int(box.height / 2 // (ROW_MM * MM))
    if len(rows) > most:
        left_out = [f"and {len(rows) - most + 1} more", *[""] * (len(rows[0]) - 1)]
        rows = [*rows[: most - 2], left_out, rows[-1]]
    # so that all headings are of about one size
    counts = [BOLD.width(heading, 9) + 6 for heading in rows[0][NAMES:]]
    narrower = box.width * (1 - NAMES * NAME_SHARE) / sum(counts)
    widths = [box.width * NAME_SHARE] * NAMES + [width * narrower for width in counts]
    for number, row in enumerate(rows):
        strip, box = box.cut_top(ROW_MM * MM)
        face = BOLD if number in (0, len(rows) - 1) else PLAIN
        x = strip.x
        for place, (cell, width) in enumerate(zip(row, widths, strict=True)):
            align, edge = ("left", x) if place < NAMES else ("right", x + width - 2)
            write_line(
                canvas,
                cell,
                face,
                width - 4,
                edge,
                strip.y + 5,
                largest=9,
                smallest=6 if number == 0 else SMALLEST,
                align=align,
            )
            x += width
        canvas.setLineWidth(0.8 if number in (0, len(rows) - 2) else 0.25)
        canvas.line(strip.x, strip.y, strip.right, strip.y)
    return box.cut_top(3 * MM)[1]


def _draw_list(
    canvas: Any, box: Box, heading: str, items: list[str], *, boxes: bool = False
) -> Box:
    """A heading and its items, each on as many lines as it needs while there is room."""
    title, box = box.cut_top(8 * MM)
    draw_line(canvas, heading, BOLD, 11, title.x, title.y + 4)
    indent = 7 * MM if boxes else 0.0
    for number, one in enumerate(items or [_("Nothing is open.")]):
        if box.height < 2 * ROW_MM * MM:
            draw_line(canvas, f"and {len(items) - number} more", PLAIN, 9, box.x, box.top - 9)
            return box.cut_top(ROW_MM * MM)[1]
        if boxes:
            canvas.setLineWidth(0.7)
            canvas.rect(box.x, box.top - 10, 9, 9)
        text = Box(box.x + indent, box.y, box.width - indent, box.height)
        foot = write_block(canvas, one, PLAIN, text, largest=10, smallest=SMALLEST)
        box = box.cut_top(box.top - foot + 2 * MM)[1]
    return box


def _rule_lines(canvas: Any, box: Box) -> None:
    canvas.setLineWidth(0.25)
    y = box.top
    while y > box.y:
        canvas.line(box.x, y, box.right, y)
        y -= 8 * MM
