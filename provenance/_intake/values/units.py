"""Reads lengths as crews write them, exactly, into one metric unit.

A unit written in the cell overrides the unit that the mapping gives for the column. Arithmetic is
in exact fractions until one rounding at the end, half to even, to a thousandth of a millimetre
unless told otherwise. The inch is exactly 25.4 mm (international yard and pound agreement, 1959;
NIST Special Publication 811, appendix B).

A value with a doubt in it (a range, '~', 'c.', '?', '+') is refused, not guessed at: the cell
becomes a finding, and its text is kept.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime, time
from fractions import Fraction
from types import MappingProxyType

from provenance._base.errors import UnreadableValue, UnusableInput
from provenance._intake.values.doubts import refuse_doubt
from provenance._intake.values.numerals import (
    Cell,
    DecimalMark,
    exact_number,
    written_number,
)
from provenance._model.measures import MM_PER
from provenance._model.written import JOINT, LONGEST, NEXT_SMALLER, UNIT_WORDS, plain_text

METRIC = frozenset({"mm", "cm", "m"})
# 'ft-in' is feet and inches in one cell: every number must show which it is
LENGTH_UNITS = frozenset({*MM_PER, "ft-in"})

# decimals that keep a thousandth of a millimetre (15.875 mm is a bore of 5/8 in)
_DECIMALS: Mapping[str, int] = MappingProxyType(
    {"mm": 3, "cm": 4, "m": 6, "in": 5, "ft": 6, "yd": 6}
)

_NUMBER = r"(?:[0-9]+(?:\s+|-)[0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9][0-9.,]*|[.,][0-9]+)"
_PIECE = re.compile(rf"\s*({_NUMBER})\s*(?:([a-z]+)\.?|(['\"]))?")


class BareFraction(UnreadableValue):
    """A fraction without a unit where a metric size is meant, which it never is.

    `unit` is the metric unit.
    """

    def __init__(self, value: str, unit: str) -> None:
        self.unit = unit
        super().__init__(
            value,
            f"is a fraction, which is never taken for {unit}; write {value} in, or the size in "
            f"{unit} with a decimal point; if the whole column is in inches, say unit: in for it "
            "in the mapping",
        )


def _wanted(unit: str) -> str:
    return {
        "in": 'is not a size; write 7 3/8 or 7.375 (in), or with its own unit 7 3/8", 18.7 cm',
        "ft": "is not a size; write 12.5 (ft), or with its own unit 12' 6 1/2\", 3.82 m",
        "ft-in": "is not a size; write 12' 6 1/2\" or 0' 7 3/8\"",
        "yd": "is not a size; write 3.5 (yd), or with its own unit 10' 6\", 3.2 m",
    }.get(unit, f'is not a size; write 18.7 ({unit}), or with its own unit 7 3/8"')


def _pieces(
    text: str, shown: str, unit: str, decimal: DecimalMark | None
) -> list[tuple[Fraction, str]]:
    """Numbers with their unit ('' where none is written), in the order written."""
    found: list[tuple[Fraction, str]] = []
    place = 0
    while place < len(text):
        piece = _PIECE.match(text, place)
        if piece is None:
            raise UnreadableValue(shown, _wanted(unit))
        word = piece[2] or piece[3] or ""
        if word and word not in UNIT_WORDS:
            raise UnreadableValue(
                shown, f"has the unknown unit '{word}'; write in, ft, yd, mm, cm or m"
            )
        found.append((written_number(piece[1], shown, decimal), UNIT_WORDS.get(word, "")))
        place = piece.end()
        joint = JOINT.match(text, place)
        if joint is not None and joint.end() < len(text):
            place = joint.end()
        elif text[place:].strip():
            raise UnreadableValue(shown, _wanted(unit))
        else:
            break
    return found


def _sum_of_pieces(pieces: list[tuple[Fraction, str]], shown: str, unit: str) -> Fraction:
    """One length in mm; each piece after the first has the next smaller unit and is less than one
    of the unit before.
    """
    total = Fraction(0)
    before = ""
    for place, (number, written) in enumerate(pieces):
        own = written
        if not own and before == "ft":
            own = "in"
        elif not own and not before:
            own = unit
        if before and NEXT_SMALLER.get(before) != own:
            raise UnreadableValue(shown, _wanted(unit))
        if own == "ft-in":
            if number != 0:
                raise UnreadableValue(
                    shown,
                    "does not say whether it is feet or inches; write 12' or 12\"",
                )
            own = "ft"
        if before and number * MM_PER[own] >= MM_PER[before]:
            raise UnreadableValue(
                shown, f"has more {own} than make one {before}; write the {before} and {own} anew"
            )
        if place < len(pieces) - 1 and number.denominator != 1:
            raise UnreadableValue(
                shown,
                f"has a broken number of {own} with a smaller unit after it; keep one of them",
            )
        total += number * MM_PER[own]
        before = own
    return total


def unit_named(text: str) -> str:
    """The unit that a cell or a heading in brackets names, 'ft-in' for both; '' for no unit.

    >>> unit_named("(cm)"), unit_named("Feet & inches"), unit_named("yes/no")
    ('cm', 'ft-in', '')
    """
    bare = plain_text(text[:LONGEST]).strip("()[] ").rstrip(".").casefold()
    parts = [UNIT_WORDS.get(part, "") for part in re.split(r"\s*(?:[-/&+,\s]|\band\b)\s*", bare)]
    if parts == ["ft", "in"]:
        return "ft-in"
    return parts[0] if len(parts) == 1 else ""


def unit_in_heading(heading: str) -> str:
    """The unit in brackets at the end of a heading, such as 'Length (ft)'; '' for none.

    >>> unit_in_heading("Dia A [in] *"), unit_in_heading("Rings (count)")
    ('in', '')
    """
    match = re.search(r"[(\[]([^()\[\]]+)[)\]][\s*]*$", heading)
    return unit_named(match[1]) if match else ""


def exact_length_mm(
    value: Cell,
    unit: str,
    *,
    allow_negative: bool = False,
    decimal: DecimalMark | None = None,
) -> Fraction:
    """The length in millimetres, exact; see `read_length`."""
    if unit not in LENGTH_UNITS:
        raise UnusableInput(
            f"unit '{unit}' is unknown; a mapping may say {', '.join(sorted(LENGTH_UNITS))}"
        )
    if isinstance(value, (date, datetime, time)):
        raise UnreadableValue(
            value,
            "is a date or time: the spreadsheet has turned a size such as 3/8 into one; set the "
            "column to text and type the size again",
        )
    number = exact_number(value)
    if number is not None:
        shown, sign = str(value), (-1 if number < 0 else 1)
        total = _sum_of_pieces([(abs(number), "")], shown, unit)
    else:
        shown = str(value if value is not None else "").strip()
        text = plain_text(value).lower()
        if not text:
            raise UnreadableValue(shown, "is empty; write a size, or leave the cell out")
        sign = -1 if text.startswith("-") else 1
        text = text.removeprefix("-").strip()
        feet_inches = re.fullmatch(r"([0-9]+)-([0-9]+)(?:[ -]([0-9]+/[0-9]+))?", text)
        if unit == "ft-in" and feet_inches:
            # 12-6 1/2 in a column of feet and inches
            text = f"{feet_inches[1]}' {feet_inches[2]} {feet_inches[3] or ''}".strip()
        refuse_doubt(text, shown, "size")
        pieces = _pieces(text, shown, unit, decimal)
        if "/" in text and unit in METRIC and not any(written for _, written in pieces):
            raise BareFraction(shown, unit)
        total = _sum_of_pieces(pieces, shown, unit)
    if sign * total < 0 and not allow_negative:
        raise UnreadableValue(
            shown, "is below zero, which no size can be; write it without the minus"
        )
    return sign * total


def read_length(
    value: Cell,
    unit: str,
    into: str,
    *,
    decimals: int | None = None,
    allow_negative: bool = False,
    decimal: DecimalMark | None = None,
) -> float:
    """The length in unit `into` (mm, cm, m, in, ft or yd), from a cell in `unit` unless it says.

    Read are decimals, fractions of a rule (7 3/8, 7-3/8", ⅝), feet and inches (12' 6 1/2",
    6'-0", 12ft 6in; in a column of unit 'ft-in' also 12-6), metres and centimetres (1 m 20 cm),
    with straight or typographic marks, and numbers from spreadsheet cells. `decimal` is the mark
    that the mapping names; without it one that can be taken two ways (1,234) is refused. A bare
    number in a 'ft-in' column is refused too. The result is rounded to `decimals` places, by
    default to a thousandth of a millimetre or finer.

    Raises BareFraction for a fraction without a unit where `unit` is metric; UnreadableValue for
    anything else, with what to write; UnusableInput for a unit that
    does not exist.

    >>> read_length('7-3/8"', "cm", "cm"), read_length("12' 6 1/2\\"", "ft-in", "m")
    (18.7325, 3.8227)
    """
    if into not in MM_PER:
        raise UnusableInput(f"unit '{into}' is unknown; a field is in {', '.join(sorted(MM_PER))}")
    exact = exact_length_mm(value, unit, allow_negative=allow_negative, decimal=decimal)
    places = _DECIMALS[into] if decimals is None else decimals
    # rounding a Fraction is exact; float() then gives the number nearest to that decimal
    rounded = float(round(exact / MM_PER[into], places))
    return rounded or 0.0
