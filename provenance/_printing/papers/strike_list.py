"""Prints the strike list: the numbers of a season as they are to be punched, to be ticked off."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from provenance._base.errors import TreenailError
from provenance._base.languages import _, unreviewed
from provenance._drawing.document import printed_pages
from provenance._drawing.fitting import draw_line, write_line
from provenance._drawing.fonts import BOLD, PLAIN
from provenance._drawing.paper import MM, Box, Paper
from provenance._drawing.stamp_face import draw_stamp_face
from provenance._identity.stamps import Reservation
from provenance._printing.labels.labels import Printed

MARGIN_MM = 15.0
HEAD_MM = 26.0
FOOT_MM = 10.0
COLUMNS = 4
ROW_MM = 26.0
FACE_MM = 9.0
"""Radius of a drawn dowel face: larger than any dowel, so that it is read across a workbench."""


def print_strike_list(
    reserved: Sequence[Reservation], paper: Paper, out: Path, *, title: str = ""
) -> Printed:
    """Write the list to `out` (PDF): a face a number, its mark if it needs one, boxes to tick.

    Raises TreenailError when nothing is reserved; then nothing is written.
    """
    if not reserved:
        raise TreenailError("there is nothing to print: no number is reserved")
    page = Box(0, 0, paper.width, paper.height).inset(MARGIN_MM * MM)
    rows = int((page.height - (HEAD_MM + FOOT_MM) * MM) // (ROW_MM * MM))
    on_page = rows * COLUMNS
    total = -(-len(reserved) // on_page)
    with printed_pages(out, (paper.width, paper.height), title=_("Strike list")) as pages:
        for number in range(total):
            canvas = pages.begin_page()
            part = reserved[number * on_page : (number + 1) * on_page]
            _draw_head(canvas, page, reserved, title)
            for place, one in enumerate(part):
                # down the columns, as numbers are read from a list
                column, row = divmod(place, rows)
                left = page.x + column * page.width / COLUMNS
                top = page.y + page.height - HEAD_MM * MM - row * ROW_MM * MM
                _draw_number(canvas, left, top - ROW_MM * MM / 2, one)
            words = _("page {number} of {count}").format(number=number + 1, count=total)
            draw_line(canvas, words, PLAIN, 8, page.x + page.width, page.y, align="right")
            draw_line(canvas, unreviewed(), PLAIN, 6, page.x, page.y)
    return Printed(tuple(pages.paths), len(reserved), pages.page_count)


def _draw_head(canvas: Any, page: Box, reserved: Sequence[Reservation], title: str) -> None:
    first = reserved[0]
    top = page.y + page.height
    draw_line(canvas, _("Strike list"), BOLD, 18, page.x, top - 14)
    words = _("{title}: crew {crew}, {n} numbers, {first} to {last}, reserved {date}").format(
        title=title or first.site_id,
        crew=first.crew,
        n=len(reserved),
        first=first.sample_id,
        last=reserved[-1].sample_id,
        date=first.reserved_on,
    )
    write_line(canvas, words, PLAIN, page.width, page.x, top - 32, largest=10, smallest=7)
    advice = _(
        "Punch the number with the bar or dot where one is drawn. Tick the first box when punched, "
        "the second when set."
    )
    write_line(canvas, advice, PLAIN, page.width, page.x, top - 48, largest=9, smallest=7)


def _draw_number(canvas: Any, left: float, middle: float, one: Reservation) -> None:
    radius = FACE_MM * MM
    draw_stamp_face(canvas, left + radius, middle, radius, one.sample_id, one.orientation_mark)
    canvas.setLineWidth(0.7)
    side = 4.5 * MM
    for place in range(2):
        x = left + 2 * radius + (3 + place * 7) * MM
        canvas.rect(x, middle - side / 2, side, side)
