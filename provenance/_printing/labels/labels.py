"""Prints sample labels on sheets and rolls."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from provenance._base.errors import TreenailError
from provenance._base.languages import _
from provenance._base.progress import Progress, say_nothing
from provenance._drawing.document import printed_pages
from provenance._drawing.paper import MM, Box
from provenance._printing.labels.calibration import TRUE, Calibration, apply_calibration
from provenance._printing.labels.facts import SampleFacts
from provenance._printing.labels.sample_label import draw_sample_label, unprintable_in
from provenance._printing.labels.stock import Stock

MARK_MM = 3.0
MARK_CLEAR_MM = 0.5


@dataclass(frozen=True)
class Printed:
    """What was written: the files, how much is in them, and characters shown as '□'."""

    paths: tuple[Path, ...]
    label_count: int
    page_count: int
    unprintable: tuple[str, ...] = ()

    @property
    def note(self) -> str:
        """Which characters could not be printed, in a sentence; '' where all could."""
        shown = ", ".join(f"{c} (U+{ord(c):04X})" for c in self.unprintable[:10])
        return f"no typeface has {shown}; '□' is printed instead" if shown else ""


def check_start(stock: Stock, start_at: int, copies: int) -> None:
    """Raise TreenailError for a first place or a number of copies that cannot be."""
    if not 1 <= start_at <= stock.labels_a_page:
        raise TreenailError(
            f"--start-at {start_at}: a page of '{stock.name}' has the places 1 to "
            f"{stock.labels_a_page}, counted row by row from the upper left"
        )
    if copies < 1:
        raise TreenailError(f"--copies {copies}: print at least one")


def lay_out(
    pages: Any, stock: Stock, count: int, start_at: int, crop_marks: bool, calibration: Calibration
) -> Iterator[tuple[Any, Box]]:
    """Begin pages as they are needed and yield canvas and edges for each of `count` labels."""
    canvas: Any = None
    for place in range(start_at - 1, start_at - 1 + count):
        on_page = place % stock.labels_a_page
        if canvas is None or on_page == 0:
            canvas = pages.begin_page()
            apply_calibration(canvas, stock, calibration)
            if crop_marks:
                draw_crop_marks(canvas, stock)
        yield canvas, stock.label_box(on_page)


def print_labels(
    facts: Sequence[SampleFacts],
    stock: Stock,
    out: Path,
    *,
    start_at: int = 1,
    copies: int = 1,
    crop_marks: bool = False,
    calibration: Calibration = TRUE,
    resolver: str = "",
    progress: Progress = say_nothing,
) -> Printed:
    """Write a label a sample, `copies` times each, to `out` (PDF) and perhaps `out`-2, -3 …

    `start_at` is the first free place of a sheet that was begun before, counted from 1; `resolver`
    a web address with {identifier} in it. Raises TreenailError when there is nothing to print, a
    place that the sheet lacks, or a stock too small for its content; then nothing is written.
    """
    check_start(stock, start_at, copies)
    if not facts:
        raise TreenailError("there is nothing to print: no sample is selected")
    total = len(facts) * copies
    strange: dict[str, None] = {}
    with printed_pages(
        out, stock.page_size, title=_("Sample labels"), subject=stock.title
    ) as pages:
        places = lay_out(pages, stock, total, start_at, crop_marks, calibration)
        for done, (canvas, box) in enumerate(places):
            one = facts[done // copies]
            draw_sample_label(canvas, stock, box, one, resolver)
            if done % copies == 0:
                strange.update(dict.fromkeys(unprintable_in(one)))
            if done % 50 == 49 or done + 1 == total:
                progress(done + 1, total)
    return Printed(tuple(pages.paths), total, pages.page_count, tuple(strange))


def draw_crop_marks(canvas: Any, stock: Stock) -> None:
    """Draw short lines beside the corners of the labels, never inside a label; round ones outlined.

    Where labels lie side by side without a gap the marks stand at the outer edges of the grid.
    """
    canvas.saveState()
    canvas.setLineWidth(0.3)
    canvas.setStrokeGray(0)
    if stock.draws == "disc":
        for box in stock.boxes():
            canvas.circle(box.middle_x, box.middle_y, box.width / 2)
        canvas.restoreState()
        return
    width, height = stock.page_size
    gap_x = (stock.pitch_x_mm - stock.label_width_mm) * MM if stock.columns > 1 else width
    gap_y = (stock.pitch_y_mm - stock.label_height_mm) * MM if stock.rows > 1 else height
    for place, box in enumerate(stock.boxes()):
        row, column = divmod(place, stock.columns)
        left = _mark_length(box.x if column == 0 else gap_x / 2)
        right = _mark_length(width - box.right if column == stock.columns - 1 else gap_x / 2)
        above = _mark_length(height - box.top if row == 0 else gap_y / 2)
        below = _mark_length(box.y if row == stock.rows - 1 else gap_y / 2)
        clear = MARK_CLEAR_MM * MM
        for y in (box.y, box.top):
            if left:
                canvas.line(box.x - clear - left, y, box.x - clear, y)
            if right:
                canvas.line(box.right + clear, y, box.right + clear + right, y)
        for x in (box.x, box.right):
            if above:
                canvas.line(x, box.top + clear, x, box.top + clear + above)
            if below:
                canvas.line(x, box.y - clear - below, x, box.y - clear)
    canvas.restoreState()


def _mark_length(room: float) -> float:
    return max(0.0, min(MARK_MM * MM, room - MARK_CLEAR_MM * MM))
