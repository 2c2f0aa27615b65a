"""Types a table: from columns of texts to columns of numbers, truth values and texts."""

from __future__ import annotations

import polars as pl

from provenance._model.schema import Field, Table
from provenance._record.cells import read_booleans, read_numbers, read_whole_numbers

ROW = "row"
"""Column that every frame has first: the record number in the CSV (the header is record 1)."""


def polars_type(one: Field) -> pl.DataType:
    """The column type that a Table Schema type is read into."""
    types: dict[str, pl.DataType] = {
        "number": pl.Float64(),
        "integer": pl.Int64(),
        "boolean": pl.Boolean(),
    }
    return types.get(one.type, pl.String())


def is_blank(text: pl.Series) -> bool:
    """Whether nothing is written in any cell of a column of texts."""
    return not (text != "").any()


def is_written(typed: pl.Series) -> bool:
    """Whether anything is written in a column as typed, where blank cells are null."""
    return typed.null_count() < len(typed)


def typed_frame(table: Table, text: pl.DataFrame) -> pl.DataFrame:
    """Type a frame of text columns (with ROW): a cell that does not fit its type is null, and so
    is an empty one; columns that the file lacks are there, filled with null.

    What counts as a number or a truth value is for provenance/checks/cells.py to say.
    """
    columns = [text[ROW].cast(pl.UInt32)]
    nothing: dict[pl.DataType, pl.Series] = {}

    def blank(one: Field) -> pl.Series:
        # most columns of most records are blank, and blank columns share one piece of memory
        kind = polars_type(one)
        if kind not in nothing:
            nothing[kind] = pl.Series([None], dtype=kind).new_from_index(0, len(text))
        return nothing[kind].alias(one.name)

    for one in table.fields:
        if one.name not in text.columns or is_blank(text[one.name]):
            columns.append(blank(one))
            continue
        column = text[one.name]
        if one.type == "number":
            columns.append(read_numbers(column))
        elif one.type == "integer":
            columns.append(read_whole_numbers(column))
        elif one.type == "boolean":
            columns.append(read_booleans(column))
        else:
            columns.append(column.set(column == "", None))
    return pl.DataFrame(columns)
