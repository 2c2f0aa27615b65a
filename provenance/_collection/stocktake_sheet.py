"""Prints what a stocktake found, on one page to sign and more where the list is long."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from provenance._collection.stocktake import WORDS, Seen, Stocktake
from provenance._drawing.document import printed_pages
from provenance._drawing.fitting import draw_line, write_block, write_line
from provenance._drawing.fonts import ASCENT, BOLD, MONO, PLAIN
from provenance._drawing.paper import MM, Box, Paper
from provenance._printing.papers.consignment_list import draw_head, page_frame

ROW_MM = 5.5
SIGNED_MM = 24.0
_COLUMNS = (("sample", 0.18), ("what was found", 0.38), ("seen in", 0.2), ("recorded", 0.24))
_CAUTION = (
    "Do not reach above shoulder height without a step; have a second person hold a ladder. Old "
    "dust may hold rodent droppings, lead or mold: do not sweep it dry, and wear what your house "
    "rules ask for."
)


def print_stocktake(taken: Stocktake, title: str, about: str, paper: Paper, out: Path) -> None:
    """Write the report to `out` (PDF): counts, the list of what needs a person, signatures."""
    frame = page_frame(paper)
    counted = [(word, taken.counts.get(one, 0)) for one, word in WORDS.items()]
    counted = [(word, count) for word, count in counted if count]
    first = int((frame.height - (31 + SIGNED_MM + 5 * len(counted)) * MM) / (ROW_MM * MM))
    later = int((frame.height - 24 * MM) / (ROW_MM * MM))
    parts = [taken.rest[:first]]
    parts += [taken.rest[at : at + later] for at in range(first, len(taken.rest), later)]
    with printed_pages(out, (paper.width, paper.height), title=title) as pages:
        for number, part in enumerate(parts, start=1):
            canvas = pages.begin_page()
            box = draw_head(canvas, frame, title, f"page {number} of {len(parts)}")
            if number == 1:
                box = _draw_counts(canvas, box, about, counted)
                rest = box.height - SIGNED_MM * MM
                box, signed = box.cut_top(rest)
                _draw_signatures(canvas, signed)
            _draw_rows(canvas, box, part)


def _draw_counts(canvas: Any, box: Box, about: str, counted: Sequence[tuple[str, int]]) -> Box:
    size = 9.5
    y = box.top - size * ASCENT
    write_line(canvas, about, PLAIN, box.width, box.x, y, largest=size, smallest=6)
    for word, count in counted:
        y -= 5 * MM
        draw_line(
            canvas, f"{count:,}".replace(",", " "), BOLD, size, box.x + 18 * MM, y, align="right"
        )
        draw_line(canvas, word, PLAIN, size, box.x + 21 * MM, y)
    return Box(box.x, box.y, box.width, y - 3 * MM - box.y)


def _draw_rows(canvas: Any, box: Box, rows: Sequence[Seen]) -> None:
    if not rows:
        return
    y = box.top - 4 * MM
    x = box.x
    for word, share in _COLUMNS:
        draw_line(canvas, word, PLAIN, 7, x, y + 1.2 * MM)
        x += share * box.width
    canvas.setLineWidth(0.8)
    canvas.line(box.x, y, box.right, y)
    for row in rows:
        number = f"{row.site_id}-{row.sample_id}" if row.site_id else row.sample_id
        cells = (number, row.text or WORDS[row.outcome], row.place, row.expected)
        x, baseline = box.x, y - ROW_MM * MM * 0.7
        for (_, share), text, face in zip(
            _COLUMNS, cells, (MONO, PLAIN, PLAIN, PLAIN), strict=True
        ):
            room = share * box.width - 2 * MM
            write_line(canvas, text, face, room, x, baseline, largest=8.5, smallest=5)
            x += share * box.width
        y -= ROW_MM * MM
        canvas.setLineWidth(0.25)
        canvas.line(box.x, y, box.right, y)


def _draw_signatures(canvas: Any, box: Box) -> None:
    words, lines = box.cut_top(9 * MM, 2 * MM)
    write_block(canvas, _CAUTION, PLAIN, words, largest=7.5, smallest=5.5)
    half = (lines.width - 8 * MM) / 2
    for x, who in ((lines.x, "counted by"), (lines.x + half + 8 * MM, "checked by")):
        draw_line(canvas, f"{who}: name, signature, date", PLAIN, 7.5, x, lines.y)
        canvas.setLineWidth(0.4)
        canvas.line(x, lines.y + 4 * MM, x + half, lines.y + 4 * MM)
