"""Hands frames over from polars, which the program works with, to pandas, which users work with."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import polars as pl

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["to_pandas"]


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
