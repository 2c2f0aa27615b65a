"""Says what one written cell is worth: number, whole number, yes or no, or nothing readable.

Table Schema v2 leaves open which spellings count; the reading here is that of the reference library
(frictionless 5.21), which the tests hold it to: numbers as Python's `Decimal` reads them (1e3, NaN,
INF, 1_000, surrounding blanks), whole numbers as `int` does, and eight spellings of yes and no. The
usual spellings are read a column at a time; `decimal_of` and `whole_of` settle the odd ones.

Source: Table Schema v2, field types (datapackage.org/standard/table-schema).
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal, InvalidOperation

import polars as pl

TRUE_WORDS = ("true", "True", "TRUE", "1")
FALSE_WORDS = ("false", "False", "FALSE", "0")
NOT_A_NUMBER = "NAN"
"""What `canonical` makes of every way to write that a number is none."""

_TRUTH = dict.fromkeys(TRUE_WORDS, True) | dict.fromkeys(FALSE_WORDS, False)


def decimal_of(text: str) -> Decimal | None:
    """The exact number that a text stands for, or None.

    >>> decimal_of(" 1_000.5 "), decimal_of("1e3"), decimal_of("7 3/8")
    (Decimal('1000.5'), Decimal('1E+3'), None)
    """
    try:
        return Decimal(text.strip())
    except (InvalidOperation, ValueError):
        return None


def float_of(text: str) -> float | None:
    """The number that a text stands for, or None; 'NaN' compares with nothing and is none either.

    >>> float_of("1_0"), float_of("NaN"), float_of("")
    (10.0, None, None)
    """
    exact = decimal_of(text)
    return None if exact is None or exact.is_nan() else float(exact)


def whole_of(text: str) -> int | None:
    """The whole number that a text stands for, or None.

    >>> whole_of("+12"), whole_of("12.0")
    (12, None)
    """
    try:
        return int(text.strip())
    except ValueError:
        return None


def canonical(text: str, field_type: str) -> str:
    """The one spelling of a value, so that equal keys are equal texts; '' for nothing readable.

    >>> canonical("1.50", "number"), canonical("007", "integer"), canonical("TRUE", "boolean")
    ('+15E-1', '7', 'true')
    """
    if field_type == "integer":
        whole = whole_of(text)
        return "" if whole is None else str(whole)
    if field_type == "boolean":
        truth = _TRUTH.get(text)
        return "" if truth is None else str(truth).lower()
    if field_type == "number":
        number = decimal_of(text)
        if number is None:
            return ""
        if not number.is_finite():
            return NOT_A_NUMBER if number.is_nan() else str(number)
        sign, digits, exponent = number.as_tuple()
        written = "".join(map(str, digits)).lstrip("0")
        trimmed = written.rstrip("0")
        if not trimmed:
            return "0"
        assert isinstance(exponent, int)
        return f"{'-' if sign else '+'}{trimmed}E{exponent + len(written) - len(trimmed)}"
    return text


def read_numbers(text: pl.Series) -> pl.Series:
    """A column of texts as Float64; null where nothing is written, readable, or 'NaN' stands."""
    return _settled(text, text.cast(pl.Float64, strict=False).fill_nan(None), float_of)


def read_whole_numbers(text: pl.Series) -> pl.Series:
    """A column of texts as Int64; null where nothing is written, readable, or beyond 64 bits."""

    def fitting(one: str) -> int | None:
        whole = whole_of(one)
        return whole if whole is not None and -(2**63) <= whole < 2**63 else None

    return _settled(text, text.cast(pl.Int64, strict=False), fitting)


def read_booleans(text: pl.Series) -> pl.Series:
    """A column of texts as Boolean; null where nothing is written or readable."""
    return text.replace_strict(_TRUTH, default=None, return_dtype=pl.Boolean())


def _settled(text: pl.Series, numbers: pl.Series, read: Callable[[str], float | None]) -> pl.Series:
    """The numbers, with those texts read one by one that the engine made nothing of."""
    if numbers.null_count() == (text == "").sum():
        return numbers
    odd = text.filter(numbers.is_null() & (text != "")).unique().to_list()
    known = {one: value for one in odd if (value := read(one)) is not None}
    if not known:
        return numbers
    return numbers.fill_null(text.replace_strict(known, default=None, return_dtype=numbers.dtype))
