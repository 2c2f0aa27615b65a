"""Compares the rows of one table by primary key."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import polars as pl

from provenance._base.errors import UnusableInput, UnusablePackage
from provenance._compare.difference import FIELD, NEW, NTH, OLD, TableDifference
from provenance._model.schema import Table
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

_OLD_SIDE = "\x00old"
"""Ending of a column's name while two tables are joined; no CSV header holds a NUL."""


def read_rows(tables: Snapshot, name: str, shown: Path) -> pl.DataFrame:
    """A table's rows as texts in the order of the file, blank records left out.

    `shown` is the record that a person named. Raises UnusableInput when it cannot be compared.
    """
    try:
        frame, text = tables.texts(name), tables.written(name)
    except UnusablePackage as error:
        raise UnusableInput(f"{shown} cannot be compared: {error}") from error
    if text is not None and len(text.blank):
        frame = frame.filter(~pl.col(ROW).is_in(text.blank.implode()))
    return frame.drop(ROW)


def compare_rows(
    table: Table, old: pl.DataFrame, new: pl.DataFrame, *, presence: str = "both", bytes_same: bool
) -> TableDifference:
    """In what two states of a table differ; both as `read_rows` gives them.

    `table` is the newer schema. A column that only one of them has counts as blank in the other.
    Raises UnusableInput when a column of the primary key is missing from one of them.
    """
    key = _key_of(table, old, new)
    old, new = numbered(old, key), numbered(new, key)
    on = [*key, NTH]
    shared = new.join(old, on=on, how="inner", suffix=_OLD_SIDE, maintain_order="left")
    names = [one for one in new.columns if one not in on]
    names += [one for one in old.columns if one not in on and one not in names]
    changed = _changed(shared, on, names, old.columns, new.columns)
    added = new.join(old, on=on, how="anti", maintain_order="left")
    withdrawn = old.join(new, on=on, how="anti", maintain_order="left")
    untouched = not (len(added) or len(withdrawn) or len(changed))
    return TableDifference(
        table=table.name,
        title=table.title,
        primary_key=tuple(key),
        presence=presence,
        added=added,
        withdrawn=withdrawn,
        changed=changed,
        columns_added=tuple(one for one in new.columns if one not in old.columns),
        columns_removed=tuple(one for one in old.columns if one not in new.columns),
        old_count=len(old),
        new_count=len(new),
        rewritten=untouched and not bytes_same,
    )


def _key_of(table: Table, old: pl.DataFrame, new: pl.DataFrame) -> list[str]:
    """The primary key; where the schema names none, all columns that both have."""
    key = list(table.primary_key) or [one for one in new.columns if one in old.columns]
    for frame in (old, new):
        missing = [one for one in key if one not in frame.columns]
        if missing and frame.columns:
            raise UnusableInput(
                f"tables/{table.name}.csv has no column '{missing[0]}', by which its rows are "
                "known, in one of the two; rows cannot be compared without it"
            )
    return key


def numbered(frame: pl.DataFrame, key: Sequence[str]) -> pl.DataFrame:
    """The rows with a column NTH that counts those of the same key."""
    if not frame.columns:
        frame = pl.DataFrame(schema=dict.fromkeys(key, pl.String))
    nth = pl.int_range(pl.len(), dtype=pl.UInt32)
    return frame.with_columns((nth.over(*key) if key else nth).alias(NTH))


def _changed(
    shared: pl.DataFrame,
    on: list[str],
    names: list[str],
    old_columns: list[str],
    new_columns: list[str],
) -> pl.DataFrame:
    """The changed cells of rows that both have, in the order of rows and then of columns."""
    schema = dict(shared.select(on).schema)
    schema |= dict.fromkeys((FIELD, OLD, NEW), pl.String())
    cells = []
    shared = shared.with_row_index("\x00place")
    for column, name in enumerate(names):
        now = pl.col(name) if name in new_columns else pl.lit("")
        both = name in old_columns and name in new_columns
        before = (
            pl.col(f"{name}{_OLD_SIDE}" if both else name) if name in old_columns else pl.lit("")
        )
        part = shared.filter(before != now)
        if len(part):
            cells.append(
                part.select(
                    "\x00place",
                    pl.lit(column, pl.UInt32).alias("\x00column"),
                    *on,
                    pl.lit(name).alias(FIELD),
                    before.alias(OLD),
                    now.alias(NEW),
                )
            )
    if not cells:
        return pl.DataFrame(schema=schema)
    together = pl.concat(cells).sort("\x00place", "\x00column")
    return together.select(list(schema))
