"""Latitudes and longitudes made coarse."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from provenance._base.errors import UnusableInput
from provenance._bundle.redaction.places import (
    CELLS,
    cell_radius_m,
    cells_of,
    middle_of_cell,
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


@pytest.mark.parametrize(
    "text", ["0", "-1", "wide", "20", "0.001", "NaN", "", "0.05", "0.5", "0.009", "10.001"]
)
def test_a_grid_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(UnusableInput, match="is not a size of a cell"):
        read_grid(text)


@given(DEGREES, st.sampled_from(CELLS), st.sampled_from(CELLS))
def test_two_editions_of_different_cells_tell_no_more_than_the_finer_one(
    latitude: Decimal, one: Decimal, other: Decimal
) -> None:
    fine, wide = sorted((one, other))
    inner, outer = (middle_of_cell(latitude, cell, 90) for cell in (fine, wide))
    assert inner is not None
    assert outer is not None
    assert abs(inner - outer) + fine / 2 <= wide / 2


@given(DEGREES, LONG_DEGREES, st.decimals(-3, 3, places=4), st.decimals(-3, 3, places=4))
def test_sites_near_each_other_are_in_one_cell_whose_radius_holds_all_of_them(
    latitude: Decimal, longitude: Decimal, north: Decimal, east: Decimal
) -> None:
    """By the geodesic of PROJ on WGS 84, which knows nothing of cells."""
    grid = Decimal("0.1")
    sites = [(latitude, longitude), (latitude + north * grid, longitude + east * grid)]
    one, two = cells_of(sites, grid)
    if one is None or two is None:
        assert abs(sites[1][0]) > 90 or abs(sites[1][1]) > 180
        return
    if max(abs(north), abs(east)) <= 1:
        assert one == two
    for cell, (site_latitude, site_longitude) in zip((one, two), sites, strict=True):
        _, _, apart = Geod(ellps="WGS84").inv(
            float(site_longitude), float(site_latitude), float(cell.longitude), float(cell.latitude)
        )
        assert apart <= cell.radius_m(grid, None)


IN_CELL = st.tuples(*[st.decimals(0, "0.0999", places=4)] * 2)
APART = st.tuples(*[st.decimals("-0.1", "0.1", places=4)] * 2)


@given(IN_CELL, IN_CELL, APART)
def test_who_knows_how_two_near_sites_lie_to_each_other_learns_the_cell_alone(
    here: tuple[Decimal, Decimal], there: tuple[Decimal, Decimal], apart: tuple[Decimal, Decimal]
) -> None:
    """Wherever the first one lies in its cell, the edition shows the same."""
    shown = []
    for one in (here, there):
        first = (one[0] + Decimal("51.4"), one[1] - Decimal("1.3"))
        shown.append(cells_of([first, (first[0] + apart[0], first[1] + apart[1])], Decimal("0.1")))
    assert shown[0] == shown[1]


def test_a_site_that_is_nowhere_has_no_cell_and_a_far_one_its_own() -> None:
    here, far = (Decimal("51.47"), Decimal("-1.28")), (Decimal("51.75"), Decimal("-1.28"))
    found = cells_of([here, (None, Decimal(3)), far], Decimal("0.1"))
    assert [one and (str(one.latitude), one.reach) for one in found] == [
        ("51.45", 0), None, ("51.75", 0),
    ]  # fmt: skip


@pytest.mark.parametrize("text", ["0.01", "10", "0.010"])
def test_a_cell_may_be_a_hundredth_of_a_degree_to_ten_degrees(text: str) -> None:
    assert read_grid(text) == Decimal(text)


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
