"""Takes stock of a store: compares kept scans by its catalogue, and records what was seen."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import groupby
from operator import itemgetter
from pathlib import Path

from provenance._catalogue.build import index_place, update_catalogue
from provenance._catalogue.database import read_only_catalogue
from provenance._collection.kept import Books
from provenance._collection.scans import kept_scans
from provenance._collection.stocktake import Stocktake, compare_scans
from provenance._ledger.handover import following, refuse
from provenance._ledger.holdings import Event
from provenance._store.places import Places
from provenance._store.settings import settings_in
from provenance._store.store import Store

_EXPECTED = """
SELECT bundle_id, site_id, sample_id, place,
  CASE WHEN lender IS NOT NULL THEN 'on loan to ' || holder || coalesce(' until ' || due_on, '')
    WHEN gone <> '' THEN gone || ' since ' || since
    WHEN on_the_way_to <> '' THEN 'on the way to ' || on_the_way_to
    WHEN holder = ? OR place IN (SELECT place_id FROM place) THEN ''
    WHEN holder <> '' THEN 'with ' || holder ELSE 'no holder recorded' END
  FROM held NOT INDEXED WHERE is_current
"""
_SITES = "SELECT site_id FROM held WHERE sample_id = ? AND is_current"


def take_stock(store: Store, scans: Path, index: Path | None = None) -> Stocktake:
    """Compare kept scans with the store as its ledgers stand now, by its catalogue.

    `index` is where that is kept, in the store if left out. Records are named by their accession
    number, in `seen` by their name. Raises UnusableInput for scans or a store that cannot be read.
    """
    places = Places(store.rows("place"))
    index = index_place(store.folder, index)
    update_catalogue(store.folder, index)
    with read_only_catalogue(index) as database:
        own = settings_in(store.folder).party_id
        found = compare_by(database, own, places.by_code, kept_scans(scans))
        rows = database.execute("SELECT bundle_id, record, accession FROM bundle")
        records = {bundle: (record, number) for bundle, record, number in rows}
    rest = [
        one._replace(
            record_id=records[one.record_id][1] if one.record_id else "",
            place=places.path(one.place) or one.place,
            expected=places.path(one.expected) or one.expected,
        )
        for one in found.rest
    ]
    seen = [(records[bundle][0], sample, place) for bundle, sample, place in found.seen]
    return replace(found, rest=rest, seen=seen)


def compare_by(
    database: sqlite3.Connection,
    own: str,
    codes: Mapping[str, str],
    scans: Iterable[Sequence[str]],
) -> Stocktake:
    """Compare scans with what a catalogue says; records are numbers of bundles in it.

    `own` is the store's own code in the ledgers, '' where it has none.
    """
    database.row_factory = None  # a million rows are read, and a plain one is half as dear

    def sites_of(number: str) -> list[str]:
        return [site for (site,) in database.execute(_SITES, [number])]

    return compare_scans(lambda: database.execute(_EXPECTED, [own or None]), sites_of, codes, scans)


def record_seen(
    store: Store,
    taken: Stocktake,
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
