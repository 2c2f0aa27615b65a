"""EDTF, against the published examples and an independent validator."""

import calendar
import re
import warnings
from datetime import date
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._base.errors import UnreadableValue
from provenance._base.resources import shipped
from provenance._model.edtf import EDTF_PATTERN, Day, bounds, is_edtf

# Examples of the EDTF specification, Library of Congress, 4 February 2019 (from memory).
LEVEL_0 = [
    "1985-04-12",
    "1985-04",
    "1985",
    "1985-04-12T23:20:30",
    "1985-04-12T23:20:30Z",
    "1985-04-12T23:20:30-04",
    "1985-04-12T23:20:30+04:30",
    "1964/2008",
    "2004-06/2006-08",
    "2004-02-01/2005-02-08",
    "2004-02-01/2005-02",
    "2004-02-01/2005",
    "2005/2006-02",
]
LEVEL_1 = [
    "Y170000002",
    "Y-170000002",
    "2001-21",
    "1984?",
    "2004-06~",
    "2004-06-11%",
    "201X",
    "20XX",
    "2004-XX",
    "1985-04-XX",
    "1985-XX-XX",
    "1985-04-12/..",
    "1985-04/..",
    "1985/..",
    "../1985-04-12",
    "../1985-04",
    "../1985",
    "1985-04-12/",
    "1985-04/",
    "1985/",
    "/1985-04-12",
    "/1985-04",
    "/1985",
    "-1985",
]
LEVEL_2 = [
    "Y-17E7",
    "1950S2",
    "2001-34",
    "[1667,1668,1670..1672]",
    "{1960,1961-12}",
    "[..1983-12-31]",
    "2004-06~-11",
    "2004-?06-11",
    "156X-12-25",
    "15XX-12-25",
    "XXXX-12-XX",
    "1XXX-XX",
    "2004-06-~01/2004-06-~20",
    "2004-06-XX/2004-07-03",
]


@pytest.mark.parametrize("text", LEVEL_0 + LEVEL_1)
def test_every_published_example_of_levels_0_and_1_is_read(text: str):
    assert is_edtf(text)
    assert any(end is not None for end in bounds(text))


@pytest.mark.parametrize("text", LEVEL_2)
def test_published_examples_of_level_2_are_no_stored_dates(text: str):
    assert not is_edtf(text)
    assert not re.fullmatch(EDTF_PATTERN, text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        " 1985",
        "1985\n",
        "85",
        "198",
        "1985-4-1",
        "1985/04/12",
        "12/04/1985",
        "1985-13",
        "1985-00",
        "1985-04-31",
        "1985-02-30",
        "1985-02-29",
        "1900-02-29",
        "-0000",
        "1985-04-12T23:20",
        "1985-04-12T24:00:00",
        "1985-04-12T23:20:61",
        "1985T23:20:30",
        "1985-04-12T23:20:30-00:00",
        "1985??",
        "?",
        "XXXX",
        "/",
        "../..",
        "../",
        "/..",
        "1985/1984",
        "1985-06-15/1985-05",
        "1985/1986/1987",
        "Y1985",
        "Y" + "9" * 5000,
        "١٩٨٥",
        "1985-22/1985-01-31/",
    ],
)
def test_what_is_not_edtf_is_refused_with_what_to_write(text: str):
    assert not is_edtf(text)
    with pytest.raises(UnreadableValue, match="write 2024-06-03"):
        bounds(text)


@pytest.mark.parametrize(
    ("text", "earliest", "latest"),
    [
        ("1985-04-12", (1985, 4, 12), (1985, 4, 12)),
        ("1985-02", (1985, 2, 1), (1985, 2, 28)),
        ("2000-02", (2000, 2, 1), (2000, 2, 29)),
        ("1900-02", (1900, 2, 1), (1900, 2, 28)),
        ("1985~", (1985, 1, 1), (1985, 12, 31)),
        ("198X", (1980, 1, 1), (1989, 12, 31)),
        ("18XX", (1800, 1, 1), (1899, 12, 31)),
        ("1985-04-XX", (1985, 4, 1), (1985, 4, 30)),
        ("1985-XX-XX", (1985, 1, 1), (1985, 12, 31)),
        ("-0001", (-1, 1, 1), (-1, 12, 31)),
        ("0000", (0, 1, 1), (0, 12, 31)),
        ("0000-02", (0, 2, 1), (0, 2, 29)),
        ("-0004-02", (-4, 2, 1), (-4, 2, 29)),
        ("-198X", (-1989, 1, 1), (-1980, 12, 31)),
        ("-000X", (-9, 1, 1), (-1, 12, 31)),
        ("Y-170000002", (-170000002, 1, 1), (-170000002, 12, 31)),
        ("1985/1987-02", (1985, 1, 1), (1987, 2, 28)),
        ("2004-06-15/2004-06", (2004, 6, 15), (2004, 6, 30)),
        ("1985-04-12T23:20:30+04:30", (1985, 4, 12), (1985, 4, 12)),
        ("1985/..", (1985, 1, 1), None),
        ("/1985", None, (1985, 12, 31)),
        ("1987-21", (1987, 3, 1), (1987, 11, 30)),
        ("1987-24", (1986, 12, 1), (1988, 2, 29)),
    ],
)
def test_bounds_take_in_every_day_that_the_text_allows(text: str, earliest: Any, latest: Any):
    assert bounds(text) == (earliest, latest)


@pytest.mark.parametrize(
    ("season", "first", "last"),
    [
        ("21", Day(1987, 3, 1), Day(1987, 5, 31)),
        ("21", Day(1987, 9, 1), Day(1987, 11, 30)),
        ("22", Day(1987, 6, 1), Day(1987, 8, 31)),
        ("22", Day(1986, 12, 1), Day(1987, 2, 28)),
        ("22", Day(1987, 12, 1), Day(1988, 2, 29)),
        ("23", Day(1987, 9, 1), Day(1987, 11, 30)),
        ("23", Day(1987, 3, 1), Day(1987, 5, 31)),
        ("24", Day(1986, 12, 1), Day(1987, 2, 28)),
        ("24", Day(1987, 12, 1), Day(1988, 2, 29)),
        ("24", Day(1987, 6, 1), Day(1987, 8, 31)),
    ],
)
def test_a_season_takes_in_both_hemispheres(season: str, first: Day, last: Day):
    """Meteorological seasons; common practice, no source."""
    wide = bounds(f"1987-{season}")
    assert wide[0] <= first <= last <= wide[1]


@given(st.dates())
def test_a_calendar_day_is_its_own_bounds(day: date):
    """Python's calendar is the reference for which days there are."""
    assert bounds(day.isoformat()) == ((day.year, day.month, day.day),) * 2
    month = day.isoformat()[:7]
    assert bounds(month)[1] == (day.year, day.month, calendar.monthrange(day.year, day.month)[1])


# --- an independent validator: edtf-validate (PyPI), written at a university library ------------

years = st.sampled_from(["1984", "1985", "2004", "0000", "0001", "-1985", "-0001", "1900", "2000"])
two = st.sampled_from(["00", "01", "02", "04", "06", "12", "13", "21", "24", "25", "28", "29", "30",
                       "31", "32", "XX", "0X"])  # fmt: skip
marks = st.sampled_from(["", "", "", "?", "~", "%", "X", "?~"])
times = st.sampled_from(["T23:20:30", "T23:20:30Z", "T00:00:00+04:30", "T23:20", "T25:00:00",
                         "T12:00:60", "T12:00:00-14:00", "T12:00:00+15"])  # fmt: skip
dates = st.one_of(
    st.tuples(years, marks),
    st.tuples(years, st.just("-"), two, marks),
    st.tuples(years, st.just("-"), two, st.just("-"), two, marks),
    st.tuples(years, st.just("-"), two, st.just("-"), two, times),
    st.sampled_from([("198X",), ("19XX",), ("1XXX",), ("Y17000",), ("Y1700",), ("198X~",)]),
).map("".join)
ends = st.one_of(dates, st.sampled_from(["", ".."]))
written = st.one_of(dates, st.tuples(ends, st.just("/"), ends).map("".join))


@pytest.fixture(scope="module")
def independent() -> Any:
    with warnings.catch_warnings():
        # it is written for an older spelling of its own parser library
        warnings.simplefilter("ignore")
        from edtf_validate import valid_edtf

        yield valid_edtf


def _known_difference(text: str) -> bool:
    """Where the validator and the specification part, or the specification is silent.

    1. The validator lets 29 February pass in common years, and refuses 29 February and month 13
       by crashing in intervals.
    2. It accepts intervals with no dated end, '../..', '/..', '../', which say nothing.
    3. It compares only first days, so that it refuses 2004-06-15/2004-06; and it compares years
       before the common era by their digits, refuses 0000 as an end, and takes seasons for months.
    4. It lets a time follow a bare year or month.
    5. It refuses the offset +00:00, which ISO 8601-1 has for UTC.
    """
    start, slash, end = text.partition("/")
    if slash:
        if {start, end} <= {"", ".."}:
            return True
        if any(part.startswith(("-", "0")) or "-2" in part for part in (start, end)):
            return True
        return start[:7] == end[:7] or start[:4] == end[:4]
    return bool(re.fullmatch(r"-?\d{4}-02-29.*", text)) or "T" in text[:8]


@settings(max_examples=500, deadline=None)
@given(text=written)
def test_an_independent_validator_agrees_but_for_named_differences(text: str, independent: Any):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        valid = independent.conformsLevel1(text)
        if valid and "/" in text and not _known_difference(text):
            valid = independent.is_valid(text)
    if not _known_difference(text):
        assert is_edtf(text) == valid


# --- the stored pattern -------------------------------------------------------------------------


@given(written)
def test_the_stored_pattern_lets_through_whatever_is_sound(text: str):
    if is_edtf(text) and not text.startswith("Y"):
        assert re.fullmatch(EDTF_PATTERN, text)


@given(written)
def test_what_the_pattern_lets_through_fails_only_by_the_calendar_or_by_order(text: str):
    if re.fullmatch(EDTF_PATTERN, text) and not is_edtf(text):
        no_such_day = re.search(r"-02-(29|30|31)|-(04|06|09|11)-31|-0000", text)
        season_in_doubt = re.fullmatch(r"-?[0-9]{4}-2[1-4][?~%]", text)
        assert "/" in text or no_such_day or season_in_doubt


def test_the_pattern_needs_no_look_around_and_no_back_reference():
    assert "(?" not in EDTF_PATTERN
    assert not re.search(r"\\[0-9]", EDTF_PATTERN)


def test_the_schema_notation_is_this_pattern():
    notations = yaml.safe_load((shipped("schemas") / "notations.yaml").read_text("utf-8"))
    assert notations["edtf"]["pattern"] == EDTF_PATTERN


def test_a_columnar_engine_reads_the_pattern_alike():
    """Rust's regular expressions, by way of Polars, give the verdicts of Python's."""
    polars = pytest.importorskip("polars")
    texts = LEVEL_0 + LEVEL_1 + LEVEL_2 + ["1985-02-30", "85", "1985\n", "2004-06-31"]
    found = polars.Series(texts).str.contains(f"^(?:{EDTF_PATTERN})$").to_list()
    assert found == [bool(re.fullmatch(EDTF_PATTERN, text)) for text in texts]
