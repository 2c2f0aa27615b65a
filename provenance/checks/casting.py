"""Types a column of texts as Table Schema says, with the same verdicts as the reference library.

What is plainly written is typed by columns. The few values that are not (a plus sign, blanks around
a number, digits of other scripts) are looked at one by one, each text once.
Source: Table Schema (Data Package v2), as implemented by frictionless 5.
"""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

import polars as pl

__all__ = ["TRUE", "cast_column"]

PLAIN_INTEGER = r"^-?[0-9]{1,18}$"
PLAIN_NUMBER = r"^-?[0-9]{1,15}(\.[0-9]{1,15})?$"
TRUE = {"true": True, "True": True, "TRUE": True, "1": True}
FALSE = {"false": False, "False": False, "FALSE": False, "0": False}


def cast_column(text: pl.Series, type_name: str) -> pl.Series:
    """The typed column; null where nothing is written and where the text is not of the type.

    Types: string, number (Float64), integer (Int64), boolean. An integer beyond 64 bits is of its
    type for the standard but null here; no field of the record is so large.
    """
    filled = text.replace("", None) if text.dtype == pl.String else text
    if type_name == "integer":
        return _numbers(filled, PLAIN_INTEGER, pl.Int64(), _as_integer)
    if type_name == "number":
        return _numbers(filled, PLAIN_NUMBER, pl.Float64(), _as_number)
    if type_name == "boolean":
        return filled.replace_strict(TRUE | FALSE, default=None, return_dtype=pl.Boolean())
    return filled


def _numbers(filled: pl.Series, plain: str, dtype: pl.DataType, read) -> pl.Series:  # type: ignore[no-untyped-def]
    typed = filled.cast(dtype, strict=False)
    is_plain = filled.str.contains(plain)
    if is_plain.all(ignore_nulls=True):
        return typed
    odd = filled.filter(~is_plain.fill_null(True)).unique()
    values = {one: read(one) for one in odd}
    mapped = filled.replace_strict(values, default=None, return_dtype=dtype)
    chosen = pl.DataFrame({"plain": is_plain.fill_null(True), "typed": typed, "mapped": mapped})
    return chosen.select(
        pl.when("plain").then("typed").otherwise("mapped").alias(filled.name)
    ).to_series()


def _as_integer(text: str) -> int | None:
    try:
        number = int(text.strip())
    except ValueError:
        return None
    return number if abs(number) < 2**63 else None


def _as_number(text: str) -> float | None:
    try:
        return float(Decimal(text.strip()))
    except (InvalidOperation, ValueError):
        return None
