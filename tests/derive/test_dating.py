"""Spans, clusters and candidates; the rules are common practice, no source."""

from __future__ import annotations

import pytest

from provenance._base.frames import to_pandas
from provenance._derive.dating import (
    ClusterRule,
    derive_clusters,
    derive_spans,
    mark_candidates,
)
from tests.builders import PARTIES, a_package


def a_house(tmp_path, *dates, place="B1"):
    """One element, sample and result for each (outer year, symbols)."""
    builder = a_package(tmp_path).with_row("site").with_row("place")
    builder.with_row("place", place_id="B1-R1", parent_place_id="B1", kind="room", name="Room")
    for party in PARTIES:
        builder.with_bare_row("party", **party)
    for number, (year, symbols) in enumerate(dates, start=1):
        builder.with_row("element", element_id=f"E{number}", place_id="B1-R1")
        builder.with_row("sample", sample_id=number, element_id=f"E{number}")
        builder.with_row(
            "lab_result",
            result_id=f"R{number}",
            sample_id=number,
            inner_year=year - 60,
            outer_year=year,
            outer_symbol=symbols,
        )
    return builder


def clustered(builder, rule=None):
    package = builder.package
    spans = derive_spans(package)
    return spans, derive_clusters(package, spans, rule)


def test_a_span_knows_its_building_and_what_its_last_ring_says(tmp_path) -> None:
    spans, _ = clustered(a_house(tmp_path, (1781, "B"), (1779, "vv"), (1780, "v")))
    assert list(spans["building_id"]) == ["B1"] * 3
    assert dict(zip(spans["sample_id"], spans["cutting"], strict=True)) == {
        "1": "cutting",
        "2": "non_cutting",
        "3": "near",
    }


def test_cutting_dates_close_together_form_a_cluster(tmp_path) -> None:
    _, clusters = clustered(
        a_house(tmp_path, (1781, "B"), (1781, "r"), (1782, "B"), (1790, "B"), (1781, "vv"))
    )
    row = clusters.row(0, named=True)
    assert len(clusters) == 1
    assert (row["first_year"], row["last_year"], row["date_count"]) == (1781, 1782, 3)
    assert "at most 1 year(s) apart, at least 3" in row["rule"]


def test_the_rule_is_a_parameter(tmp_path) -> None:
    house = a_house(tmp_path, (1781, "B"), (1784, "B"))
    assert clustered(house)[1].is_empty()
    assert len(clustered(house, ClusterRule(gap_years=3, least=2))[1]) == 1


def test_two_samples_of_one_wood_count_once(tmp_path) -> None:
    house = a_house(tmp_path, (1781, "B"), (1781, "B"))
    house.with_row("sample", sample_id="9", element_id="E1")
    house.with_row("lab_result", result_id="R9", sample_id="9", outer_year=1781, outer_symbol="B")
    assert clustered(house, ClusterRule(least=3))[1].is_empty()


def test_a_superseded_result_no_longer_counts(tmp_path) -> None:
    house = a_house(tmp_path, (1781, "B"))
    house.with_row(
        "lab_result",
        result_id="R1b",
        sample_id="1",
        outer_year=1783,
        revision=2,
        supersedes_result_id="R1",
    )
    spans, _ = clustered(house)
    assert list(spans["outer_year"]) == [1783]


def test_dates_outside_the_cluster_are_candidates_and_no_more(tmp_path) -> None:
    house = a_house(
        tmp_path, (1781, "B"), (1781, "B"), (1782, "B"), (1778, "B"), (1702, "B"), (1820, "B")
    )
    spans, clusters = clustered(house)
    marked = to_pandas(mark_candidates(spans, clusters)).set_index("sample_id")
    assert marked.loc["4", "candidate"] == "stockpiling"
    assert marked.loc["5", "candidate"] == "reuse"
    assert marked.loc["6", "candidate"] == "repair"
    assert marked.loc["1", "cluster_id"] == "B1-1781"
    assert marked.loc["1", "candidate"] == ""


@pytest.mark.parametrize(
    ("happened", "years"), [("1782", 0), ("1785", 3), ("1776/1778", -3), ("1850", None)]
)
def test_a_documented_event_is_compared_with_the_cluster(tmp_path, happened, years) -> None:
    house = a_house(tmp_path, (1781, "B"), (1781, "B"), (1782, "B"))
    house.with_row("episode", happened=happened, place_id="B1")
    row = clustered(house)[1].row(0, named=True)
    if years is None:
        assert row["episode_id"] == ""
    else:
        assert (row["episode_id"], row["years_after"]) == ("E-1", years)


def test_years_before_christ_need_no_year_zero(tmp_path) -> None:
    """Astronomical years: 1 BC is 0, so 2 BC to AD 1 are three years in a row (ISO 8601-1)."""
    _, clusters = clustered(a_house(tmp_path, (-1, "B"), (0, "B"), (1, "B")))
    assert clusters.row(0, named=True)["date_count"] == 3


def test_a_package_without_results_has_no_spans(tmp_path) -> None:
    spans, clusters = clustered(a_house(tmp_path))
    assert spans.is_empty()
    assert clusters.is_empty()


def test_a_span_uses_the_laboratorys_range_and_an_estimate_with_its_source(tmp_path) -> None:
    """Worked by hand: boundary 1655 and 9 to 41 rings of sapwood give 1664 to 1696."""
    house = a_house(tmp_path, (1655, "B"), (1655, "vv"), (1655, "vv"), (1655, "HS"), (1655, "+;B"))
    results = house.package.table("lab_result")
    results.loc[3, ["felled_from_year", "felled_to_year"]] = ["1710", "1745"]
    results.loc[4, ["outer_year", "inner_year", "felled_from_year"]] = ["", "", "1720"]
    results.loc[5, ["sapwood_least", "sapwood_most"]] = ["9", "41"]
    results.loc[5, "estimate_source"] = "Oak of Northfold (invented)"
    house.package.write_table("lab_result", results)
    spans, clusters = clustered(house, ClusterRule(least=1))
    shown = ("sample_id", "cutting", "felled_from_year", "felled_to_year", "felled_by")
    assert sorted(spans.select(shown).rows()) == [
        ("1", "cutting", 1655, 1656, "last_ring"),
        ("2", "non_cutting", 1710, 1745, "laboratory"),
        ("3", "unstated", 1720, None, "laboratory"),
        ("4", "non_cutting", 1664, 1696, "sapwood"),
        ("5", "near", 1655, None, "last_ring"),
    ]
    # a range without a last ring is a span, and no cutting date
    assert clusters["date_count"].to_list() == [1]
