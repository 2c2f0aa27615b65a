"""Takes stock of a store: compares kept scans by its catalogue, and records what was seen."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby
from operator import itemgetter
from pathlib import Path

from provenance._catalogue.build import index_place, update_catalogue
from provenance._catalogue.database import opened_catalogue
from provenance._collection.kept import Books
from provenance._collection.scans import kept_scans
from provenance._collection.stocktake import Stocktake, compare_scans, found_in
from provenance._ledger.handover import following, refuse
from provenance._ledger.holdings import Event
from provenance._store.places import Places
from provenance._store.settings import settings_in
from provenance._store.store import Store

_EXPECTED = """
CREATE TEMP VIEW {view} AS SELECT rowid AS sample_no, bundle_id AS record_id, site_id, sample_id,
  place AS place_id,
  CASE WHEN lender IS NOT NULL THEN 'on loan to ' || holder || coalesce(' until ' || due_on, '')
    WHEN gone <> '' THEN gone || ' since ' || since
    WHEN on_the_way_to <> '' THEN 'on the way to ' || on_the_way_to
    WHEN holder IN own OR place IN (SELECT place_id FROM place) THEN ''
    WHEN holder <> '' THEN 'with ' || holder ELSE 'no holder recorded' END AS state
  FROM held {read} WHERE is_current
"""
_MEMORY = ("PRAGMA temp_store = MEMORY", "PRAGMA cache_size = -200000")
"""What is made for one answer is held in memory, and 200 MB of the catalogue with it."""


@dataclass(frozen=True)
class Taken:
    """What a stocktake found; `seen` are (record, number, place) of samples in one place each."""

    found: Stocktake
    seen: tuple[tuple[str, str, str], ...]


def take_stock(store: Store, scans: Path, *, with_seen: bool = False) -> Taken:
    """Compare kept scans with the store as its ledgers stand now.

    Records are named by their accession number. `with_seen` lists what was seen as well. Raises
    UnusableInput for scans or a store that cannot be read.
    """
    places = Places(store.rows("place"))
    with _catalogue_of(store) as database:
        found = compare_scans(database, places.by_code, kept_scans(scans))
        rows = database.execute("SELECT bundle_id, record, accession FROM bundle")
        records = {bundle: (record, number) for bundle, record, number in rows}
        rest = [
            one._replace(
                record_id=records[one.record_id][1] if one.record_id in records else "",
                place=places.path(one.place) or one.place,
                expected=places.path(one.expected) or one.expected,
            )
            for one in found.rest
        ]
        seen = (
            (records[bundle][0], sample, place)
            for bundle, sample, place in (found_in(database) if with_seen else ())
        )
        return Taken(replace(found, rest=rest), tuple(seen))


@contextmanager
def _catalogue_of(store: Store) -> Iterator[sqlite3.Connection]:
    """The catalogue of a store as it stands now, with the view `expected`."""
    index = index_place(store.folder)
    update_catalogue(store.folder, index)
    with opened_catalogue(index) as database:
        expect(database, settings_in(store.folder).party_id)
        yield database
        database.execute("ROLLBACK")


def expect(database: sqlite3.Connection, own: str) -> None:
    """Begin a transaction in which a catalogue has the views that `compare_scans` asks.

    `own` is the store's own code in the ledgers, '' where it has none.
    """
    for statement in _MEMORY:
        database.execute(statement)
    database.execute("BEGIN")
    database.execute("CREATE TEMP TABLE own (party_id TEXT PRIMARY KEY)")
    database.executemany("INSERT INTO own VALUES (?)", [(own,)] if own else [])
    database.execute(_EXPECTED.format(view="expected", read=""))
    database.execute(_EXPECTED.format(view="in_order", read="NOT INDEXED"))


def record_seen(
    store: Store,
    taken: Taken,
    *,
    name: str,
    on: date,
    recorded_on: str,
    by: str = "",
    recorded_by: str = "",
) -> int:
    """Record in the ledgers which samples were seen where, all of them or nothing.

    What lies in another place than recorded lies there from now on. What is on loan, lost or
    elsewhere by the ledger is left out: that is for a person to settle first. Returns how many were
    recorded; raises Refused with one sentence for each that cannot be.
    """
    count = 0
    refused: list[str] = []
    with store.writing(on=on, recorded_on=recorded_on, by=by) as writing:
        books = Books(writing.store)
        for record_id, samples in groupby(sorted(taken.seen), key=itemgetter(0)):
            kept = books.kept(record_id, writing.ledger(record_id))
            wanted = [
                Event(
                    custody_id="",
                    event="seen",
                    happened_on=on.isoformat(),
                    sample_id=sample,
                    place_held=place,
                    notes=f"stocktake {name}",
                )
                for _, sample, place in samples
            ]
            added, why = following(kept.events, wanted)
            refused += [f"{kept.accession.number}, {one}" for one in why]
            rows = [one._asdict() | {"recorded_by": recorded_by} for one in added]
            if rows:
                writing.add_events(record_id, rows)
            count += len(rows)
        refuse(refused)
    return count
