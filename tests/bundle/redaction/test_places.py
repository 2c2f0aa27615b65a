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
