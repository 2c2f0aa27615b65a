"""Types a table: from columns of texts to columns of numbers, truth values and texts."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import polars as pl

from provenance._model.schema import Field, Table
from provenance._record.cells import read_booleans, read_numbers, read_whole_numbers

ROW = "row"
"""Column that every frame has first: the record number in the CSV (the header is record 1)."""


def _texts(column: pl.Series) -> pl.Series:
    return column.set(column == "", None)


_TYPES: dict[str, tuple[pl.DataType, Callable[[pl.Series], pl.Series]]] = {
    "number": (pl.Float64(), read_numbers),
    "integer": (pl.Int64(), read_whole_numbers),
    "string": (pl.String(), _texts),
    "boolean": (pl.Boolean(), read_booleans),
}
"""The column type that each type of Table Schema is read into, and how."""


def polars_type(one: Field) -> pl.DataType:
    """The column type that a Table Schema type is read into."""
    return _TYPES.get(one.type, _TYPES["string"])[0]


def laid_out(frame: pl.DataFrame, table: Table) -> pl.DataFrame:
    """The columns of a table in its order and of its types; those that the frame lacks are blank,
    and those that the table lacks, as an older one does, are left out.
    """
    columns = [
        frame[one.name].cast(polars_type(one))
        if one.name in frame.columns
        else pl.Series(one.name, [None] * len(frame), polars_type(one))
        for one in table.fields
    ]
    return pl.DataFrame(columns)


def is_blank(text: pl.Series) -> bool:
    """Whether nothing is written in any cell of a column of texts."""
    # of most columns with anything in them the first cell already says so
    return not len(text) or (text[0] == "" and not (text != "").any())


def is_written(typed: pl.Series) -> bool:
    """Whether anything is written in a column as typed, where blank cells are null."""
    return typed.null_count() < len(typed)


def typed_frame(table: Table, text: pl.DataFrame) -> pl.DataFrame:
    """Type a frame of text columns (with ROW): a cell that does not fit its type is null, and so
    is an empty one; columns that the file lacks are there, filled with null.

    What counts as a number or a truth value is for provenance/_record/cells.py to say.
    """
    if not len(text):
        return _without_rows(tuple((one.name, one.type) for one in table.fields))
    columns = [text[ROW].cast(pl.UInt32)]
    nothing: dict[pl.DataType, pl.Series] = {}
    for one in table.fields:
        kind, read = _TYPES.get(one.type, _TYPES["string"])
        if one.name in text.columns and not is_blank(text[one.name]):
            columns.append(read(text[one.name]))
            continue
        # most columns of most records are blank, and blank columns share one piece of memory
        if kind not in nothing:
            nothing[kind] = pl.Series([None], dtype=kind).new_from_index(0, len(text))
        columns.append(nothing[kind].alias(one.name))
    return pl.DataFrame(columns)


@lru_cache(maxsize=256)
def _without_rows(fields: tuple[tuple[str, str], ...]) -> pl.DataFrame:
    """A typed frame of no rows, for (name, type) of its fields; most tables of most records are."""
    types = {name: _TYPES.get(type, _TYPES["string"])[0] for name, type in fields}
    return pl.DataFrame(schema={ROW: pl.UInt32(), **types})
