"""Joins the tables of one bundle on disk, so that a large one takes hardly more memory.

A private SQLite database without a name does it: it lies in memory while it is small, grows into a
temporary file of the system, and is gone when it is closed (sqlite.org/inmemorydb.html).
"""

from __future__ import annotations

import pickle
import sqlite3
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, islice
from operator import itemgetter
from typing import Any

from provenance._ledger.holdings import Event, Holding, after, standing_events
from provenance._store.standing import disputed_in

CACHE_KB = 32_000
STRETCH_ROWS = 5_000

_RESULT = (
    "outcome", "inner_year", "outer_year", "outer_symbol", "felled_from_year", "felled_to_year",
    "felling_season", "heartwood_year", "sapwood_count", "sapwood_least", "sapwood_most",
    "estimate_source", "species",
)  # fmt: skip
_HELD = (
    "holder", "on_the_way_to", "gone", "place_held", "lender", "due_on", "loan", "since",
)  # fmt: skip


@dataclass(frozen=True)
class PackedRows:
    """Very many rows in little memory, which may be handed to another process."""

    stretches: tuple[bytes, ...]

    def __iter__(self) -> Iterator[tuple[Any, ...]]:
        """The rows in their order, a stretch in memory at a time."""
        for stretch in self.stretches:
            yield from pickle.loads(zlib.decompress(stretch))


def pack_rows(rows: Iterable[tuple[Any, ...]]) -> PackedRows:
    """Pack rows as they come; they are plain texts, numbers and None."""
    coming = iter(rows)
    stretches = iter(lambda: list(islice(coming, STRETCH_ROWS)), [])
    return PackedRows(tuple(zlib.compress(pickle.dumps(one), level=1) for one in stretches))


class JoinedTables:
    """The tables of one record, of which each row is found beside what belongs to it.

    Codes are compared as they are written; of two rows with one code the last counts, and each is
    still a row. Close it when done.
    """

    def __init__(self, columns: Mapping[str, Sequence[str]]) -> None:
        """Begin with empty tables: name → columns, all of them texts."""
        self._columns = columns
        self._database = sqlite3.connect("", isolation_level=None)
        # nobody reads it after a failure, so nothing needs to be safe
        self._database.execute("PRAGMA journal_mode = OFF")
        self._database.execute("PRAGMA synchronous = OFF")
        self._database.execute(f"PRAGMA cache_size = -{CACHE_KB}")
        self._database.execute("BEGIN")
        for name, names in columns.items():
            self._create(name, names)

    def close(self) -> None:
        """Throw it away."""
        self._database.close()

    def fill(self, table: str, rows: Iterable[Sequence[str]]) -> None:
        """Add the rows of a table, in the order of its columns."""
        self._add(table, self._columns[table], rows)

    def settle(self) -> None:
        """Find the last result and the holding of every sample, once all tables are filled."""
        self._database.execute("CREATE INDEX sample_code ON sample (sample_id)")
        for table in ("element", "felling"):
            self._database.execute(f"CREATE INDEX {table}_code ON {table} (element_id)")
            # of two rows with one code the last
            self._database.execute(
                f"DELETE FROM {table} WHERE rowid NOT IN (SELECT max(rowid) FROM {table} "
                "GROUP BY element_id)"
            )
        self._create("last_result", ("sample_id", *_RESULT), key=True)
        self._add("last_result", ("sample_id", *_RESULT), self._last_results())
        self._create("standing", Event._fields)
        self._add("standing", Event._fields, standing_events(_Ledger(self._database)))
        self._create("held", ("sample_id", *_HELD), key=True)
        self._add("held", ("sample_id", *_HELD), self._holdings())

    def rows(self, table: str) -> Iterator[dict[str, str]]:
        """The rows of a table in their order."""
        return self._asked(f"SELECT {_listed(table, self._columns[table])} FROM {table}")

    def samples(self) -> Iterator[dict[str, dict[str, str]]]:
        """Every sample with its wood, the felling of this, last result and holding: table → row,
        {} where none is.
        """
        return self._together(
            {
                "sample": self._columns["sample"],
                "element": self._columns["element"],
                "felling": self._columns["felling"],
                "last_result": ("sample_id", *_RESULT),
                "held": ("sample_id", *_HELD),
            },
            "FROM sample LEFT JOIN element ON element.element_id = sample.element_id "
            "LEFT JOIN felling ON felling.element_id = sample.element_id "
            "LEFT JOIN last_result ON last_result.sample_id = sample.sample_id "
            "LEFT JOIN held ON held.sample_id = sample.sample_id ORDER BY sample.rowid",
        )

    def plugs(self) -> Iterator[dict[str, dict[str, str]]]:
        """Every plug that bears a stamp with its sample and wood, as `samples` has them."""
        return self._together(
            {name: self._columns[name] for name in ("plug", "sample", "element")},
            "FROM plug LEFT JOIN sample ON sample.rowid = "
            "(SELECT max(rowid) FROM sample WHERE sample_id = plug.sample_id) "
            "LEFT JOIN element ON element.element_id = sample.element_id "
            "WHERE plug.stamp <> '' ORDER BY plug.rowid",
        )

    def reserved(self, columns: Sequence[str]) -> Iterator[tuple[str, ...]]:
        """These columns of every reserved number without a plug, in the order of the table."""
        return self._database.execute(
            f"SELECT {', '.join(columns)} FROM reservation WHERE sample_id <> '' AND sample_id "
            "NOT IN (SELECT sample_id FROM plug UNION SELECT stamp FROM plug) ORDER BY rowid"
        )

    def disputed(self) -> set[str]:
        """Samples of which two ends of the ledger say that they are in different places."""
        straight = (
            "SELECT count(*) FROM custody WHERE also_previous_sha256 <> '' OR previous_sha256 IN "
            "(SELECT previous_sha256 FROM custody WHERE previous_sha256 <> '' "
            "GROUP BY previous_sha256 HAVING count(*) > 1)"
        )
        if not self._database.execute(straight).fetchone()[0]:
            return set()
        return set(disputed_in(list(self.rows("custody"))))

    def _last_results(self) -> Iterator[tuple[str, ...]]:
        """The result reported last of each sample, among those that no other supersedes."""
        columns = ("sample_id", *_RESULT)
        years = [columns.index(one) for one in ("outer_year", "felled_from_year", "felled_to_year")]
        rows = self._database.execute(
            f"SELECT {', '.join(columns)} FROM lab_result WHERE result_id NOT IN "
            "(SELECT supersedes_result_id FROM lab_result WHERE supersedes_result_id <> '') "
            "ORDER BY sample_id, reported_on, rowid"
        )
        for _, of_sample in groupby(rows, key=itemgetter(0)):
            reported = list(of_sample)
            # a date that one laboratory found is not undone by another that found none
            yield ([row for row in reported if any(row[one] for one in years)] or reported)[-1]

    def _holdings(self) -> Iterator[tuple[str, ...]]:
        """The holding of each sample, replayed one sample at a time."""
        rows = self._database.execute(
            f"SELECT {', '.join(Event._fields)} FROM standing ORDER BY sample_id, rowid"
        )
        place = Event._fields.index("sample_id")
        for sample, events in groupby(map(Event._make, rows), key=itemgetter(place)):
            holding = Holding(sample)
            for event in events:
                holding = after(holding, event)
            yield (sample, *(getattr(holding, name) for name in _HELD))

    def _together(
        self, columns: Mapping[str, Sequence[str]], joined: str
    ) -> Iterator[dict[str, dict[str, str]]]:
        asked = ", ".join(_listed(table, names) for table, names in columns.items())
        for values in self._database.execute(f"SELECT {asked} {joined}"):
            coming = iter(values)
            rows = {
                table: dict(zip(names, islice(coming, len(names)), strict=True))
                for table, names in columns.items()
            }
            # the first column is never NULL in a row that is there
            yield {t: row if row[columns[t][0]] is not None else {} for t, row in rows.items()}

    def _asked(self, query: str) -> Iterator[dict[str, str]]:
        cursor = self._database.execute(query)
        names = [column[0] for column in cursor.description]
        return (dict(zip(names, values, strict=True)) for values in cursor)

    def _create(self, table: str, columns: Sequence[str], *, key: bool = False) -> None:
        kinds = [f"{name} TEXT NOT NULL" for name in columns]
        if key:
            kinds[0] += " PRIMARY KEY"
        self._database.execute(f"CREATE TABLE {table} ({', '.join(kinds)})")

    def _add(self, table: str, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
        marks = ", ".join("?" * len(columns))
        self._database.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)


class _Ledger:
    """The events of the record in the order of the ledger, as often as they are asked for."""

    def __init__(self, database: sqlite3.Connection) -> None:
        self._database = database

    def __iter__(self) -> Iterator[Event]:
        rows = self._database.execute(
            "SELECT custody_id, event, happened_on, sample_id, consignment_id, from_party_id, "
            "to_party_id, place_held, state, corrects_custody_id, '', loan_due_on, reference, "
            "parent_sample_id FROM custody ORDER BY rowid"
        )
        return (Event(*row) for row in rows)


def _listed(table: str, columns: Sequence[str]) -> str:
    return ", ".join(f"{table}.{name}" for name in columns)
