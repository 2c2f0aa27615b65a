"""Reads dates as crews write them into EDTF (see provenance/edtf.py).

Nothing is guessed: a two-digit year needs the mapping's pivot, 4/6/1987 needs its format or day
order, a bare number needs the spreadsheet's epoch. What cannot be settled is refused, and the cell
becomes a finding with its text kept.

Order of reading: the mapping's formats, then EDTF as it stands, then words and months by name,
then plain figures in an order that leaves no doubt.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal

from provenance._base.errors import UnreadableValue, UnusableInput
from provenance._intake.values.date_formats import ENGLISH_MONTHS, WrittenDate, match_format
from provenance._intake.values.date_words import read_worded_date
from provenance._intake.values.serial_dates import SerialEpoch, read_serial_date
from provenance._model.edtf import EDTF_PATTERN, is_edtf

LONGEST = 80
# a number cell between these is a year that somebody typed, not the serial of 1902 to 1906
YEARS_TYPED = range(1000, 2200)

_SAME_MARKS = str.maketrans(
    {**dict.fromkeys("‐‑‒–—−", "-"), **dict.fromkeys("’‘′ʼ´`", "'"), "\u2044": "/"}
)
_FIGURES = re.compile(
    r"(?P<first>[0-9]{1,2})\s*(?P<mark>[./-])\s*(?P<second>[0-9]{1,2})\s*(?P=mark)\s*"
    r"(?:(?P<year>[0-9]{4})|'?(?P<short_year>[0-9]{2}))"
)
_YEAR_FIRST = re.compile(r"(?P<year>[0-9]{4})([./])(?P<month>[0-9]{1,2})\2(?P<day>[0-9]{1,2})")
_MONTH_AND_YEAR = re.compile(r"(?P<month>[0-9]{1,2})\s*[./-]\s*(?P<year>[0-9]{4})")
_STAMP = re.compile(
    r"(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})[T ](?P<time>[0-9]{2}:[0-9]{2})(?P<second>:[0-9]{2})?"
    r"(?:\.[0-9]{1,9})?(?P<zone>Z|[+-][0-9]{2}:[0-9]{2})?"
)


@dataclass(frozen=True)
class DateHabits:
    """How the writers of one column write dates, as its mapping says."""

    formats: tuple[str, ...]
    century_pivot: int | None
    day_first: bool | None
    serial_epoch: SerialEpoch | None
    month_names: Mapping[str, int]

    def whole_year(self, short_year: int, shown: str) -> int:
        """The year that two digits stand for: the one in the hundred from the pivot on."""
        if self.century_pivot is None:
            raise UnreadableValue(
                shown,
                "has a year of two digits; write it in full, or let the mapping say from which "
                "year its hundred runs (century_pivot, such as 1950)",
            )
        return self.century_pivot + (short_year - self.century_pivot) % 100


def read_date(
    value: str | int | float | Decimal | date | datetime | time | None,
    formats: Sequence[str] = (),
    *,
    century_pivot: int | None = None,
    day_first: bool | None = None,
    serial_epoch: SerialEpoch | None = None,
    month_names: Mapping[str, int] = ENGLISH_MONTHS,
) -> str:
    """One cell as an EDTF date, interval or date-time.

    `formats` are tried in order (`match_format` says how they are written); where they are given,
    dates in plain figures must fit one of them or be EDTF, unless `day_first` is given too.
    `century_pivot` is the first of the hundred years that two digits can mean: with 1950, 87 is
    1987 and 12 is 2012. `serial_epoch` says that number cells are a spreadsheet's day numbers;
    whole numbers from 1000 to 2199 are years all the same. `month_names` are small letters
    without a dot -> 1 to 12. Times of day are kept when they are not midnight; where only hours
    and minutes are written, seconds become 00, which EDTF needs.

    Raises UnreadableValue with what to write instead, UnusableInput for a format or pivot that
    cannot be.

    >>> read_date("14/6/87", ["D/M/YY"], century_pivot=1950), read_date("c. June 1987")
    ('1987-06-14', '1987-06~')
    """
    if century_pivot is not None and not 1000 <= century_pivot <= 9900:
        raise UnusableInput(
            f"century_pivot {century_pivot} is not a year of four digits; write the first year "
            "that two digits can mean, such as 1950"
        )
    habits = DateHabits(tuple(formats), century_pivot, day_first, serial_epoch, month_names)
    if isinstance(value, date):
        return _edtf_of(value)
    if isinstance(value, (bool, time)):
        raise UnreadableValue(value, "is not a date; write one such as 1987-06-14")
    if isinstance(value, (int, float, Decimal)):
        return _read_number(value, habits)
    shown = "" if value is None else value.strip()
    if len(shown) > LONGEST:
        raise UnreadableValue(shown[:LONGEST] + "…", f"is longer than {LONGEST} characters")
    text = " ".join(shown.translate(_SAME_MARKS).split())
    if not text:
        raise UnreadableValue(shown, "is empty; write a date, or leave the cell out")
    return _read_text(text, shown, habits)


def _edtf_of(moment: date) -> str:
    if not isinstance(moment, datetime):
        return moment.isoformat()
    if moment != moment:  # a table's 'not a time', which calls itself a datetime
        raise UnreadableValue("", "is empty; write a date, or leave the cell out")
    if moment.time() == time(0):
        return moment.date().isoformat()
    try:
        rounded = (moment + timedelta(microseconds=500_000)).replace(microsecond=0)
    except OverflowError:
        rounded = moment.replace(microsecond=0)
    if rounded.time() == time(0):
        return rounded.date().isoformat()
    written = rounded.isoformat()
    if rounded.utcoffset() == UTC.utcoffset(None):
        written = written.removesuffix("+00:00") + "Z"
    return written


def _read_number(value: int | float | Decimal, habits: DateHabits) -> str:
    if value != value or value in (float("inf"), float("-inf")):
        raise UnreadableValue(value, "is not a date; write one such as 1987-06-14")
    whole = int(value) if value == int(value) else None
    if whole is not None:
        found = _by_formats(str(whole), str(whole), habits)
        if found is not None:
            return found
        if whole in YEARS_TYPED:
            return f"{whole:04}"
    if habits.serial_epoch is None:
        raise UnreadableValue(
            value,
            "is a bare number; write a date such as 1987-06-14, or let the mapping say that it is "
            "a spreadsheet's day number (serial_epoch 1900 or 1904)",
        )
    return _edtf_of(read_serial_date(value, habits.serial_epoch))


def _read_text(text: str, shown: str, habits: DateHabits) -> str:
    found = _plainly_written(text, shown, habits)
    if found is None:
        found = read_worded_date(
            text,
            shown,
            lambda part: _plainly_written(part, shown, habits),
            lambda short_year: habits.whole_year(short_year, shown),
            habits.month_names,
        )
    if found is None:
        raise UnreadableValue(shown, _wanted(habits))
    if not is_edtf(found):
        raise UnreadableValue(
            shown, f"runs backwards or names a day that never was ({found}); check the figures"
        )
    return found


def _wanted(habits: DateHabits) -> str:
    if habits.formats:
        return (
            f"fits none of the mapping's date formats ({', '.join(habits.formats)}); write it so, "
            "or as 1987-06-14, June 1987, c. 1987, 1985/1987"
        )
    return "is not a date; write 1987-06-14, 14 June 1987, summer 1987, c. 1987 or 1985/1987"


def _plainly_written(text: str, shown: str, habits: DateHabits) -> str | None:
    """A date by the mapping's formats, as EDTF or in plain figures; None when it is neither."""
    found = _by_formats(text, shown, habits)
    if found is not None:
        return found
    if is_edtf(text):
        return text
    if re.fullmatch(EDTF_PATTERN, text):
        raise UnreadableValue(
            shown,
            "is written as EDTF, but names a day that never was, runs backwards, or is a season "
            "with a doubt; check the figures",
        )
    stamp = _STAMP.fullmatch(text)
    if stamp is not None:
        return _time_stamp(stamp, shown)
    if re.fullmatch(r"[0-9]{5}(\.[0-9]+)?", text):
        return _read_number(Decimal(text), habits)
    return _by_figures(text, shown, habits)


def _time_stamp(stamp: re.Match[str], shown: str) -> str:
    clock = stamp["time"] + (stamp["second"] or ":00")
    zone = "Z" if stamp["zone"] == "+00:00" else (stamp["zone"] or "")
    if clock == "00:00:00" and not zone:
        return stamp["day"]
    written = f"{stamp['day']}T{clock}{zone}"
    if not is_edtf(written):
        raise UnreadableValue(shown, "has a time that no clock shows; write 2024-06-03T16:30:00Z")
    return written


def _by_formats(text: str, shown: str, habits: DateHabits) -> str | None:
    impossible = None
    for date_format in habits.formats:
        written = match_format(text, date_format, habits.month_names)
        if written is None:
            continue
        found = _assembled(written, shown, habits)
        if found is not None:
            return found
        impossible = impossible or date_format
    if impossible is not None:
        raise UnreadableValue(
            shown, f"names no day of the calendar, read as {impossible}; check the figures"
        )
    return None


def _assembled(written: WrittenDate, shown: str, habits: DateHabits) -> str | None:
    """EDTF of the parts, or None when there is no such day or time."""
    year = written.year
    if year is None:
        if written.short_year is None:
            return None
        year = habits.whole_year(written.short_year, shown)
    text = f"{year:04}"
    if written.month is not None:
        text += f"-{written.month:02}"
    if written.day is not None:
        text += f"-{written.day:02}"
    if not re.fullmatch(r"[0-9]{4}(-(0[1-9]|1[0-2])(-[0-9]{2})?)?", text) or not is_edtf(text):
        return None
    clock = (written.hour or 0, written.minute or 0, written.second or 0)
    if clock != (0, 0, 0):
        text += "T{:02}:{:02}:{:02}".format(*clock)
    return text if is_edtf(text) else None


def _by_figures(text: str, shown: str, habits: DateHabits) -> str | None:
    """Day, month and year in plain figures, when only one order can be meant."""
    year_first = _YEAR_FIRST.fullmatch(text)
    if year_first is not None:
        parts = {name: int(part) for name, part in year_first.groupdict().items()}
        return "{year:04}-{month:02}-{day:02}".format(**parts)
    month_and_year = _MONTH_AND_YEAR.fullmatch(text)
    if month_and_year is not None and 1 <= int(month_and_year["month"]) <= 12:
        return f"{month_and_year['year']}-{int(month_and_year['month']):02}"
    match = _FIGURES.fullmatch(text)
    if match is None or (habits.formats and habits.day_first is None):
        return None
    first, second = int(match["first"]), int(match["second"])
    year = int(match["year"]) if match["year"] else None
    short = int(match["short_year"]) if match["short_year"] else None
    day_first = habits.day_first
    if day_first is None:
        if first <= 12 and second <= 12 and first != second:
            raise UnreadableValue(
                shown,
                f"can be day {first} of month {second} or day {second} of month {first}; write "
                "1987-06-14, or let the mapping name the format (D/M/YYYY or M/D/YYYY)",
            )
        day_first = first > 12 or first == second
    day, month = (first, second) if day_first else (second, first)
    found = _assembled(WrittenDate(year, short, month, day), shown, habits)
    if found is None:
        order = "day/month/year" if day_first else "month/day/year"
        raise UnreadableValue(
            shown, f"names no day of the calendar, read as {order}; check the figures"
        )
    return found
