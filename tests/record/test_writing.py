"""Tables as they are written, from a frame of polars as from one of pandas."""

from __future__ import annotations

import io
import json
from functools import cache
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.frames import to_pandas
from provenance._model.profile import load_model
from provenance._record.package import Package, as_json
from provenance._record.tables import ROW

KINDS = {"number": pl.Float64(), "integer": pl.Int64(), "boolean": pl.Boolean()}
CELLS = {
    "number": st.floats() | st.floats(-1e-3, 1e-3) | st.integers(-(10**18), 10**18).map(float),
    "integer": st.integers(-(2**63), 2**63 - 1),
    "boolean": st.booleans(),
    "string": st.text(st.sampled_from("a é,;\"\n\r'#") | st.characters(codec="utf-8"), max_size=4),
}


@cache
def package() -> Package:
    """A package that is nowhere: only its schemas count here."""
    return Package(Path("nowhere"), {"name": "nowhere"}, load_model("blank"))


def written(frame: object) -> bytes:
    stream = io.BytesIO()
    package().write_table_to(stream, "position", frame)  # type: ignore[arg-type]  # either kind
    return stream.getvalue()


@st.composite
def frames(draw: st.DrawFn) -> pl.DataFrame:
    """The table 'position', its columns in any order, with two that the schema lacks."""
    fields = {one.name: one.type for one in package().model.table("position").fields}
    fields |= {"seen": "boolean", "said": "string"}
    rows = draw(st.integers(0, 3))
    columns = {}
    for name in draw(st.permutations(list(fields))):
        kind = fields[name] if fields[name] in CELLS else "string"
        cell = st.none() | CELLS[kind]
        cells = draw(st.lists(cell, min_size=rows, max_size=rows))
        columns[name] = pl.Series(cells, dtype=KINDS.get(kind, pl.String()), strict=False)
    return pl.DataFrame(columns).with_row_index(ROW, offset=2)


@given(frames())
def test_a_frame_is_written_as_pandas_writes_it(frame: pl.DataFrame) -> None:
    """Reference: pandas.DataFrame.to_csv; NaN is as good as nothing."""
    assert written(frame) == written(to_pandas(frame.fill_nan(None), index=ROW))


def test_a_frame_without_a_column_of_the_schema_is_refused() -> None:
    names = package().model.table("position").names
    with pytest.raises(KeyError, match="site_id"):
        written(pl.DataFrame({name: [""] for name in names if name != "site_id"}))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
)


@given(JSON)
def test_json_is_laid_out_as_the_standard_library_has_it(value: object) -> None:
    """Against `json.dumps`, which takes four times as long once it is asked for an indent."""
    assert as_json(value) == json.dumps(value, indent=2, ensure_ascii=False) + "\n"
