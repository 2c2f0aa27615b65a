"""The cells of a table as its people write them, so that what is shown can be typed back."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping

import polars as pl

from provenance._model.schema import Field, Model, Table
from provenance._printing.crew_units import HOW_TO_WRITE, as_crews_write
from provenance._record.cells import float_of
from provenance._record.measured import readings
from provenance._record.snapshot import Row, Snapshot

KEY = "#"
"""The column of the whole key of a row."""


def shown_rows(tables: Snapshot, name: str, keys: Collection[str] = ()) -> pl.DataFrame:
    """All rows of a table, or those of some keys, as texts with the column KEY; lengths are in the
    units of the record where those say them exactly."""
    table = tables.model.table(name)
    key = pl.concat_str(table.primary_key, separator=" / ").alias(KEY)
    rows = tables.whole(name).with_columns(key)
    if keys:
        rows = rows.filter(pl.col(KEY).is_in(list(keys)))
    lengths = _lengths(tables.model, table)
    written: Mapping[tuple[str, str, str], str] = readings(tables) if lengths else {}
    for one in lengths:
        cells = [
            (text, written.get((name, row, one.name), ""))
            for text, row in rows.select(one.name, KEY).iter_rows()
        ]
        words = {cell: _shown(tables.model, one, *cell) for cell in set(cells)}
        rows = rows.with_columns(pl.Series(one.name, map(words.get, cells), pl.String))
    return rows


def shown_row(
    model: Model, table: Table, row: Row, as_read: Callable[[str, str, str], str]
) -> dict[str, str]:
    """One row so; `as_read` gives how the length of a table, key and field was written, or ''."""
    cells = {name: row[name] for name in table.names}
    key = table.key_of(cells)
    for one in _lengths(model, table):
        cells[one.name] = _shown(model, one, cells[one.name], as_read(table.name, key, one.name))
    return cells


def _lengths(model: Model, table: Table) -> list[Field]:
    """The fields that are written in feet and inches."""
    return [one for one in table.fields if model.form_unit(one) in HOW_TO_WRITE]


def _shown(model: Model, one: Field, text: str, as_read: str) -> str:
    return text if float_of(text) is None else as_crews_write(model, one, text, as_read)
