"""Every date of the record."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._checks.language.dates import date_bounds, day_number
from provenance._model.edtf import Day
from tests.checks.rules.record import a_sound_record, model, only

DATED = [(table.name, one.name) for table, one in model().every_field() if one.notation == "edtf"]


@pytest.mark.parametrize(("table", "field"), DATED)
def test_the_thirtieth_of_february_is_no_day_in_any_date_field(table: str, field: str) -> None:
    """ISO 8601-1:2019: February has 28 days, and 29 in leap years."""
    broken = a_sound_record().without(table).with_row(table, **{field: "2024-02-30"})
    findings = broken.says("dates.no_such_day")
    assert [line for line in findings if line.startswith(f"{table} 2 {field}: 2024-02-30")]


@pytest.mark.parametrize(
    "date", ["2023-02-29", "2024-06-31", "1900-02-29", "2024-06-04/2024-06-01"]
)
def test_days_that_no_calendar_has_are_errors(date: str) -> None:
    """ISO 8601-1:2019: 1900 was no leap year; ISO 8601-2: an interval runs forwards."""
    broken = a_sound_record().but("plug", last_seen_on=date)
    only(broken.says("dates.no_such_day"), "plug 2 last_seen_on", date)


@pytest.mark.parametrize(
    "date", ["2024-02-29", "2000-02-29", "2024", "202X", "2024-06~", "2024/.."]
)
def test_sound_and_uncertain_dates_pass(date: str) -> None:
    """Examples after the EDTF specification (Library of Congress), levels 0 and 1."""
    assert a_sound_record().but("plug", last_seen_on=date).says("dates.no_such_day") == []


def test_a_two_digit_year_read_as_it_stands_is_reported() -> None:
    broken = a_sound_record().but("plug", placed_on="0024-06-04")
    only(broken.says("dates.before_the_trade_began"), "plug 2 placed_on", "0024-06-04")


def test_episodes_may_be_as_old_as_they_like() -> None:
    old = a_sound_record().but("episode", happened="-0030")
    assert old.says("dates.before_the_trade_began") == []


@given(st.dates())
def test_days_are_counted_as_the_standard_library_counts_them(date) -> None:
    """datetime.date.toordinal counts 0001-01-01 as 1, proleptic Gregorian."""
    assert day_number([Day(date.year, date.month, date.day)])[0] == date.toordinal() - 1


def test_days_before_year_one_come_before() -> None:
    """ISO 8601: year 0000 is 1 BC and a leap year."""
    days = [Day(0, 12, 31), Day(0, 1, 1), Day(-1, 12, 31), None]
    assert day_number(days).to_list() == [-1, -366, -367, None]


def test_an_uncertain_date_has_an_earliest_and_a_latest_day() -> None:
    frame = a_sound_record().but("plug", placed_on="2024-06", last_seen_on="2024-06-05/..").tables
    dated = date_bounds(frame["plug"], "placed_on", "last_seen_on")
    last = dated["placed_on_last"][0]
    assert last - dated["placed_on_first"][0] == 29  # June has thirty days
    assert dated["last_seen_on_first"][0] == dated["placed_on_first"][0] + 4
    assert dated["last_seen_on_last"][0] is None


def test_what_is_no_date_at_all_is_said_once_by_the_structure() -> None:
    assert a_sound_record().but("plug", last_seen_on="last week").says("dates.no_such_day") == []


@pytest.mark.parametrize(("date", "told"), [("1900-01-01", False), ("1899-12-31", True)])
def test_the_trade_begins_with_the_year_1900(date: str, told: bool) -> None:
    record = a_sound_record().but("plug", last_seen_on=date)
    assert bool(record.says("dates.before_the_trade_began")) is told


def test_the_history_of_a_place_is_older_than_the_trade() -> None:
    old = a_sound_record().but("episode", happened="1782")
    assert old.says("dates.before_the_trade_began") == []
