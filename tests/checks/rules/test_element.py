"""One piece of wood."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import Record, a_sound_record, only, rules


def test_wood_marked_as_sampled_without_a_sample_is_reported() -> None:
    broken = a_sound_record().without("sample")
    only(broken.says("element.sampled_without_sample"), "element 2 sampled", "B1-014")


def test_a_sample_from_wood_that_is_marked_as_not_sampled_is_reported() -> None:
    broken = a_sound_record().but("element", sampled=False)
    only(broken.says("element.sample_not_marked"), "B1-014", "sample 231")


def test_sampled_wood_needs_its_thickness() -> None:
    sizes = dict.fromkeys(
        ("diameter_a1_cm", "diameter_a2_cm", "diameter_b1_cm", "diameter_b2_cm"), ""
    )
    only(a_sound_record().but("element", **sizes).says("element.sampled_without_size"), "B1-014")


def test_wood_thicker_than_a_metre_and_a_half_is_reported_at_the_reading() -> None:
    broken = a_sound_record().but("element", diameter_b2_cm="190")
    only(broken.says("element.too_thick"), "element 2 diameter_b2_cm", "190 cm")


def test_two_readings_of_a_round_end_are_nearly_alike() -> None:
    broken = a_sound_record().but("element", diameter_a2_cm="12")
    only(broken.says("element.readings_unlike"), "end A", "22 and 12")


def test_a_plank_may_be_much_wider_than_thick() -> None:
    plank = a_sound_record().but("element", diameter_a2_cm="4", shape="sawn")
    assert plank.says("element.readings_unlike") == []
    only(plank.but("element", diameter_a2_cm="1").says("element.readings_unlike"), "sawn")


def test_readings_that_do_not_fit_the_cross_section_are_reported() -> None:
    def wood(shape: str, *sizes: str, diagonal: str = "") -> Record:
        names = ("diameter_a1_cm", "diameter_a2_cm", "diameter_b1_cm", "diameter_b2_cm")
        values = dict(zip(names, sizes, strict=True))
        return a_sound_record().but("element", shape=shape, diagonal_cm=diagonal, **values)

    cases = [
        (
            "one_reading_of_worked_wood",
            wood("hewn", "20", "18", "19", ""),
            ("diameter_b1", "end B"),
        ),
        ("one_reading_of_worked_wood", wood("round", "20", "18", "19", ""), None),
        ("one_reading_of_worked_wood", wood("hewn", "20", "18", "", ""), None),
        ("half_round_too_deep", wood("half_round", "20", "15", "18", "9"), None),
        ("half_round_too_deep", wood("half_round", "9", "18", "15.1", "20"), ("end B", "15.1")),
        ("plank_too_thick", wood("plank", "20", "10", "20", "4"), None),
        ("plank_too_thick", wood("plank", "10.1", "20", "4", "20"), ("end A", "10.1 by 20")),
        # 15, 20 and 25 are a right triangle; of the thicker end, whichever that is
        ("diagonal_implausible", wood("hewn", "10", "9", "15", "20", diagonal="26.3"), None),
        (
            "diagonal_implausible",
            wood("hewn", "10", "9", "15", "20", diagonal="26.4"),
            ("26.4 cm from", "15 by 20", "20 to 25 cm"),
        ),
        ("diagonal_implausible", wood("waney", "15", "20", "10", "9", diagonal="19.1"), None),
        ("diagonal_implausible", wood("waney", "15", "20", "10", "9", diagonal="19"), ("19 cm",)),
        ("round_corners_not_measured", wood("waney", "15", "20", "10", "9"), ("B1-014",)),
        ("round_corners_not_measured", wood("waney", "15", "20", "10", ""), None),
        ("round_corners_not_measured", wood("waney", "15", "20", "10", "9", diagonal="22"), None),
    ]
    for rule, record, words in cases:
        found = record.says(f"element.{rule}")
        if words:
            only(found, *words)
        else:
            assert found == [], rule


def test_the_end_that_is_called_a_may_be_the_thinner_one() -> None:
    """Which end is which is the crew's choice; no rule says anything about it."""
    turned = a_sound_record().but(
        "element",
        diameter_a1_cm="20",
        diameter_a2_cm="19",
        diameter_b1_cm="22",
        diameter_b2_cm="21",
    )
    for rule in rules():
        if rule.startswith("element."):
            assert turned.says(rule) == [], rule


def test_width_and_height_exchanged_at_one_end_are_noted() -> None:
    squared = a_sound_record().but(
        "element",
        shape="hewn",
        diameter_a1_cm="20",
        diameter_a2_cm="30",
        diameter_b1_cm="29",
        diameter_b2_cm="19",
    )
    only(squared.says("element.readings_exchanged"), "20 and 30", "29 and 19")
    upright = squared.but("element", diameter_b1_cm="19", diameter_b2_cm="29")
    assert upright.says("element.readings_exchanged") == []


def test_an_end_read_in_inches_shows_as_a_taper_that_no_tree_has() -> None:
    """24 cm are 9.45 in (1 in is exactly 2.54 cm)."""
    broken = a_sound_record().but(
        "element", length_m="2", diameter_b1_cm="9.4", diameter_b2_cm="9.1"
    )
    only(broken.says("element.taper_implausible"), "21.5 cm", "9.2 cm", "6.1 % of its length")


def test_wood_thicker_than_long_is_noted() -> None:
    broken = a_sound_record().but("element", length_m="0.2")
    only(broken.says("element.thicker_than_long"), "22 cm thick", "0.2 m long")


def test_a_peg_of_four_metres_is_reported() -> None:
    broken = a_sound_record().but("element", function="peg")
    only(broken.says("element.longer_than_its_use"), "element 2 length_m", "4.2 m", "peg")


@pytest.mark.parametrize("features", ["0.4: nail; 4.9: mortise", "4.9:mortise"])
def test_a_joint_beyond_the_end_of_the_wood_is_reported(features: str) -> None:
    broken = a_sound_record().but("element", features=features)
    only(broken.says("element.feature_beyond_its_end"), "4.2 m long", "at 4.9 m")


@pytest.mark.parametrize("features", ["0.4: nail; 4.2: tenon", "0.4: nail 12.5 cm long", "notch"])
def test_other_figures_in_the_features_are_no_distances(features: str) -> None:
    sound = a_sound_record().but("element", features=features)
    assert sound.says("element.feature_beyond_its_end") == []


def test_wood_recorded_in_another_year_than_the_visit_is_noted() -> None:
    broken = a_sound_record().but("element", recorded_on="2023-06-04")
    only(broken.says("element.recorded_outside_visit"), "2023-06-04", "2024-06-03")


@pytest.mark.parametrize(
    ("rule", "inside", "outside"),
    [
        ("too_thick", {"diameter_b2_cm": "150"}, {"diameter_b2_cm": "150.1"}),
        # 24 to 15 is 1.6, 36 to 3 is 12
        (
            "readings_unlike",
            {"diameter_b1_cm": "24", "diameter_b2_cm": "15"},
            {"diameter_b1_cm": "24", "diameter_b2_cm": "14.9"},
        ),
        (
            "readings_unlike",
            {"diameter_b1_cm": "36", "diameter_b2_cm": "3", "shape": "sawn"},
            {"diameter_b1_cm": "36", "diameter_b2_cm": "2.9", "shape": "sawn"},
        ),
        ("thicker_than_long", {"length_m": "0.22"}, {"length_m": "0.219"}),
        ("longer_than_its_use", {"function": "lintel", "length_m": "6"}, {"length_m": "6.01"}),
        ("feature_beyond_its_end", {"features": "4.25: nail"}, {"features": "4.26: nail"}),
        ("recorded_outside_visit", {"recorded_on": "2024-06-03"}, {"recorded_on": "2024-06-02"}),
        ("recorded_outside_visit", {"recorded_on": "2024-06-14"}, {"recorded_on": "2024-06-15"}),
    ],
)
def test_what_a_rule_about_wood_allows_ends_where_it_says(
    rule: str, inside: dict[str, str], outside: dict[str, str]
) -> None:
    allowed = a_sound_record().but("element", **inside)
    assert allowed.says(f"element.{rule}") == []
    only(allowed.but("element", **outside).says(f"element.{rule}"), "element 2")


def test_readings_are_exchanged_from_a_quarter_of_difference_and_within_a_tenth() -> None:
    """20 by 25 cm are a quarter apart; 18 is a tenth from 20, and 27.5 from 25 less than that."""
    sizes = {"diameter_a1_cm": "20", "diameter_a2_cm": "25"}
    ends = {"diameter_b1_cm": "27.5", "diameter_b2_cm": "18"}
    squared = a_sound_record().but("element", shape="hewn", **sizes, **ends)
    rule = "element.readings_exchanged"
    only(squared.says(rule), "20 and 25")
    assert squared.but("element", diameter_a2_cm="24.9").says(rule) == []
    assert squared.but("element", diameter_b2_cm="17.9").says(rule) == []
    assert squared.but("element", diameter_b1_cm="28").says(rule) == []


def test_a_taper_is_judged_from_half_a_metre_and_beyond_six_centimetres_a_metre() -> None:
    """21.5 cm at end A; 18.5 cm half a metre on are a taper of 6 %."""
    rule = "element.taper_implausible"
    short = a_sound_record().but("element", length_m="0.5", diameter_b1_cm="19")
    assert short.but("element", diameter_b2_cm="18").says(rule) == []
    steep = short.but("element", diameter_b2_cm="17.9")
    only(steep.says(rule), "6.1 % of its length")
    assert steep.but("element", length_m="0.49").says(rule) == []
    flared = short.but("element", diameter_b1_cm="26", diameter_b2_cm="26")
    only(flared.says(rule), "9 % of its length")


@pytest.mark.parametrize(
    ("rule_id", "faulty", "sound"),
    [
        ("height_implausible", {"height_a_m": 30.1}, {"height_a_m": 30, "height_b_m": -6}),
        (
            "rises_more_than_its_length",
            {"height_a_m": 2, "height_b_m": 6.4},
            {"height_a_m": 2, "height_b_m": 6.2},
        ),
        ("full_length_short", {"full_length_m": 4.1}, {"full_length_m": 4.2}),
        (
            "faces_swapped",
            {"width_cm": 5, "thickness_cm": 25},
            {"width_cm": 5, "thickness_cm": 5},
        ),
        ("nominal_size_form", {"nominal_size": "2 by 6 in"}, {"nominal_size": "1 1/2 x 12"}),
        (
            "like_count_unexplained",
            {"like_count": 2},
            {"like_count": 2, "like_count_how": "counted"},
        ),
        ("several_in_one_row_sampled", {"like_count": 2}, {"like_count": 1}),
        ("reason_but_sampled", {"not_sampled_reason": "rotten"}, {}),
    ],
)
def test_fields_of_the_whole_timber_that_cannot_be_so(rule_id, faulty, sound) -> None:
    """The sound timber is 4.2 m long and sampled; limits are common practice, no source."""
    record = a_sound_record()
    only(record.but("element", **faulty).says(f"element.{rule_id}"), "B1-014")
    assert record.but("element", **sound).says(f"element.{rule_id}") == []


def test_a_failed_attempt_is_no_sample_of_its_timber() -> None:
    failed = a_sound_record().but("sample", attempt="no_sample", failure_cause="rot")
    only(failed.says("element.sampled_without_sample"), "B1-014")
    unmarked = failed.but("element", sampled=False, not_sampled_reason="rotten")
    for one in ("sampled_without_sample", "sample_not_marked", "reason_but_sampled"):
        assert unmarked.says(f"element.{one}") == [], one
