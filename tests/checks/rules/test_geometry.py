"""Fixed points and measurements."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import Record, a_sound_record, only


def tie(**values: str) -> Record:
    """The sound record with its one measurement changed."""
    return a_sound_record().but("tie", **values)


def to_end(count: int = 1, **values: str) -> Record:
    """The sound record with `count` tapes to end A of the beam."""
    record = a_sound_record()
    for number in range(count):
        more = {"tie_id": f"T{number + 2}", "target_datum_id": "", "element_id": "B1-014"}
        record = record.with_row("tie", **more | {"element_end": "a"} | values)
    return record


@pytest.mark.parametrize(
    ("kind", "field"),
    [
        ("distance", "distance_m"),
        ("offset", "along_m"),
        ("bearing", "bearing_deg"),
        ("height", "height_m"),
        ("coordinate", "x_m"),
    ],
)
def test_a_measurement_has_the_figure_its_kind_needs(kind: str, field: str) -> None:
    broken = tie(kind=kind, distance_m="")
    only(broken.says("geometry.measure_missing"), f"tie 2 {field}", kind, "T1")


def test_an_offset_needs_both_its_figures() -> None:
    broken = tie(kind="offset", along_m="2")
    only(broken.says("geometry.measure_missing"), "tie 2 offset_m")


@pytest.mark.parametrize(
    ("kind", "field"), [("distance", "from_datum_id"), ("offset", "to_datum_id")]
)
def test_a_measurement_starts_at_a_datum(kind: str, field: str) -> None:
    broken = tie(kind=kind, **{field: ""})
    only(broken.says("geometry.datum_missing"), f"tie 2 {field}")


def test_a_height_and_coordinates_need_no_datum() -> None:
    assert tie(kind="height", from_datum_id="").says("geometry.datum_missing") == []


def test_a_measurement_says_what_was_measured() -> None:
    only(tie(target_datum_id="").says("geometry.no_target"), "tie 2", "T1")


def test_a_tape_ends_at_one_point() -> None:
    broken = tie(sample_id="231")
    only(broken.says("geometry.two_targets"), "sample 231", "datum D2", "wood ?")


def test_a_measurement_to_wood_says_to_which_end() -> None:
    only(to_end(element_end="").says("geometry.end_missing"), "tie 3 element_end", "B1-014")


@pytest.mark.parametrize("field", ["to_datum_id", "target_datum_id"])
def test_there_is_no_line_from_a_datum_to_itself(field: str) -> None:
    only(tie(**{field: "D1"}).says("geometry.datum_to_itself"), f"tie 2 {field}", "D1")


def test_a_bearing_says_from_which_north() -> None:
    broken = tie(kind="bearing", bearing_deg="120")
    only(broken.says("geometry.bearing_without_reference"), "bearing_reference", "120 degrees")


def test_a_measurement_has_one_standard_deviation() -> None:
    broken = tie(sd_m="0.003", uncertainty_m="0.005")
    only(broken.says("geometry.two_deviations"), "tie 2 uncertainty_m", "T1", "3 mm", "5 mm")
    for sound in (
        tie(sd_m="0.003"),
        tie(uncertainty_m="0.005"),
        tie(sd_m="5e-3", uncertainty_m=".005"),
    ):
        assert sound.says("geometry.two_deviations") == []


def test_magnetic_bearings_need_the_declination() -> None:
    magnetic = tie(kind="bearing", bearing_deg="120", bearing_reference="magnetic")
    assert magnetic.says("geometry.no_declination") == []
    broken = magnetic.but("site", declination_deg="")
    only(broken.says("geometry.no_declination"), "site 2 declination_deg", "magnetic bearings (1)")


def test_magnetic_bearings_need_the_declination_of_their_day() -> None:
    magnetic = tie(kind="bearing", bearing_deg="120", bearing_reference="magnetic")
    alone = magnetic.without("declination").but("site", declination_deg="")
    dated = alone.with_row("declination", valid_on="2020-07-02")
    assert dated.says("geometry.no_declination") == []
    # five years are as much as a compass is good to (common practice, no source)
    for day, far in (("2025-06-20", False), ("2025-08", True), ("2014", True), ("", False)):
        said = dated.but("tie", measured_on=day).says("geometry.declination_far")
        assert bool(said) is far, day
    only(dated.but("tie", measured_on="2035").says("geometry.declination_far"), "T1", "15 years")
    assert dated.says("geometry.bearing_without_day") == []
    several = dated.with_row("declination", declination_id="DC2", valid_on="2024")
    only(several.but("tie", measured_on="").says("geometry.bearing_without_day"), "T1", "HOLL")
    assert several.but("tie", measured_on="2022").says("geometry.bearing_without_day") == []
    only(
        alone.with_row("declination", declination_deg="").says("geometry.no_declination"), "site 2"
    )


@pytest.mark.parametrize("reference", ["magnetic", "true"])
def test_bearings_need_the_direction_of_the_grid(reference: str) -> None:
    record = tie(kind="bearing", bearing_deg="120", bearing_reference=reference)
    broken = record.but("site", grid_north_deg="")
    only(broken.says("geometry.no_grid_north"), "site 2 grid_north_deg")


def test_bearings_from_the_grid_itself_need_neither() -> None:
    record = tie(kind="bearing", bearing_deg="120", bearing_reference="grid")
    record = record.but("site", grid_north_deg="", declination_deg="")
    assert record.says("geometry.no_grid_north") == record.says("geometry.no_declination") == []


def test_a_datum_without_coordinates_and_without_measurements_is_reported() -> None:
    broken = a_sound_record().with_bare_row("datum", datum_id="D3", site_id="HOLL", kind="nail")
    only(broken.says("geometry.datum_not_placed"), "datum 4 x_m", "D3")
    only(broken.says("geometry.datum_unused"), "D3")


def test_a_datum_that_a_tape_leads_to_needs_no_coordinates() -> None:
    sound = a_sound_record().but("datum", "D2", x_m="", y_m="")
    assert sound.says("geometry.datum_not_placed") == []


def test_a_grid_has_a_held_datum() -> None:
    only(a_sound_record().but("datum", "D1", held="false").says("geometry.nothing_held"), "HOLL")


def test_a_held_datum_has_coordinates() -> None:
    broken = a_sound_record().but("datum", "D1", y_m="")
    only(broken.says("geometry.held_without_coordinates"), "D1")


def test_nothing_is_measured_from_one_site_to_another() -> None:
    broken = to_end().with_row("site", site_id="OTHR").but("element", site_id="OTHR")
    only(broken.says("geometry.measured_across_sites"), "D1 of site HOLL", "B1-014 of site OTHR")


@pytest.mark.parametrize("count", [1, 2])
def test_one_or_two_tapes_do_not_fix_a_point(count: int) -> None:
    """Two circles meet in two points."""
    broken = to_end(count)
    only(broken.says("geometry.too_few_distances"), "tie 3", "B1-014 end a", f"{count} distance")


def test_three_tapes_or_two_and_an_offset_fix_a_point() -> None:
    assert to_end(3).says("geometry.too_few_distances") == []
    offset = {"tie_id": "T9", "kind": "offset", "to_datum_id": "D2", "along_m": "1"}
    more = {"element_id": "B1-014", "element_end": "a", "target_datum_id": "", "offset_m": "2"}
    assert to_end(2).with_row("tie", **offset | more).says("geometry.too_few_distances") == []


def ends(**values: str) -> Record:
    """The beam of 4.2 m between (0, 0, 0) and (4.2, 0, 0) unless said otherwise."""
    at = {"xa_m": "0", "ya_m": "0", "za_m": "0", "xb_m": "4.2", "yb_m": "0", "zb_m": "0"}
    return a_sound_record().but("element", **at | {"position_uncertainty_m": "0.05"} | values)


def test_half_a_position_of_an_end_is_an_error() -> None:
    only(ends(ya_m="").says("geometry.half_an_end"), "element 2 ya_m", "End A")


def test_the_ends_lie_as_far_apart_as_the_wood_is_long() -> None:
    """3 4 5 in plan, and 2 3 6 7 in space."""
    assert ends().says("geometry.ends_and_length_disagree") == []
    plan = ends(length_m="5", xb_m="3", yb_m="4")
    assert plan.says("geometry.ends_and_length_disagree") == []
    space = ends(length_m="7", xb_m="2", yb_m="3", zb_m="6")
    assert space.says("geometry.ends_and_length_disagree") == []
    broken = space.but("element", length_m="6.2")
    only(broken.says("geometry.ends_and_length_disagree"), "6.2 m long", "7 m apart")


def test_without_heights_the_ends_of_a_rafter_may_be_close_in_plan() -> None:
    rafter = ends(xb_m="2", zb_m="")
    assert rafter.says("geometry.ends_and_length_disagree") == []
    too_far = ends(xb_m="6", zb_m="")
    only(too_far.says("geometry.ends_and_length_disagree"), "6 m apart")


def test_coordinates_of_ends_need_their_uncertainty() -> None:
    """JCGM 100:2008 (GUM)."""
    broken = ends(position_uncertainty_m="")
    only(broken.says("geometry.position_without_uncertainty"), "B1-014")


AT = {"xa_m": "10", "ya_m": "20", "za_m": "5", "yb_m": "20", "zb_m": "5"}


@pytest.mark.parametrize(
    ("length", "apart", "uncertainty", "told"),
    [
        # 0.15 m are allowed on short wood, 5 per cent on long, twice the uncertainty on any
        ("1", "1.149", "", False),
        ("1", "1.151", "", True),
        ("1", "0.851", "", False),
        ("1", "0.849", "", True),
        ("10", "10.5", "0.05", False),
        ("10", "10.51", "0.05", True),
        ("1", "1.5", "0.25", False),
        ("1", "1.51", "0.25", True),
    ],
)
def test_ends_and_length_may_differ_as_far_as_tape_and_position_are_off(
    length: str, apart: str, uncertainty: str, told: bool
) -> None:
    beam = ends(**AT, length_m=length, xb_m=str(10 + float(apart)))
    beam = beam.but("element", position_uncertainty_m=uncertainty)
    assert bool(beam.says("geometry.ends_and_length_disagree")) is told


def test_the_whole_allowance_may_be_used() -> None:
    """10 m and 5 per cent of them."""
    assert ends(length_m="10", xb_m="10.5").says("geometry.ends_and_length_disagree") == []


@pytest.mark.parametrize(("apart", "told"), [("1.149", False), ("1.151", True)])
def test_without_heights_ends_too_far_apart_in_plan_are_reported(apart: str, told: bool) -> None:
    beam = ends(length_m="1", xb_m=apart, za_m="", zb_m="", position_uncertainty_m="")
    assert bool(beam.says("geometry.ends_and_length_disagree")) is told


def test_a_datum_in_half_a_place_is_not_placed() -> None:
    broken = a_sound_record().with_bare_row(
        "datum", datum_id="D3", site_id="HOLL", kind="nail", x_m="1"
    )
    only(broken.says("geometry.datum_not_placed"), "datum 4", "D3")
    broken = broken.but("datum", "D3", held="true")
    only(broken.says("geometry.held_without_coordinates"), "D3")


@pytest.mark.parametrize("end", ["xa_m", "xb_m"])
def test_one_end_with_coordinates_needs_its_uncertainty_too(end: str) -> None:
    beam = a_sound_record().but("element", **{end: "1"}, position_uncertainty_m="")
    only(beam.says("geometry.position_without_uncertainty"), "B1-014")
