"""Draws the list that goes into a parcel: every sample, totals, seal number."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from provenance._base.languages import N_, _, unreviewed
from provenance._drawing.document import Pages
from provenance._drawing.fitting import draw_line, draw_pairs, write_block, write_line
from provenance._drawing.fonts import BOLD, MONO, PLAIN
from provenance._drawing.paper import MM, Box, Paper
from provenance._printing.labels.sample_label import draw_framed_check
from provenance._printing.papers.parcel import Parcel, ParcelItem

MARGIN_MM = 15.0
ROW_MM = 7.0

_COLUMNS = (
    # heading, width as a share, what stands in it
    (N_("no."), 0.05),
    (N_("sample, check"), 0.14),
    (N_("site"), 0.1),
    (N_("kind"), 0.15),
    (N_("length"), 0.1),
    (N_("pieces"), 0.07),
    (N_("wood"), 0.17),
    (N_("condition"), 0.12),
    (N_("sent"), 0.05),
    (N_("here"), 0.05),
)


def _cells(number: int, item: ParcelItem) -> tuple[str, ...]:
    facts = item.facts
    return (
        str(number),
        facts.number,
        facts.site_code,
        facts.kind,
        item.length,
        item.pieces,
        facts.element_id,
        item.condition,
    )


def page_frame(paper: Paper) -> Box:
    """What a page leaves inside its margins."""
    return Box(0, 0, paper.width, paper.height).inset(MARGIN_MM * MM)


def draw_list(pages: Pages, paper: Paper, parcel: Parcel) -> None:
    """Begin as many pages as the list needs, and draw it with its totals."""
    frame = page_frame(paper)
    head_mm = 66.0
    first = int((frame.height / MM - head_mm - 26) / ROW_MM)
    later = int((frame.height / MM - 22 - 26) / ROW_MM)
    chunks: list[tuple[int, Sequence[ParcelItem]]] = [(0, parcel.items[:first])]
    for start in range(first, len(parcel.items), later):
        chunks.append((start, parcel.items[start : start + later]))
    for number, (start, items) in enumerate(chunks, start=1):
        canvas = pages.begin_page()
        title = _("Consignment list {code}").format(code=parcel.consignment_id)
        box = draw_head(
            canvas,
            frame,
            title,
            _("page {number} of {count}").format(number=number, count=len(chunks)),
        )
        if number == 1:
            about, box = box.cut_top((head_mm - 14) * MM, 2 * MM)
            _draw_about(canvas, about, parcel)
        foot = _draw_rows(canvas, box, start, items)
        if number == len(chunks):
            _draw_totals(canvas, Box(box.x, frame.y, box.width, foot - frame.y), parcel)


def draw_head(canvas: Any, frame: Box, title: str, right: str) -> Box:
    """Draw title and line of a page; returns the box below them."""
    used = PLAIN.width(right, 9) + 4 * MM
    room, baseline = frame.width - used, frame.top - 17 * 0.8
    write_line(canvas, title, BOLD, room, frame.x, baseline, largest=17, smallest=8)
    draw_line(canvas, right, PLAIN, 9, frame.right, baseline, align="right")
    draw_line(canvas, unreviewed(), PLAIN, 6, frame.x, frame.y - 3 * MM)
    canvas.setLineWidth(0.9)
    canvas.line(frame.x, frame.top - 8 * MM, frame.right, frame.top - 8 * MM)
    return frame.cut_top(8 * MM, 3 * MM)[1]


def _draw_about(canvas: Any, box: Box, parcel: Parcel) -> None:
    pairs = (
        (_("from"), parcel.sender.in_words),
        (_("to"), parcel.receiver.in_words),
        (_("purpose"), parcel.purpose),
        (_("packed / sent"), " / ".join(t or "–" for t in (parcel.packed_on, parcel.sent_on))),
        (_("results wanted by"), parcel.due_on),
        (_("carrier"), parcel.carrier),
        (_("seal number"), parcel.seal_number),
        (_("questions"), parcel.questions or "–"),
    )
    draw_pairs(canvas, box, pairs, word_width=32 * MM, largest=10, smallest=6)


def _draw_rows(canvas: Any, box: Box, start: int, items: Sequence[ParcelItem]) -> float:
    """Draw the table; returns the y of its foot."""
    y = box.top - 5 * MM
    x = box.x
    for word, share in _COLUMNS:
        room, at = share * box.width - 1 * MM, (x + 0.8 * MM, y + 1.4 * MM)
        write_line(canvas, _(word), PLAIN, room, *at, largest=7, smallest=5)
        x += share * box.width
    canvas.setLineWidth(0.8)
    canvas.line(box.x, y, box.right, y)
    for number, item in enumerate(items, start=start + 1):
        x = box.x
        baseline = y - ROW_MM * MM * 0.66
        for (word, share), text in zip(_COLUMNS, _cells(number, item), strict=False):
            width = share * box.width
            if word == "sample, check":
                _draw_sample_cell(canvas, x + 0.8 * MM, baseline, width, item)
            else:
                room, left = width - 1.6 * MM, x + 0.8 * MM
                write_line(canvas, text, PLAIN, room, left, baseline, largest=9, smallest=6)
            x += width
        canvas.setLineWidth(0.6)
        for share in (0.95, 0.9):
            canvas.rect(box.x + share * box.width + 1 * MM, baseline - 0.4 * MM, 3.6 * MM, 3.6 * MM)
        y -= ROW_MM * MM
        canvas.setLineWidth(0.25)
        canvas.line(box.x, y, box.right, y)
    return y


def _draw_sample_cell(
    canvas: Any, x: float, baseline: float, width: float, item: ParcelItem
) -> None:
    room = width - 1.6 * MM - (8 * MM if item.check else 0)
    number = item.facts.number
    fitted = write_line(canvas, number, MONO, room, x, baseline, largest=10, smallest=4)
    if item.check:
        used = MONO.width(number, fitted.size)
        frame = Box(x + used + 2.2 * MM, baseline - 0.5 * MM, 5.4 * MM, 4 * MM)
        draw_framed_check(canvas, frame, item.check)


def _draw_totals(canvas: Any, box: Box, parcel: Parcel) -> None:
    sites = Counter(item.facts.site_code for item in parcel.items)
    lines = [_("Total {count}.").format(count=parcel.count_in_words)]
    if len(sites) > 1:
        counted = ", ".join(f"{site} {number}" for site, number in sorted(sites.items()))
        lines.append(_("By site: {counted}").format(counted=counted))
    if parcel.recorded_count and parcel.recorded_count != str(len(parcel.items)):
        lines.append(
            _(
                "The record of the parcel says {recorded} samples and the custody ledger {packed}: "
                "count them before it is sealed."
            ).format(recorded=parcel.recorded_count, packed=len(parcel.items))
        )
    y = box.top - 4 * MM
    for line in lines:
        place = Box(box.x, y - 9 * MM, box.width, 9 * MM)
        y = write_block(canvas, line, BOLD, place, largest=10, smallest=6)
        y -= 0.8 * MM
    canvas.setLineWidth(0.4)
    signed = _("packed by: name, signature, date")
    draw_line(canvas, signed, PLAIN, 7.5, box.x, y - 6 * MM)
    canvas.line(
        box.x + max(42 * MM, PLAIN.width(signed, 7.5) + 2 * MM),
        y - 6.4 * MM,
        box.right,
        y - 6.4 * MM,
    )
