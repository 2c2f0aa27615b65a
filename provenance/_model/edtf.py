"""Reads dates that may be uncertain, in the Extended Date/Time Format, levels 0 and 1.

Source: ISO 8601-2:2019 and the EDTF specification published by the Library of Congress
(loc.gov/standards/datetime). Years are astronomical: 0000 is 1 BCE, -0001 is 2 BCE; days are
proleptic Gregorian.

Readings that the specification leaves open, as decided here:

- The time of day is complete, hh:mm:ss, as level 0 has it; 24:00:00 and leap seconds are no times.
- Seasons 21-24 say nothing of the hemisphere, so their bounds take in both.
- `?`, `~` and `%` widen no bounds: how far 'about' reaches is for a person to say.
- An interval needs at least one dated end, and may not run backwards; a shorter date on one end
  stands for all its days (2004-06-15/2004-06 is sound, 2005/2004 is not).
- Unspecified digits stand alone, with no qualifier and not inside an interval (that is level 2).
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from provenance._base.errors import UnreadableValue

EXPECTED = (
    "is not a date in EDTF; write 2024-06-03, 2024-06, 2024, 1987?, 1987~, 198X, 1987-22 (summer), "
    "1985/1987, 1985/.. or 2024-06-03T16:30:00Z"
)


class Day(NamedTuple):
    """One day; compares as days do. A plain `date` cannot hold years before 1 or beyond 9999."""

    year: int
    month: int
    day: int


# Only plain groups, classes and repeats: the pattern is stored in Table Schemas, and engines
# without look-around (and without non-capturing groups) must read it too.
_YEAR = "-?[0-9]{4}"
_DAY_OF_YEAR = "(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])"
_TIME = (
    "([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9](Z|[+-](0[0-9]|1[0-3])(:[0-5][0-9])?|[+-]14(:00)?)?"
)
_END = f"{_YEAR}(-(0[1-9]|1[0-2]|2[1-4])|-{_DAY_OF_YEAR})?[?~%]?"
_LONG_YEAR = "Y-?[1-9][0-9]{4,17}"

#: What a date field may hold, to be matched against the whole value: EDTF levels 0 and 1 but for
#: years of more than four digits. It says what is written rightly; that the day exists (not 31
#: June, not the year -0000) and that an interval runs forwards is for `is_edtf`.
EDTF_PATTERN = (
    f"({_END}|-?[0-9]{{2}}[0-9X]X|{_YEAR}-(XX|(0[1-9]|1[0-2]|XX)-XX)|{_YEAR}-{_DAY_OF_YEAR}T{_TIME}"
    f"|{_END}/({_END}|[.][.])?|([.][.])?/{_END})"
)

_WRITTEN = re.compile(rf"{EDTF_PATTERN}|{_LONG_YEAR}")
_PARTS = re.compile(
    r"(?P<year>Y?-?[0-9X]{4,18})(-(?P<month>[0-9X]{2}))?(-(?P<day>[0-9X]{2}))?(?P<rest>[T?~%].*)?"
)
# written rightly, yet no date: a year or an offset of minus nothing, a season with a qualifier
_NO_DATE = re.compile(r"(^|/)-0000|-00(:00)?$|^-?[0-9]{4}-2[1-4][?~%]$")
_LONGEST = 60


def _days_in(year: int, month: int) -> int:
    if month == 2:
        # calendar.monthrange knows no year before 1; the rule itself holds for all of them
        return 29 if year % 4 == 0 and (year % 100 != 0 or year % 400 == 0) else 28
    return 30 if month in (4, 6, 9, 11) else 31


def _season_bounds(year: int, season: int) -> tuple[Day, Day]:
    """First and last day that season `season` (21-24) of `year` may have.

    Meteorological seasons, three whole months (common practice, no source). The one that spans
    the turn of the year may be named after either year, so it reaches into both neighbours.
    """
    if season in (21, 23):
        return Day(year, 3, 1), Day(year, 11, 30)
    return Day(year - 1, 12, 1), Day(year + 1, 2, _days_in(year + 1, 2))


def _date_bounds(text: str) -> tuple[Day, Day] | None:
    """First and last day of one date, or None for a day that its month does not have."""
    parts = _PARTS.fullmatch(text)
    if parts is None:  # pragma: no cover - _WRITTEN lets nothing else through
        return None
    digits = parts["year"].removeprefix("Y")
    low, high = int(digits.replace("X", "0")), int(digits.replace("X", "9"))
    if digits.startswith("-"):
        low, high = high, (low if low or "X" not in digits else -1)
    month, day = parts["month"], parts["day"]
    if month is None or month == "XX":
        return Day(low, 1, 1), Day(high, 12, 31)
    if int(month) > 12:
        return _season_bounds(low, int(month))
    last = _days_in(low, int(month))
    if day is None or day == "XX":
        return Day(low, int(month), 1), Day(low, int(month), last)
    if int(day) > last:
        return None
    return Day(low, int(month), int(day)), Day(low, int(month), int(day))


def _read_bounds(text: str) -> tuple[Day | None, Day | None] | None:
    """Earliest and latest day, or None when `text` is not EDTF of level 0 or 1."""
    return _read_short(text) if len(text) <= _LONGEST else None


@lru_cache(maxsize=8192)
def _read_short(text: str) -> tuple[Day | None, Day | None] | None:
    # several rules ask about each day, and a record is checked again and again
    if not _WRITTEN.fullmatch(text) or _NO_DATE.search(text):
        return None
    start, slash, end = text.partition("/")
    if not slash:
        return _date_bounds(text)
    first = last = None
    if start not in ("", ".."):
        opening = _date_bounds(start)
        if opening is None:
            return None
        first = opening[0]
    if end not in ("", ".."):
        closing = _date_bounds(end)
        if closing is None:
            return None
        last = closing[1]
    if first is not None and last is not None and first > last:
        return None
    return first, last


def is_edtf(text: str) -> bool:
    """Whether the whole text is a sound date, date-time or interval of EDTF level 0 or 1.

    >>> is_edtf("1987-06~"), is_edtf("1987-02-29"), is_edtf("14/6/1987")
    (True, False, False)
    """
    return _read_bounds(text) is not None


def bounds(text: str) -> tuple[Day | None, Day | None]:
    """Earliest and latest day that the text allows; None for an end that is open or unknown.

    A time of day is passed over: the day is the one written, in its own time zone. Raises
    UnreadableValue when the text is not EDTF of level 0 or 1.

    >>> bounds("1987-02/..")
    (Day(year=1987, month=2, day=1), None)
    """
    found = _read_bounds(text)
    if found is None:
        shown = text if len(text) <= _LONGEST else text[:_LONGEST] + "…"
        raise UnreadableValue(shown, EXPECTED)
    return found
