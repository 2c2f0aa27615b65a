"""What may be wrong with readings, how much they scatter, and whether ranges hold."""

from __future__ import annotations

import importlib.util
from itertools import combinations
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from scipy.linalg import null_space
from scipy.stats import chi2, f, multivariate_normal

from provenance._survey.adjust.adjustment import adjust_survey, survey_package
from provenance._survey.adjust.blunders import single_shares, weigh
from provenance._survey.adjust.scatter import GROUPS, Scatter, measured_scatter
from provenance._survey.hole.hole import hole_position
from provenance._survey.parts.observation import Floats, Kind
from provenance._survey.parts.solve import Rows, solve_points
from tests.survey.scenes import ROOM, a_room, no_errors, position_of, tape, taped

A = (1.2, 1.0, 2.4)
THREE = {name: ROOM[name] for name in ("D1", "D2", "D3")}


@pytest.fixture(scope="module")
def ranges() -> ModuleType:
    """The benchmark that simulates whole surveys."""
    path = Path(__file__).parents[2] / "benchmarks" / "ranges.py"
    spec = importlib.util.spec_from_file_location("ranges", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    import sys

    sys.modules["ranges"] = module
    spec.loader.exec_module(module)
    return module


def test_hypotheses_weigh_as_much_as_the_density_of_what_all_places_have_in_common() -> None:
    """scipy.stats.multivariate_normal of the readings in the null space of the equations.

    Coordinates are straight equations, so that the closed form must be exact.
    """
    sd = np.array([0.02, 0.03, 0.02, 0.02, 0.03, 0.02, 0.01])
    kind = np.array([Kind.X, Kind.X, Kind.X, Kind.Y, Kind.Y, Kind.Y, Kind.HEIGHT])
    reading = np.array([1.0, 1.02, 1.31, 2.0, 1.99, 2.12, 0.5])
    none = np.full(7, -1)
    rows = Rows(np.zeros(7, dtype=int), kind, none, none, reading, sd, np.arange(7))
    where = np.zeros((0, 3)), no_errors(0)
    begin = np.array([[1.0, 2.0, 0.5]])
    found = weigh(rows, *where, solve_points(rows, *where, begin, np.array([True])), np.array([0]))
    design = np.zeros((7, 3))
    design[np.arange(7), np.array([0, 0, 0, 1, 1, 1, 2])] = 1
    space = null_space(design.T)
    listed = [tuple(int(one) for one in wrong if one >= 0) for wrong in found.wrong]
    expected = np.zeros(len(listed))
    for number, wrong in enumerate(listed):
        spread = np.where(np.isin(np.arange(7), wrong), np.hypot(sd, 0.5), sd)
        density = multivariate_normal(cov=space.T @ np.diag(spread**2) @ space)
        prior = (0.01 / 0.99) ** len(wrong)
        expected[number] = prior * density.pdf(space.T @ reading)
    # nothing says whether the only height is wrong
    assert {*listed} == {(), *((one,) for one in range(6)), *combinations(range(6), 2)}
    np.testing.assert_allclose(found.share, expected / expected.sum(), rtol=1e-3, atol=1e-9)
    assert listed[0] == (2, 5)


def test_one_solution_tells_how_likely_each_single_blunder_is() -> None:
    """The same mixture in closed form: what `weigh` finds by solving each hypothesis."""
    sd, kind = np.full(4, 0.02), np.array([Kind.X, Kind.X, Kind.X, Kind.Y])
    reading, none = np.array([1.0, 1.01, 1.06, 2.0]), np.full(4, -1)
    rows = Rows(np.zeros(4, dtype=int), kind, none, none, reading, sd, np.arange(4))
    where, begin = (np.zeros((0, 3)), no_errors(0)), np.array([[1.0, 2.0, np.nan]])
    solved = solve_points(rows, *where, begin, np.array([False]))
    found = weigh(rows, *where, solved, np.array([0]))
    shares = single_shares(kind, solved.standard_residual, solved.blunder, solved.blunder_sd)
    by_wrong = {int(one): share for (one, _), share in zip(found.wrong, found.share, strict=True)}
    assert shares[3] == 0.0
    assert [by_wrong[at] for at in (0, 1, 2, -1)] == pytest.approx(list(shares[[0, 1, 2, 4]]))


@pytest.mark.parametrize("df", [0.0, 6.0, 400.0])
def test_a_range_pays_for_a_scatter_that_is_an_estimate(df: float) -> None:
    """97 % point of F(2, df + 4) by scipy.stats.f, against 95 % of chi-square."""
    scatter = Scatter.as_assumed(1)
    scatter.df[0, 0] = df
    expected = 2 * f.ppf(0.97, 2, df + 4) / chi2.ppf(0.95, 2)
    assert scatter.stretch(np.array([0]))[0] == pytest.approx(expected)


@pytest.mark.parametrize("factor", [0.25, 1.0, 9.0])
def test_scatter_is_measured_kind_by_kind_and_blunders_do_not_count(factor: float) -> None:
    """2,000 residuals of tapes and of heights; 5 in 100 of the tapes are blunders."""
    chance = np.random.default_rng(4)
    square = chance.normal(size=4000) ** 2
    square[:2000] *= factor
    square[:100] = chance.uniform(50, 5000, 100)
    group = np.repeat([0, 4], 2000)
    site = np.zeros(4000, dtype=int)
    found = measured_scatter(site, group, square, np.full(4000, 0.4), 1)
    assert found.measured[0, 0] == pytest.approx(factor, rel=0.1)
    assert found.measured[0, 4] == pytest.approx(1.0, rel=0.1)
    # never narrower than assumed
    assert found.taken[0, 0] == pytest.approx(max(factor, 1.0), rel=0.1)
    assert np.isnan(found.measured[0, GROUPS.index("bearings")])


def test_three_tapes_and_a_height_with_one_tape_off_are_in_conflict(tmp_path: Path) -> None:
    building = a_room(tmp_path, datums=THREE).with_row("element", length_m=None)
    package = taped(building, A, datums=THREE, wrong={"D3": 0.30}).package
    result = survey_package(package)
    row = position_of(package, "end:B1-014:a")
    assert (row["verdict"], row["left_out_count"]) == ("conflict", 0)
    blank = [str(row[f"u95_{name}"]) for name in ("major_m", "minor_m", "axis_deg", "height_m")]
    assert set(blank) == {"<NA>"}
    places = package.typed("position_place")
    assert list(places["place_rank"]) == [1, 2, 3, 4]
    assert 0.98 < places["place_share"].sum() <= 1.0
    assert row["doubt_share"] == pytest.approx(1 - places["place_share"].iloc[0], abs=2e-3)
    first = places.iloc[0]
    assert [row[f"{axis}_m"] for axis in "xyz"] == [first[f"{axis}_m"] for axis in "xyz"]
    off = {
        words.split()[0]: np.hypot(x - A[0], y - A[1])
        for words, x, y in zip(places["wrong_readings"], places["x_m"], places["y_m"], strict=True)
    }
    # where D3's tape is the wrong one, the point is where it was taped
    assert off["Ta3"] < 0.01 < min(off["Ta1"], off["Ta2"], off["TaH"])
    assert np.hypot(row["x_m"] - A[0], row["y_m"] - A[1]) < row["search_m"]
    (finding,) = (one for one in result.findings if one.rule == "survey.misfit_unnamed")
    assert "Ta3 (distance 6.659 m from D3) would be 0.300 m too long" in finding.message
    assert "No 95 % range is given" in finding.message


def test_simulated_ranges_hold_where_they_are_given(tmp_path: Path, ranges: ModuleType) -> None:
    """Seeded; benchmarks/ranges.py has more. 93 of 100, less what 240 points leave to chance."""
    chance = np.random.default_rng(8)
    foot = {"hit_share": 0.25, "size": (0.30, 0.3001)}
    points = ranges.judged(
        ranges.simulated(tmp_path / "3", "3T+H", 1.0, sites=6, chance=chance, **foot)
    )
    hit = points[points["hit"]]
    assert len(hit) > 45
    # nothing tells which of three tapes is wrong, so that none of these is given a range
    assert set(hit["verdict"]) <= {"conflict", "unchecked"}
    assert (hit["verdict"] == "conflict").mean() > 0.93
    assert hit["searched"].mean() > 0.97
    points = ranges.judged(
        ranges.simulated(tmp_path / "4", "4T+H", 2.0, sites=6, chance=chance, wrong_share=0.02)
    )
    given = points[points["verdict"].isin(["fits", "one_left_out"])]
    assert len(given) > 0.9 * len(points)
    assert given["held"].mean() > 0.91
    assert given["height_held"].mean() > 0.91
    # twice the scatter, twice the range: 1.3 cm as assumed
    assert given["major"].median() == pytest.approx(0.026, abs=0.005)


def wooden(folder: Path, **sample: object):  # type: ignore[no-untyped-def]
    """A beam whose ends have exact tapes, with a hole 1 m from A at 3 o'clock."""
    building = a_room(folder).with_row("element", length_m=None, shape="round")
    building = taped(taped(building, A), (4.9, 3.6, 2.5), end="b")
    return building.with_row("sample", **{"along_m": 1.0, "clock": 3} | sample)


def taped_hole(building, by: Floats, wrong: float = 0.0):  # type: ignore[no-untyped-def]
    """Three tapes and a height to the hole of 231, the third tape `wrong` by so much."""
    for number, (datum, place) in enumerate(THREE.items()):
        distance = float(np.linalg.norm(by - place)) + (wrong if number == 2 else 0.0)
        row = tape(f"TS{number}", datum, round(distance, 4)) | {"element_id": "", "element_end": ""}
        building = building.with_bare_row("tie", **row | {"sample_id": "231"})
    height = {"tie_id": "TSH", "kind": "height", "sample_id": "231"}
    return building.with_bare_row("tie", **height, height_m=round(float(by[2]), 4))


def test_the_wood_tells_which_tape_to_a_hole_is_wrong(tmp_path: Path) -> None:
    place = np.array(hole_position(wooden(tmp_path / "before").package, "231").entry_m)
    package = taped_hole(wooden(tmp_path / "after"), place, 0.30).package
    survey_package(package)
    row = position_of(package, "hole:231")
    assert (row["verdict"], row["left_out"]) == ("one_left_out", "TS2")
    assert np.hypot(row["x_m"] - place[0], row["y_m"] - place[1]) < 0.02
    assert row["wood_gap_m"] < 0.02 < row["wood_gap_limit_m"]


def test_a_distance_taken_from_end_b_is_recognized(tmp_path: Path) -> None:
    right = wooden(tmp_path / "before", along_m=3.2).package
    place = np.array(hole_position(right, "231").entry_m)
    length = float(np.linalg.norm(np.subtract(A, (4.9, 3.6, 2.5))))
    building = wooden(tmp_path / "after", along_m=round(length - 3.2, 3))
    package = taped_hole(building, place).package
    result = survey_package(package)
    row = position_of(package, "hole:231")
    assert row["verdict"] == "one_left_out"
    assert row["wood_gap_m"] == pytest.approx(2 * 3.2 - length, abs=0.05)
    (finding,) = (one for one in result.findings if one.rule == "survey.hole_off_the_wood")
    assert "it would fit if that distance had been taken from end B" in finding.message


def test_a_hole_inherits_the_doubt_of_the_end_it_was_measured_from(tmp_path: Path) -> None:
    building = a_room(tmp_path, datums=THREE).with_row("element", length_m=None)
    building = taped(building, A, datums=THREE, wrong={"D3": 0.30})
    building = taped(building, (4.9, 3.6, 2.5), end="b", datums=THREE)
    package = building.with_row("sample", along_m=1.0, clock=3).package
    survey_package(package)
    end, hole = (position_of(package, key) for key in ("end:B1-014:a", "hole:231"))
    assert (end["verdict"], hole["verdict"], hole["found_by"]) == (
        "conflict", "conflict", "geometry"
    )  # fmt: skip
    assert str(hole["u95_major_m"]) == "<NA>"
    places = package.typed("position_place").set_index("position_id")
    of_end, of_hole = places.loc["end:B1-014:a"], places.loc["hole:231"]
    assert list(of_hole["wrong_readings"]) == list(of_end["wrong_readings"])
    # the hole lies a quarter of the way to end B, and goes with end A by the rest
    length = float(np.linalg.norm(np.subtract(A, (4.9, 3.6, 2.5))))
    moved = of_hole["x_m"].diff().iloc[1] / of_end["x_m"].diff().iloc[1]
    assert moved == pytest.approx(1 - 1.0 / length, abs=0.02)


def test_conflicting_ties_between_datums_widen_what_is_measured_from_them(tmp_path: Path) -> None:
    """D4 hangs on two tapes and its own coordinates, and one of the three is wrong."""
    building = a_room(tmp_path, datums=THREE)
    building = building.with_row("datum", datum_id="D4", x_m=0, y_m=5.3, z_m=2, uncertainty_m=0.02)
    rough = {"xa_m": 1.2, "ya_m": 1.0, "position_uncertainty_m": 1}
    building = building.with_row("element", length_m=None, **rough)
    for number, datum in enumerate(("D1", "D3")):
        distance = float(np.linalg.norm(np.subtract(ROOM["D4"], ROOM[datum])))
        row = {"tie_id": f"C{number}", "kind": "distance", "from_datum_id": datum}
        building = building.with_bare_row(
            "tie", **row, target_datum_id="D4", distance_m=round(distance, 4)
        )
    package = taped(building, A, datums={"D1": ROOM["D1"], "D4": ROOM["D4"]}).package
    survey_package(package)
    datum, end = (position_of(package, key) for key in ("datum:D4", "end:B1-014:a"))
    assert datum["verdict"] == "conflict"
    assert str(datum["u95_major_m"]) == "<NA>"
    places = package.typed("position_place").set_index("position_id").loc[["datum:D4"]]
    assert min(np.hypot(places["x_m"], places["y_m"] - 5.0)) < 0.05
    assert end["u95_major_m"] > 0.1


def test_a_package_without_the_newer_columns_is_surveyed_as_before(tmp_path: Path) -> None:
    import json

    from provenance._record.package import open_package

    building = a_room(tmp_path, datums=THREE).with_row("element", length_m=None)
    package = taped(building, A, datums=THREE, wrong={"D3": 0.30}).package
    (package.folder / "schemas" / "position_place.json").unlink()
    path = package.folder / "schemas" / "position.json"
    schema = json.loads(path.read_text("utf-8"))
    schema["fields"] = [
        one for one in schema["fields"] if one["name"] not in ("verdict", "search_m")
    ]
    path.write_text(json.dumps(schema), "utf-8")
    package.table_path("position").unlink(missing_ok=True)
    package.table_path("position_place").unlink(missing_ok=True)
    package = open_package(package.folder)
    result = survey_package(package)
    assert "verdict" not in package.table("position").columns
    assert not (package.folder / "tables" / "position_place.csv").exists()
    assert len(result.place_table) == 4


def test_places_of_other_sites_stay_when_one_is_surveyed(tmp_path: Path) -> None:
    building = a_room(tmp_path, datums=THREE).with_row("element", length_m=None)
    building = taped(building, A, datums=THREE, wrong={"D3": 0.30}).with_row("site", site_id="ELSE")
    package = building.package
    survey_package(package)
    before = package.table_path("position_place").read_text("utf-8")
    assert before.count("\n") == 5
    survey_package(package, site="ELSE")
    assert package.table_path("position_place").read_text("utf-8") == before
    assert len(adjust_survey(package, site="ELSE").place_table) == 0
