"""Brings read rows into the tables: adds, fills, overwrites, and never loses a row or a text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from provenance._intake.lines.readings import Place, ReadRow, UnreadCell
from provenance._model.schema import Field, Table
from provenance._record.snapshot import Snapshot

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Change:
    """A cell of the record that the import filled (before is '') or overwrote."""

    table: str
    key: str
    field: str
    before: str
    after: str
    place: Place


class TableRows:
    """A table as rows that can be added to and changed; knows whether it was."""

    def __init__(self, table: Table, tables: Snapshot) -> None:
        self.table = table
        self.columns = tables.columns(table.name)
        self.rows = [dict(row) for row in tables.rows(table.name)]
        self.changed = False
        # a key that stands twice is for check to name; here the first row bears it
        self._places: dict[str, int] = {}
        for place, row in enumerate(self.rows):
            self._places.setdefault(table.key_of(row), place)

    def __iter__(self) -> Iterator[dict[str, str]]:
        """The rows in their order; change them with `put`."""
        return iter(self.rows)

    def get(self, key: str) -> dict[str, str] | None:
        """The row of that key, or None."""
        place = self._places.get(key)
        return None if place is None else self.rows[place]

    def number_of(self, key: str) -> int:
        """The record number of the row in the table's file (header = 1), 0 when there is none."""
        place = self._places.get(key)
        return 0 if place is None else place + 2

    def add(self, values: Mapping[str, str]) -> dict[str, str]:
        """Add a row behind the others."""
        row = dict.fromkeys(self.columns, "") | dict(values)
        self._places.setdefault(self.table.key_of(row), len(self.rows))
        self.rows.append(row)
        self.changed = True
        return row

    def put(self, row: dict[str, str], field: str, value: str) -> None:
        """Change one cell of a row that is here; not for the fields of its key."""
        if row[field] != value:
            row[field] = value
            self.changed = True

    def frame(self) -> pd.DataFrame:
        """The table as a frame of texts."""
        import pandas as pd

        columns = {name: [row[name] for row in self.rows] for name in self.columns}
        return pd.DataFrame(columns, columns=list(self.columns), dtype=str)


@dataclass(frozen=True)
class WrittenOnce:
    """Tables whose filled cells no later file may overwrite, with what to do instead.

    `own_rows` are the keys whose rows came from the very files that are being read again, so that
    only our reading of them changes.
    """

    remedies: Mapping[str, str]
    own_rows: frozenset[tuple[str, str]] = frozenset()

    def remedy(self, table: str, key: str) -> str:
        """What to do instead of overwriting; '' where overwriting is right."""
        return "" if (table, key) in self.own_rows else self.remedies.get(table, "")


def say_the_same(one: Field, before: str, after: str) -> bool:
    """Whether two texts of a field mean the same value; 12.70 and 12.7 do."""
    if before == after:
        return True
    if one.type not in ("number", "integer"):
        return False
    try:
        return float(before) == float(after)
    except ValueError:
        return False


@dataclass
class Taken:
    """What taking rows into the tables came to."""

    added: dict[str, int]
    changes: list[Change]
    unread: list[UnreadCell]


def take_rows(rows: list[ReadRow], tables: Mapping[str, TableRows], once: WrittenOnce) -> Taken:
    """Bring rows into their tables, in their order.

    A new key is a new row. A filled cell overwrites, a blank one never does. Where two lines of one
    import say different things of one row, the first is kept and the other's text is handed back
    as an unread cell.
    """
    taken = Taken({}, [], [])
    said: dict[tuple[str, str], list[ReadRow]] = {}  # what this import said of each row so far
    for read in rows:
        table = tables[read.table]
        before_it = said.setdefault((read.table, read.key), [])
        row = table.get(read.key)
        if row is None:
            table.add(read.values)
            taken.added[read.table] = taken.added.get(read.table, 0) + 1
        else:
            _take_row(read, before_it, row, table, once, taken)
        before_it.append(read)
    return taken


def _take_row(
    read: ReadRow,
    before_it: list[ReadRow],
    row: dict[str, str],
    table: TableRows,
    once: WrittenOnce,
    taken: Taken,
) -> None:
    """Fill and overwrite the cells of a row that is there."""
    for name, value in read.values.items():
        one = table.table.field(name)
        first = next((other for other in before_it if name in other.values), None)
        if first is not None:
            if not say_the_same(one, first.values[name], value):
                _report_conflict(taken, read, name, first)
            continue
        before = row[name]
        if say_the_same(one, before, value):
            continue
        if before and (remedy := once.remedy(read.table, read.key)):
            _report_refusal(taken, read, name, before, remedy)
            continue
        table.put(row, name, value)
        taken.changes.append(Change(read.table, read.key, name, before, value, read.place))


def _report_conflict(taken: Taken, read: ReadRow, name: str, first: ReadRow) -> None:
    place = first.place
    same_sheet = (place.file_name, place.sheet) == (read.place.file_name, read.place.sheet)
    where = f"row {place.row}" if same_sheet else str(place)
    why = (
        f'differs from {where}, which says "{first.values[name]}" of the same {read.table}; the '
        "first was kept. Find out which is right, or give one of the two another key"
    )
    _keep(taken, read, name, why, "conflict")


def _report_refusal(taken: Taken, read: ReadRow, name: str, before: str, remedy: str) -> None:
    why = f'would overwrite "{before}", which is not done in this table; {remedy}'
    _keep(taken, read, name, why, "not_overwritten")


def _keep(taken: Taken, read: ReadRow, name: str, why: str, rule: str) -> None:
    place = read.place.at(read.place.row, read.headings.get(name, ""))
    text = read.written.get(name, read.values[name])
    taken.unread.append(UnreadCell(read.table, read.key, name, text, why, place, rule))
