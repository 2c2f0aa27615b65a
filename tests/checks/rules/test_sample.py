"""One sample: its day, its authority, its description."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import a_sound_record, only


def test_a_sample_taken_before_the_site_visit_is_an_error() -> None:
    broken = a_sound_record().but("sample", collected_on="2024-06-02")
    only(broken.says("sample.before_visit"), "sample 2 collected_on", "2024-06-02", "2024-06-03")


def test_a_sample_of_the_month_of_the_visit_is_sound() -> None:
    sound = a_sound_record().but("sample", collected_on="2024-06")
    assert sound.says("sample.before_visit") == sound.says("sample.after_visit") == []


def test_a_sample_taken_after_the_site_visit_is_reported() -> None:
    broken = a_sound_record().but("sample", collected_on="2024-06-15")
    only(broken.says("sample.after_visit"), "2024-06-15", "2024-06-14")


def test_a_sample_is_of_the_site_of_its_wood() -> None:
    broken = a_sound_record().with_row("site", site_id="OTHR").but("sample", site_id="OTHR")
    only(broken.says("sample.of_another_site"), "OTHR", "B1-014", "HOLL")


@pytest.mark.parametrize("kind", ["cross_section", "wedge"])
def test_a_cut_through_standing_wood_needs_an_authority(kind: str) -> None:
    broken = a_sound_record().but("sample", kind=kind)
    only(broken.says("sample.cut_without_authority"), "sample 2 authority", "in_place")
    allowed = broken.but("sample", authority="Letter INV-7 of the invented office")
    assert allowed.says("sample.cut_without_authority") == []


def test_fallen_wood_may_be_cut_without_asking() -> None:
    fallen = a_sound_record().but("sample", kind="cross_section").but("element", in_place="fallen")
    assert fallen.says("sample.cut_without_authority") == []


def test_a_cut_through_load_bearing_wood_calls_for_an_engineer() -> None:
    broken = a_sound_record().but("sample", kind="wedge").but("element", load_bearing="yes")
    only(broken.says("sample.cut_through_load_bearing_wood"), "B1-014", "structural engineer")
    core = a_sound_record().but("element", load_bearing="yes")
    assert core.says("sample.cut_through_load_bearing_wood") == []


@pytest.mark.parametrize("load", ["", "unknown"])
def test_a_cut_without_asking_whether_the_wood_carries_load_is_reported(load: str) -> None:
    broken = a_sound_record().but("sample", kind="wedge").but("element", load_bearing=load)
    only(broken.says("sample.cut_without_asking_for_load"), "wedge", "B1-014")


def test_a_core_is_no_longer_than_its_hole_is_deep() -> None:
    broken = a_sound_record().but("sample", depth_mm="80")
    only(broken.says("sample.core_longer_than_its_hole"), "98 mm", "80 mm")
    assert (
        a_sound_record().but("sample", depth_mm="90").says("sample.core_longer_than_its_hole") == []
    )


def test_more_rings_than_the_core_can_hold_are_reported() -> None:
    broken = a_sound_record().but("sample", rings_field="981")
    only(broken.says("sample.more_rings_than_length"), "981 rings", "98 mm")
    assert (
        a_sound_record().but("sample", rings_field="980").says("sample.more_rings_than_length")
        == []
    )


@pytest.mark.parametrize(
    ("pieces", "condition"), [("3", "whole"), ("1", "in_pieces"), ("1", "pieces_unordered")]
)
def test_pieces_and_condition_of_a_sample_agree(pieces: str, condition: str) -> None:
    broken = a_sound_record().but("sample", pieces=pieces, condition=condition)
    only(broken.says("sample.pieces_and_condition"), pieces, condition)


def test_a_sample_is_taken_by_a_person() -> None:
    broken = a_sound_record().but("sample", collected_by="LAB")
    only(broken.says("sample.taken_by_an_organisation"), "collected_by", "LAB")


def test_a_sample_has_no_better_surface_than_the_best_of_its_wood() -> None:
    broken = a_sound_record().but("element", outer_surface="dressed")
    only(broken.says("sample.surface_better_than_its_wood"), "bark", "dressed")


def test_sample_and_wood_are_of_one_species() -> None:
    broken = a_sound_record().but("sample", species_field="PSME")
    only(broken.says("sample.species_unlike_its_wood"), "PSME", "PIPO")


def test_a_code_for_a_whole_genus_agrees_with_its_species() -> None:
    """ITRDB: PISP is any pine."""
    sound = a_sound_record().but("sample", species_field="PISP")
    assert sound.says("sample.species_unlike_its_wood") == []


@pytest.mark.parametrize(
    ("rule", "inside", "outside"),
    [
        ("before_visit", {"collected_on": "2024-06-03"}, {"collected_on": "2024-06-02"}),
        ("after_visit", {"collected_on": "2024-06-14"}, {"collected_on": "2024-06-15"}),
        ("core_longer_than_its_hole", {"depth_mm": "88"}, {"depth_mm": "87"}),
        ("more_rings_than_length", {"rings_field": "980"}, {"rings_field": "981"}),
        (
            "pieces_and_condition",
            {"pieces": "1", "condition": "whole"},
            {"pieces": "2", "condition": "whole"},
        ),
        (
            "pieces_and_condition",
            {"pieces": "2", "condition": "in_pieces"},
            {"pieces": "1", "condition": "in_pieces"},
        ),
    ],
)
def test_what_a_rule_about_a_sample_allows_ends_where_it_says(
    rule: str, inside: dict[str, str], outside: dict[str, str]
) -> None:
    assert a_sound_record().but("sample", **inside).says(f"sample.{rule}") == []
    only(a_sound_record().but("sample", **outside).says(f"sample.{rule}"), "sample 2")


@pytest.mark.parametrize(
    "rule", ["core_longer_than_its_hole", "more_rings_than_length"], ids=["depth", "rings"]
)
def test_a_slice_has_no_drilled_length_to_be_compared(rule: str) -> None:
    slice_ = a_sound_record().but("sample", kind="cross_section", depth_mm="5", rings_field="990")
    assert slice_.says(f"sample.{rule}") == []


def test_a_cut_through_wood_that_does_not_stand_needs_no_question_about_load() -> None:
    fallen = a_sound_record().but("sample", kind="wedge").but("element", in_place="fallen")
    assert fallen.but("element", load_bearing="").says("sample.cut_without_asking_for_load") == []
    core = a_sound_record().but("element", load_bearing="")
    assert core.says("sample.cut_without_asking_for_load") == []


FAILED = {"attempt": "no_sample", "failure_cause": "rot", "pieces": 0, "condition": None}


def test_a_failed_attempt_needs_a_cause_and_nothing_of_a_sample() -> None:
    record = a_sound_record().without("lab_result").without("custody")
    failed = record.but("sample", **FAILED)
    for one in ("sample.failed_without_cause", "sample.perhaps_failed", "sample.failed_but_kept",
                "custody.none", "sample.pieces_and_condition", "plug.missing"):  # fmt: skip
        assert failed.says(one) == [], one
    only(failed.but("sample", failure_cause=None).says("sample.failed_without_cause"), "231")
    # its hole still has to be found and closed
    only(failed.without("plug").says("plug.missing"), "231")
    only(failed.but("sample", along_m=None).says("sample.hole_without_position"), "231")


def test_what_looks_like_a_failed_attempt_is_told() -> None:
    record = a_sound_record()
    only(record.but("sample", pieces=0).says("sample.perhaps_failed"), "0 pieces")
    caused = record.but("sample", failure_cause="rot")
    only(caused.says("sample.perhaps_failed"), "'rot'")
    assert caused.but("sample", attempt="part_sample").says("sample.perhaps_failed") == []


def test_what_was_never_taken_has_no_result_and_no_events() -> None:
    failed = a_sound_record().but("sample", **FAILED)
    only(failed.says("sample.failed_but_kept"), "231", "a laboratory has a result")
    only(failed.without("lab_result").says("sample.failed_but_kept"), "the ledger has events")
    assert a_sound_record().says("sample.failed_but_kept") == []


def test_what_is_asked_before_the_drill_is_asked_once_a_site() -> None:
    record = a_sound_record().with_row("sample", sample_id="232", before_old_core=None)
    record = record.with_row("sample", sample_id="233", why_here=None)
    only(
        record.says("sample.not_asked_before"),
        "Of 3 hole(s)",
        "2 lack answers",
        "(whether older samples were asked about, why this timber and this spot)",
        "first is 232",
    )
    # nothing was drilled for a picture
    of_picture = a_sound_record().but("sample", kind="image", before_old_core=None)
    assert of_picture.says("sample.not_asked_before") == []


def test_a_photo_that_would_have_served_needs_a_reason() -> None:
    could = a_sound_record().but("sample", before_end_grain="yes")
    assert could.says("sample.photo_would_have_served") == []
    only(could.but("sample", why_here=None).says("sample.photo_would_have_served"), "231", "core")
