"""Reads written numbers exactly, with the fractions and decimal marks that crews use.

Fractions are those found on rules and scales (halves to sixty-fourths, tenths, twelfths …) so
that a slip of the pen, 3/9 or 7 3/, is refused instead of turned into a number.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection
from datetime import date, datetime, time
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from provenance._base.errors import UnreadableValue
from provenance._intake.values.doubts import refuse_doubt
from provenance._model.written import LONGEST, plain_text

DecimalMark = Literal[".", ","]
Cell = str | int | float | Decimal | date | datetime | time | None

RULE_DIVISIONS = frozenset({2, 3, 4, 5, 6, 8, 10, 12, 16, 20, 32, 40, 50, 64, 100})


def exact_number(value: Cell) -> Fraction | None:
    """The number in a spreadsheet's number cell, as its decimal digits say; None for text.

    Raises UnreadableValue for a truth value, infinity and not-a-number.
    """
    if isinstance(value, bool):
        raise UnreadableValue(value, "is a yes or no, not a number; write a number")
    if isinstance(value, int):
        return Fraction(value)
    if isinstance(value, (float, Decimal)):
        if not math.isfinite(value):
            raise UnreadableValue(value, "is not a number that can be measured; write a number")
        # 0.1 in a cell was typed as 0.1: its shortest decimal is what the person meant
        return Fraction(repr(value) if isinstance(value, float) else value)
    return None


def _decimal_digits(text: str, shown: str, decimal: DecimalMark | None) -> Fraction:
    """A number without fraction bar, with its decimal mark and groups of thousands told apart."""
    points, commas = text.count("."), text.count(",")
    mark: str = decimal or "."
    if decimal is None:
        if points and commas:
            mark = "." if text.rindex(".") > text.rindex(",") else ","
        elif commas == 1:
            whole, _, part = text.partition(",")
            if len(part) == 3 and re.fullmatch("[1-9][0-9]{0,2}", whole):
                raise UnreadableValue(
                    shown,
                    f"can be {whole}.{part} or {whole}{part}; write it without the comma, or let "
                    "the mapping name the decimal mark",
                )
            mark = ","
    group = "," if mark == "." else "."
    mark, group = re.escape(mark), re.escape(group)
    if not re.fullmatch(
        rf"(?:[0-9]+|[1-9][0-9]{{0,2}}(?:{group}[0-9]{{3}})+)?(?:{mark}[0-9]+)?{mark}?", text
    ) or not re.search("[0-9]", text):
        raise UnreadableValue(shown, "is not a number; write one such as 7.375 or 7 3/8")
    plain = re.sub(group, "", text)
    plain = re.sub(mark, ".", plain).rstrip(".")
    return Fraction(f"0{plain}")


def written_number(text: str, shown: str, decimal: DecimalMark | None = None) -> Fraction:
    """One number without sign or unit: digits, a proper fraction, or digits and a fraction.

    `shown` is the whole cell, for the message. Raises UnreadableValue.
    """
    match = re.fullmatch(r"(?:([0-9]+)(?:\s+|-))?([0-9]+)/([0-9]+)", text)
    if match is None:
        return _decimal_digits(text, shown, decimal)
    numerator, denominator = int(match[2]), int(match[3])
    if denominator not in RULE_DIVISIONS:
        raise UnreadableValue(
            shown,
            f"has {match[2]}/{match[3]}, which is not a division of a ruler; write halves, "
            "quarters, eighths … sixty-fourths, or a decimal number",
        )
    if numerator >= denominator:
        raise UnreadableValue(
            shown,
            f"has {match[2]}/{match[3]}, which is one or more; write whole and fraction, 1 1/8",
        )
    return Fraction(int(match[1] or 0)) + Fraction(numerator, denominator)


def exact_value(value: Cell, decimal: DecimalMark | None = None) -> Fraction:
    """The number that the cell says, exact and with its sign; see `read_number`."""
    if isinstance(value, (date, time)):
        raise UnreadableValue(
            value,
            "is a date or time: the spreadsheet has turned a number such as 3/8 into one; set the "
            "column to text and type the number again",
        )
    number = exact_number(value)
    if number is not None:
        return number
    shown = str(value if value is not None else "").strip()
    text = plain_text(value)
    if not text:
        raise UnreadableValue(shown, "is empty; write a number, or leave the cell out")
    negative = text.startswith("-")
    unsigned = text[1:].strip() if text[0] in "+-" else text
    refuse_doubt(unsigned, shown)
    exact = written_number(unsigned, shown, decimal)
    return -exact if negative else exact


def read_number(
    value: Cell, *, decimal: DecimalMark | None = None, allow_negative: bool = True
) -> float:
    """The number in a cell that has no unit: decimals, fractions, a sign.

    `decimal` is the mark that the mapping names; without it 1,234 is refused, since it can be
    taken two ways. Raises UnreadableValue.

    >>> read_number("7 3/8"), read_number("-0,25")
    (7.375, -0.25)
    """
    exact = exact_value(value, decimal)
    if exact < 0 and not allow_negative:
        raise UnreadableValue(value, "is below zero; write it without the minus")
    try:
        return float(exact)
    except OverflowError:
        raise UnreadableValue(value, "is too large to be measured; write a number") from None


def read_integer(
    value: Cell, *, decimal: DecimalMark | None = None, allow_negative: bool = True
) -> int:
    """The whole number in a cell: 12, 12.0, "12"; anything with a broken part is refused.

    Raises UnreadableValue.
    """
    exact = exact_value(value, decimal)
    if exact.denominator != 1:
        raise UnreadableValue(value, "is not a whole number; write one such as 12")
    if exact < 0 and not allow_negative:
        raise UnreadableValue(value, "is below zero; write it without the minus")
    return exact.numerator


_YES = frozenset({"yes", "y", "true", "t", "1", "x", "✓", "✔", "☑", "🗸"})
_NO = frozenset({"no", "n", "false", "f", "0", "☐"})


def read_boolean(value: Cell, *, yes: Collection[str] = (), no: Collection[str] = ()) -> bool:
    """Whether a cell says yes: yes/no, y/n, true/false, t/f, 1/0, a cross x or a tick.

    `yes` and `no` are further words that the mapping gives, such as 'ja' and 'nein'; they go
    before the built-in ones. A cell with a ballot cross (✗, ☒) is refused: on some forms it means
    yes and on others no. An empty cell is no answer and refused as well. Raises UnreadableValue.
    """
    if isinstance(value, bool):
        return value
    if isinstance(value, (int, float, Decimal)) and value in (0, 1):
        return value == 1
    text = "" if value is None else " ".join(str(value).split()).casefold()
    own_yes = {word.casefold() for word in yes}
    own_no = {word.casefold() for word in no}
    if text in own_yes:
        return True
    if text in own_no:
        return False
    if text in _YES:
        return True
    if text in _NO:
        return False
    shown = "" if value is None else str(value)[:LONGEST]
    if text in ("✗", "✘", "☒", "×"):
        raise UnreadableValue(
            shown, "can mean yes or no; say in the mapping which, or write yes or no"
        )
    raise UnreadableValue(shown, "is neither yes nor no; write yes or no")
