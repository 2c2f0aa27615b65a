"""Phases of felling: cases worked by hand, a simulation with known years, and the tables."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.errors import UnusableInput
from provenance._derive.dates.felling import derive_fellings
from provenance._derive.dates.phases import (
    Found,
    PhaseRule,
    decisive,
    derive_phases,
    find_phases,
    found_again,
    most_met,
)
from tests.derive.test_dating import a_house, ring

USUAL = PhaseRule()


def years_of(felled: list[tuple[int, int]], rule: PhaseRule = USUAL) -> list[tuple[int, int, int]]:
    """First and last year, and number of trees."""
    return sorted((one.first, one.last, len(one.members)) for one in find_phases(felled, rule))


CUT = [(1781, 1782), (1781, 1782), (1782, 1783)]
BY_HAND = (
    (CUT, USUAL, [(1781, 1783, 3)]),
    # two dates never make one, unless the user says so
    (CUT[:2], USUAL, []),
    (CUT[:2], PhaseRule(least=2), [(1781, 1782, 2)]),
    # a window of 3 years holds 1781 to 1783, and not 1784
    ([(1781, 1781), (1781, 1781), (1783, 1783)], USUAL, [(1781, 1783, 3)]),
    ([(1781, 1781), (1781, 1781), (1784, 1784)], USUAL, []),
    ([(1781, 1781), (1781, 1781), (1784, 1784)], PhaseRule(window_years=4), [(1781, 1784, 3)]),
    # ranges alone make none; one range beside two narrow dates counts
    ([(1700, 1740), (1705, 1745), (1710, 1750)], USUAL, []),
    ([(1700, 1740), (1705, 1745), (1710, 1750)], PhaseRule(narrow=0), [(1710, 1740, 3)]),
    ([(1700, 1740), (1720, 1720), (1721, 1721)], USUAL, [(1720, 1721, 3)]),
    # narrow is up to ten years, and eleven are not
    ([(1700, 1740), (1720, 1730), (1721, 1731)], USUAL, [(1721, 1730, 3)]),
    ([(1700, 1740), (1720, 1731), (1721, 1731)], USUAL, []),
    # most narrow dates before most dates
    (
        [(1700, 1700)] * 3 + [(1750, 1750)] * 2 + [(1740, 1760)] * 9,
        USUAL,
        [(1700, 1700, 3), (1750, 1750, 11)],
    ),
    # years before Christ: -1 is 2 BC, and there is a year 0 (ISO 8601)
    ([(-1, -1), (0, 0), (1, 1)], USUAL, [(-1, 1, 3)]),
    ([], USUAL, []),
)  # fmt: skip


def test_a_phase_is_a_window_of_years_that_enough_trees_meet() -> None:
    for felled, rule, expected in BY_HAND:
        assert years_of(felled, rule) == expected, (felled, str(rule))
    with pytest.raises(UnusableInput, match="no phase can be found"):
        PhaseRule(window_years=0)


def test_what_a_phase_rests_on_is_found_by_leaving_trees_out() -> None:
    four = [*CUT, (1690, 1722), (1699, 1704), (1700, 1700), (1701, 1701), (1650, 1650)]
    first, second = find_phases(four, USUAL)
    assert (first.first, first.members, second.members) == (1699, (3, 4, 5, 6), (0, 1, 2))
    assert decisive(four, [first, second], USUAL) == [set(), {0, 1, 2}]
    # three narrow ones of which two are needed, and a range: any one may go but the range cannot
    two = [(1700, 1700), (1701, 1701), (1690, 1722)]
    assert decisive(two, find_phases(two, USUAL), USUAL) == [{0, 1, 2}]
    phase, others = (
        Found(1700, 1702, (0, 1, 2, 3)),
        (Found(1700, 1700, (0, 9)), Found(1701, 1701, (2, 3))),
    )
    assert found_again(phase, others) == 2
    assert found_again(phase, others[:1]) == 0


def test_the_years_that_most_fellings_allow_or_one_fewer() -> None:
    """By hand: 1710 to 1740 is met by all three, 1705 to 1745 by two or more."""
    assert most_met([(1700, 1740), (1705, 1745), (1710, 1750)]) == (1705, 1745)
    assert most_met([(1700, 1740)]) == (1700, 1740)
    assert most_met([(1700, 1710), (1750, 1760)]) == (1700, 1760)


INTERVALS = st.lists(
    st.tuples(st.integers(0, 40), st.integers(0, 14)).map(lambda one: (one[0], sum(one))),
    max_size=14,
)
RULES = st.builds(
    PhaseRule, st.integers(1, 5), st.integers(1, 4), st.integers(0, 3), st.integers(0, 12)
)


@given(INTERVALS, RULES)
def test_what_a_phase_rests_on_is_what_leaving_each_tree_out_shows(felled, rule) -> None:
    """The whole search again without the tree, for every tree."""
    phases = find_phases(felled, rule)
    for phase, needed in zip(phases, decisive(felled, phases, rule), strict=True):
        for gone in phase.members:
            rest = [one for one in range(len(felled)) if one != gone]
            others = set(phase.members) - {gone}
            shared = [
                len(others & {rest[one] for one in again.members})
                for again in find_phases([felled[one] for one in rest], rule)
            ]
            stands = any(2 * one >= len(others) > 0 for one in shared)
            assert (gone in needed) == (not stands), (phase, gone)


@given(INTERVALS, RULES, st.randoms(use_true_random=False))
def test_phases_are_what_the_rule_says_whatever_the_order_of_the_trees(
    felled, rule, chance
) -> None:
    """Against every window tried one by one; each member meets the years that are shown."""
    found = find_phases(felled, rule)
    left = set(range(len(felled)))
    members = {one for phase in found for one in phase.members}
    assert len(members) == sum(len(phase.members) for phase in found)
    for phase in found:
        narrow = [
            one for one in phase.members if felled[one][1] - felled[one][0] <= rule.narrow_years
        ]
        assert len(phase.members) >= rule.least
        assert len(narrow) >= rule.narrow
        shown = set(range(phase.first, phase.last + 1))
        spans = [set(range(felled[one][0], felled[one][1] + 1)) for one in phase.members]
        # of years that all have in common none is better than another
        assert 1 <= len(shown) <= max(rule.window_years, len(set.intersection(*spans)))
        assert set.intersection(*spans) <= shown
        assert all(felled[one][0] <= phase.last and felled[one][1] >= phase.first
                   for one in phase.members)  # fmt: skip
    for start in range(-5, 60):
        met = [
            one
            for one in left - members
            if felled[one][0] < start + rule.window_years and felled[one][1] >= start
        ]
        narrow = [one for one in met if felled[one][1] - felled[one][0] <= rule.narrow_years]
        assert not met or len(met) < rule.least or len(narrow) < rule.narrow
    order = list(range(len(felled)))
    chance.shuffle(order)
    again = find_phases([felled[one] for one in order], rule)
    shuffled = [
        (one.first, one.last, sorted(felled[order[k]] for k in one.members)) for one in again
    ]
    assert shuffled == [
        (one.first, one.last, sorted(felled[k] for k in one.members)) for one in found
    ]


def test_invented_campaigns_are_found_and_ranges_alone_make_none() -> None:
    """Two campaigns of five trees each, 30 years or more apart; years of felling are known."""
    chance = np.random.default_rng(7)
    stated = found = true = of_ranges = held = 0
    for _ in range(60):
        years = chance.integers(1600, 1650), chance.integers(1680, 1730)
        felled, ranges = [], []
        for year in np.repeat(years, 5):
            early = int(chance.integers(0, 30))
            ranges.append((int(year) - early, int(year) - early + 30))
            felled.append((int(year), int(year) + 1) if chance.random() < 0.7 else ranges[-1])
        phases = find_phases(felled, USUAL)
        stated += len(phases)
        true += sum(any(one.first - 2 <= year <= one.last + 2 for year in years) for one in phases)
        found += sum(any(one.first - 2 <= year <= one.last + 2 for one in phases) for year in years)
        of_ranges += len(find_phases(ranges, USUAL))
        first, last = most_met(ranges[:5])
        held += first <= years[0] <= last
    assert found / 120 > 0.9
    assert true / stated > 0.95
    assert of_ranges == 0
    assert held / 60 > 0.95


# -- from the record -----------------------------------------------------------------------------


def phases_of(builder, rule: PhaseRule = USUAL) -> dict[str, pl.DataFrame]:
    package = builder.package
    return derive_phases(package, derive_fellings(package), rule)


def test_every_level_of_places_has_its_phases_from_all_wood_inside(tmp_path) -> None:
    """Trees count once: E4 is of E1's tree. A laboratory's range without a last ring takes part."""
    house = a_house(
        tmp_path,
        ring(1781, "B"),
        ring(1781, "r"),
        {"felled_from_year": 1770, "felled_to_year": 1790},
        ring(1781, "vv", element={"same_tree_element_id": "E1"}),
        ring(1781, "B", element={"place_id": "B1"}),
        ring(1781, "v"),
    )
    found = phases_of(house)
    shown = ("phase_id", "first_year", "last_year", "piece_count", "tree_count", "narrow_count")
    assert found["phase"].select(*shown, "decisive_count", "wider_count").rows() == [
        ("B1-1781", 1781, 1782, 5, 4, 3, 0, 4),
        ("B1-R1-1781", 1781, 1782, 4, 3, 2, 3, 3),
    ]
    pieces = found["phase_piece"].filter(phase_id="B1-R1-1781")
    assert pieces.select("element_id", "decisive").rows() == [
        ("E1", "yes"), ("E4", "yes"), ("E2", "yes"), ("E3", "yes"),
    ]  # fmt: skip
    places = found["phase_place"]
    counts = ("dated_tree_count", "cutting_tree_count", "range_tree_count", "open_tree_count")
    assert places.select("place_id", *counts, "phase_count").rows() == [
        ("B1", 5, 3, 1, 1, 1),
        ("B1-R1", 4, 2, 1, 1, 1),
    ]


def test_near_cutting_dates_make_a_phase_where_the_record_says_how_many_rings_are_gone(
    tmp_path,
) -> None:
    house = a_house(tmp_path, ring(1781, "v"), ring(1781, "v"), ring(1783, "B"))
    assert phases_of(house)["phase"].is_empty()
    house.with_bare_row("assumption", assumption_id="A1", assumption_kind="near_cutting_rings",
                        figure=4, source="Letter of the laboratory (invented)")  # fmt: skip
    row = phases_of(house)["phase"].row(0, named=True)
    assert (row["first_year"], row["last_year"]) == (1782, 1784)
    assert (row["tree_count"], row["narrow_count"], row["near_count"]) == (3, 3, 2)


def test_two_cutting_dates_that_agree_are_said_to_be_too_few(tmp_path) -> None:
    house = a_house(tmp_path, ring(1781, "B"), ring(1781, "B"), ring(1702, "B"))
    place = phases_of(house)["phase_place"].row(0, named=True)
    counts = ("agreeing_count", "agreeing_cutting_count", "met_from_year", "met_to_year")
    assert [place[one] for one in counts] == [2, 2, 1702, 1782]
    again = phases_of(house, PhaseRule(least=2))
    assert again["phase"]["phase_id"].to_list() == ["B1-1781", "B1-R1-1781"]
    assert again["phase_place"]["agreeing_count"].null_count() == 2


def test_wood_of_no_place_and_wood_at_odds_is_in_no_phase(tmp_path) -> None:
    dates: list[dict[str, Any]] = [ring(1781, "B") for _ in range(3)]
    house = a_house(tmp_path, *dates, ring(1790, "vv", wood="E1"))
    assert phases_of(house)["phase"].is_empty()
    assert phases_of(house)["phase_place"]["dated_tree_count"].to_list() == [2, 2]
    dates = [ring(1781, "B", element={"place_id": None}) for _ in range(3)]
    assert phases_of(a_house(tmp_path / "2", *dates))["phase_place"].is_empty()
