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
from provenance._drawing.fitting import (
    STEP,
    FittedText,
    draw_block,
    draw_line,
    draw_pairs,
    fit_block,
    write_block,
)
from provenance._drawing.fonts import BOLD, PLAIN, Typeface, printable
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
LARGEST_TEXT, CAUTION_SIZE, SMALLEST_CAUTION = 7.5, 7.0, 4.5
FRAME_X, FRAME_Y = 1.8 * MM, 1.2 * MM
FACT_MM = 2.75
"""What the cautions leave to each of the facts, if need be by smaller letters."""

CAUTIONS = N_(
    "This hole has weakened the wood: do not enlarge it or drill beside it. Load-bearing timber: "
    "ask a structural engineer first. Check for wiring and pipes, lead paint, droppings and old "
    "pesticides. Wear a respirator and eye protection. Never work overhead or on a ladder alone. "
    "Local codes, permits and licensed practice come first."
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
    box = edges.inset(4 * MM)
    facts = card.facts
    head, box = box.cut_top(8.5 * MM, 2.2 * MM)
    title = card.title
    draw_numbered(canvas, head, facts.number, facts.check, title)
    site, box = box.cut_top(4.4 * MM, 1.4 * MM)
    write_block(canvas, facts.site_words, BOLD, site, largest=9, smallest=5.5)
    canvas.setLineWidth(0.8)
    canvas.line(box.x, box.top, box.right, box.top)
    pictures, box = box.cut_top(30.5 * MM, 1.5 * MM)
    _draw_pictures(canvas, pictures, card)
    pairs = (*card.where, *card.taken)
    most = box.height - (CODE_MM + FACT_MM * len(pairs) + 1) * MM
    cautions = _fit_cautions(card, box.width - 2 * FRAME_X, most - 2 * FRAME_Y)
    height = sum(one.height for one, _face in cautions) + 2 * FRAME_Y
    below, caution = box.cut_top(box.height - height - 1 * MM, 1 * MM)
    words, last = below.cut_top(below.height - CODE_MM * MM)
    draw_pairs(canvas, words, pairs, word_width=17 * MM, largest=LARGEST_TEXT)
    now, code = last.cut_left(last.width - CODE_MM * MM, 1 * MM)
    side = min(code.width, code.height)
    drawn = encode_label(facts.payload(resolver), side / MM, facts.number)
    draw_code(canvas, drawn, code.right - side, code.top - side, side)
    draw_pairs(canvas, now.inset(0, 1 * MM), card.now, word_width=17 * MM, largest=LARGEST_TEXT)
    canvas.setLineWidth(0.8)
    canvas.rect(caution.x, caution.y, caution.width, caution.height)
    inner = caution.inset(FRAME_X, FRAME_Y)
    for one, face in cautions:
        inner = Box(inner.x, inner.y, inner.width, draw_block(canvas, one, face, inner) - inner.y)


def _draw_pictures(canvas: Any, box: Box, card: HoleCard) -> None:
    """The stamp on the left, the clock face on the right, each with a line below."""
    stamp, clock = box.cut_left(box.width / 2)
    note = 6.5
    middle = box.middle_y + 2 * MM
    draw_stamp_face(canvas, stamp.middle_x, middle, 10.6 * MM, card.stamp, card.orientation_mark)
    words = _("stamp as punched") if card.stamp else _("stamp")
    for number, line in enumerate((words, card.stamp_note)):
        foot = box.y + (1 - number) * note * 1.25 - note * 0.1
        at = Box(stamp.x, foot, stamp.width, note * 1.3)
        write_block(canvas, line, PLAIN, at, largest=note, smallest=5, align="centre")
    x, drilled = clock.middle_x, card.direction or None
    draw_clock_face(canvas, x, middle, 8.2 * MM, hours=card.hours, direction=drilled)
    for number, line in enumerate((_("seen from end A"), _("toward end B, 12 is up"))):
        baseline = box.y + (1 - number) * note * 1.25 + note * 0.27
        draw_line(canvas, line, PLAIN, note, clock.middle_x, baseline, align="centre")


def _fit_cautions(card: HoleCard, width: float, height: float) -> list[tuple[FittedText, Typeface]]:
    """The warning, then the cautions that are for every hole, in letters of one size."""
    general = " ".join((card.consent, _(CAUTIONS), unreviewed())).strip()
    size = CAUTION_SIZE
    while True:
        warning = fit_block(
            printable(card.warning, BOLD), BOLD, width, height / 2, largest=size, smallest=size
        )
        rest = height - warning.height
        said = fit_block(printable(general, PLAIN), PLAIN, width, rest, largest=size, smallest=size)
        if size <= SMALLEST_CAUTION or (warning.whole and said.whole):
            return [(warning, BOLD), (said, PLAIN)]
        size -= STEP
