"""Prints what goes with a parcel: list, receipt and tag in one file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from provenance._base.languages import _
from provenance._base.progress import Progress, say_nothing
from provenance._drawing.document import Pages, printed_pages
from provenance._drawing.fitting import draw_line, draw_pairs, write_block
from provenance._drawing.fonts import ASCENT, BOLD, PLAIN
from provenance._drawing.paper import MM, Box, Paper
from provenance._printing.labels.labels import Printed
from provenance._printing.papers.consignment_list import draw_head, draw_list, page_frame
from provenance._printing.papers.parcel import Parcel
from provenance._printing.papers.tags import draw_tags, parcel_tag, sample_tag


def print_consignment(
    parcel: Parcel,
    paper: Paper,
    out: Path,
    *,
    each_sample: bool = False,
    resolver: str = "",
    progress: Progress = say_nothing,
) -> Printed:
    """Write list, receipt and tag of the parcel to `out` (PDF), with `each_sample` more tags."""
    tags = [parcel_tag(parcel)]
    if each_sample:
        tags += [sample_tag(item.facts, resolver) for item in parcel.items if item.facts.site_id]
    title = _("Consignment {code}").format(code=parcel.consignment_id)
    with printed_pages(out, (paper.width, paper.height), title=title) as pages:
        draw_list(pages, paper, parcel)
        draw_receipt(pages, paper, parcel)
        draw_tags(pages, paper, tags, progress)
    return Printed(tuple(pages.paths), len(tags), pages.page_count)


SEAL_ROW = 1
"""The row of the receipt that asks for the seal, with boxes beside it."""


def draw_receipt(pages: Pages, paper: Paper, parcel: Parcel) -> None:
    """Begin one page and draw the receipt on it."""
    canvas = pages.begin_page()
    frame = page_frame(paper)
    box = draw_head(
        canvas,
        frame,
        _("Receipt for consignment {code}").format(code=parcel.consignment_id),
        _("sign and return"),
    )
    about, box = box.cut_top(44 * MM, 4 * MM)
    pairs = (
        (_("sent by"), parcel.sender.in_words),
        (_("sent to"), parcel.receiver.in_words),
        (_("sent on"), parcel.sent_on),
        (_("declared contents"), parcel.count_in_words),
        (_("seal number sent"), parcel.seal_number),
    )
    draw_pairs(canvas, about, pairs, word_width=38 * MM, largest=10.5, smallest=6)
    canvas.setLineWidth(0.4)
    canvas.line(box.x, box.top + 2 * MM, box.right, box.top + 2 * MM)
    asked = _("Recipient: fill in when opening the parcel")
    draw_line(canvas, asked, BOLD, 11, box.x, box.top - 11 * ASCENT)
    rows = (
        (_("received on (date, time)"), 1),
        (_("seal number found"), 1),
        (_("samples counted, of {n}").format(n=len(parcel.items)), 1),
        (_("missing (numbers)"), 2),
        (_("broken or otherwise changed (number: what)"), 3),
        (_("in it, but not on the list"), 1),
        (_("now kept at (room, shelf, box)"), 1),
        (_("name"), 1),
        (_("signature"), 1),
    )
    y = box.top - 12 * MM
    pitch = min(9.5 * MM, (y - box.y - 34 * MM) / sum(lines for _word, lines in rows))
    for number, (word, lines) in enumerate(rows):
        seal = number == SEAL_ROW
        y -= pitch
        draw_line(canvas, word, PLAIN, 9, box.x, y + 0.6 * MM)
        if seal:
            _draw_seal_question(canvas, box, y)
        canvas.setLineWidth(0.4)
        for line in range(lines):
            end = box.right - 62 * MM if seal else box.right
            canvas.line(box.x + 68 * MM, y - line * pitch, end, y - line * pitch)
        y -= (lines - 1) * pitch
    _draw_way_back(canvas, Box(box.x, box.y, box.width, 18 * MM), parcel)


def _draw_seal_question(canvas: Any, box: Box, y: float) -> None:
    x = box.right - 58 * MM
    for word in (_("unbroken"), _("broken"), _("none")):
        canvas.setLineWidth(0.6)
        canvas.rect(x, y, 3.6 * MM, 3.6 * MM)
        draw_line(canvas, word, PLAIN, 9, x + 5 * MM, y + 0.6 * MM)
        x += 9 * MM + PLAIN.width(word, 9)


def _draw_way_back(canvas: Any, box: Box, parcel: Parcel) -> None:
    """Where the signed receipt goes."""
    canvas.setLineWidth(0.8)
    canvas.roundRect(box.x, box.y, box.width, box.height, 2 * MM)
    email = parcel.sender.email and _(", or as a picture to {address}").format(
        address=parcel.sender.email
    )
    text = _(
        "Please sign this page and send it back to {sender}{email}. Report a broken seal or a "
        "missing sample on the day you find it, and keep the wrapping until that is settled."
    ).format(sender=parcel.sender.in_words, email=email)
    write_block(canvas, text, PLAIN, box.inset(4 * MM, 3 * MM), largest=10, smallest=6)
