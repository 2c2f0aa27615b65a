"""Prints one small card per hole, to be left in the building's file.

Whoever finds the dowel in fifty years learns from the card what was taken, where the sample and
the record are, and what to ask before drilling again.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from provenance._base.errors import TreenailError
from provenance._base.languages import N_, _, unreviewed
from provenance._base.progress import Progress, say_nothing
from provenance._drawing.clock_face import draw_clock_face
from provenance._drawing.document import printed_pages
from provenance._drawing.fitting import draw_line, draw_pairs, write_block
from provenance._drawing.fonts import BOLD, PLAIN
from provenance._drawing.paper import MM, Box, Paper
from provenance._drawing.qr import draw_code, encode_label
from provenance._drawing.stamp_face import draw_stamp_face
from provenance._printing.labels.labels import Printed
from provenance._printing.papers.hole_facts import HoleCard
from provenance._printing.papers.tags import draw_numbered

CARD_WIDTH_MM = 98.0
CARD_HEIGHT_MM = 132.0
CARDS_A_PAGE = 4
CODE_MM = 22.0
LARGEST_TEXT = 7.5

CAUTIONS = N_(
    "Before anyone drills or cuts here again: ask the owner and, where the place is protected, "
    "the authority, and have the permit in hand. This hole has weakened the wood: do not enlarge "
    "it or drill beside it. For a load-bearing timber get a structural engineer's advice first. "
    "Check for wiring and pipes, lead paint, droppings and old pesticides. Wear mask and goggles. "
    "Never work overhead or on a ladder alone. Local codes, permits and licensed practice come "
    "first."
)


def print_hole_cards(
    cards: Sequence[HoleCard],
    paper: Paper,
    out: Path,
    *,
    resolver: str = "",
    progress: Progress = say_nothing,
) -> Printed:
    """Write the cards, four a page, to `out` (PDF)."""
    if not cards:
        raise TreenailError("there is nothing to print: no sample is selected")
    left = (paper.width_mm - 2 * CARD_WIDTH_MM) / 2 * MM
    foot = (paper.height_mm - 2 * CARD_HEIGHT_MM) / 2 * MM
    with printed_pages(out, (paper.width, paper.height), title=_("Hole cards")) as pages:
        canvas: Any = None
        for done, card in enumerate(cards):
            place = done % CARDS_A_PAGE
            if place == 0:
                canvas = pages.begin_page()
            row, column = divmod(place, 2)
            box = Box(
                left + column * CARD_WIDTH_MM * MM,
                foot + (1 - row) * CARD_HEIGHT_MM * MM,
                CARD_WIDTH_MM * MM,
                CARD_HEIGHT_MM * MM,
            )
            _draw_card(canvas, box, card, resolver)
            progress(done + 1, len(cards))
    return Printed(tuple(pages.paths), len(cards), pages.page_count)


def _draw_card(canvas: Any, edges: Box, card: HoleCard, resolver: str) -> None:
    canvas.setLineWidth(0.5)
    canvas.rect(edges.x, edges.y, edges.width, edges.height)
    box = edges.inset(5 * MM)
    facts = card.facts
    head, box = box.cut_top(8.5 * MM, 2.2 * MM)
    title = card.title
    draw_numbered(canvas, head, facts.number, facts.check, title)
    site, box = box.cut_top(4.4 * MM, 1.4 * MM)
    write_block(canvas, facts.site_words, BOLD, site, largest=9, smallest=5.5)
    canvas.setLineWidth(0.8)
    canvas.line(box.x, box.top, box.right, box.top)
    pictures, box = box.cut_top(34.5 * MM, 1.5 * MM)
    _draw_pictures(canvas, pictures, card)
    caution_mm = 24.5 if card.warning else 20
    below, caution = box.cut_top(box.height - caution_mm * MM, 1 * MM)
    words, last = below.cut_top(below.height - CODE_MM * MM)
    pairs = (*card.where, *card.taken)
    draw_pairs(canvas, words, pairs, word_width=17 * MM, largest=LARGEST_TEXT)
    now, code = last.cut_left(last.width - CODE_MM * MM, 1 * MM)
    side = min(code.width, code.height)
    drawn = encode_label(facts.payload(resolver), side / MM, facts.number)
    draw_code(canvas, drawn, code.right - side, code.top - side, side)
    draw_pairs(canvas, now.inset(0, 1 * MM), card.now, word_width=17 * MM, largest=LARGEST_TEXT)
    _draw_caution(canvas, caution, card.warning)


def _draw_pictures(canvas: Any, box: Box, card: HoleCard) -> None:
    """The stamp on the left, the clock face on the right, each with a line below."""
    stamp, clock = box.cut_left(box.width / 2)
    note = 6.5
    middle = box.middle_y + 2 * MM
    draw_stamp_face(canvas, stamp.middle_x, middle, 12 * MM, card.stamp, card.orientation_mark)
    words = _("stamp as punched") if card.stamp else _("stamp")
    for number, line in enumerate((words, card.stamp_note)):
        foot = box.y + (1 - number) * note * 1.25 - note * 0.1
        at = Box(stamp.x, foot, stamp.width, note * 1.3)
        write_block(canvas, line, PLAIN, at, largest=note, smallest=5, align="centre")
    x, drilled = clock.middle_x, card.direction or None
    draw_clock_face(canvas, x, middle, 9.6 * MM, hours=card.hours, direction=drilled)
    for number, line in enumerate((_("seen from end A"), _("toward end B, 12 is up"))):
        baseline = box.y + (1 - number) * note * 1.25 + note * 0.27
        draw_line(canvas, line, PLAIN, note, clock.middle_x, baseline, align="centre")


def _draw_caution(canvas: Any, box: Box, warning: str) -> None:
    canvas.setLineWidth(0.8)
    canvas.rect(box.x, box.y, box.width, box.height)
    inner = box.inset(1.8 * MM, 1.2 * MM)
    if warning:
        said = inner.cut_top(inner.height * 0.4)[0]
        foot = write_block(canvas, warning, BOLD, said, largest=7, smallest=5)
        inner = Box(inner.x, inner.y, inner.width, foot - inner.y - 0.4 * MM)
    write_block(
        canvas, f"{_(CAUTIONS)} {unreviewed()}".strip(), PLAIN, inner, largest=7, smallest=4.5
    )
