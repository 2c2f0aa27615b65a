"""Hands frames of polars on: to pandas, which users work with, and into CSV files."""

from __future__ import annotations

import csv
import io
from typing import IO, TYPE_CHECKING, Any

import polars as pl

if TYPE_CHECKING:
    import pandas as pd


def to_pandas(frame: pl.DataFrame, index: str | None = None) -> pd.DataFrame:
    """The frame in pandas: str, Float64, Int64 and boolean, NA where there is nothing.

    `index` names a column that becomes the index. Needs no pyarrow, and gives the same types
    whether it is there or not; every array is a copy, since pandas' arrays may be written into.
    """
    import pandas as pd

    made = pd.DataFrame({one.name: _array(one) for one in frame.get_columns() if one.name != index})
    if index is not None:
        numbers = frame[index]
        first = int(numbers[0]) if len(numbers) else 0
        if len(numbers) and int(numbers[-1]) - first == len(numbers) - 1:
            # numbered without gaps, so that the index costs nothing
            made.index = pd.RangeIndex(first, first + len(numbers), name=index)
        else:
            made.index = pd.Index(numbers.to_numpy().astype("int64"), name=index)
    return made


def _array(series: pl.Series) -> Any:
    import numpy as np
    import pandas as pd

    if series.dtype == pl.String:
        return pd.array(series.to_numpy(), dtype=pd.StringDtype("python", na_value=np.nan))
    kinds: dict[type[pl.DataType], tuple[Any, Any]] = {
        pl.Float64: (pd.arrays.FloatingArray, 0.0),
        pl.Boolean: (pd.arrays.BooleanArray, False),
    }
    make, blank = kinds.get(type(series.dtype), (pd.arrays.IntegerArray, 0))
    values = series.fill_null(blank).to_numpy().copy()
    return make(values, series.is_null().to_numpy().copy())


def write_csv(stream: IO[bytes], frame: pl.DataFrame) -> None:
    """Write a frame as CSV: UTF-8, LF, nothing where there is nothing; numbers as Python has them.

    All cells are quoted where one holds a carriage return, which in a cell without quotes would
    end the row for every reader.
    """
    written = frame.fill_nan(None)
    texts = [one for one in written.get_columns() if one.dtype == pl.String]
    bare = not any(one.str.contains("\r", literal=True).any() for one in texts)
    text = io.TextIOWrapper(stream, encoding="utf-8", newline="", write_through=True)
    writer = csv.writer(
        text, lineterminator="\n", quoting=csv.QUOTE_MINIMAL if bare else csv.QUOTE_ALL
    )
    writer.writerow(written.columns)
    writer.writerows(written.iter_rows())
    text.flush()
    text.detach()
