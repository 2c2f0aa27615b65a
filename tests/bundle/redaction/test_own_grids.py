"""Each building of a public edition on a grid of its own."""

from __future__ import annotations

from decimal import Decimal
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.errors import UnusableInput, UnusablePackage
from provenance._bundle.redaction.candidates import (
    Detail,
    buildings_in_cell,
    cell_published,
    coarse_enough,
)
from provenance._bundle.redaction.own_grids import (
    OwnGrid,
    Size,
    along_the_walls,
    coarse_outline_on,
    outline_on,
    own_grids,
    turned,
)
from provenance._bundle.redaction.redact import redact
from provenance._survey.adjust.adjustment import survey_package
from provenance._survey.hole.hole import hole_position
from provenance._survey.hole.known_points import known_points
from provenance._survey.maps.map_features import map_layers
from provenance._survey.plan.plan_content import plan_content
from tests.builders import PackageBuilder, a_package

SEED = "5a" * 32
ANGLES = st.floats(-400, 400)


@given(ANGLES, st.floats(-50, 50), st.floats(-50, 50))
def test_distances_and_right_angles_stay(turn: float, x: float, y: float) -> None:
    """Against the complex numbers: turning is multiplying by a number of length 1."""
    grid = OwnGrid(12.5, -3.25, 0.0, turn, SEED)
    expected = (complex(x, y) - complex(12.5, -3.25)) * np.exp(-1j * np.radians(turn))
    assert complex(*grid.level(x, y)) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("step", [0.01, 0.002])
def test_no_lattice_shows_how_a_grid_was_turned(step: float) -> None:
    """The share of a lattice's waves that is left when an angle is tried (Rayleigh's statistic)."""
    grid = OwnGrid(0.0, 0.0, 0.0, 23.7, SEED)
    # as a crew wrote them: 40 by 40 values, no two of them alike in the tenth of a step
    values = np.round(np.random.default_rng(1).uniform(0, 80 * step, (2, 40)), 8) // step * step
    written = list(product(*values))

    def waves(points: list[tuple[float, float]], angle: float) -> float:
        back = np.array([turned(*point, angle) for point in points]) / step
        return float(np.abs(np.exp(2j * np.pi * back).mean(axis=0)).max())

    plain = [grid.level(*point) for point in written]
    shown = [grid.shown(*point) for point in written]
    assert waves(plain, 23.7) > 0.99
    # of 40 values a side, chance alone leaves a sixth of the waves
    assert waves(shown, 23.7) < 0.45
    assert max(np.hypot(*np.subtract(plain, shown).T)) <= 0.01 * np.sqrt(0.5) + 1e-9
    assert shown == [OwnGrid(0.0, 0.0, 0.0, 23.7, SEED).shown(*point) for point in written]


@given(ANGLES, st.floats(3, 30), st.floats(0.2, 0.8))
def test_the_axes_follow_the_walls_however_the_building_lies(
    turn: float, length: float, share: float
) -> None:
    corners = [(0.0, 0.0), (length, 0.0), (length, length * share), (0.0, length * share)]
    found = along_the_walls([turned(x, y, turn) for x, y in corners])
    assert (found - turn + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)


def test_an_outline_begins_next_to_the_zero_and_a_buildings_is_made_coarse() -> None:
    grid = OwnGrid(10.0, 20.0, 0.0, 90.0, SEED)
    corners = ("5 20", "5 27.4", "10 27.4", "10 20")
    wanted = [(0, 0), (7.4, 0), (7.4, 5), (0, 5)]
    for first, way in product(range(4), (1, -1)):
        written = ", ".join([*corners[first:], *corners[:first]][::way])
        exact = outline_on(grid, written)
        assert exact
        told = [tuple(map(float, one.split())) for one in exact.split(",")]
        assert np.abs(np.subtract(told, wanted)).max() <= 0.0101
        assert coarse_outline_on(grid, written, 1) == "0 0, 8 0, 8 5, 0 5"
        assert coarse_outline_on(grid, written, 2) == "0 0, 8 0, 8 6, 0 6"
    shed = "10 20, 10 27.4, 5 27.4, 5 24, 7.6 24, 7.6 20"
    assert coarse_outline_on(grid, shed, 1) == "0 0, 8 0, 8 5, 4 5, 4 2, 0 2"
    assert coarse_outline_on(grid, shed, 2, box=True) == "0 0, 8 0, 8 6, 0 6"
    for none in ("no outline", "0 0, 1e400 0, 1 1", "", "1 NaN, 2 2, 3 3"):
        assert outline_on(grid, none) is None
        assert coarse_outline_on(grid, none, 1) is None
    assert coarse_outline_on(grid, "5 20, 5 20, 5 20", 1) is None


# -- how coarse ----------------------------------------------------------------------------------


def test_cells_are_widened_first_and_then_the_building_that_tells_most_is_hidden() -> None:
    house, mill = Size(9.0, 6.5, 4, True), Size(41.0, 4.0, 12, True)
    sites = [{"A": house, "B": mill, "C": house}]
    asked = Decimal("0.1")
    one = coarse_enough([{"A": house}], asked, 6000, said=False)
    assert (one.cell, one.details, one.is_coarser) == (asked, {"A": Detail.TO_1_M}, False)
    two = coarse_enough([{"A": house, "C": house}], asked, 6000, said=False)
    assert two.holds
    assert two.cell
    assert (two.cell > asked, set(two.details.values())) == (True, {Detail.TO_1_M})
    three = coarse_enough(sites, asked, 6000, said=False)
    assert three.holds
    assert [three.details[one] > Detail.TO_2_M for one in "ABC"] == [False, True, False]
    # who has an edition of the small cell looks for the later one's buildings there
    later = coarse_enough(sites, asked, 6000, said=False, published=asked)
    assert later.holds
    assert sum(one > Detail.TO_2_M for one in later.details.values()) > 1
    # where only outlines are shown, they alone need to be coarser
    drawn = Size(9.0, 6.5, 4, False)
    outlines = coarse_enough([{"A": drawn, "B": drawn}], Decimal(2), 1, said=True)
    assert set(outlines.details.values()) == {Detail.TO_2_M}
    # of ten houses whose logs are measured nothing is left to hide
    logs = Size(9.0, 6.5, 4, True, True, True)
    hopeless = coarse_enough([{str(n): logs for n in range(10)}], asked, 50, said=True)
    assert not hopeless.holds
    assert (hopeless.cell, set(hopeless.details.values())) == (None, {Detail.NOTHING})


@pytest.mark.parametrize("number", [0, -3, "many", 2.5, True])
def test_a_number_of_buildings_that_is_none_is_refused(tmp_path: Path, number: object) -> None:
    package = a_package(tmp_path).with_chain().package
    assert buildings_in_cell(package) == (6000, False)
    assert buildings_in_cell(package.with_descriptor({"publicBuildingsInCell": 40})) == (40, True)
    with pytest.raises(UnusablePackage, match="'publicBuildingsInCell' is"):
        buildings_in_cell(package.with_descriptor({"publicBuildingsInCell": number}))


def test_a_published_cell_is_read_and_one_of_no_such_size_is_refused(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    assert cell_published(package) is None
    for said in (0.1, "0.1"):
        assert cell_published(package.with_descriptor({"publicCellShown": said})) == Decimal("0.1")
    with pytest.raises(UnusablePackage, match=r"'publicCellShown' is '0\.3'"):
        cell_published(package.with_descriptor({"publicCellShown": "0.3"}))


def test_a_posts_diameters_go_with_the_axes_and_its_clock_is_blank(tmp_path: Path) -> None:
    """Its hole too, where it was placed by that clock: beside the post it shows the site grid."""
    builder = two_houses(tmp_path)
    builder.with_row("element", element_id="B1-P", diameter_a1_cm="30", diameter_a2_cm="20",
                     xa_m="101", ya_m="51", za_m="3", xb_m="101", yb_m="51", zb_m="5")  # fmt: skip
    builder.with_row("sample", sample_id="233", element_id="B1-P", clock="3")
    package = builder.package
    survey_package(package)
    grid = own_grids(package, str(package.descriptor["editionKey"])).grids["B1"]
    public = redact(package, tmp_path / "public").package
    post = public.table("element").set_index("element_id").loc["B1-P"]
    told = (post["diameter_a1_cm"], post["diameter_a2_cm"])
    assert told == (("20", "30") if grid.swaps_axes else ("30", "20"))
    clocks = public.table("sample").set_index("sample_id")["clock"]
    assert (clocks["233"], clocks["231"]) == ("", "3")
    points = public.table("position").set_index("position_id")
    assert (points.loc["hole:233", "x_m"], points.loc["hole:233", "corr_xy"]) == ("", "")
    assert points.loc["hole:231", "x_m"] != ""


# -- what is made of it --------------------------------------------------------------------------


def two_houses(folder: Path) -> PackageBuilder:
    """Two houses side by side, each with a beam, a hole in it and four datums; and a loose beam."""
    builder = a_package(folder).with_chain()
    builder.with_row("place", place_id="B2", name="South house")
    for house, x in (("B1", 100.0), ("B2", 108.0)):
        beam = "B1-014" if house == "B1" else "B2-001"
        if house == "B2":
            builder.with_row("element", element_id=beam, place_id="B2")
            builder.with_row("sample", sample_id="232", element_id=beam)
        for number, (dx, dy) in enumerate(((0, 0), (5, 0), (5, 4), (0, 4)), start=1):
            builder.with_row("datum", datum_id=f"{house}-D{number}", place_id=house, held=True,
                             x_m=x + dx, y_m=50 + dy, z_m=3 + number / 10)  # fmt: skip
    builder.with_row("element", element_id="X-1", place_id=None, xa_m="90", ya_m="90", za_m="1",
                     xb_m="94.2", yb_m="90", zb_m="1")  # fmt: skip
    package = builder.package
    wood = package.table("element").set_index("element_id")
    for beam, x in (("B1-014", 100.5), ("B2-001", 108.5)):
        wood.loc[beam, ["xa_m", "ya_m", "za_m", "xb_m", "yb_m", "zb_m"]] = [
            str(one) for one in (x, 51, 5, x + 4.2, 51, 5)
        ]
    package.write_table("element", wood.reset_index())
    # so many that no plan has to be given up
    package.with_descriptor({"publicBuildingsInCell": 10_000_000})
    return builder


def test_nothing_is_measured_from_one_grid_to_another(tmp_path: Path) -> None:
    package = two_houses(tmp_path).package
    public = redact(package, tmp_path / "public").package
    known = known_points(public)
    full = hole_position(package, "231")
    hole = hole_position(public, "231", known=known)
    assert full.nearest
    assert (full.nearest.sample_id, hole.nearest) == ("232", None)
    assert {tape.datum_id[:2] for tape in hole.tapes} == {"B1"}
    tapes = {tape.datum_id: tape.distance_m for tape in full.tapes}
    for tape in hole.tapes:
        assert tape.distance_m == pytest.approx(tapes[tape.datum_id], abs=0.02)
    content = plan_content(public, known, "B2")
    assert ([one.element_id for one in content.woods], content.own_grid) == (["B2-001"], True)
    assert {one.datum_id[:2] for one in content.datums} == {"B2"}
    with pytest.raises(UnusableInput, match="each building has its own grid"):
        map_layers(public, known)


def test_wood_in_no_building_is_on_a_grid_of_its_own(tmp_path: Path) -> None:
    public = redact(two_houses(tmp_path).package, tmp_path / "public").package
    wood = public.table("element").set_index("element_id").loc["X-1"]
    told = [float(wood[name]) for name in ("xa_m", "ya_m", "za_m", "xb_m", "yb_m", "zb_m")]
    assert told == pytest.approx([0, 0, 0, 4.2, 0, 0], abs=0.011)
