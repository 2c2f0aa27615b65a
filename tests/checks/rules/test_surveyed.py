"""What the survey found about a point is a finding until it is put right."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import Record, a_sound_record, only

HOLE = {"position_id": "hole:231", "site_id": "HOLL", "point_kind": "hole", "sample_id": "231"}
END = {
    "position_id": "end:B1-014:a",
    "site_id": "HOLL",
    "point_kind": "element_end",
    "element_id": "B1-014",
    "element_end": "a",
}


def surveyed(row: dict[str, str], verdict: str = "fits", **values: str) -> Record:
    return a_sound_record().with_bare_row("position", **row, verdict=verdict, **values)


@pytest.mark.parametrize(
    ("rule", "verdict"),
    [
        ("geometry.readings_conflict", "conflict"),
        ("geometry.two_places", "two_places"),
        ("geometry.reading_left_out", "one_left_out"),
        ("geometry.unchecked_points", "unchecked"),
    ],
)
def test_each_verdict_is_a_finding_of_its_own_rule_alone(rule: str, verdict: str) -> None:
    only(surveyed(END, verdict).says(rule), "position 2", "end A of B1-014")
    for other in ("fits", "", *{"conflict", "two_places", "one_left_out", "unchecked"} - {verdict}):
        assert surveyed(END, other).says(rule) == [], other


def test_a_conflict_says_how_wide_to_search_and_a_reading_left_out_names_its_tie() -> None:
    conflict = surveyed(HOLE, "conflict", search_m="0.418")
    only(conflict.says("geometry.readings_conflict"), "the hole of 231", "within 42 cm")
    left_out = surveyed(HOLE, "one_left_out", left_out="T7")
    only(left_out.says("geometry.reading_left_out"), "left_out", "T7")


def test_a_hole_computed_from_wood_in_doubt_adds_no_finding_to_that_of_the_wood() -> None:
    computed = surveyed(HOLE, "conflict", found_by="geometry")
    assert computed.says("geometry.readings_conflict") == []
    taped = surveyed(HOLE, "conflict", found_by="adjusted")
    only(taped.says("geometry.readings_conflict"), "the hole of 231")


def test_a_hole_may_lie_as_far_off_the_wood_as_readings_scatter() -> None:
    rule = "geometry.hole_off_the_wood"
    off = surveyed(HOLE, wood_gap_m="0.051", wood_gap_limit_m="0.05")
    only(off.says(rule), "the hole of 231", "6 cm", "5 cm", "end B")
    assert surveyed(HOLE, wood_gap_m="0.05", wood_gap_limit_m="0.05").says(rule) == []
    assert surveyed(HOLE, wood_gap_m="0.40").says(rule) == []


def test_many_unchecked_points_are_one_note_a_site() -> None:
    record = a_sound_record()
    for number in range(9):
        row = HOLE | {"position_id": f"hole:{number}", "sample_id": str(number)}
        record = record.with_bare_row("position", **row, verdict="unchecked")
    only(record.says("geometry.unchecked_points"), "9 points", "hole of 4 and more")
