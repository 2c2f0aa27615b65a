"""Frames handed from polars to pandas."""

from __future__ import annotations

import subprocess
import sys

import pandas as pd
import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.frames import to_pandas

CELLS = {
    "text": st.none() | st.text(st.characters(exclude_categories=["Cs"])),
    "number": st.none() | st.floats(allow_nan=False),
    "whole": st.none() | st.integers(-(2**63), 2**63 - 1),
    "truth": st.none() | st.booleans(),
}
KINDS = {"text": pl.String, "number": pl.Float64, "whole": pl.Int64, "truth": pl.Boolean}


@given(st.lists(st.fixed_dictionaries(CELLS)))
def test_every_cell_comes_through_as_it_is_and_nothing_as_missing(rows) -> None:
    frame = to_pandas(pl.DataFrame(rows, schema=KINDS))
    assert [str(kind) for kind in frame.dtypes] == ["str", "Float64", "Int64", "boolean"]
    for (_, made), row in zip(frame.iterrows(), rows, strict=True):
        for name, value in row.items():
            assert pd.isna(made[name]) if value is None else made[name] == value


def test_the_arrays_are_copies_that_may_be_written_into() -> None:
    source = pl.DataFrame({"a": [1, 2, None], "b": ["x", None, "z"]})
    frame = to_pandas(source)
    frame.loc[0, "a"], frame.loc[0, "b"] = 9, "changed"
    assert source["a"].to_list() == [1, 2, None]
    assert source["b"].to_list() == ["x", None, "z"]


def test_a_column_may_become_the_index_with_gaps_or_without() -> None:
    even = to_pandas(pl.DataFrame({"row": [2, 3, 4], "a": ["x", "y", "z"]}), index="row")
    assert (list(even.index), even.index.name, list(even)) == ([2, 3, 4], "row", ["a"])
    gaps = to_pandas(pl.DataFrame({"row": [2, 5], "a": ["x", "y"]}), index="row")
    assert list(gaps.index) == [2, 5]


def test_no_arrow_library_is_needed() -> None:
    """polars' own way to pandas stops without pyarrow, which is as large as polars itself."""
    script = (
        "import sys; sys.modules['pyarrow'] = None\n"
        "import polars as pl\n"
        "from provenance._base.frames import to_pandas\n"
        "print(to_pandas(pl.DataFrame({'a': ['x', None], 'b': [1.5, None]})).shape)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert done.stdout == "(2, 2)\n", done.stderr
