"""Plugs and their stamps."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import Record, a_sound_record, only


def second_plug(**values: str) -> Record:
    return a_sound_record().with_row("plug", **{"plug_id": "P-231b"} | values)


def second_sample(number: str, **plug: str) -> Record:
    """Another core with its own plug, stamped with its number."""
    record = a_sound_record().with_row("sample", sample_id=number, along_m="3")
    return record.with_row(
        "plug", **{"plug_id": f"P-{number}", "sample_id": number, "stamp": number} | plug
    )


def stamped(number: str) -> Record:
    """The sound record with another number on row, label and stamp."""
    return (
        a_sound_record()
        .but("sample", sample_id=number)
        .but("plug", plug_id="P-first", sample_id=number, stamp=number)
    )


def test_a_core_without_a_plug_is_reported() -> None:
    only(a_sound_record().without("plug").says("plug.missing"), "sample 2 sample_id", "231")


def test_a_slice_leaves_no_hole_and_needs_no_plug() -> None:
    slice_ = a_sound_record().but("sample", kind="cross_section").without("plug")
    assert slice_.says("plug.missing") == []


def test_a_plug_of_a_sample_that_left_no_hole_is_reported() -> None:
    broken = a_sound_record().but("sample", kind="cross_section")
    only(broken.says("plug.without_hole"), "plug 2 sample_id", "P-231", "cross_section")


def test_two_plugs_in_one_hole_are_an_error() -> None:
    only(second_plug().says("plug.two_in_one_hole"), "plug 3 status", "P-231 and P-231b")


def test_a_replaced_plug_and_its_successor_are_sound() -> None:
    chain = second_plug().but("plug", "P-231", status="replaced", replaced_by_plug_id="P-231b")
    for rule in ("plug.two_in_one_hole", "plug.replaced_by_nothing", "plug.replaces_itself"):
        assert chain.says(rule) == []


def test_a_replaced_plug_names_its_successor() -> None:
    broken = a_sound_record().but("plug", status="replaced")
    only(broken.says("plug.replaced_by_nothing"), "replaced_by_plug_id", "P-231")


def test_a_plug_in_its_hole_has_no_successor() -> None:
    broken = second_plug().but("plug", "P-231", replaced_by_plug_id="P-231b")
    only(broken.says("plug.successor_while_in_place"), "P-231 is 'in_place'", "P-231b")


def test_plugs_that_replace_each_other_in_a_circle_are_an_error() -> None:
    circle = (
        second_plug(replaced_by_plug_id="P-231c")
        .with_row("plug", plug_id="P-231c", replaced_by_plug_id="P-231")
        .but("plug", "P-231", replaced_by_plug_id="P-231b")
    )
    assert len(circle.says("plug.replaces_itself")) == 3


def test_a_plug_that_leads_into_a_circle_is_no_part_of_it() -> None:
    tail = second_plug(replaced_by_plug_id="P-231b")
    tail = tail.but("plug", "P-231", replaced_by_plug_id="P-231b")
    only(tail.says("plug.replaces_itself"), "plug 3", "P-231b was replaced by P-231b")


def test_a_successor_is_in_the_same_hole() -> None:
    broken = second_sample("232").but("plug", "P-231", replaced_by_plug_id="P-232")
    only(broken.says("plug.successor_in_another_hole"), "P-232", "sample 231", "sample 232")


def test_a_successor_is_not_older() -> None:
    broken = second_plug(placed_on="2024-05-01").but("plug", replaced_by_plug_id="P-231b")
    only(broken.says("plug.successor_set_earlier"), "2024-06-04", "2024-05-01")


def test_a_stamp_that_is_not_its_sample_number_is_an_error() -> None:
    broken = a_sound_record().but("plug", stamp="213")
    only(broken.says("plug.stamp_is_not_its_sample"), "plug 2 stamp", "213", "231")


def test_a_plug_that_was_replaced_may_have_been_stamped_wrongly() -> None:
    past = a_sound_record().but("plug", stamp="213", status="replaced")
    assert past.says("plug.stamp_is_not_its_sample") == []


def test_a_plug_in_its_hole_has_a_stamp() -> None:
    only(a_sound_record().but("plug", stamp="").says("plug.no_stamp"), "P-231")


def test_one_stamp_in_two_holes_of_a_site_is_an_error() -> None:
    broken = second_sample("232", stamp="231")
    only(broken.says("plug.stamp_twice_in_a_site"), "plug 3 stamp", "231", "P-232", "P-231")


@pytest.mark.parametrize(("one", "other"), [("66", "99"), ("68", "89"), ("16", "91")])
def test_stamps_that_read_alike_upside_down_are_reported(one: str, other: str) -> None:
    """A 6 turned by 180 degrees is a 9; 0, 1 and 8 stay (geometry of upright die characters)."""
    both = stamped(one).with_row("sample", sample_id=other, along_m="3")
    both = both.with_row("plug", plug_id="P-other", sample_id=other, stamp=other)
    findings = both.says("plug.stamps_read_alike")
    assert len(findings) == 2
    assert f"stamp {one} of plug P-first reads {other}" in findings[0]


def test_an_orientation_mark_settles_which_way_up_a_stamp_is() -> None:
    both = stamped("66").with_row("sample", sample_id="99", along_m="3")
    both = both.with_row("plug", plug_id="P-99", sample_id="99", stamp="99")
    marked = both.but("plug", "P-first", orientation_mark="bar")
    only(marked.says("plug.stamps_read_alike"), "stamp 99 of plug P-99")
    assert marked.but("plug", "P-99", orientation_mark="dot").says("plug.stamps_read_alike") == []


def test_stamps_of_different_sites_cannot_be_mistaken() -> None:
    both = stamped("66").with_row("site", site_id="OTHR")
    both = both.with_row("sample", sample_id="99", site_id="OTHR")
    both = both.with_row("plug", plug_id="P-99", sample_id="99", stamp="99")
    assert both.says("plug.stamps_read_alike") == []


@pytest.mark.parametrize("number", ["88", "69", "231"])
def test_a_stamp_that_is_its_own_rotation_or_has_none_is_sound(number: str) -> None:
    assert stamped(number).says("plug.stamps_read_alike") == []


def test_a_hole_whose_plug_was_lost_is_reported_until_it_is_filled() -> None:
    lost = a_sound_record().but("plug", status="lost")
    only(lost.says("plug.hole_open"), "P-231", "231")
    assert second_plug().but("plug", "P-231", status="lost").says("plug.hole_open") == []


def test_a_dowel_smaller_than_its_bore_is_loose() -> None:
    """12 mm in half an inch, which is exactly 12.7 mm."""
    broken = a_sound_record().but("plug", dowel_mm="12")
    only(broken.says("plug.loose"), "plug 2 dowel_mm", "12 mm", "12.7 mm", "loose by 0.7 mm")


@pytest.mark.parametrize(
    ("bore", "dowel"), [("12.7", "12.7"), ("12.7", "13"), ("15.875", "16"), ("22.225", "22")]
)
def test_dowels_within_half_a_millimetre_fit(bore: str, dowel: str) -> None:
    fits = a_sound_record().but("sample", bore_mm=bore).but("plug", dowel_mm=dowel)
    assert fits.says("plug.loose") == fits.says("plug.too_thick") == []


def test_a_dowel_thicker_than_its_bore_splits_the_wood() -> None:
    broken = a_sound_record().but("plug", dowel_mm="15.875")
    only(broken.says("plug.too_thick"), "15.9 mm", "12.7 mm")


def test_a_plug_longer_than_its_hole_is_noted() -> None:
    broken = a_sound_record().but("plug", length_mm="120")
    only(broken.says("plug.longer_than_hole"), "120 mm", "105 mm")


def test_a_plug_cannot_be_set_before_its_sample_is_taken() -> None:
    broken = a_sound_record().but("plug", placed_on="2024-06-03")
    only(broken.says("plug.set_before_sample"), "placed_on", "2024-06-03", "2024-06-04")


def test_a_plug_cannot_be_seen_before_it_is_set() -> None:
    broken = a_sound_record().but("plug", last_seen_on="2024-06-01")
    only(broken.says("plug.seen_before_set"), "2024-06-01", "2024-06-04")


@pytest.mark.parametrize(
    ("rule", "inside", "outside"),
    [
        ("loose", {"dowel_mm": "12.2"}, {"dowel_mm": "12.19"}),
        ("too_thick", {"dowel_mm": "13.2"}, {"dowel_mm": "13.21"}),
        ("longer_than_hole", {"length_mm": "110"}, {"length_mm": "110.1"}),
        ("set_before_sample", {"placed_on": "2024-06-04"}, {"placed_on": "2024-06-03"}),
        ("seen_before_set", {"last_seen_on": "2024-06-04"}, {"last_seen_on": "2024-06-03"}),
    ],
)
def test_what_a_rule_about_a_plug_allows_ends_where_it_says(
    rule: str, inside: dict[str, str], outside: dict[str, str]
) -> None:
    assert a_sound_record().but("plug", **inside).says(f"plug.{rule}") == []
    only(a_sound_record().but("plug", **outside).says(f"plug.{rule}"), "plug 2")


@pytest.mark.parametrize(("rule", "dowel"), [("plug.loose", "5"), ("plug.too_thick", "30")])
@pytest.mark.parametrize("status", ["replaced", "lost", "not_plugged"])
def test_a_plug_that_is_gone_need_not_fit(rule: str, dowel: str, status: str) -> None:
    assert a_sound_record().but("plug", dowel_mm=dowel, status=status).says(rule) == []


def test_a_successor_set_on_the_same_day_is_sound() -> None:
    same_day = second_plug().but("plug", "P-231", replaced_by_plug_id="P-231b")
    assert same_day.says("plug.successor_set_earlier") == []


def test_without_a_depth_the_core_says_how_deep_the_hole_is() -> None:
    """98 mm of core; a plug may stand 5 mm proud."""
    shallow = a_sound_record().but("sample", depth_mm="")
    assert shallow.but("plug", length_mm="103").says("plug.longer_than_hole") == []
    only(shallow.but("plug", length_mm="104").says("plug.longer_than_hole"), "98 mm")


@pytest.mark.parametrize("status", ["replaced", "lost", "not_plugged"])
def test_a_plug_that_is_not_in_its_hole_needs_no_stamp(status: str) -> None:
    assert a_sound_record().but("plug", stamp="", status=status).says("plug.no_stamp") == []
