"""Turns EDTF text into the earliest and latest day it allows, a column at a time.

Days are counted from 0001-01-01 (which is 0), proleptic Gregorian, so that they compare as numbers.
Each different text is read once, however many rows hold it.
"""

from __future__ import annotations

import re

import numpy as np
import polars as pl

from provenance._base.errors import UnreadableValue
from provenance._model.edtf import EDTF_PATTERN, Day, bounds, is_edtf

_FORM = re.compile(EDTF_PATTERN)

_DAY_ZERO = np.datetime64("0001-01-01", "D")


def day_number(days: list[Day | None]) -> pl.Series:
    """Days since 0001-01-01 as integers; None stays null.

    >>> day_number([Day(1, 1, 1), Day(1970, 1, 1), None]).to_list()
    [0, 719162, None]
    """
    known = [day for day in days if day is not None]
    years = np.array([day.year - 1970 for day in known], dtype="timedelta64[Y]")
    months = np.array([day.month - 1 for day in known], dtype="timedelta64[M]")
    in_month = np.array([day.day - 1 for day in known], dtype="timedelta64[D]")
    starts = (np.datetime64("1970", "Y") + years).astype("datetime64[M]") + months
    numbers = iter((starts.astype("datetime64[D]") + in_month - _DAY_ZERO).astype(int).tolist())
    return pl.Series(
        [None if day is None else next(numbers) for day in days], dtype=pl.Int64, strict=True
    )


def date_bounds(frame: pl.DataFrame, *columns: str) -> pl.DataFrame:
    """The frame with COLUMN_first and COLUMN_last (Int64, days since 0001-01-01) for each column.

    Null where nothing is written, where that end is open, or where the text is not a date (which
    another rule reports). A time of day is passed over.
    """
    for column in columns:
        if frame[column].null_count() == len(frame):
            nothing = pl.lit(None, pl.Int64)
            frame = frame.with_columns(
                nothing.alias(f"{column}_{end}") for end in ("first", "last")
            )
            continue
        day_text = _day_text(column)
        texts = frame.select(day_text.drop_nulls().unique().sort()).to_series().to_list()
        ends = [_bounds_or_none(text) for text in texts]
        read = pl.DataFrame(
            {
                "_day": pl.Series(texts, dtype=pl.String),
                f"{column}_first": day_number([first for first, _ in ends]),
                f"{column}_last": day_number([last for _, last in ends]),
            }
        )
        frame = frame.with_columns(day_text.alias("_day"))
        frame = frame.join(read, on="_day", how="left", maintain_order="left").drop("_day")
    return frame


def _day_text(column: str) -> pl.Expr:
    """The days of a column; thousands of events have times of their own, but few days."""
    return pl.col(column).str.replace("T.*$", "")


def dates_before(frame: pl.DataFrame, column: str, day: Day) -> pl.DataFrame:
    """Rows of `frame` whose date in `column` has its latest day before `day`, as `date_bounds`."""
    texts = frame.select(_day_text(column).drop_nulls().unique()).to_series().to_list()
    lasts = {text: _bounds_or_none(text)[1] for text in texts}
    early = [text for text, last in lasts.items() if last is not None and last < day]
    return frame.filter(_day_text(column).is_in(early)) if early else frame.clear()


def unreal_dates(frame: pl.DataFrame, column: str) -> pl.DataFrame:
    """Rows of `frame` whose text in `column` is written as a date that no calendar has.

    What is not even written as a date is a matter of the structure, and said there.
    """
    texts = frame[column].drop_nulls().unique().to_list()
    unreal = [text for text in texts if not is_edtf(text) and _FORM.fullmatch(text)]
    return frame.filter(pl.col(column).is_in(unreal)) if unreal else frame.clear()


def _bounds_or_none(text: str) -> tuple[Day | None, Day | None]:
    try:
        return bounds(text)
    except UnreadableValue:
        # the structure layer and the rule dates.no_such_day report it with its row
        return None, None
