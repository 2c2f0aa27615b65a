"""Accession numbers follow the repository's own pattern, rise, and never come again."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._store.numbers import (
    UnusableNumber,
    folder_name,
    number_pattern,
    plain_number,
)

DAY = date(2026, 3, 1)


@pytest.mark.parametrize(
    ("pattern", "number"),
    [
        ("{year}.{serial:04}", "2026.0012"),
        ("HR {year}/{serial}", "HR 2026/12"),
        ("{year}-{month}-{serial:02}", "2026-03-12"),
        ("A{serial:06}", "A000012"),
        ("{serial}", "12"),
    ],
)
def test_a_pattern_makes_the_numbers_that_it_shows(pattern: str, number: str) -> None:
    assert number_pattern(pattern).number(12, DAY) == number


@pytest.mark.parametrize(
    ("pattern", "why"),
    [
        ("", "nothing is written"),
        ("2026", "exactly once"),
        ("{serial}-{serial}", "exactly once"),
        ("{year}{serial}", "numbers touch"),
        ("7{serial}", "numbers touch"),
        ("{serial}.{month}", "repeat after a year"),
        ("{day}.{serial}", "none of"),
        ("{serial:4}", "none of"),
        ("{serial", "not closed"),
        ("{year}:{serial}", "only letters"),
        ("../{serial}", "begin it with a letter"),
        ("A" * 60 + "{serial}", "at most 60"),
        ("{year}\n{serial}", "only letters"),
    ],
)
def test_a_pattern_that_cannot_be_used_is_refused_with_the_reason(pattern: str, why: str) -> None:
    with pytest.raises(UnusableNumber, match=why):
        number_pattern(pattern)


PATTERNS = st.sampled_from(
    ["{year}.{serial:04}", "HR {year}/{serial}", "{year}-{month}-{serial:02}", "A{serial:06}"]
)
DAYS = st.lists(st.dates(date(1990, 1, 1), date(2100, 1, 1)), min_size=1, max_size=30)


@given(PATTERNS, DAYS)
def test_no_number_is_ever_given_out_twice_and_within_a_series_they_rise(
    text: str, days: list[date]
) -> None:
    pattern = number_pattern(text)
    given_out: list[str] = []
    for day in days:
        given_out.append(pattern.next_number(given_out, day))
    assert len(set(given_out)) == len(given_out)
    assert len({folder_name(one) for one in given_out}) == len(given_out)
    by_series: dict[tuple[str, ...], list[int]] = {}
    for one in given_out:
        found = pattern.series_of(one)
        assert found is not None
        by_series.setdefault(found[0], []).append(found[1])
    for serials in by_series.values():
        assert serials == list(range(1, len(serials) + 1))


@given(PATTERNS, st.integers(1, 999_999_999), st.dates(date(1000, 1, 1), date(9999, 1, 1)))
def test_every_number_is_read_back_as_what_it_was_made_of(
    text: str, serial: int, day: date
) -> None:
    pattern = number_pattern(text)
    number = pattern.number(serial, day)
    read = pattern.series_of(number)
    assert read is not None
    assert read[1] == serial
    assert pattern.renumbered(*read) == number


def test_a_full_width_goes_on_with_more_digits() -> None:
    pattern = number_pattern("{year}.{serial:02}")
    assert pattern.next_number(["2026.99", "2025.500"], DAY) == "2026.100"
    assert pattern.series_of("2026.0100") is None


@pytest.mark.parametrize("number", ["", " 7", "7 ", "a:b", "-", "..", ".hidden", "x" * 61, "1\n2"])
def test_a_number_that_could_not_be_a_folder_is_refused(number: str) -> None:
    with pytest.raises(UnusableNumber):
        plain_number(number)
