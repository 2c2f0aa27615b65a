"""Takes rows that a person wrote in a spreadsheet into a table of the store."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._base.listed import listed
from provenance._store.places import faults_in_places
from provenance._store.store import Store
from provenance._store.tables import Row, StoreTable, read_cells, store_table
from provenance._store.terms import (
    ACQUISITION,
    PREVIOUS,
    RESTRICTION,
    faults_in_restrictions,
    is_day,
)

ENTERED = ("place", "party", "enquiry", ACQUISITION, PREVIOUS, RESTRICTION)
"""The tables that a person fills in; the others are written by what the store does."""

Faults = Callable[[Sequence[Row]], Iterator[tuple[str, str, str, str]]]
_FURTHER: Mapping[str, Faults] = {"place": faults_in_places, RESTRICTION: faults_in_restrictions}


@dataclass(frozen=True)
class Entered:
    """How many rows of a table are new, changed, and as they were."""

    added: int
    changed: int
    unchanged: int


def enter_rows(
    store: Store, table: str, path: Path, *, on: date, recorded_on: str, by: str = ""
) -> Entered:
    """Add the rows of a CSV file to a table of the store, or change those with the same key.

    The file needs the key and may leave out any other column, which then stays as it is. Nothing is
    removed. Raises UnusableInput that names file, line, column and value; nothing is written then.
    """
    described = _filled_in(table)
    lines = [(f"{path}, line {line}", row) for line, row in _lines(described, path)]
    return _put(store, described, lines, on=on, recorded_on=recorded_on, by=by)


def enter_row(
    store: Store, table: str, row: Row, *, on: date, recorded_on: str, by: str = ""
) -> Entered:
    """Add one row to a table of the store, or change the one with the same key.

    Columns that are left out stay as they are. Raises UnusableInput as `enter_rows` does.
    """
    described = _filled_in(table)
    cells = {name: " ".join(text.split()) for name, text in row.items()}
    for column in described.key:
        if not cells.get(column):
            raise UnusableInput(f"{table}, column '{column}': it is blank; fill it in")
    lines = [(table, cells)]
    return _put(store, described, lines, on=on, recorded_on=recorded_on, by=by)


def _filled_in(table: str) -> StoreTable:
    if table not in ENTERED:
        raise UnusableInput(
            f"'{table}' is not a table that is filled in; choose {', '.join(ENTERED)}"
        )
    return store_table(table)


def _put(
    store: Store,
    described: StoreTable,
    lines: Sequence[tuple[str, Row]],
    *,
    on: date,
    recorded_on: str,
    by: str,
) -> Entered:
    """Add or change rows; with each stands the place that a message names."""
    table = described.name
    with store.writing(on=on, recorded_on=recorded_on, by=by) as writing:
        before = {_key(described, row): row for row in writing.store.rows(table)}
        blank = dict.fromkeys(described.columns, "")
        after = before | {
            (key := _key(described, row)): {**blank, **before.get(key, {}), **row}
            for _, row in lines
        }
        place_of = {_key(described, row): place for place, row in lines}
        numbers = {act.number for act in writing.store.accessions}
        for found, column, value, why in _faults(described, list(after.values()), numbers):
            where = place_of.get(found, f"{found} in store")
            raise UnusableInput(f"{where}, column '{column}', '{value}': {why}")
        added = sum(one not in before for one in after)
        changed = sum(one in before and before[one] != row for one, row in after.items())
        if added or changed:
            writing.put_rows(table, after.values())
    return Entered(added, changed, len(lines) - added - changed)


def _key(table: StoreTable, row: Row) -> str:
    return ", ".join(row[name] for name in table.key)


def _lines(table: StoreTable, path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    if not path.is_file():
        raise UnusableInput(f"{path} is not there; check the name of the file")
    names, *rows = read_cells(path) or [[]]
    names = [name.strip() for name in names]
    strange = [name for name in names if name not in table.columns]
    lacking = [name for name in table.key if name not in names]
    if strange or lacking:
        said = f"needs the column {listed(lacking, 3)}"
        if strange:
            said = f"does not know {listed(strange, 3)}"
        raise UnusableInput(
            f"{path}, line 1: the table {table.name} {said}; its columns are "
            f"{', '.join(table.columns)}"
        )
    seen: dict[str, int] = {}
    for line, cells in enumerate(rows, start=2):
        row = {name: " ".join(cell.split()) for name, cell in zip(names, cells, strict=False)}
        if not any(row.values()):
            continue
        for column in table.key:
            if not row.get(column):
                raise UnusableInput(
                    f"{path}, line {line}, column '{column}': it is blank; fill it in"
                )
        key = _key(table, row)
        if key in seen:
            raise UnusableInput(
                f"{path}, line {line}, column '{table.key[-1]}': '{key}' is in line {seen[key]} "
                "as well; leave one out"
            )
        seen[key] = line
        yield line, row


def _faults(
    table: StoreTable, rows: Sequence[Row], accessions: Collection[str]
) -> Iterator[tuple[str, str, str, str]]:
    days = [str(one["name"]) for one in table.fields if one["type"] == "date"]
    for row in rows:
        key = _key(table, row)
        for column in table.required:
            if not row[column]:
                yield key, column, "", "it is blank; fill it in"
        for column, codes in table.codes.items():
            if row[column] and row[column] not in codes:
                yield key, column, row[column], f"write one of {', '.join(codes)}"
        for column in days:
            if row[column] and not is_day(row[column]):
                yield key, column, row[column], "write the day as 2026-03-01"
        if row.get("accession") and row["accession"] not in accessions:
            why = "the register has no such accession; correct the number"
            yield key, "accession", row["accession"], why
    if table.name in _FURTHER:
        yield from _FURTHER[table.name](rows)
