"""Coordinates made coarse, and site grids counted from another zero."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from provenance._base.errors import UnusableInput
from provenance._bundle.redaction.places import (
    cell_radius_m,
    counted_from,
    middle_of_cell,
    outline_from,
    read_grid,
    zero_of,
)

DEGREES = st.decimals(-90, 90, places=6)
LONG_DEGREES = st.decimals(-180, 180, places=6)
GRIDS = st.sampled_from([Decimal("0.01"), Decimal("0.1"), Decimal("0.5"), Decimal(1)])


@given(DEGREES, LONG_DEGREES, GRIDS)
def test_the_widened_radius_holds_the_true_place(
    latitude: Decimal, longitude: Decimal, grid: Decimal
) -> None:
    """By the geodesic of PROJ on WGS 84, which knows nothing of cells."""
    north, east = middle_of_cell(latitude, grid, 90), middle_of_cell(longitude, grid, 180)
    assert north is not None
    assert east is not None
    _, _, apart = Geod(ellps="WGS84").inv(
        float(longitude), float(latitude), float(east), float(north)
    )
    assert apart <= cell_radius_m(north, grid, None)


@given(DEGREES, GRIDS, st.decimals(0, 1, places=3, allow_nan=False))
def test_all_of_one_cell_look_the_same(latitude: Decimal, grid: Decimal, share: Decimal) -> None:
    """So that nothing nearer than the cell can be read out of the number."""
    south = (latitude / grid).to_integral_value("ROUND_FLOOR") * grid
    other = south + grid * share * Decimal("0.999")
    if abs(other) < 90 and abs(south) < 90:
        assert middle_of_cell(other, grid, 90) == middle_of_cell(south, grid, 90)


def test_the_poles_and_the_date_line_stay_on_the_globe() -> None:
    assert middle_of_cell(Decimal(90), Decimal("0.1"), 90) == Decimal("89.95")
    assert middle_of_cell(Decimal(-180), Decimal("0.1"), 180) == Decimal("-179.95")
    assert middle_of_cell(Decimal("90.01"), Decimal("0.1"), 90) is None


@pytest.mark.parametrize("text", ["0", "-1", "wide", "20", "0.001", "NaN", ""])
def test_a_grid_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(UnusableInput, match="no size of a cell"):
        read_grid(text)


@given(st.decimals(-(10**7), 10**7, places=3), st.decimals(-(10**7), 10**7, places=3))
def test_distances_on_the_site_grid_stay(one: Decimal, other: Decimal) -> None:
    zero = Decimal(451000)
    a, b = counted_from(str(one), zero), counted_from(str(other), zero)
    assert a is not None
    assert b is not None
    assert Decimal(a) - Decimal(b) == one - other


def test_an_outline_keeps_its_shape_and_its_figures() -> None:
    outline = "451251.10 5731261.50, 451259.20 5731261.50, 451259.20 5731268.60"
    assert outline_from(outline, Decimal(451250), Decimal(5731260)) == (
        "1.10 1.50, 9.20 1.50, 9.20 8.60"
    )
    assert outline_from("no outline", Decimal(0), Decimal(0)) is None


@pytest.mark.parametrize("text", ["0.01", "10", "0.010"])
def test_a_cell_may_be_a_hundredth_of_a_degree_to_ten_degrees(text: str) -> None:
    assert read_grid(text) == Decimal(text)


@pytest.mark.parametrize("text", ["0.009", "10.001"])
def test_a_cell_finer_or_wider_than_that_is_refused(text: str) -> None:
    with pytest.raises(UnusableInput, match="no size of a cell"):
        read_grid(text)


@pytest.mark.parametrize(
    ("degrees", "limit", "middle"),
    [
        ("0", 90, "0.05"),
        ("0.1", 90, "0.15"),
        ("89.95", 90, "89.95"),
        ("-90", 90, "-89.95"),
        ("-90.01", 90, None),
        ("180", 180, "179.95"),
        ("180.01", 180, None),
        ("179.9", 180, "179.95"),
    ],
)
def test_a_cell_begins_at_its_lower_edge(degrees: str, limit: int, middle: str | None) -> None:
    found = middle_of_cell(Decimal(degrees), Decimal("0.1"), limit)
    assert found == (None if middle is None else Decimal(middle))


@pytest.mark.parametrize(
    ("latitude", "uncertainty", "radius"),
    [
        # 111.7 km x 0.05 x the root of 2 are 7898.4 m; 101.5 m more are just under 8000
        ("0", None, 7900),
        ("0.05", "101.6", 8000),
        ("0.05", "101.7", 8100),
        # beside the pole the lower edge of the cell is the wider one
        ("89.95", "0", 5600),
    ],
)
def test_the_radius_of_a_cell_is_half_its_diagonal_and_what_was_uncertain(
    latitude: str, uncertainty: str | None, radius: int
) -> None:
    known = None if uncertainty is None else Decimal(uncertainty)
    assert cell_radius_m(Decimal(latitude), Decimal("0.1"), known) == radius


@pytest.mark.parametrize(
    ("value", "zero", "told"),
    [("5.0", 5, "0.0"), ("4.5", 5, "-0.5"), ("-3.25", -4, "0.75"), ("x", 0, None)],
)
def test_a_coordinate_is_counted_from_its_zero(value: str, zero: int, told: str | None) -> None:
    assert counted_from(value, Decimal(zero)) == told


def test_the_zero_is_the_whole_metre_below_the_lowest_value() -> None:
    assert zero_of([Decimal("7.5"), Decimal("-3.25")]) == -4
    assert zero_of([Decimal("7.0")]) == 7
    assert zero_of([]) == 0
