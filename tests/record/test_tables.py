"""Texts of a table turned into typed columns."""

from __future__ import annotations

import polars as pl
from polars.testing import assert_frame_equal

from provenance._model.profile import load_model
from provenance._record.tables import ROW, typed_frame


def test_a_blank_column_is_as_null_as_one_that_the_file_lacks() -> None:
    table = load_model("blank").table("element")
    rows = pl.DataFrame({ROW: [2, 3], "element_id": ["E-1", ""]})
    blank = rows.with_columns(
        pl.lit("").alias(name) for name in table.names if name != "element_id"
    )
    lacking, written = typed_frame(table, rows), typed_frame(table, blank)
    assert_frame_equal(lacking, written)
    assert written["element_id"].to_list() == ["E-1", None]
    assert written["length_m"].to_list() == [None, None]


def test_one_written_cell_keeps_its_column() -> None:
    table = load_model("blank").table("element")
    rows = pl.DataFrame({ROW: [2, 3], "length_m": ["", "3.5"], "notes": ["", "by the hearth"]})
    typed = typed_frame(table, rows)
    assert typed["length_m"].to_list() == [None, 3.5]
    assert typed["notes"].to_list() == [None, "by the hearth"]
