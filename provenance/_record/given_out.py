"""Keeps what each number stood for in every earlier bundle of a record, for lineage.csv.

Bundles are counted from the oldest of those that bundle.json names in revisionOf: 1, 2, 3 … Their
count stands in the column 'bundles' ('1-3 5'), so that what the numbers of any of them stood for
can be told from the file, and its checksum compared with the one in revisionOf.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from provenance._base.spreadsheet import plain_cell

LINEAGE_TABLE = "lineage.csv"
COLUMNS = ("table", "key", "owner", "bundles", "gone")
STAMP = "stamp"
"""Stands as the table of a plug's stamp: the key is the plug, the owner its stamp as punched."""
_CARD = ("table", "key", "owner")
_RUN = re.compile(r"([1-9][0-9]{0,5})(?:-([1-9][0-9]{0,5}))?")

Numbers = Mapping[str, Mapping[str, str]]
"""Table → key → what it belongs to (see origin.py, numbers_of)."""


@dataclass(frozen=True)
class GivenOut:
    """What numbers stood for: (table, key, owner) → the bundles in which they did.

    A bundle is known by the checksum of its tagmanifest-sha256.txt. `gone` are (table, key) that
    had gone out of the record before the newest of these bundles.
    """

    rows: Mapping[tuple[str, str, str], frozenset[str]] = field(default_factory=dict)
    gone: frozenset[tuple[str, str]] = frozenset()

    def with_bundle(self, bundle: str, numbers: Numbers, stamps: Mapping[str, str]) -> GivenOut:
        """The same with what the numbers of one more bundle stand for."""
        rows = dict(self.rows)
        for table, keys in {**numbers, STAMP: stamps}.items():
            for key, owner in keys.items():
                one = (table, key, owner)
                rows[one] = rows.get(one, frozenset()) | {bundle}
        return GivenOut(rows, self.gone)

    def joined(self, other: GivenOut) -> GivenOut:
        """What two copies of a record know."""
        rows = dict(self.rows)
        for one, bundles in other.rows.items():
            rows[one] = rows.get(one, frozenset()) | bundles
        return GivenOut(rows, self.gone | other.gone)

    def numbers_in(self, bundle: str) -> dict[str, dict[str, str]]:
        """What the numbers of one of the bundles stood for."""
        found: dict[str, dict[str, str]] = {}
        for (table, key, owner), bundles in self.rows.items():
            if bundle in bundles and table != STAMP:
                found.setdefault(table, {})[key] = owner
        return found

    def newest(self, bundles: Sequence[str]) -> dict[str, dict[str, str]]:
        """What each number that is not gone stood for last; `bundles` with the oldest first."""
        place = {one: number for number, one in enumerate(bundles)}
        found: dict[str, dict[str, str]] = {}
        last: dict[tuple[str, str], int] = {}
        for (table, key, owner), there in self.rows.items():
            at = max((place[one] for one in there if one in place), default=-1)
            if at > last.get((table, key), -1) and (table, key) not in self.gone:
                last[table, key] = at
                found.setdefault(table, {})[key] = owner
        return found

    def lines(self, bundles: Sequence[str]) -> list[tuple[str, str, str, str, str]]:
        """The lines of lineage.csv, sorted; of other bundles than these nothing is said."""
        place = {one: number for number, one in enumerate(bundles, start=1)}
        lines, there = [], set()
        for (table, key, owner), known in self.rows.items():
            numbers = sorted(place[one] for one in known if one in place)
            if numbers:
                there.add((table, key))
                gone = "true" if (table, key) in self.gone else ""
                lines.append((table, key, owner, _runs(numbers), gone))
        lines += [(table, key, "", "", "true") for table, key in self.gone - there]
        return sorted(lines)


def given_out(lines: Iterable[Sequence[str]], bundles: Sequence[str]) -> GivenOut:
    """What the lines of lineage.csv say; raises ValueError for what is no such line."""
    rows: dict[tuple[str, str, str], frozenset[str]] = {}
    gone = set()
    for line in lines:
        if len(line) != len(COLUMNS) or not all(isinstance(one, str) for one in line):
            raise ValueError(f"a line has {len(line)} cells and should have {len(COLUMNS)}")
        table, key, owner, said, is_gone = line
        if said:
            rows[table, key, owner] = frozenset(bundles[n - 1] for n in _numbers(said, len(bundles)))
        if is_gone:
            gone.add((table, key))
    return GivenOut(rows, frozenset(gone))


def _runs(numbers: Sequence[int]) -> str:
    """Numbers as they stand in a cell: '1-3 5'."""
    runs: list[list[int]] = []
    for one in numbers:
        if runs and one == runs[-1][1] + 1:
            runs[-1][1] = one
        else:
            runs.append([one, one])
    return " ".join(str(a) if a == b else f"{a}-{b}" for a, b in runs)


def _numbers(text: str, most: int) -> list[int]:
    found: list[int] = []
    for part in text.split():
        run = _RUN.fullmatch(part)
        first, last = (int(run[1]), int(run[2] or run[1])) if run else (0, 0)
        if not 0 < first <= last <= most:
            raise ValueError(f"'{text[:40]}' does not count bundles from 1 to {most}")
        found += range(first, last + 1)
    return found


def lineage_bytes(given: GivenOut, bundles: Sequence[str]) -> bytes:
    """lineage.csv; every cell stands as in the tables, with which it is compared."""
    return _csv(COLUMNS, given.lines(bundles))


def read_lineage(content: bytes, bundles: Sequence[str]) -> GivenOut:
    """What lineage.csv says; raises ValueError when it cannot be read."""
    rows = list(csv.reader(io.StringIO(content.decode("utf-8"), newline="")))
    if not rows or tuple(rows[0]) != COLUMNS:
        raise ValueError(f"its first line is not {','.join(COLUMNS)}")
    return given_out(rows[1:], bundles)


def numbers_bytes(numbers: Numbers) -> bytes:
    """What numbers stand for, as the card of a store has it (schemas/store/card.json)."""
    rows = ((table, key, owner) for table, keys in numbers.items() for key, owner in keys.items())
    return _csv(_CARD, ([plain_cell(cell) for cell in row] for row in sorted(rows)))


def numbers_digest(numbers: Numbers) -> str:
    """The checksum over what numbers stand for."""
    return hashlib.sha256(numbers_bytes(numbers)).hexdigest()


def _csv(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return out.getvalue().encode("utf-8")
