"""A table of the intake's own books as rows that can be added to and changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from provenance._model.schema import Table
from provenance._record.snapshot import Snapshot

if TYPE_CHECKING:
    import pandas as pd


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
