"""Reads a written date by a format such as D/M/YY that a mapping gives."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from provenance._base.errors import UnusableInput

_MONTHS = (
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
)
#: month name or its short form, in small letters without a dot -> 1 to 12
ENGLISH_MONTHS: Mapping[str, int] = MappingProxyType(
    {
        **{name: place for place, name in enumerate(_MONTHS, start=1)},
        **{name[:3]: place for place, name in enumerate(_MONTHS, start=1)},
        "sept": 9,
    }
)

_TOKEN = re.compile(r"YYYY|YY|MMMM|MMM|MM|M|DD|D|hh|h|mm|ss|T|[^A-Za-z0-9]")
_GROUPS: Mapping[str, str] = MappingProxyType(
    {
        "YYYY": "(?P<year>[0-9]{4})",
        "YY": "'?(?P<short_year>[0-9]{2})",
        "MMMM": r"(?P<name>[^\W\d_]+)\.?",
        "MMM": r"(?P<name>[^\W\d_]+)\.?",
        "mm": "(?P<minute>[0-9]{2})",
        "ss": "(?P<second>[0-9]{2})",
    }
)
_FLEXIBLE: Mapping[str, str] = MappingProxyType({"M": "month", "D": "day", "h": "hour"})


@dataclass(frozen=True)
class WrittenDate:
    """The parts of a date as written; None for a part the text does not have.

    `year` is whole, `short_year` its last two digits; one of them is there.
    """

    year: int | None = None
    short_year: int | None = None
    month: int | None = None
    day: int | None = None
    hour: int | None = None
    minute: int | None = None
    second: int | None = None


@lru_cache(maxsize=256)
def _compiled(date_format: str) -> re.Pattern[str]:
    tokens = _TOKEN.findall(date_format)
    if "".join(tokens) != date_format:
        raise UnusableInput(
            f"date format '{date_format}' is not understood; write it with YYYY or YY, MMM (a "
            "name), MM, M, DD, D, hh, mm, ss and the marks between them, such as D/M/YYYY"
        )
    pattern = ""
    for place, token in enumerate(tokens):
        around = tokens[max(place - 1, 0) : place] + tokens[place + 1 : place + 2]
        if token in _GROUPS:
            pattern += _GROUPS[token]
        elif token[0] in _FLEXIBLE:
            # DD/MM is often filled in as 4/6; only digits that touch must have their full number
            tight = len(token) == 2 and any(near[0] in "YMDhms" for near in around)
            pattern += f"(?P<{_FLEXIBLE[token[0]]}>[0-9]{{{2 if tight else '1,2'}}})"
        else:
            pattern += r"\s+" if token == " " else re.escape(token)
    try:
        compiled = re.compile(pattern, re.IGNORECASE)
    except re.error:
        raise UnusableInput(f"date format '{date_format}' has the same part twice") from None
    groups = compiled.groupindex
    has_month = "month" in groups or "name" in groups
    if ("month" in groups and "name" in groups) or ("year" in groups and "short_year" in groups):
        raise UnusableInput(f"date format '{date_format}' has the same part twice")
    if not ("year" in groups or "short_year" in groups):
        raise UnusableInput(f"date format '{date_format}' has no year; add YYYY or YY")
    if ("day" in groups and not has_month) or (
        "hour" in groups and not ("day" in groups and "minute" in groups)
    ):
        raise UnusableInput(
            f"date format '{date_format}' has a gap; a day needs its month, and a time its day, "
            "hours and minutes"
        )
    return compiled


def match_format(
    text: str, date_format: str, month_names: Mapping[str, int] = ENGLISH_MONTHS
) -> WrittenDate | None:
    """The parts of `text` by the format, or None when it is written otherwise.

    Parts: YYYY; YY (two digits, also '87); MMM or MMMM (a month's name, short or full); MM, M, DD,
    D, hh, h (one digit will do for two unless figures touch, as in YYYYMMDD); mm minutes, ss
    seconds; any mark between. Whether the day exists is not looked at. Raises UnusableInput for a
    format that cannot be understood.

    >>> match_format("14/6/87", "D/M/YY").day
    14
    """
    match = _compiled(date_format).fullmatch(text)
    if match is None:
        return None
    parts = match.groupdict()
    numbers = {part: int(digits) for part, digits in parts.items() if part != "name"}
    if "name" in parts:
        month = month_names.get(parts["name"].casefold())
        if month is None:
            return None
        numbers["month"] = month
    return WrittenDate(**numbers)
