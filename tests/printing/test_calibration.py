"""A printer's fault is measured, kept under its name, and undone."""

from __future__ import annotations

from pathlib import Path

import pytest

from provenance._base.errors import TreenailError
from provenance._drawing.document import printed_pages
from provenance._printing.labels.calibration import (
    Calibration,
    calibration_from_measures,
    cross_places_mm,
    draw_calibration_page,
    read_calibration,
    store_calibration,
)
from provenance._printing.labels.stock import load_stock
from tests.printing.reading import rendered

STOCK = load_stock("a4_70x37")


def test_measures_of_a_true_printer_need_no_correction() -> None:
    (x1, y1), (x2, y2) = cross_places_mm(STOCK)
    assert calibration_from_measures(STOCK, (x1, y1, x2, y2)) == Calibration()


def test_shift_and_stretch_are_found_from_the_measures() -> None:
    fault = Calibration(1.2, -0.7, 1.004, 0.997)
    measures = tuple(
        offset + scale * true
        for x, y in cross_places_mm(STOCK)
        for offset, scale, true in (
            (fault.offset_x_mm, fault.scale_x, x),
            (fault.offset_y_mm, fault.scale_y, y),
        )
    )
    assert len(measures) == 4
    assert calibration_from_measures(STOCK, measures) == fault


def test_a_page_printed_to_fit_is_not_taken_for_the_printers_fault() -> None:
    with pytest.raises(TreenailError, match="actual size"):
        calibration_from_measures(STOCK, (19, 19, 182, 265))
    with pytest.raises(TreenailError, match="shifted"):
        calibration_from_measures(STOCK, (60, 20, 230, 277))


def test_the_crosses_are_printed_where_they_are_said_to_be(tmp_path: Path) -> None:
    """Their long arms are the darkest rows and columns round the place."""
    path = tmp_path / "page.pdf"
    with printed_pages(path, STOCK.page_size, title="Calibration") as pages:
        draw_calibration_page(pages.begin_page(), STOCK)
    page = rendered(path, 300)
    for x_mm, y_mm in cross_places_mm(STOCK):
        x, y = x_mm / 25.4 * 300, y_mm / 25.4 * 300
        around = page[int(y) - 40 : int(y) + 40, int(x) - 40 : int(x) + 40] < 100
        column = around.sum(axis=0).argmax() + int(x) - 40
        row = around.sum(axis=1).argmax() + int(y) - 40
        assert (column, row) == pytest.approx((x, y), abs=2)


def test_each_printer_keeps_its_own(tmp_path: Path) -> None:
    path = tmp_path / "config" / "printers.yaml"
    store_calibration(path, "office", Calibration(1, 2, 1.01, 0.99))
    store_calibration(path, "van", Calibration(-1))
    assert read_calibration(path, "office") == Calibration(1, 2, 1.01, 0.99)
    assert read_calibration(path, "van") == Calibration(-1)
    with pytest.raises(TreenailError, match="office, van"):
        read_calibration(path, "attic")


@pytest.mark.parametrize(
    "text", ["office: 3", "office: {size: 3}", ": : :", "office: {scale_x: a}"]
)
def test_a_spoilt_file_is_named(text: str, tmp_path: Path) -> None:
    path = tmp_path / "printers.yaml"
    path.write_text(text)
    with pytest.raises(TreenailError, match=r"printers\.yaml does not hold"):
        read_calibration(path, "office")
