"""Corrects where a printer really puts its ink: a measured page, and offsets and scale a printer.

A printer shifts a page by a millimetre and stretches it by some thousandths; on a sheet of small
labels that is enough to print over an edge. `draw_calibration_page` prints two crosses whose true
places are known; what a person measures from the paper's edges gives offset and scale, which are
kept in printers.yaml in the user's configuration folder and undone in every later print.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from provenance._base.disk import write_text
from provenance._base.errors import TreenailError, UnusableInput
from provenance._base.yaml_text import read_yaml
from provenance._drawing.document import printed_pages
from provenance._drawing.fitting import draw_line, write_block
from provenance._drawing.fonts import BOLD, PLAIN
from provenance._drawing.paper import MM, Box
from provenance._printing.labels.stock import Stock

LARGEST_OFFSET_MM = 15.0
LARGEST_STRETCH = 0.03
"""A printer that is further off is not stretched but scales the page to fit: a setting to undo."""


ROOM_FOR_WORDS_MM = 110.0
"""A page that is smaller in one direction (a roll) shows the crosses without the instructions."""


@dataclass(frozen=True)
class Calibration:
    """How a printer misplaces ink: what should lie at x lies at offset_x_mm + scale_x * x.

    Measured in mm from the upper left corner of the paper.
    """

    offset_x_mm: float = 0.0
    offset_y_mm: float = 0.0
    scale_x: float = 1.0
    scale_y: float = 1.0

    @property
    def in_words(self) -> str:
        """How far off it is."""
        return (
            f"shifted by {self.offset_x_mm:+.2f} mm to the right and {self.offset_y_mm:+.2f} mm "
            f"down, size {self.scale_x:.2%} by {self.scale_y:.2%}"
        )


TRUE = Calibration()
"""A printer that prints everything where it belongs."""


def cross_places_mm(stock: Stock) -> tuple[tuple[float, float], tuple[float, float]]:
    """Where the two crosses lie, x and y in mm from the upper left corner of the page."""
    inset_x = min(20.0, stock.page_width_mm / 5)
    inset_y = min(20.0, stock.page_height_mm / 5)
    return ((inset_x, inset_y), (stock.page_width_mm - inset_x, stock.page_height_mm - inset_y))


def calibration_from_measures(
    stock: Stock, measured_mm: tuple[float, float, float, float]
) -> Calibration:
    """Offset and scale from four measures: cross 1 from left and top, cross 2 from left and top.

    Raises TreenailError when they are too far off to be the printer's own fault.
    """
    (one_x, one_y), (two_x, two_y) = cross_places_mm(stock)
    scale_x = (measured_mm[2] - measured_mm[0]) / (two_x - one_x)
    scale_y = (measured_mm[3] - measured_mm[1]) / (two_y - one_y)
    found = Calibration(
        round(measured_mm[0] - scale_x * one_x, 3),
        round(measured_mm[1] - scale_y * one_y, 3),
        round(scale_x, 5),
        round(scale_y, 5),
    )
    if max(abs(scale_x - 1), abs(scale_y - 1)) > LARGEST_STRETCH:
        raise TreenailError(
            f"the measures say the page is printed at {scale_x:.1%} by {scale_y:.1%} of its size; "
            "print it again at actual size (no 'fit to page'), and measure in millimeters"
        )
    if max(abs(found.offset_x_mm), abs(found.offset_y_mm)) > LARGEST_OFFSET_MM:
        raise TreenailError(
            f"the measures say the page is shifted by {found.offset_x_mm:.1f} and "
            f"{found.offset_y_mm:.1f} mm; measure from the left and upper edge of the paper, "
            "cross 1 first"
        )
    return found


def apply_calibration(canvas: Any, stock: Stock, calibration: Calibration) -> None:
    """Move and stretch what is drawn next so that the printer puts it where it belongs."""
    if calibration == TRUE:
        return
    height = stock.page_height_mm * MM
    across, upright = 1 / calibration.scale_x, 1 / calibration.scale_y
    canvas.transform(
        across,
        0,
        0,
        upright,
        -calibration.offset_x_mm * MM * across,
        height * (1 - upright) + calibration.offset_y_mm * MM * upright,
    )


# -- the user's file -----------------------------------------------------------------------------


def printers_file() -> Path:
    """Where calibrations are kept: printers.yaml in the platform's configuration folder."""
    import platformdirs

    return platformdirs.user_config_path("treenail", appauthor=False) / "printers.yaml"


def known_printers(path: Path) -> list[str]:
    """The printers that were calibrated; raises TreenailError where the file cannot be read."""
    return sorted(_read_all(path))


def _read_all(path: Path) -> dict[str, dict[str, float]]:
    if not path.is_file():
        return {}
    try:
        raw = read_yaml(path) or {}
        return {
            str(name): asdict(Calibration(**{k: float(v) for k, v in values.items()}))
            for name, values in raw.items()
        }
    except (UnusableInput, AttributeError, TypeError, ValueError) as error:
        raise TreenailError(
            f"{path} does not hold calibrations of printers ({error}); correct or remove it, then "
            "calibrate again"
        ) from error


def read_calibration(path: Path, printer: str) -> Calibration:
    """The calibration of a printer; raises TreenailError that lists those that are known."""
    known: Mapping[str, dict[str, float]] = _read_all(path)
    if printer not in known:
        raise TreenailError(
            f"printer '{printer}' is not calibrated (known: {', '.join(known) or 'none'}); "
            f"print a page with --calibrate, then: --calibrate --printer {printer} --measured …"
        )
    return Calibration(**known[printer])


def store_calibration(path: Path, printer: str, calibration: Calibration) -> None:
    """Keep the calibration of a printer beside those of others."""
    known = _read_all(path)
    known[printer] = asdict(calibration)
    import yaml

    write_text(path, yaml.safe_dump(known, sort_keys=True, allow_unicode=True))


# -- the page ------------------------------------------------------------------------------------

_STEPS = (
    "Print at actual size, without 'fit to page'. Measure in millimeters from the left edge of the "
    "paper and from its upper edge to the middle of each cross:"
)


def print_calibration_page(stock: Stock, out: Path) -> None:
    """Write the page that is printed and measured, to `out` (PDF)."""
    with printed_pages(out, stock.page_size, title="Printer calibration") as pages:
        draw_calibration_page(pages.begin_page(), stock)


def draw_calibration_page(canvas: Any, stock: Stock) -> None:
    """Draw the grid (a line each 10 mm), the two crosses and the outlines of the stock's labels."""
    width, height = stock.page_size
    canvas.saveState()
    canvas.setLineWidth(0.15)
    canvas.setStrokeGray(0.45)
    for step in range(1, int(stock.page_width_mm / 10) + 1):
        canvas.line(step * 10 * MM, 0, step * 10 * MM, height)
    for step in range(1, int(stock.page_height_mm / 10) + 1):
        canvas.line(0, height - step * 10 * MM, width, height - step * 10 * MM)
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.6)
    canvas.setDash(2, 2)
    for box in stock.boxes():
        if stock.draws == "disc":
            canvas.circle(box.middle_x, box.middle_y, box.width / 2)
        else:
            canvas.rect(box.x, box.y, box.width, box.height)
    canvas.setDash()
    arm = min(8 * MM, width / 8, height / 8)
    small = min(stock.page_width_mm, stock.page_height_mm) < ROOM_FOR_WORDS_MM
    for number, (x_mm, y_mm) in enumerate(cross_places_mm(stock), start=1):
        x, y = x_mm * MM, height - y_mm * MM
        canvas.setLineWidth(0.5)
        canvas.line(x - arm, y, x + arm, y)
        canvas.line(x, y - arm, x, y + arm)
        canvas.circle(x, y, arm * 0.5)
        inward, size = arm * (1.6 if number == 1 else -1.6), 6 if small else 16
        at = (x + inward, y - 2 * MM)
        draw_line(canvas, str(number), BOLD, size, *at, align="centre")
    if not small:
        _draw_words(canvas, stock)
    canvas.restoreState()


def _draw_words(canvas: Any, stock: Stock) -> None:
    width, height = stock.page_size
    # covers the grid, so that the words stand on plain paper
    sheet = Box(width * 0.15, height * 0.4, width * 0.7, 66 * MM)
    canvas.setFillGray(1)
    canvas.rect(sheet.x, sheet.y, sheet.width, sheet.height, stroke=1, fill=1)
    canvas.setFillGray(0)
    box = sheet.inset(5 * MM)
    head, _ = box.cut_top(12 * MM)
    foot = write_block(canvas, stock.title, BOLD, head, largest=13, smallest=8)
    steps = Box(box.x, foot - 25 * MM, box.width, 22 * MM)
    foot = write_block(canvas, _STEPS, PLAIN, steps, largest=10, smallest=7)
    (one_x, one_y), (two_x, two_y) = cross_places_mm(stock)
    lines = (
        f"cross 1   left ______   top ______   (true: {one_x:g} and {one_y:g})",
        f"cross 2   left ______   top ______   (true: {two_x:g} and {two_y:g})",
        f"treenail print labels --stock {stock.name} --calibrate --printer NAME",
        "    --measured LEFT1 TOP1 LEFT2 TOP2",
        "Then print with --printer NAME. Dashed lines are the edges of the labels.",
    )
    baseline = foot - 6 * MM
    for line in lines:
        draw_line(canvas, line, PLAIN, 9.5, box.x, baseline)
        baseline -= 6.4 * MM
