"""From the crew's ties to the table of positions, and what a survey says on the way."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from provenance._base.errors import UnusableInput, UnusablePackage
from provenance._base.findings import Finding
from provenance._checks.check import check_package
from provenance._record.package import Package, open_package
from provenance._survey.adjust.adjustment import SurveyResult, adjust_survey, survey_package
from provenance._survey.adjust.readings import take_readings
from provenance._survey.adjust.slips import blunder_hint
from provenance._survey.parts.field_record import read_field_record
from provenance._survey.parts.observation import Kind, Precision
from tests.builders import PackageBuilder, a_package
from tests.survey.scenes import ROOM, a_room, position_of, tape, taped

A, B = (1.2, 1.0, 2.4), (4.9, 3.6, 2.5)
FINE = Precision(tape_sd_m=0.003, height_sd_m=0.003)


def rules(result: SurveyResult) -> list[str]:
    return [finding.rule for finding in result.findings if finding.severity != "note"]


def only(result: SurveyResult, rule: str) -> Finding:
    found = [finding for finding in result.findings if finding.rule == rule]
    assert len(found) == 1, [finding.message for finding in result.findings]
    return found[0]


def a_beam(folder: Path, **element: object) -> PackageBuilder:
    return a_room(folder).with_row("element", length_m=None, **element)


def test_exact_tapes_lead_to_the_ends(tmp_path: Path) -> None:
    package = taped(taped(a_beam(tmp_path), A), B, end="b").package
    result = survey_package(package)
    assert rules(result) == []
    for side, truth in (("a", A), ("b", B)):
        row = position_of(package, f"end:B1-014:{side}")
        assert (row["x_m"], row["y_m"], row["z_m"]) == pytest.approx(truth, abs=2e-4)
        assert (row["found_by"], row["reading_count"], row["redundancy"]) == ("adjusted", 5, 2)
        assert 0.005 < row["u95_minor_m"] <= row["u95_major_m"] < 0.03


def test_what_the_crew_measured_is_not_changed(tmp_path: Path) -> None:
    package = taped(a_beam(tmp_path, xa_m=9, ya_m=9), A).package
    paths = [package.table_path(name) for name in ("element", "tie", "datum", "sample", "site")]
    before = [hashlib.sha256(path.read_bytes()).hexdigest() for path in paths]
    survey_package(package)
    assert [hashlib.sha256(path.read_bytes()).hexdigest() for path in paths] == before


def test_surveying_twice_gives_the_same_table(tmp_path: Path) -> None:
    package = taped(a_beam(tmp_path), A).package
    survey_package(package)
    once = package.table_path("position").read_bytes()
    survey_package(package)
    assert package.table_path("position").read_bytes() == once


def test_the_table_keeps_to_its_schema(tmp_path: Path) -> None:
    """Table Schema as implemented by frictionless."""
    from frictionless import Resource, Schema

    package = taped(taped(a_beam(tmp_path), A), B, end="b").with_row("sample").package
    survey_package(package)
    schema = Schema.from_descriptor(str(package.folder / "schemas" / "position.json"))
    schema.foreign_keys = []
    resource = Resource(path="position.csv", basepath=str(package.folder / "tables"), schema=schema)
    report = resource.validate()
    assert report.valid, report.flatten(["rowNumber", "fieldName", "note"])
    assert report.stats["errors"] == 0


@pytest.mark.parametrize(
    ("slip", "hint"), [(-0.3048, "1 ft"), (0.3048, "1 ft"), (1.0, "1 m"), (-0.1, "10 cm")]
)
def test_a_misread_tape_is_named_with_its_size_and_left_out(
    tmp_path: Path, slip: float, hint: str
) -> None:
    package = taped(a_beam(tmp_path), A, wrong={"D3": slip}).package
    result = survey_package(package, precision=FINE)
    finding = only(result, "survey.misfit")
    assert (finding.table, finding.key, finding.field) == ("tie", "Ta3", "distance_m")
    assert package.table("tie").loc[finding.row, "tie_id"] == "Ta3"
    assert f"that is {hint}" in finding.message
    assert ("too short" if slip < 0 else "too long") in finding.message
    row = position_of(package, "end:B1-014:a")
    assert (row["x_m"], row["y_m"]) == pytest.approx(A[:2], abs=2e-3)
    assert row["left_out_count"] == 1
    left_out = result.residuals[~result.residuals["used"]]
    assert list(left_out["tie_id"]) == ["Ta3"]
    assert left_out["residual"].iloc[0] == pytest.approx(slip, abs=5e-3)


def test_one_tape_too_many_shows_a_blunder_but_not_whose(tmp_path: Path) -> None:
    """With three tapes in the plane all standardised residuals have the same size."""
    flat = {name: place[:2] for name, place in list(ROOM.items())[:3]}
    building = a_room(tmp_path, datums=flat).with_row("element", length_m=None)
    package = taped(building, A[:2], datums=flat, wrong={"D2": 0.3048}).package
    finding = only(survey_package(package, precision=FINE), "survey.misfit_unnamed")
    assert all(f"Ta{number} " in finding.message for number in (1, 2, 3))
    assert "that is 1 ft" in finding.message
    assert "one more distance" in finding.remedy
    assert position_of(package, "end:B1-014:a")["left_out_count"] == 0


def test_digits_that_changed_places_are_guessed() -> None:
    assert blunder_hint(0, 12.57, -0.18, 0.004) == "the tape may have shown 12.75 m"
    assert (
        blunder_hint(3, -1.30, -2.60, 0.02) == "the offset may be on the other side of the baseline"
    )
    assert blunder_hint(0, 12.57, -0.05, 0.002) == ""


def two_tapes(folder: Path, point: tuple[float, float] = (2.0, 3.0)) -> PackageBuilder:
    building = a_room(folder, datums={"D1": (0.0, 0.0), "D2": (6.0, 0.0)})
    flat = {"D1": (0.0, 0.0), "D2": (6.0, 0.0)}
    return taped(building.with_row("element", length_m=None), point, datums=flat)


def test_two_tapes_leave_two_places_and_that_is_said(tmp_path: Path) -> None:
    package = two_tapes(tmp_path).with_row("datum", datum_id="D9", x_m=3, y_m=5).package
    result = survey_package(package)
    finding = only(result, "survey.mirror")
    assert "x 2.00 m, y 3.00 m" in finding.message
    assert "x 2.00 m, y -3.00 m" in finding.message
    assert "D9" in finding.remedy
    row = position_of(package, "end:B1-014:a")
    assert (row["verdict"], row["doubt_share"]) == ("two_places", 0.5)
    assert row["u95_major_m"] is pd.NA
    places = package.typed("position_place")
    assert list(places["place_rank"]) == [1, 2]
    assert (row["x_m"], row["y_m"]) == tuple(places.loc[places.index[0], ["x_m", "y_m"]])
    assert {round(y, 3) for y in places["y_m"]} == {3.0, -3.0}
    # from either place a circle round it reaches beyond the other, 6 m off
    assert 6.0 < row["search_m"] < 6.2


def test_the_outline_of_the_room_tells_which_of_two_places_it_is(tmp_path: Path) -> None:
    package = two_tapes(tmp_path).package
    place = package.table("place")
    place["outline"] = "0 0, 6 0, 6 5, 0 5"
    package.write_table("place", place)
    assert rules(survey_package(package)) == []
    assert position_of(package, "end:B1-014:a")["y_m"] == pytest.approx(3.0, abs=1e-3)


def test_rough_coordinates_tell_which_of_two_places_it_is(tmp_path: Path) -> None:
    package = two_tapes(tmp_path).package
    element = package.table("element")
    element["xa_m"], element["ya_m"] = "2.1", "-2.8"
    element["position_uncertainty_m"] = "0.5"
    package.write_table("element", element)
    assert rules(survey_package(package)) == []
    assert position_of(package, "end:B1-014:a")["y_m"] == pytest.approx(-3.0, abs=1e-3)


def test_a_point_with_one_tape_is_told_what_to_measure(tmp_path: Path) -> None:
    package = a_beam(tmp_path).with_bare_row("tie", **tape("T1", "D1", 2.5)).package
    finding = only(survey_package(package), "survey.underdetermined")
    assert "T1" in finding.message
    assert "one more tape, from D2" in finding.remedy
    assert "height" in finding.remedy
    assert finding.table == "element"


def test_tapes_that_do_not_meet_are_called_so(tmp_path: Path) -> None:
    building = a_room(tmp_path, datums={"D1": (0.0, 0.0), "D2": (6.0, 0.0)}).with_row("element")
    building = building.with_bare_row("tie", **tape("T1", "D1", 2.0))
    package = building.with_bare_row("tie", **tape("T2", "D2", 3.5)).package
    finding = only(survey_package(package), "survey.tapes_do_not_meet")
    assert "0.500 m shorter" in finding.message


def test_a_point_near_the_line_of_its_datums_is_called_weak(tmp_path: Path) -> None:
    flat = {"D1": (0.0, 0.0), "D2": (6.0, 0.0)}
    building = a_room(tmp_path, datums=flat).with_row("element", length_m=None)
    building = building.with_row("datum", datum_id="D9", x_m=3, y_m=5, held=True)
    package = taped(building, (3.0, 0.02), datums=flat).package
    element = package.table("element")
    element["xa_m"], element["ya_m"] = "3.0", "0.05"
    package.write_table("element", element)
    finding = only(survey_package(package), "survey.weak")
    assert "D9" in finding.remedy


def test_an_offset_bearing_and_coordinates_lead_to_the_point(tmp_path: Path) -> None:
    """One end by offset, the hole by compass with declination, the other end by coordinates."""
    building = a_room(tmp_path).with_row("element", length_m=None).with_row("sample", along_m=None)
    common = {"element_id": "B1-014", "from_datum_id": "D1"}
    building = building.with_bare_row(
        "tie",
        tie_id="T1",
        kind="offset",
        to_datum_id="D2",
        element_end="a",
        along_m=4,
        offset_m=-2,
        **common,
    )
    # true = 20 + 10 = 30; the y axis bears 4, so 26 on the grid
    building = building.with_bare_row(
        "tie",
        tie_id="T2",
        kind="bearing",
        sample_id="231",
        bearing_deg=20,
        bearing_reference="magnetic",
        distance_m=3,
        height_m=1.0,
        **common,
    )
    building = building.with_bare_row(
        "tie",
        tie_id="T3",
        kind="coordinate",
        element_id="B1-014",
        element_end="b",
        x_m=1.5,
        y_m=2.5,
        height_m=2.2,
    )
    package = building.package
    assert rules(survey_package(package)) == []
    # D1 to D2 runs east, so 2 m left of it is north
    end = position_of(package, "end:B1-014:a")
    assert (end["x_m"], end["y_m"]) == pytest.approx((4.0, 2.0), abs=1e-4)
    hole = position_of(package, "hole:231")
    turn = np.radians(26)
    assert (hole["x_m"], hole["y_m"]) == pytest.approx(
        (3 * np.sin(turn), 3 * np.cos(turn)), abs=1e-3
    )
    end = position_of(package, "end:B1-014:b")
    assert (end["x_m"], end["y_m"], end["z_m"]) == pytest.approx((1.5, 2.5, 2.2))


@pytest.mark.parametrize(
    ("change", "says", "field"),
    [
        ({"distance_m": None}, "lacks what was measured", "distance_m"),
        ({"from_datum_id": "D77"}, "not measured from a datum", "from_datum_id"),
        ({"element_id": "B9-999"}, "names no point", "element_id"),
        ({"element_end": None}, "which end", "element_end"),
        ({"sample_id": "231"}, "two points", "sample_id"),
        ({"kind": "bearing", "bearing_deg": 20}, "from which north", "bearing_reference"),
    ],
)
def test_a_tie_that_cannot_be_used_is_named_with_its_row(
    tmp_path: Path, change: dict[str, object], says: str, field: str
) -> None:
    row = tape("T1", "D1", 2.5) | change
    row = {key: value for key, value in row.items() if value is not None}
    package = a_beam(tmp_path).with_row("sample").with_bare_row("tie", **row).package
    finding = only(adjust_survey(package), "survey.unusable_tie")
    assert (finding.severity, finding.row, finding.key, finding.field) == ("error", 2, "T1", field)
    assert says in finding.message
    assert finding.remedy


def test_the_deviation_of_a_reading_is_the_one_beside_it(tmp_path: Path) -> None:
    """In sd_m and sd_deg, else in the older field, else as assumed; also with older schemas."""
    bearing = {"kind": "bearing", "bearing_deg": 20, "bearing_reference": "grid"}
    for number, (more, tape_m, turn_deg) in enumerate(
        (
            ({}, 0.01, 1.0),
            ({"uncertainty_m": 0.05}, 0.05, 1.0),
            ({"sd_m": 0.03, "uncertainty_m": 0.05, "sd_deg": 2.5}, 0.03, 2.5),
        )
    ):
        folder = tmp_path / str(number)
        folder.mkdir()
        row = tape("T1", "D1", 3.0) | bearing | more
        package = a_room(folder).with_row("element").with_bare_row("tie", **row).package
        assert _deviations(package) == {Kind.BEARING: turn_deg, Kind.DISTANCE: tape_m}, more
        if "sd_m" not in more:
            path = package.folder / "schemas" / "tie.json"
            schema = json.loads(path.read_text(encoding="utf-8"))
            schema["fields"] = [one for one in schema["fields"] if one["name"][:3] != "sd_"]
            path.write_text(json.dumps(schema), encoding="utf-8")
            table = package.table("tie").drop(columns=["sd_m", "sd_deg"])
            older = open_package(package.folder)
            older.write_table("tie", table)
            assert _deviations(older) == _deviations(package), more
            check_package(older)  # raises when a rule misses the field


def _deviations(package: Package) -> dict[int, float]:
    """Kind of reading → its standard deviation."""
    rows = take_readings(read_field_record(package), Precision(0.01, bearing_sd_deg=1.0)).detail
    return dict(zip(rows.kind.tolist(), rows.sd.tolist(), strict=True))


def test_a_magnetic_bearing_without_declination_is_refused(tmp_path: Path) -> None:
    building = a_package(tmp_path).with_row("site", grid_north_deg=0).with_row("place")
    building = building.with_row("datum", x_m=0, y_m=0, held=True).with_row("element")
    building = building.with_bare_row(
        "tie",
        **tape("T1", "D1", 3) | {"kind": "bearing", "bearing_deg": 20},
        bearing_reference="magnetic",
    )
    assert "no declination" in only(adjust_survey(building.package), "survey.unusable_tie").message


def test_a_bearing_is_turned_by_the_declination_of_its_day(tmp_path: Path) -> None:
    """1 degree in 2020 and 3 in 2024; the y axis bears 4, and the needle showed 20."""
    common = {"from_datum_id": "D1", "kind": "bearing", "bearing_reference": "magnetic"}
    building = a_room(tmp_path).with_row("element", length_m=None)
    for year, degrees in ((2024, 3), (2020, 1)):
        building = building.with_row(
            "declination", declination_id=f"DC{year}", valid_on=year, declination_deg=degrees
        )
    building = building.with_row("sample", along_m=None)
    for number, day in enumerate(("2021", "2024", "2035", "")):
        building = building.with_row("sample", sample_id=f"24{number}", along_m=None)
        building = building.with_bare_row(
            "tie",
            tie_id=f"T{number}",
            sample_id=f"24{number}",
            bearing_deg=20,
            distance_m=3,
            height_m=1.0,
            measured_on=day,
            **common,
        )
    package = building.package
    result = survey_package(package)
    for number, declination in enumerate((1.5, 3, 3)):
        turn = np.radians(20 + declination - 4)
        hole = position_of(package, f"hole:24{number}")
        assert (hole["x_m"], hole["y_m"]) == pytest.approx(
            (3 * np.sin(turn), 3 * np.cos(turn)), abs=1e-3
        )
    undated = only(result, "survey.unusable_tie")
    assert (undated.key, undated.field) == ("T3", "measured_on")
    assert "several declinations" in undated.message
    assert (
        "1 magnetic bearings were taken up to 11 years"
        in only(result, "survey.declination_far").message
    )
    older = _without_table(package, "declination")
    found = adjust_survey(older)
    assert [one.rule for one in found.findings if one.key == "T3"] == []
    check_package(older)  # raises when a rule misses the table


def _without_table(package: Package, name: str) -> Package:
    """The package as of a version that has no such table."""
    for path in (f"schemas/{name}.json", f"tables/{name}.csv"):
        (package.folder / path).unlink()
    resources = [one for one in package.descriptor["resources"] if one["name"] != name]
    package.with_descriptor({"resources": resources})
    return open_package(package.folder)


def test_a_height_recorded_elsewhere_reduces_sloping_tapes(tmp_path: Path) -> None:
    """Without it a tape 3 m long that rises 1 m would be taken as level."""
    datums = {"D1": (0.0, 0.0, 1.0), "D2": (6.0, 0.0, 1.0)}
    building = a_room(tmp_path, datums=datums).with_row("element", za_m=3.0, length_m=None)
    package = taped(building, (2.0, 3.0, 3.0), datums=datums, height=False).package
    place = package.table("place")
    place["outline"] = "0 0, 6 0, 6 5, 0 5"
    package.write_table("place", place)
    survey_package(package)
    row = position_of(package, "end:B1-014:a")
    assert (row["x_m"], row["y_m"]) == pytest.approx((2.0, 3.0), abs=1e-3)
    assert row["remark"] is not None
    assert "level" not in str(row["remark"])


def test_tapes_are_taken_as_level_where_no_height_is_known_and_that_is_said(tmp_path: Path) -> None:
    package = two_tapes(tmp_path).package
    place = package.table("place")
    place["outline"] = "0 0, 6 0, 6 5, 0 5"
    package.write_table("place", place)
    result = survey_package(package)
    assert "survey.tapes_taken_level" in [finding.rule for finding in result.findings]
    assert position_of(package, "end:B1-014:a")["remark"] == "tapes taken as level"


def test_ends_that_are_not_tied_keep_what_was_recorded(tmp_path: Path) -> None:
    building = a_beam(tmp_path, xa_m=1, ya_m=2, za_m=3, position_uncertainty_m=0.1)
    package = building.package
    survey_package(package)
    row = position_of(package, "end:B1-014:a")
    assert (row["found_by"], row["x_m"], row["y_m"], row["z_m"]) == ("recorded", 1, 2, 3)
    assert row["sd_x_m"] == pytest.approx(0.1 / 2.7955, rel=1e-3)


def test_exchanged_ends_are_noticed_against_recorded_coordinates(tmp_path: Path) -> None:
    building = a_beam(tmp_path, xa_m=B[0], ya_m=B[1], za_m=B[2], position_uncertainty_m=0.05)
    result = survey_package(taped(building, A).package)
    assert "exchanged" in only(result, "survey.recorded_elsewhere").remedy


def test_a_length_that_the_ends_contradict_is_noticed(tmp_path: Path) -> None:
    building = a_room(tmp_path).with_row("element", length_m=5.5)
    result = survey_package(taped(taped(building, A), B, end="b").package)
    finding = only(result, "survey.length_differs")
    assert (finding.field, finding.value) == ("length_m", "5.5")


def test_a_hole_taped_away_from_its_wood_is_noticed(tmp_path: Path) -> None:
    building = taped(taped(a_beam(tmp_path), A), B, end="b").with_row("sample", along_m=1.0)
    for number, (datum, place) in enumerate(ROOM.items()):
        distance = float(np.linalg.norm(np.subtract((4.0, 3.0, 2.4), place)))
        building = building.with_bare_row(
            "tie",
            tie_id=f"TS{number}",
            kind="distance",
            from_datum_id=datum,
            sample_id="231",
            distance_m=round(distance, 3),
        )
    finding = only(survey_package(building.package), "survey.hole_off_the_wood")
    assert finding.key == "231"


def test_an_unknown_site_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="no site 'NOPE'; there are HOLL"):
        adjust_survey(a_beam(tmp_path).package, site="NOPE")


def test_surveying_one_site_leaves_the_rows_of_others(tmp_path: Path) -> None:
    building = a_beam(tmp_path, xa_m=1, ya_m=1).with_row("site", site_id="ELSE")
    building = building.with_row("datum", datum_id="E1", site_id="ELSE", x_m=5, y_m=5, held=True)
    package = building.package
    survey_package(package)
    whole = package.table_path("position").read_text("utf-8").splitlines()
    survey_package(package, site="ELSE")
    assert sorted(package.table_path("position").read_text("utf-8").splitlines()) == sorted(whole)


def test_a_package_without_the_table_is_told_how_to_get_it(tmp_path: Path) -> None:
    package = a_beam(tmp_path).package
    (package.folder / "schemas" / "position_place.json").unlink()
    (package.folder / "schemas" / "position.json").unlink()
    from provenance._record.package import open_package

    with pytest.raises(UnusablePackage, match="--update"):
        survey_package(open_package(package.folder))


def test_an_empty_package_gives_an_empty_table(tmp_path: Path) -> None:
    package = a_package(tmp_path).package
    result = survey_package(package)
    assert len(result.positions) == 0
    assert result.findings == ()
    assert package.table("position").empty


def test_crews_better_than_assumed_are_told_so(tmp_path: Path) -> None:
    building = a_room(tmp_path)
    for number in range(6):
        building = building.with_row("element", element_id=f"W{number}", length_m=None)
    package = building.package
    rows = []
    for number in range(6):
        for place, datum in enumerate(ROOM):
            point = (1.0 + number / 2, 2.0, 2.0)
            distance = float(np.linalg.norm(np.subtract(point, ROOM[datum])))
            rows.append(
                tape(f"T{number}{place}", datum, round(distance, 4), element_id=f"W{number}")
            )
        rows.append(
            {"tie_id": f"H{number}", "kind": "height", "element_id": f"W{number}"}
            | {"element_end": "a", "height_m": 2.0}
        )
    frame = pd.DataFrame(rows).reindex(columns=list(package.table("tie").columns))
    package.write_table("tie", frame)
    result = adjust_survey(package)
    assert result.redundancy == 12
    assert result.spread_ratio < 0.1
    assert "less than chance" in only(result, "survey.precision").message
