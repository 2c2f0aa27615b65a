"""Years and signs of a result."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import Record, a_sound_record, only


def result(**values: str) -> Record:
    return a_sound_record().but("lab_result", **values)


def test_the_outer_ring_is_not_older_than_the_inner_one() -> None:
    broken = result(inner_year="1781", outer_year="1702")
    only(broken.says("result.outer_before_inner"), "outer_year", "1702", "1781")


def test_years_before_christ_are_counted_astronomically() -> None:
    """ISO 8601: year 0 is 1 BC, so -2 to 3 are six years."""
    assert (
        result(inner_year="-2", outer_year="3", ring_count="6").says(
            "result.rings_do_not_fit_years"
        )
        == []
    )


@pytest.mark.parametrize("rings", ["80", "81", "79", "76"])
def test_an_unfinished_ring_and_a_few_missing_ones_fit_the_years(rings: str) -> None:
    """80 years: one ring more, or up to 5 per cent fewer."""
    assert result(ring_count=rings).says("result.rings_do_not_fit_years") == []


@pytest.mark.parametrize("rings", ["82", "75", "8"])
def test_a_ring_count_that_does_not_fit_the_years_is_reported(rings: str) -> None:
    broken = result(ring_count=rings)
    only(
        broken.says("result.rings_do_not_fit_years"), "1702 to 1781 are 80 years", f"{rings} rings"
    )


@pytest.mark.parametrize("sign", ["+", "++"])
def test_signs_for_missing_rings_allow_more_of_them(sign: str) -> None:
    flagged = result(ring_count="70", outer_symbol=f"r; {sign}")
    assert flagged.says("result.rings_do_not_fit_years") == []


def test_no_ring_grows_after_the_sample_was_taken() -> None:
    broken = result(outer_year="2025")
    only(broken.says("result.ring_after_collection"), "2025", "2024-06-04")
    assert result(outer_year="2024").says("result.ring_after_collection") == []


def test_no_tree_is_felled_after_the_sample_was_taken() -> None:
    broken = result(felled_from_year="2025", felled_to_year="2026")
    only(broken.says("result.felled_after_collection"), "felled_from_year", "2025")


def test_more_rings_than_a_core_can_hold_are_reported() -> None:
    broken = result(ring_count="999")
    only(broken.says("result.more_rings_than_length"), "999 rings", "98 mm")


def test_sapwood_is_a_part_of_the_rings() -> None:
    broken = result(sapwood_count="81")
    only(broken.says("result.more_sapwood_than_rings"), "81", "80")


def test_with_the_pith_nothing_is_missing_inside() -> None:
    broken = result(pith_offset="5")
    only(broken.says("result.pith_there_and_missing"), "symbol p", "5 rings")
    assert result(inner_symbol="np", pith_offset="5").says("result.pith_there_and_missing") == []


def test_signs_stand_on_their_own_side() -> None:
    only(result(outer_symbol="p").says("result.sign_on_the_wrong_side"), "outer_symbol", "outside")
    only(result(inner_symbol="B").says("result.sign_on_the_wrong_side"), "inner_symbol", "inside")


@pytest.mark.parametrize("signs", ["B; vv", "r;v", "B; inc; comp"])
def test_signs_that_exclude_each_other_are_an_error(signs: str) -> None:
    only(result(outer_symbol=signs).says("result.signs_contradict"), signs)


@pytest.mark.parametrize("signs", ["B; comp", "G; L; c", "vv; +", "r; inc"])
def test_signs_that_go_together_are_sound(signs: str) -> None:
    assert result(outer_symbol=signs).says("result.signs_contradict") == []


@pytest.mark.parametrize("surface", ["dressed", "decayed"])
@pytest.mark.parametrize("sign", ["B", "r"])
def test_a_cutting_date_on_a_surface_that_is_gone_is_an_error(surface: str, sign: str) -> None:
    broken = result(outer_symbol=sign).but("sample", outer_surface=surface)
    only(broken.says("result.cutting_date_on_lost_surface"), f"'{sign}'", f"'{surface}'")


def test_the_surface_of_the_wood_stands_in_where_the_sample_has_none() -> None:
    broken = (
        a_sound_record().but("sample", outer_surface="").but("element", outer_surface="dressed")
    )
    only(broken.says("result.cutting_date_on_lost_surface"), "dressed")


def test_a_date_without_its_edge_may_come_from_any_surface() -> None:
    sound = result(outer_symbol="vv").but("sample", outer_surface="dressed")
    assert sound.says("result.cutting_date_on_lost_surface") == []


def test_bark_in_the_field_that_the_laboratory_did_not_see_is_noted() -> None:
    broken = result(outer_symbol="vv")
    only(broken.says("result.surface_kept_but_not_reported"), "'bark'", "'vv'")


def two_dates(year: str, sign: str = "B") -> Record:
    record = a_sound_record().with_row("sample", sample_id="232", along_m="3")
    return record.with_row(
        "lab_result", result_id="R-2", sample_id="232", outer_year=year, outer_symbol=sign
    )


def test_two_cutting_dates_on_one_piece_of_wood_that_differ_are_reported() -> None:
    only(two_dates("1785").says("result.cutting_dates_differ"), "231 and 232", "1781 and 1785")
    assert two_dates("1781").says("result.cutting_dates_differ") == []


def test_a_mere_limit_beside_a_cutting_date_is_sound() -> None:
    assert two_dates("1760", "vv").says("result.cutting_dates_differ") == []
    assert two_dates("1780", "B; +").says("result.cutting_dates_differ") == []


def test_a_superseded_cutting_date_no_longer_counts() -> None:
    revised = two_dates("1785").with_row(
        "lab_result",
        result_id="R-3",
        sample_id="232",
        outer_year="1781",
        supersedes_result_id="R-2",
        revision="2",
    )
    assert revised.says("result.cutting_dates_differ") == []


def test_a_tree_is_not_felled_before_its_last_ring() -> None:
    broken = result(felled_from_year="1775", felled_to_year="1780")
    only(broken.says("result.felled_before_last_ring"), "1780", "1781")


def test_a_felling_range_runs_forwards() -> None:
    broken = result(felled_from_year="1790", felled_to_year="1785")
    only(broken.says("result.felling_range_backwards"), "1785", "1790")


def test_a_cutting_date_is_felled_in_that_year_or_before_the_next_spring() -> None:
    broken = result(felled_from_year="1781", felled_to_year="1790")
    only(broken.says("result.felling_far_from_cutting_date"), "1781 B", "1790")
    sound = result(felled_from_year="1781", felled_to_year="1782")
    assert sound.says("result.felling_far_from_cutting_date") == []


def test_a_date_on_few_rings_is_noted() -> None:
    broken = result(inner_year="1753", ring_count="29")
    only(broken.says("result.dated_on_few_rings"), "29 rings")


@pytest.mark.parametrize(
    ("rule", "inside", "outside"),
    [
        # 15 per cent of 80 years are 12
        (
            "rings_do_not_fit_years",
            {"ring_count": "68", "outer_symbol": "r; +"},
            {"ring_count": "67", "outer_symbol": "r; +"},
        ),
        # two missing rings pass in any span, 5 per cent of 20 years are only one
        (
            "rings_do_not_fit_years",
            {"inner_year": "1762", "ring_count": "18"},
            {"inner_year": "1762", "ring_count": "17"},
        ),
        # 5 per cent of 79 years are 3.95, so three
        (
            "rings_do_not_fit_years",
            {"inner_year": "1703", "ring_count": "76"},
            {"inner_year": "1703", "ring_count": "75"},
        ),
        (
            "rings_do_not_fit_years",
            {"inner_year": "1781", "ring_count": "2"},
            {"inner_year": "1781", "ring_count": "3"},
        ),
        ("outer_before_inner", {"inner_year": "1781"}, {"inner_year": "1782"}),
        ("felled_after_collection", {"felled_from_year": "2024"}, {"felled_from_year": "2025"}),
        ("more_rings_than_length", {"ring_count": "980"}, {"ring_count": "981"}),
        ("more_sapwood_than_rings", {"sapwood_count": "80"}, {"sapwood_count": "81"}),
        ("pith_there_and_missing", {"pith_offset": "0"}, {"pith_offset": "1"}),
        ("felled_before_last_ring", {"felled_to_year": "1781"}, {"felled_to_year": "1780"}),
        (
            "felling_range_backwards",
            {"felled_from_year": "1785", "felled_to_year": "1785"},
            {"felled_from_year": "1786", "felled_to_year": "1785"},
        ),
        ("felling_far_from_cutting_date", {"felled_to_year": "1782"}, {"felled_to_year": "1783"}),
        ("dated_on_few_rings", {"ring_count": "30"}, {"ring_count": "29"}),
    ],
)
def test_what_a_rule_about_years_allows_ends_where_it_says(
    rule: str, inside: dict[str, str], outside: dict[str, str]
) -> None:
    assert result(**inside).says(f"result.{rule}") == []
    only(result(**outside).says(f"result.{rule}"), "lab_result 2")


def test_years_in_the_wrong_order_are_said_once() -> None:
    """1781 before 1782 is a span of no years, with which no count can be compared."""
    turned = result(inner_year="1782", ring_count="80")
    assert turned.says("result.rings_do_not_fit_years") == []


@pytest.mark.parametrize("day", ["2024-01-01", "2024-12-31"])
@pytest.mark.parametrize(("year", "told"), [("2024", False), ("2025", True)])
def test_a_sample_of_new_years_day_may_hold_a_ring_of_its_year(
    day: str, year: str, told: bool
) -> None:
    record = result(outer_year=year, felled_from_year=year).but("sample", collected_on=day)
    for rule in ("result.ring_after_collection", "result.felled_after_collection"):
        assert bool(record.says(rule)) is told


@pytest.mark.parametrize(
    "values",
    [{"outcome": "tentative"}, {"method": "radiocarbon"}],
)
def test_few_rings_matter_only_to_a_firm_crossdate(values: dict[str, str]) -> None:
    short = result(inner_year="1753", ring_count="29", **values)
    assert short.says("result.dated_on_few_rings") == []


def test_a_slice_may_have_any_number_of_rings_for_its_thickness() -> None:
    thin = result(ring_count="999").but("sample", kind="cross_section")
    assert thin.says("result.more_rings_than_length") == []
