"""One piece of wood."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import a_sound_record, only


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
    only(broken.says("element.taper_implausible"), "21.5 cm", "9.2 cm", "6.1 cm a metre")


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
