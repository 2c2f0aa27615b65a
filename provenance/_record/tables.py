"""The tables of a package as typed columnar frames, which the trade rules read."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import polars as pl

from provenance._model.schema import Field, Model, Table
from provenance._record.cells import read_booleans, read_numbers, read_whole_numbers

ROW = "row"
"""Column that every frame has first: the record number in the CSV (the header is record 1)."""


@dataclass(frozen=True)
class Tables:
    """Typed frames by table name, and the model that typed them.

    `typed[name]` has the columns of the schema plus ROW; a cell that does not fit its type is null
    (the structure layer reports it), and so is an empty one. Dates stay EDTF text. Columns that the
    file lacks are there, filled with null, so that a rule never meets a missing column.
    """

    model: Model
    typed: Mapping[str, pl.DataFrame]
    _computed: dict[str, pl.DataFrame] = field(default_factory=dict, repr=False, compare=False)

    def __getitem__(self, name: str) -> pl.DataFrame:
        """The typed frame of a table."""
        return self.typed[name]

    def once(self, name: str, compute: Callable[[Tables], pl.DataFrame]) -> pl.DataFrame:
        """A frame that several rules need, computed when the first of them asks for it."""
        if name not in self._computed:
            self._computed[name] = compute(self)
        return self._computed[name]


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


def nothing_found(word: str) -> pl.DataFrame:
    """No rows, with the columns of a rule about every table: table, ROW, field and its `word`."""
    return pl.DataFrame(
        schema={"table": pl.String, ROW: pl.UInt32, "field": pl.String, word: pl.String}
    )


def typed_frame(table: Table, text: pl.DataFrame) -> pl.DataFrame:
    """Type a frame of text columns (with ROW); see Tables for what becomes of bad cells.

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
