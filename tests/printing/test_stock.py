"""Label stock is described by measure, and a description that cannot be is refused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from provenance._base.errors import UnusableSchema
from provenance._printing.labels.stock import UnusableStock, load_stock, shipped_stocks, stock_from

SHEET: dict[str, Any] = {
    "title": "Sheet of 12",
    "draws": "sample",
    "page": {"width_mm": 210, "height_mm": 297},
    "label": {"width_mm": 60, "height_mm": 60},
    "grid": {
        "columns": 3,
        "rows": 4,
        "left_mm": 10,
        "top_mm": 20,
        "pitch_x_mm": 62,
        "pitch_y_mm": 62,
    },
}


def changed(part: str, **values: Any) -> dict[str, Any]:
    return {**SHEET, part: {**SHEET[part], **values}}


@pytest.mark.parametrize("name", list(shipped_stocks()))
def test_no_label_of_a_shipped_stock_overlaps_another_or_leaves_the_page(name: str) -> None:
    stock = load_stock(name)
    width, height = stock.page_size
    boxes = list(stock.boxes())
    assert len(boxes) == stock.labels_a_page
    for box in boxes:
        assert box.x > -0.2
        assert box.y > -0.2
        assert box.right < width + 0.2
        assert box.top < height + 0.2
    for one in boxes:
        for other in boxes:
            apart = (
                one.right <= other.x + 0.2
                or other.right <= one.x + 0.2
                or one.top <= other.y + 0.2
                or other.top <= one.y + 0.2
            )
            assert apart or one is other


def test_shipped_sheets_are_iso_or_ansi_paper() -> None:
    """ISO 216 A4 and ANSI/ASME Y14.1 size A."""
    for name in shipped_stocks():
        stock = load_stock(name)
        if name.startswith("a4"):
            assert (stock.page_width_mm, stock.page_height_mm) == (210, 297)
        if name.startswith("letter"):
            assert (stock.page_width_mm, stock.page_height_mm) == (215.9, 279.4)


def test_there_is_stock_for_every_use_on_both_papers() -> None:
    uses = {(name.split("_")[0], load_stock(name).draws) for name in shipped_stocks()}
    for paper in ("a4", "letter"):
        assert {(paper, draws) for draws in ("sample", "flag", "disc", "content")} <= uses
    assert ("roll", "sample") in uses


def test_labels_are_counted_row_by_row_from_the_upper_left() -> None:
    stock = stock_from(SHEET, Path("mine.yaml"))
    first, second, fourth = (stock.label_box(place) for place in (0, 1, 3))
    assert second.x > first.x
    assert second.y == first.y
    assert fourth.y < first.y
    assert fourth.x == first.x


@pytest.mark.parametrize(
    ("raw", "word"),
    [
        (changed("grid", columns=4), "last column ends"),
        (changed("grid", rows=5), "last row ends"),
        (changed("grid", pitch_x_mm=59), "overlap"),
        (changed("grid", pitch_y_mm=59), "overlap"),
        (changed("label", padding_mm=30), "leaves nothing"),
        ({**changed("label", height_mm=50), "draws": "disc"}, "diameter"),
        ({**SHEET, "draws": "flag"}, "wrap_mm"),
        ({**SHEET, "grid": None}, "grid"),
        ({**SHEET, "label": {"width_mm": -1, "height_mm": 3}}, "label/width_mm"),
        ({**SHEET, "colour": "red"}, "colour"),
        ("no stock at all", "the top"),
    ],
)
def test_a_stock_that_cannot_be_is_refused_with_its_file(raw: Any, word: str) -> None:
    with pytest.raises((UnusableStock, UnusableSchema), match=f"mine.yaml[\\s\\S]*{word}"):
        stock_from(raw, Path("mine.yaml"))


def test_a_stock_of_ones_own_is_a_file(tmp_path: Path) -> None:
    path = tmp_path / "wide.yaml"
    path.write_text(
        "title: A wide one\ndraws: sample\n"
        "page: {width_mm: 80, height_mm: 30}\nlabel: {width_mm: 76, height_mm: 28}\n"
    )
    stock = load_stock(str(path))
    assert stock.name == "wide"
    assert stock.labels_a_page == 1
    assert (stock.left_mm, stock.top_mm) == (2, 1)


def test_an_unknown_stock_is_answered_with_the_nearest_name(tmp_path: Path) -> None:
    with pytest.raises(UnusableStock, match="did you mean 'a4_disc'"):
        load_stock("a4_disk")
    with pytest.raises(UnusableStock, match=r"no stock 'zzz'\. There are"):
        load_stock("zzz")
    with pytest.raises(UnusableStock, match="not there"):
        load_stock(str(tmp_path / "none.yaml"))
