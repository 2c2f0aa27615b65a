"""What a laboratory reports of growth."""

from __future__ import annotations

from tests.checks.rules.record import Record, a_sound_record, only


def result(**values: str) -> Record:
    """The result of sample 231, 1702 to 1781, a core of 98 mm with 80 rings."""
    return a_sound_record().but("lab_result", **values)


def test_some_rings_are_there() -> None:
    """Of 80 years the first and the last have a ring."""
    only(result(missing_ring_count="79").says("result.all_rings_missing"), "80 years", "79")
    assert result(missing_ring_count="78").says("result.all_rings_missing") == []
    one = {"inner_year": "1781", "ring_count": "1"}
    assert result(**one, missing_ring_count="0").says("result.all_rings_missing") == []
    only(result(**one, missing_ring_count="1").says("result.all_rings_missing"), "1 years")


def test_missing_rings_that_are_counted_explain_a_shorter_count() -> None:
    """15 of 80 are missing: 65 are there, and a count of 80 has them too."""
    rule = "result.rings_do_not_fit_years"
    for rings, told in (("80", False), ("65", False), ("64", True), ("82", True)):
        assert bool(result(ring_count=rings, missing_ring_count="15").says(rule)) is told, rings


def test_missing_rings_need_a_date() -> None:
    undated = {"outcome": "undated", "inner_year": "", "outer_year": "", "missing_ring_count": "2"}
    only(result(**undated).says("result.missing_rings_undated"), "'undated'", "2 missing")
    assert result(**undated | {"outcome": "tentative"}).says("result.missing_rings_undated") == []
    assert (
        result(**undated | {"missing_ring_count": "0"}).says("result.missing_rings_undated") == []
    )


def test_rings_fill_no_more_than_the_core() -> None:
    """80 rings on 98 mm are 1.225 mm wide at most, and 1.3 may be 1.25 rounded up."""
    rule = "result.rings_wider_than_core"
    only(result(mean_width_mm="1.28").says(rule), "80 rings of 1.28 mm", "98 mm")
    for mean, missing in (("1.27", ""), ("1.28", "2"), ("12.8", "75")):
        assert result(mean_width_mm=mean, missing_ring_count=missing).says(rule) == [], mean
    a_slice = result(mean_width_mm="9").but("sample", kind="cross_section")
    assert a_slice.says(rule) == []
