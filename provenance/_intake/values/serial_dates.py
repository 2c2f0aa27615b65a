"""Reads the day numbers that spreadsheets keep in place of dates.

Source: ECMA-376 Part 1, SpreadsheetML, section 18.17.4 (dates and times; from memory). In the 1900
system day 1 is 1 January 1900 and day 60 is 29 February 1900, a day that never was; in the 1904
system day 0 is 1 January 1904. The fraction is the time of day.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from provenance._base.errors import UnreadableValue, UnusableInput

SerialEpoch = Literal[1900, 1904]

_PHANTOM_LEAP_DAY = 60
_SECONDS_A_DAY = 86400


def read_serial_date(serial: int | float | Decimal, epoch: SerialEpoch) -> date | datetime:
    """The day of a serial number, with its time to the nearest second where it has one.

    Raises UnreadableValue for day 60 of the 1900 system, for numbers before its first day or after
    the year 9999; UnusableInput for an epoch that is neither 1900 nor 1904.

    >>> read_serial_date(31942, 1900)
    datetime.date(1987, 6, 14)
    """
    if epoch not in (1900, 1904):
        raise UnusableInput(f"spreadsheet dates count from 1900 or 1904, not from {epoch}")
    # rounded to the second first, so that 23:59:59.7 is midnight of the next day
    day, seconds = divmod(round(Fraction(serial) * _SECONDS_A_DAY), _SECONDS_A_DAY)
    if day < (1 if epoch == 1900 else 0):
        raise UnreadableValue(serial, f"is before the first day of the {epoch} spreadsheet dates")
    if epoch == 1900 and day == _PHANTOM_LEAP_DAY:
        raise UnreadableValue(
            serial,
            "is the spreadsheet's 29 February 1900, a day that never was; write the date as text",
        )
    if epoch == 1904:
        first = date(1904, 1, 1)
    else:
        first = date(1899, 12, 31) if day < _PHANTOM_LEAP_DAY else date(1899, 12, 30)
    try:
        found = first + timedelta(days=day)
    except OverflowError:
        raise UnreadableValue(
            serial, "is a day after the year 9999; write the date as text"
        ) from None
    if not seconds:
        return found
    return datetime(found.year, found.month, found.day) + timedelta(seconds=seconds)
