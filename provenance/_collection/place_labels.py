"""Prints labels for the places of a store: cabinets, shelves, drawers, boxes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

from provenance._base.errors import TreenailError
from provenance._base.progress import Progress, say_nothing
from provenance._drawing.document import printed_pages
from provenance._drawing.fitting import draw_line, write_block
from provenance._drawing.fonts import BOLD, MONO, PLAIN
from provenance._drawing.paper import MM, Box
from provenance._drawing.qr import CodeTooLarge, draw_code, encode_label
from provenance._identity.place_code import END, compose_place
from provenance._printing.labels.calibration import TRUE
from provenance._printing.labels.labels import Printed, check_start, lay_out
from provenance._printing.labels.stock import Stock
from provenance._store.places import Places

FOOT_TEXT = 6.5
FOOT_MM = 3.0
END_WORDS = "Close the place that was opened last"


class PlaceLabel(NamedTuple):
    """What one label says: the code large, the name, and the places around it."""

    code: str
    name: str
    around: str

    @property
    def code_text(self) -> str:
        """The text of its code."""
        return compose_place(self.code)


def place_labels(places: Places, chosen: Sequence[str]) -> list[PlaceLabel]:
    """The labels of some places, and behind them one that ends a stocktake's place."""
    labels = []
    for place in chosen:
        row = places.rows[place]
        around = places.path(row["within"]) if row["within"] else ""
        labels.append(PlaceLabel(place, row["name"] or row["kind"], around))
    return [*labels, PlaceLabel(END, END_WORDS, "")]


def print_place_labels(
    labels: Sequence[PlaceLabel],
    stock: Stock,
    out: Path,
    *,
    start_at: int = 1,
    progress: Progress = say_nothing,
) -> Printed:
    """Write the labels to `out` (PDF); raises TreenailError as `print_labels` does."""
    check_start(stock, start_at, 1)
    if not labels:
        raise TreenailError("there is nothing to print: the store has no places yet")
    with printed_pages(out, stock.page_size, title="Place labels", subject=stock.title) as pages:
        places = lay_out(pages, stock, len(labels), start_at, False, TRUE)
        for done, (canvas, box) in enumerate(places):
            _draw(canvas, box.inset(stock.padding_mm * MM), labels[done])
            progress(done + 1, len(labels))
    return Printed(tuple(pages.paths), len(labels), pages.page_count)


def _draw(canvas: Any, box: Box, label: PlaceLabel) -> None:
    words, foot = box.cut_top(box.height - FOOT_MM * MM)
    side = min(words.height, words.width * 0.42)
    try:
        code = encode_label(label.code_text, side / MM, label.code)
    except CodeTooLarge:
        # a small label still says at its foot what the code would
        room = words.width
    else:
        draw_code(canvas, code, words.right - side, words.top - side, side)
        room = words.width - side - 1.5 * MM
    words = Box(words.x, words.y, room, words.height)
    large, rest = words.cut_top(words.height * 0.45, 0.5 * MM)
    name, around = rest.cut_top(rest.height * 0.55, 0.5 * MM)
    write_block(canvas, label.code, BOLD, large, largest=30, smallest=7)
    write_block(canvas, label.name, PLAIN, name, largest=10, smallest=5)
    if label.around:
        write_block(canvas, label.around, PLAIN, around, largest=8, smallest=5)
    draw_line(canvas, label.code_text.partition(" ")[2], MONO, FOOT_TEXT, foot.x, foot.y)
