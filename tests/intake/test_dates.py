"""Dates as crews write them, read into EDTF."""

from datetime import UTC, date, datetime, time, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, from_excel

from provenance._base.errors import UnreadableValue, UnusableInput
from provenance._intake.values.date_formats import match_format
from provenance._intake.values.dates import read_date
from provenance._intake.values.serial_dates import read_serial_date
from provenance._model.edtf import bounds, is_edtf

# --- the mapping's formats ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "date_format", "edtf"),
    [
        ("4/6/87", "D/M/YY", "1987-06-04"),
        ("4/6/87", "M/D/YY", "1987-04-06"),
        ("04/06/1987", "D/M/YYYY", "1987-06-04"),
        ("4/6/1987", "DD/MM/YYYY", "1987-06-04"),
        ("4.6.'87", "D.M.YY", "1987-06-04"),
        ("1987-06-04", "YYYY-MM-DD", "1987-06-04"),
        ("19870604", "YYYYMMDD", "1987-06-04"),
        ("June 4, 1987", "MMM D, YYYY", "1987-06-04"),
        ("Jun. 4,  1987", "MMM D, YYYY", "1987-06-04"),
        ("4 JUNE 87", "D MMM YY", "1987-06-04"),
        ("Sept 1987", "MMM YYYY", "1987-09"),
        ("6/1987", "M/YYYY", "1987-06"),
        ("Jun-12", "MMM-YY", "2012-06"),
        ("4/6/1987 16:05", "D/M/YYYY hh:mm", "1987-06-04T16:05:00"),
        ("4/6/1987 16:05:09", "D/M/YYYY hh:mm:ss", "1987-06-04T16:05:09"),
        ("4/6/1987 00:00", "D/M/YYYY hh:mm", "1987-06-04"),
        (19870604, "YYYYMMDD", "1987-06-04"),
    ],
)
def test_a_date_is_read_by_the_mappings_format(written: Any, date_format: str, edtf: str):
    assert read_date(written, [date_format], century_pivot=1950) == edtf


@given(
    st.dates(date(1000, 1, 1)),
    st.sampled_from(
        [
            ("D/M/YYYY", "%d/%m/%Y"),
            ("M/D/YYYY", "%m/%d/%Y"),
            ("YYYYMMDD", "%Y%m%d"),
            ("YYYY.MM.DD", "%Y.%m.%d"),
            ("D MMM YYYY", "%d %b %Y"),
            ("MMM D, YYYY", "%B %d, %Y"),
        ]
    ),
)
def test_what_the_standard_library_writes_is_read_back(day: date, formats: tuple[str, str]):
    """Python's strftime is the reference for each format."""
    ours, theirs = formats
    assert read_date(day.strftime(theirs), [ours]) == day.isoformat()


@given(st.dates(date(1950, 1, 1), date(2049, 12, 31)))
def test_two_digits_mean_the_year_in_the_hundred_from_the_pivot_on(day: date):
    written = day.strftime("%d.%m.%y")
    assert read_date(written, ["D.M.YY"], century_pivot=1950) == day.isoformat()


@pytest.mark.parametrize("written", ["14/6/87", "June '87", "Jun-87", "14 June 87", "80s"])
def test_two_digits_without_a_pivot_are_refused(written: str):
    with pytest.raises(UnreadableValue, match="century_pivot"):
        read_date(written, ["D/M/YY"])


def test_formats_are_tried_in_order_and_others_in_figures_are_refused():
    formats = ["D/M/YYYY", "YYYY-MM-DD"]
    assert read_date("4/6/1987", formats) == "1987-06-04"
    assert read_date("1987-06-04", formats) == "1987-06-04"
    with pytest.raises(UnreadableValue, match=r"D/M/YYYY, YYYY-MM-DD"):
        read_date("14.6.1987", formats)
    with pytest.raises(UnreadableValue, match="no day of the calendar"):
        read_date("6/14/1987", formats)
    assert read_date("14.6.1987", formats, day_first=True) == "1987-06-14"


@pytest.mark.parametrize(
    "date_format",
    ["", "Q", "D/M", "D/YYYY", "YY YYYY", "M MMM YYYY", "D/D/YYYY", "YYYY hh", "d/m/y"],
)
def test_a_format_that_cannot_be_is_a_mistake_of_the_mapping(date_format: str):
    with pytest.raises(UnusableInput, match="date format"):
        match_format("4/6/1987", date_format)


def test_a_pivot_that_is_no_year_is_a_mistake_of_the_mapping():
    with pytest.raises(UnusableInput, match="century_pivot"):
        read_date("14/6/87", century_pivot=50)


def test_months_in_another_language_come_from_the_mapping():
    months = {"juin": 6, "août": 8}
    assert read_date("4 juin 1987", ["D MMM YYYY"], month_names=months) == "1987-06-04"
    assert read_date("août 1987", month_names=months) == "1987-08"


# --- order of day and month -----------------------------------------------------------------------


def test_day_and_month_that_can_change_places_are_refused_with_both_readings():
    with pytest.raises(UnreadableValue, match="day 4 of month 6 or day 6 of month 4"):
        read_date("4/6/1987")
    assert read_date("4/6/1987", day_first=True) == "1987-06-04"
    assert read_date("4/6/1987", day_first=False) == "1987-04-06"


@pytest.mark.parametrize(
    ("written", "edtf"),
    [
        ("14/6/1987", "1987-06-14"),
        ("6/14/1987", "1987-06-14"),
        ("14.6.1987", "1987-06-14"),
        ("14. 6. 1987", "1987-06-14"),
        ("14-06-1987", "1987-06-14"),
        ("6/6/1987", "1987-06-06"),
        ("1987/06/14", "1987-06-14"),
        ("1987.6.4", "1987-06-04"),
        ("6/1987", "1987-06"),
    ],
)
def test_figures_that_leave_no_doubt_need_no_format(written: str, edtf: str):
    assert read_date(written) == edtf


@given(st.dates(date(1000, 1, 1)))
def test_the_order_is_never_guessed(day: date):
    """Either the true date comes out or the cell is refused."""
    for written in (day.strftime("%d/%m/%Y"), day.strftime("%m/%d/%Y")):
        if day.day <= 12 and day.day != day.month:
            with pytest.raises(UnreadableValue):
                read_date(written)
        else:
            assert read_date(written) == day.isoformat()


# --- words ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "edtf"),
    [
        ("1987", "1987"),
        ("June 1987", "1987-06"),
        ("june, 1987", "1987-06"),
        ("1987 June", "1987-06"),
        ("14 June 1987", "1987-06-14"),
        ("14th June 1987", "1987-06-14"),
        ("14th of June, 1987", "1987-06-14"),
        ("June 14th, 1987", "1987-06-14"),
        ("Sunday, 14 June 1987", "1987-06-14"),
        ("14-Jun-1987", "1987-06-14"),
        ("c. 1987", "1987~"),
        ("C.1987", "1987~"),
        ("ca 1987", "1987~"),
        ("circa June 1987", "1987-06~"),
        ("~1987", "1987~"),
        ("about 14 June 1987", "1987-06-14~"),
        ("1987?", "1987?"),
        ("1987 (?)", "1987?"),
        ("probably 1987", "1987?"),
        ("ca 1987?", "1987%"),
        ("?c. 1987", "1987%"),
        ("summer 1987", "1987-22"),
        ("Spring of 1987", "1987-21"),
        ("Fall 1987", "1987-23"),
        ("autumn, 1987", "1987-23"),
        ("winter 1987", "1987-24"),
        ("1980s", "198X"),
        ("the 1980's", "198X"),
        ("1980’s", "198X"),
        ("c. 1980s", "1980~/1989~"),
        ("19th century", "18XX"),
        ("before 1990", "../1989"),
        ("before June 1990", "../1990-05"),
        ("before Jan 1990", "../1989-12"),
        ("before 1 March 1988", "../1988-02-29"),
        ("before c. 1990", "../1989~"),
        ("before the 1980s", "../1979"),
        ("by 1990", "../1990"),
        ("until June 1990", "../1990-06"),
        ("1990 or earlier", "../1990"),
        ("after 1985", "1986/.."),
        ("after December 1985", "1986-01/.."),
        ("after 31/12/1985", "1986-01-01/.."),
        ("after the 1980s", "1990/.."),
        ("since 1985", "1985/.."),
        ("1985 or later", "1985/.."),
        ("from 1985 onwards", "1985/.."),
        ("between 1985 and 1987", "1985/1987"),
        ("between c. 1985 and 1987?", "1985~/1987?"),
        ("from 1985 to 1987", "1985/1987"),
        ("1985 to 1987", "1985/1987"),
        ("1985 – 1987", "1985/1987"),
        ("1985–1987", "1985/1987"),
        ("1987-88", "1987/1988"),
        ("1987–88", "1987/1988"),
        ("1987/88", "1987/1988"),
        ("c. 1987-88", "1987~/1988~"),
        ("June-August 1987", "1987-06/1987-08"),
        ("June to August 1987", "1987-06/1987-08"),
        ("12-14 June 1987", "1987-06-12/1987-06-14"),
        ("June 12–14, 1987", "1987-06-12/1987-06-14"),
        ("28 June - 3 July 1987", "1987-06-28/1987-07-03"),
        ("June 28 to July 3, 1987", "1987-06-28/1987-07-03"),
        ("1980s to 1990s", "1980/1999"),
    ],
)
def test_words_of_doubt_and_of_time_become_edtf(written: str, edtf: str):
    assert read_date(written) == edtf
    assert is_edtf(edtf)


@pytest.mark.parametrize(
    ("written", "edtf"),
    [("June '87", "1987-06"), ("summer ’87", "1987-22"), ("14 June 05", "2005-06-14"),
     ("'80s", "198X"), ("80s", "198X")],
)  # fmt: skip
def test_words_take_two_digit_years_with_the_pivot(written: str, edtf: str):
    assert read_date(written, century_pivot=1950) == edtf


def test_a_doubt_goes_round_a_date_in_the_mappings_format():
    assert read_date("c. 4/6/87", ["D/M/YY"], century_pivot=1950) == "1987-06-04~"
    assert read_date("before 4/6/87", ["D/M/YY"], century_pivot=1950) == "../1987-06-03"


@pytest.mark.parametrize(
    ("written", "word"),
    [
        ("", "is empty"),
        (None, "is empty"),
        ("?", "not known"),
        ("-", "not known"),
        ("n.d.", "not known"),
        ("unknown", "not known"),
        ("early June 1987", "part of a period"),
        ("mid 1980s", "part of a period"),
        ("late 1987", "part of a period"),
        ("c. summer 1987", "season with a doubt"),
        ("winter 1987-88", "season of two years"),
        ("before summer 1987", "season"),
        ("1900s", "ten years or a hundred"),
        ("2001/05", "month or a span"),
        ("1987-86", "runs backwards"),
        ("1987 to 1985", "runs backwards"),
        ("1987/1985", "runs backwards"),
        ("14 June", "no year"),
        ("June", "no year"),
        ("Jun-14", "day or a year"),
        ("31 June 1987", "never was"),
        ("29 Feb 1987", "never was"),
        ("1987-02-29", "never was"),
        ("before 31 June 1987", "never was"),
        ("30/2/1987", "no day of the calendar"),
        ("before 0000", "beyond the years"),
        ("1987-06-14 25:00", "no clock"),
        ("yesterday", "is not a date"),
        ("12345678901", "is not a date"),
        ("x" * 81, "longer than"),
        (True, "is not a date"),
        (time(3, 4), "is not a date"),
        (float("nan"), "is not a date"),
        (31942, "bare number"),
        ("31942", "bare number"),
        (12.5, "bare number"),
    ],
)
def test_what_cannot_be_said_is_refused_with_what_to_write(written: Any, word: str):
    with pytest.raises(UnreadableValue, match=word):
        read_date(written)


# --- laws -----------------------------------------------------------------------------------------


@given(st.dates(date(1000, 1, 2), date(9999, 12, 30)))
def test_before_and_after_leave_out_the_day_itself(day: date):
    one = timedelta(days=1)
    written = f"{day.day} {day:%B} {day.year}"
    assert bounds(read_date(f"before {written}"))[1] == (day - one).timetuple()[:3]
    assert bounds(read_date(f"after {written}"))[0] == (day + one).timetuple()[:3]
    assert bounds(read_date(f"by {written}"))[1] == day.timetuple()[:3]


@given(
    st.sampled_from(["", "c. ", "before ", "after ", "summer ", "between ", "probably ", "early "]),
    st.sampled_from(
        ["1987", "June 1987", "14 June 1987", "1980s", "4/6/87", "1987-88", "87", "14"]
    ),
    st.sampled_from(["", "?", " and 1990", " to 1990", " or later", " x"]),
)
def test_whatever_is_read_is_edtf(front: str, middle: str, behind: str):
    written = front + middle + behind
    try:
        found = read_date(written, century_pivot=1950)
    except UnreadableValue as error:
        found, sentence = "1987", str(error)
        assert len(sentence) > len(written) + 10
    assert is_edtf(found)


@given(st.text(max_size=40))
def test_hostile_text_is_refused_or_read_as_edtf(text: str):
    try:
        found = read_date(text, ["D/M/YY"], century_pivot=1950, serial_epoch=1900)
    except UnreadableValue:
        found = "1987"
    assert is_edtf(found)


@given(st.text(alphabet="0123456789-/.XT:Z?~% c'sJune", max_size=14))
def test_near_dates_are_refused_or_read_as_edtf(text: str):
    try:
        found = read_date(text)
    except UnreadableValue:
        found = "1987"
    assert is_edtf(found)


@given(st.sampled_from(["1987-06-14", "1987-06~", "198X", "1985/..", "1987-22", "../1985?"]))
def test_what_is_edtf_already_stays_as_it_is(text: str):
    assert read_date(text) == text
    assert read_date(text, ["D/M/YY"]) == text


# --- spreadsheet cells ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "edtf"),
    [
        (date(1987, 6, 14), "1987-06-14"),
        (datetime(1987, 6, 14), "1987-06-14"),
        (datetime(1987, 6, 14, 10, 5), "1987-06-14T10:05:00"),
        (datetime(1987, 6, 14, 10, 5, tzinfo=UTC), "1987-06-14T10:05:00Z"),
        (
            datetime(1987, 6, 14, 10, tzinfo=timezone(timedelta(hours=2))),
            "1987-06-14T10:00:00+02:00",
        ),
        (datetime(1987, 6, 14, 9, 59, 59, 999_700), "1987-06-14T10:00:00"),
        (datetime(1987, 6, 14, 23, 59, 59, 999_700), "1987-06-15"),
        ("1987-06-14 00:00:00", "1987-06-14"),
        ("1987-06-14 10:05", "1987-06-14T10:05:00"),
        ("1987-06-14T10:05:09.123+00:00", "1987-06-14T10:05:09Z"),
        (1987, "1987"),
        (1987.0, "1987"),
        (Decimal(1987), "1987"),
    ],
)
def test_date_cells_and_time_stamps_are_read(cell: Any, edtf: str):
    assert read_date(cell) == edtf
    assert is_edtf(edtf)


def test_an_empty_cell_of_a_table_library_is_empty():
    pandas = pytest.importorskip("pandas")
    with pytest.raises(UnreadableValue, match="is empty"):
        read_date(pandas.NaT)
    assert read_date(pandas.Timestamp("1987-06-14")) == "1987-06-14"


@given(st.integers(1, 2958465))
def test_day_numbers_of_the_1900_system_agree_with_an_independent_library(serial: int):
    """openpyxl is the reference but for day 60, which it calls 28 February as it does day 59."""
    assume(serial != 60)
    assert read_serial_date(serial, 1900) == from_excel(serial, CALENDAR_WINDOWS_1900).date()


@given(st.integers(1, 2957003))
def test_day_numbers_of_the_1904_system_agree_with_an_independent_library(serial: int):
    assert read_serial_date(serial, 1904) == from_excel(serial, CALENDAR_MAC_1904).date()


@given(st.integers(61, 100000), st.integers(1, 86399))
def test_the_fraction_of_a_day_number_is_its_time(day: int, second: int):
    found = read_serial_date(day + second / 86400, 1900)
    assert isinstance(found, datetime)
    assert found.date() == read_serial_date(day, 1900)
    assert found.hour * 3600 + found.minute * 60 + found.second == second


@pytest.mark.parametrize(
    ("serial", "epoch", "day"),
    [
        # ECMA-376 Part 1, 18.17.4.1: the two systems are 1,462 days apart (from memory)
        (1, 1900, date(1900, 1, 1)),
        (59, 1900, date(1900, 2, 28)),
        (61, 1900, date(1900, 3, 1)),
        (1462, 1900, date(1904, 1, 1)),
        (0, 1904, date(1904, 1, 1)),
        (2958465, 1900, date(9999, 12, 31)),
    ],
)
def test_day_numbers_at_the_edges(serial: int, epoch: Any, day: date):
    assert read_serial_date(serial, epoch) == day


@pytest.mark.parametrize(
    ("serial", "word"),
    [
        (60, "never was"),
        (0, "before the first"),
        (-1, "before the first"),
        (2958466, "after the year"),
        (1e12, "after the year"),
    ],
)
def test_day_numbers_that_name_no_day_are_refused(serial: float, word: str):
    with pytest.raises(UnreadableValue, match=word):
        read_serial_date(serial, 1900)


def test_a_number_cell_is_a_day_number_only_when_the_mapping_says_so():
    assert read_date(31942, serial_epoch=1900) == "1987-06-14"
    assert read_date("31942", serial_epoch=1900) == "1987-06-14"
    assert read_date(30480, serial_epoch=1904) == "1987-06-14"
    assert read_date(31942.75, serial_epoch=1900) == "1987-06-14T18:00:00"
    assert read_date(1987, serial_epoch=1900) == "1987"


def test_an_epoch_that_no_spreadsheet_has_is_a_mistake_of_the_mapping():
    epoch: Any = 1970
    with pytest.raises(UnusableInput, match="1900 or 1904"):
        read_serial_date(1, epoch)
