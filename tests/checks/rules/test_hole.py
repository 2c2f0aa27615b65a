"""The hole a core leaves, and the length of core it can give."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import Record, a_sound_record, only

LONG = "sample.longer_than_wood"


def core(length_mm: float, **values: str) -> Record:
    return a_sound_record().but("sample", length_mm=length_mm, **values)


def test_a_core_longer_than_its_beam_is_an_error() -> None:
    """22 cm at end A and 20 cm at end B are 214 mm at 1.25 of 4.2 m."""
    only(core(240).says(LONG), "sample 2 length_mm", "240 mm", "B1-014", "214 mm")


def test_a_core_through_the_whole_beam_is_sound() -> None:
    assert core(214).says(LONG) == []


def test_a_caliper_and_a_broken_core_are_allowed_their_few_per_cent() -> None:
    """214 mm and 5 per cent and 10 mm are 234.7 mm."""
    assert core(234).says(LONG) == []
    assert core(235).says(LONG) != []


@pytest.mark.parametrize(("along", "through"), [("0", "220"), ("4.2", "200")])
def test_the_taper_of_the_wood_counts(along: str, through: str) -> None:
    only(core(300, along_m=along).says(LONG), f"{through} mm")


def test_without_a_position_the_thicker_end_counts() -> None:
    only(core(300, along_m="").says(LONG), "220 mm")


def test_squared_wood_can_be_drilled_through_its_diagonal() -> None:
    """3 4 5: 30 by 40 cm have a diagonal of 50 cm."""
    squared = core(500, along_m="").but(
        "element",
        shape="sawn",
        diameter_a1_cm="30",
        diameter_a2_cm="40",
        diameter_b1_cm="30",
        diameter_b2_cm="40",
    )
    assert squared.says(LONG) == []
    only(squared.but("sample", length_mm="540").says(LONG), "500 mm")


def test_a_plank_with_one_reading_does_not_tell_how_wide_it_is() -> None:
    plank = core(300).but(
        "element",
        shape="sawn",
        diameter_a1_cm="4",
        diameter_a2_cm="",
        diameter_b1_cm="",
        diameter_b2_cm="",
    )
    assert plank.says(LONG) == []


def test_wood_with_one_end_measured_may_be_thicker_at_the_hole() -> None:
    """12 cm at end B and 1.5 cm a metre over 4.2 - 1.2 m are 165 mm."""
    thin_end = core(180, along_m="1.2").but(
        "element", diameter_a1_cm="", diameter_a2_cm="", diameter_b1_cm="12", diameter_b2_cm=""
    )
    assert thin_end.says(LONG) == []
    only(thin_end.but("sample", length_mm="190").says(LONG), "165 mm")


def test_an_oblique_core_may_be_longer() -> None:
    assert core(300, direction="oblique").says(LONG) == []
    only(core(400, direction="oblique").says(LONG), "321 mm")


def test_a_core_drilled_into_the_end_may_be_as_long_as_the_wood() -> None:
    assert core(1000, direction="end").says(LONG) == []
    short = core(1000, direction="end").but("element", length_m="0.5")
    only(short.says(LONG), "500 mm")


def test_a_slice_is_no_thicker_than_its_wood_is_long() -> None:
    broken = core(5000, kind="cross_section")
    only(broken.says("sample.slice_thicker_than_wood_is_long"), "5000 mm", "4.2 m")


def test_a_position_beyond_the_end_of_the_wood_is_an_error() -> None:
    broken = a_sound_record().but("sample", along_m="4.3")
    only(broken.says("sample.position_beyond_wood"), "along_m", "4.3 m", "4.2 m")
    at_the_end = a_sound_record().but("sample", along_m="4.2")
    assert at_the_end.says("sample.position_beyond_wood") == []


@pytest.mark.parametrize(
    ("along", "clock", "field", "lacking"),
    [
        ("", "", "along_m", "neither its distance"),
        ("", "3", "along_m", "its distance from end A is not given"),
        ("1", "", "clock", "its clock position is not given"),
    ],
)
def test_a_hole_needs_its_position(along: str, clock: str, field: str, lacking: str) -> None:
    broken = a_sound_record().but("sample", along_m=along, clock=clock)
    only(broken.says("sample.hole_without_position"), f"sample 2 {field}", lacking)


def test_a_slice_needs_no_clock_position() -> None:
    sound = a_sound_record().but("sample", kind="cross_section", clock="")
    assert sound.says("sample.hole_without_position") == []


def test_two_holes_side_by_side_are_noted() -> None:
    broken = a_sound_record().with_row("sample", sample_id="232", along_m="1.30")
    only(broken.says("sample.holes_close"), "231 and 232", "B1-014", "0.05 m")


def test_holes_on_opposite_sides_are_as_far_apart_as_the_wood_is_thick() -> None:
    sound = a_sound_record().with_row("sample", sample_id="232", along_m="1.30", clock="9")
    assert sound.says("sample.holes_close") == []


def test_twelve_and_nought_on_the_clock_are_one_place() -> None:
    broken = a_sound_record().but("sample", clock="12")
    broken = broken.with_row("sample", sample_id="232", along_m="1.30", clock="0")
    only(broken.says("sample.holes_close"), "0.05 m")


def test_a_core_needs_its_bore() -> None:
    only(a_sound_record().but("sample", bore_mm="").says("sample.core_without_bore"), "231")


@pytest.mark.parametrize("bore", ["12.7", "15.875", "22.225", "16", "22"])
def test_bores_of_half_five_eighths_and_seven_eighths_of_an_inch_are_usual(bore: str) -> None:
    """1 in is exactly 25.4 mm (international yard and pound agreement 1959)."""
    assert a_sound_record().but("sample", bore_mm=bore).says("sample.bore_unusual") == []


def test_the_diameter_of_the_core_written_down_for_the_bore_is_noted() -> None:
    broken = a_sound_record().but("sample", bore_mm="9")
    only(broken.says("sample.bore_unusual"), "9 mm", "12.7 mm, 15.9 mm, 19.0 mm, 22.2 mm")


@pytest.mark.parametrize(
    ("rule", "wood", "inside", "outside"),
    [
        # drilled into the end of 0.2 m: 200 mm and 5 per cent and 10 mm
        (
            "longer_than_wood",
            {"length_m": "0.2"},
            {"direction": "end", "length_mm": "220"},
            {"direction": "end", "length_mm": "220.1"},
        ),
        (
            "slice_thicker_than_wood_is_long",
            {},
            {"kind": "cross_section", "length_mm": "4210"},
            {"kind": "cross_section", "length_mm": "4211"},
        ),
        ("position_beyond_wood", {}, {"along_m": "4.25"}, {"along_m": "4.26"}),
        ("bore_unusual", {}, {"bore_mm": "12.3"}, {"bore_mm": "12.29"}),
        ("bore_unusual", {}, {"bore_mm": "13.09"}, {"bore_mm": "13.11"}),
        ("bore_unusual", {}, {"bore_mm": "22.62"}, {"bore_mm": "22.63"}),
    ],
)
def test_what_a_rule_about_a_hole_allows_ends_where_it_says(
    rule: str, wood: dict[str, str], inside: dict[str, str], outside: dict[str, str]
) -> None:
    record = a_sound_record().but("element", **wood)
    assert record.but("sample", **inside).says(f"sample.{rule}") == []
    only(record.but("sample", **outside).says(f"sample.{rule}"), "sample 2")


@pytest.mark.parametrize(("along", "told"), [("0.1", False), ("0.099", True)])
def test_holes_a_hand_apart_are_not_close(along: str, told: bool) -> None:
    pair = a_sound_record().but("sample", along_m="0")
    pair = pair.with_row("sample", sample_id="232", along_m=along)
    assert bool(pair.says("sample.holes_close")) is told


@pytest.mark.parametrize(("clock", "told"), [("3.8", True), ("4", False)])
def test_holes_at_one_height_are_as_far_apart_as_the_chord_between_them(
    clock: str, told: bool
) -> None:
    """Round wood of 20 cm: a chord is 200 mm x sin(half the angle), 41.6 mm at 0.8 hours (24
    degrees), 51.8 mm at an hour; with 0.09 m along the wood 99.1 mm and 103.8 mm."""
    sizes = ("diameter_a1_cm", "diameter_a2_cm", "diameter_b1_cm", "diameter_b2_cm")
    pair = a_sound_record().but("element", **dict.fromkeys(sizes, "20"))
    pair = pair.with_row("sample", sample_id="232", along_m="1.34", clock=clock)
    assert bool(pair.says("sample.holes_close")) is told


@pytest.mark.parametrize(
    ("ends", "along", "through"),
    [
        # one end measured: 15 mm a metre thicker to the hole, or over the whole length of 4.2 m
        ({"diameter_a1_cm": "12"}, "1.2", "138 mm"),
        ({"diameter_a1_cm": "12"}, "", "183 mm"),
        ({"diameter_b1_cm": "12"}, "", "183 mm"),
        ({"diameter_b1_cm": "12"}, "4.25", "120 mm"),
        ({"diameter_a1_cm": "12", "length_m": ""}, "", "120 mm"),
    ],
)
def test_wood_measured_at_one_end_is_taken_as_thick_as_it_may_be(
    ends: dict[str, str], along: str, through: str
) -> None:
    sizes = ("diameter_a1_cm", "diameter_a2_cm", "diameter_b1_cm", "diameter_b2_cm")
    wood = dict.fromkeys(sizes, "") | ends
    record = core(900, along_m=along).but("element", **wood)
    only(record.says(LONG), f"only about {through}")


def test_without_a_shape_two_readings_may_be_those_of_squared_wood() -> None:
    """3 4 5: 30 by 40 cm are 500 mm through if squared, 400 mm if round."""
    sizes = {"diameter_a1_cm": "30", "diameter_a2_cm": "40"}
    ends = {"diameter_b1_cm": "30", "diameter_b2_cm": "40"}
    unsaid = core(900).but("element", shape="", **sizes, **ends)
    only(unsaid.says(LONG), "500 mm")
    only(unsaid.but("element", shape="round").says(LONG), "400 mm")
    single = unsaid.but("element", diameter_a2_cm="", diameter_b2_cm="")
    only(single.says(LONG), "300 mm")


def test_a_hole_just_beyond_the_end_is_as_thick_as_the_end() -> None:
    """The position may be 0.05 m beyond the wood; the taper does not go on there."""
    steep = core(900, along_m="4.25").but("element", diameter_b1_cm="5", diameter_b2_cm="5")
    only(steep.says(LONG), "only about 50 mm")
    before = core(900, along_m="-0.1").but("element", diameter_b1_cm="5", diameter_b2_cm="5")
    only(before.says(LONG), "only about 220 mm")


def test_only_holes_lie_side_by_side_and_only_where_both_have_a_place() -> None:
    beside = {"sample_id": "232", "along_m": "1.3"}
    slice_ = a_sound_record().with_row("sample", **beside, kind="cross_section")
    assert slice_.says("sample.holes_close") == []
    unplaced = a_sound_record().with_row("sample", sample_id="230", along_m="")
    unplaced = unplaced.with_row("sample", **beside)
    only(unplaced.says("sample.holes_close"), "231 and 232")


@pytest.mark.parametrize("lacking", ["clock", "sizes"])
def test_without_clock_or_thickness_only_the_way_along_the_wood_counts(lacking: str) -> None:
    pair = a_sound_record().with_row("sample", sample_id="232", along_m="1.30", clock="9")
    if lacking == "clock":
        pair = pair.but("sample", "232", clock="")
    else:
        sizes = ("diameter_a1_cm", "diameter_a2_cm", "diameter_b1_cm", "diameter_b2_cm")
        pair = pair.but("element", **dict.fromkeys(sizes, ""))
    only(pair.says("sample.holes_close"), "0.05 m")
