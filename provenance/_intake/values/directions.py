"""Reads directions as crews write them: bearings, angles and positions on a clock face."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, time
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType

from provenance._base.errors import UnreadableValue
from provenance._intake.values.doubts import refuse_doubt
from provenance._intake.values.numerals import (
    Cell,
    DecimalMark,
    exact_number,
    written_number,
)
from provenance._model.written import plain_text

_DECIMALS = 6
_POINTS = ("n", "nne", "ne", "ene", "e", "ese", "se", "sse")
_OPPOSITE_POINTS = ("s", "ssw", "sw", "wsw", "w", "wnw", "nw", "nnw")
# the sixteen points of the compass rose, 22.5 degrees apart
COMPASS_POINTS: Mapping[str, Fraction] = MappingProxyType(
    {point: Fraction(225, 10) * place for place, point in enumerate((*_POINTS, *_OPPOSITE_POINTS))}
)
_LETTERS: Mapping[str, str] = MappingProxyType(
    {"north": "n", "south": "s", "east": "e", "west": "w"}
)
_DEGREES = re.compile(
    r"(?P<degrees>[0-9][0-9.,]*(?: [0-9]+/[0-9]+)?)\s*(?:°|º|deg\b\.?|degrees?\b|d\b)?"
    r"(?:\s*(?P<minutes>[0-9][0-9.,]*)\s*(?:'|min\b\.?|m\b))?"
    r"(?:\s*(?P<seconds>[0-9][0-9.,]*)\s*(?:\"|sec\b\.?|s\b))?"
)
_QUADRANT = re.compile(r"(?P<from>[ns])\s*(?P<angle>[0-9].*?)\s*(?P<to>[ew])")

WANTED_ANGLE = "is not an angle; write degrees such as 35.5, 35° 30' or a bearing such as N 35 E"
WANTED_CLOCK = "is not a position on a clock face; write 3, 3:30 or 1½, between 0 and 12"


def _degrees(text: str, shown: str, decimal: DecimalMark | None) -> Fraction:
    match = _DEGREES.fullmatch(text)
    if match is None:
        raise UnreadableValue(shown, WANTED_ANGLE)
    total = written_number(match["degrees"], shown, decimal)
    whole = total.denominator == 1
    for name, share in (("minutes", 60), ("seconds", 3600)):
        if match[name] is None:
            continue
        part = written_number(match[name], shown, decimal)
        if part >= 60:
            raise UnreadableValue(shown, f"has {match[name]} {name} of arc; there are only 60")
        if not whole:
            raise UnreadableValue(shown, f"has a broken number before its {name}; keep one of them")
        whole = part.denominator == 1
        total += part / share
    return total


def read_angle(
    value: Cell,
    *,
    lowest: float = 0,
    highest: float = 360,
    decimal: DecimalMark | None = None,
) -> float:
    """Degrees, from a number, degrees with minutes and seconds, or a bearing.

    A bearing is clockwise from north: N 35 E is 35, S 20 W is 200, NNW is 337.5. Whether north is
    magnetic, true or of the grid is for the mapping to say. Rounded to six decimals. Raises
    UnreadableValue when the text is none of these, or the angle is outside `lowest` to `highest`.

    >>> read_angle("N 35° 30' W"), read_angle("SE")
    (324.5, 135.0)
    """
    if isinstance(value, (date, time)):
        raise UnreadableValue(value, WANTED_ANGLE)
    number = exact_number(value)
    shown = str(value if value is not None else "").strip()
    if number is None:
        number = _written_angle(plain_text(value).lower(), shown, decimal)
    if not lowest <= number <= highest:
        raise UnreadableValue(shown, f"is outside {lowest:g} to {highest:g} degrees; measure it so")
    return float(round(number, _DECIMALS)) or 0.0


def _written_angle(text: str, shown: str, decimal: DecimalMark | None) -> Fraction:
    refuse_doubt(text, shown)
    for word, letter in _LETTERS.items():
        text = text.replace(word, letter)
    text = re.sub(r"^due\b", "", text).strip()
    point = re.sub(r"[\s-]", "", text)
    if point in COMPASS_POINTS:
        return COMPASS_POINTS[point]
    quadrant = _QUADRANT.fullmatch(text)
    if quadrant is not None:
        angle = _degrees(quadrant["angle"], shown, decimal)
        if angle > 90:
            raise UnreadableValue(
                shown, "is a bearing of more than 90° from north or south; write 0 to 90 between"
            )
        return {
            "ne": angle,
            "se": 180 - angle,
            "sw": 180 + angle,
            "nw": 360 - angle if angle else angle,
        }[quadrant["from"] + quadrant["to"]]
    if text.startswith("-"):
        return -_degrees(text[1:].strip(), shown, decimal)
    return _degrees(text, shown, decimal)


_CLOCK = re.compile(
    r"(?P<hours>[0-9][0-9.,]*(?: [0-9]+/[0-9]+)?|[0-9]+/[0-9]+)\s*(?:o'?\s?clock|h|hrs?|hours?)?"
)
_HOURS_MINUTES = re.compile(
    r"(?P<hours>[0-9]{1,2})\s*[:h]\s*(?P<minutes>[0-9]{2})(?::00)?(?: o'?clock)?"
)


def read_clock(value: Cell, *, decimal: DecimalMark | None = None) -> float:
    """Position on a clock face in hours, 0 to 12; 12 and 0 are both the top and both kept.

    Read are 3, 3.5, 3:30, 3 o'clock, 1½ and a spreadsheet's time of day up to 12:00. Text like
    3.30 or 3.15 is refused: it may be minutes. Rounded to six decimals. Raises UnreadableValue.

    >>> read_clock("3:30"), read_clock("1½"), read_clock("12 o'clock")
    (3.5, 1.5, 12.0)
    """
    if isinstance(value, time):
        # a spreadsheet makes a time of day of a typed 3:30
        hours = Fraction(value.hour) + Fraction(value.minute, 60) + Fraction(value.second, 3600)
        shown = value.isoformat()
    elif isinstance(value, date):
        raise UnreadableValue(value, WANTED_CLOCK)
    elif isinstance(value, (int, float, Decimal)):
        number = exact_number(value)
        hours, shown = (Fraction(-1) if number is None else number), str(value)
    else:
        shown = str(value if value is not None else "").strip()
        hours = _written_clock(plain_text(value).lower(), shown, decimal)
    if not 0 <= hours <= 12:
        raise UnreadableValue(shown, WANTED_CLOCK)
    return float(round(hours, _DECIMALS))


def _written_clock(text: str, shown: str, decimal: DecimalMark | None) -> Fraction:
    refuse_doubt(text, shown)
    pair = _HOURS_MINUTES.fullmatch(text)
    if pair is not None:
        if int(pair["minutes"]) > 59:
            raise UnreadableValue(shown, f"has {pair['minutes']} minutes; an hour has 60")
        return Fraction(int(pair["hours"])) + Fraction(int(pair["minutes"]), 60)
    match = _CLOCK.fullmatch(text)
    if match is None:
        raise UnreadableValue(shown, WANTED_CLOCK)
    if re.fullmatch(r"[0-9]+[.,](?:15|30|45)", match["hours"]):
        raise UnreadableValue(
            shown, "can be minutes or a decimal; write 3:30 for half past three, or 3.3"
        )
    return written_number(match["hours"], shown, decimal)
