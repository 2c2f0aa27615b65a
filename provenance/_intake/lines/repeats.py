"""Puts in full what a blank cell or a ditto mark repeats from the lines above."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from provenance._intake.files.received import CellValue
from provenance._intake.lines.cells import is_ditto, is_missing


class Repeats:
    """Remembers, line by line, what the columns that are filled down hold.

    A blank cell repeats the last value above it in the same part of the sheet; a ditto mark only
    the row right above, with no blank line and no heading between.
    """

    def __init__(self, columns: Collection[int], missing: frozenset[str]) -> None:
        self.columns = frozenset(columns)
        self._missing = missing
        self._above: dict[int, CellValue] = {}
        self._right_above: dict[int, CellValue] = {}

    def interrupt(self) -> None:
        """A line that is no row: ditto marks below it have nothing to repeat."""
        self._right_above = {}

    def begin_anew(self, row: list[CellValue], titles: Iterable[int] = ()) -> None:
        """Another part of the sheet begins; what stands in columns of `titles` goes for it."""
        self.interrupt()
        self._above = {spot: row[spot] for spot in titles if spot in self.columns}

    def put_in_full(self, row: list[CellValue]) -> list[CellValue]:
        """The row of the next line, with what it repeats; the one given is not changed."""
        if not self.columns:
            return row
        row = [*row, *[None] * (max(self.columns) + 1 - len(row))]
        for spot in self.columns:
            if is_missing(row[spot], self._missing):
                row[spot] = self._above.get(spot)
            elif is_ditto(row[spot]):
                row[spot] = self._right_above.get(spot, row[spot])
        self._right_above = {
            spot: row[spot]
            for spot in self.columns
            if not is_missing(row[spot], self._missing) and not is_ditto(row[spot])
        }
        self._above |= self._right_above
        return row
