"""The plan grid is at true scale, and says how to tell when the printer was not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from provenance._base.errors import TreenailError
from provenance._drawing.paper import MM, paper_named
from provenance._printing.sheets.plan_grid import SCALES, grid_area, scale_named
from tests.printing.reading import page_texts, rendered
from tests.printing.sheet_pages import dark_lines, print_blank

DPI = 300
PIXELS_PER_MM = DPI / 25.4

# One metre at 1:20 is 50 mm on paper by the meaning of the ratio; an inch is 25.4 mm exactly
# (international yard and pound agreement, 1959; the value is cited from memory).
ON_PAPER = [
    ("1:20", 1000 / 20, 0.1),
    ("1:50", 1000 / 50, 0.2),
    ("1:100", 1000 / 100, 0.5),
    ("1in=5ft", 25.4 / 5, 1.0),
    ("1in=10ft", 25.4 / 10, 2.0),
    ("1in=20ft", 25.4 / 20, 4.0),
]


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(("scale", "unit_mm", "small"), ON_PAPER)
def test_the_lines_of_the_grid_lie_at_true_scale(
    tmp_path: Path, paper: str, scale: str, unit_mm: float, small: float
) -> None:
    path = print_blank(tmp_path, sheets=("grid",), scale=scale, paper=paper)
    image = rendered(path, DPI)
    area = grid_area(scale_named(scale), paper_named(paper))
    top = round((paper_named(paper).height - area.top) / MM * PIXELS_PER_MM)
    foot = round((paper_named(paper).height - area.y) / MM * PIXELS_PER_MM)
    left, right = (round(x / MM * PIXELS_PER_MM) for x in (area.x, area.right))
    for along, part in (
        (0, image[top + 8 : foot - 8, left - 10 : right + 10]),
        (1, image[top - 10 : foot + 10, left + 8 : right - 8]),
    ):
        lines = dark_lines(part, along, 0.9)
        step = np.diff(lines) / PIXELS_PER_MM
        assert len(lines) > 20
        # a pixel is 0.085 mm; over the whole grid the error may not add up
        assert np.abs(step - unit_mm * small).max() < 0.13
        whole = (lines[-1] - lines[0]) / PIXELS_PER_MM
        assert whole == pytest.approx(unit_mm * small * (len(lines) - 1), abs=0.17)
        # every fifth line is darker than all of those between
        ink = part.mean(axis=along)
        around = [ink[round(x) - 3 : round(x) + 4].sum() for x in lines[1:-1]]
        # counted from the lower left corner
        numbers = range(1, len(lines) - 1) if along == 0 else range(len(lines) - 2, 0, -1)
        heavy = [one for number, one in zip(numbers, around, strict=True) if number % 5 == 0]
        light = [one for number, one in zip(numbers, around, strict=True) if number % 5]
        assert max(heavy) < min(light)


@pytest.mark.parametrize(("scale", "length_mm"), [("1:50", 100.0), ("1in=10ft", 101.6)])
def test_the_line_to_check_the_printer_by_is_as_long_as_it_says(
    tmp_path: Path, scale: str, length_mm: float
) -> None:
    path = print_blank(tmp_path, sheets=("grid",), scale=scale)
    said = "100 mm" if length_mm == 100 else "4 in"
    assert f"This line is {said} long" in page_texts(path)[0]
    image = rendered(path, DPI) < 128
    widths = []
    for row in image[round(240 * PIXELS_PER_MM) :]:
        # the longest unbroken run of ink in the row
        edges = np.flatnonzero(np.diff(np.concatenate(([0], row.astype(int), [0]))))
        widths.append((edges[1::2] - edges[::2]).max(initial=0) / PIXELS_PER_MM)
    assert any(width == pytest.approx(length_mm, abs=0.25) for width in widths)


def test_one_inch_to_ten_feet_is_one_to_a_hundred_and_twenty() -> None:
    # 12 inches a foot: 1 in on paper stands for 120 in
    ratios = {scale.name: scale.ratio for scale in SCALES}
    assert ratios == pytest.approx(
        {"1:20": 20, "1:50": 50, "1:100": 100}
        | {f"1in={feet}ft": 12 * feet for feet in (5, 10, 20, 30, 40, 50, 60)}
    )


def test_an_unknown_scale_names_those_there_are() -> None:
    with pytest.raises(TreenailError, match=r"no scale '1:7'.*1:20.*1in=20ft"):
        scale_named("1:7")


def test_the_grid_asks_which_north_and_has_a_bar_with_numbers(tmp_path: Path) -> None:
    text = page_texts(print_blank(tmp_path, sheets=("grid",), scale="1:20"))[0]
    for words in ("Draw north", "Magnetic north", "Plan grid 1:20", "Lower left corner"):
        assert words in text
