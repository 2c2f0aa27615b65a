"""Where samples of a store are: questions of a curator over a million samples.

python benchmarks/holdings.py [--records 20000] [--samples 50] [--built 200]

The questions are asked of an index whose rows are written as the catalogue writes them: three
editions a record, 204 rooms and boxes, one sample in four hundred on loan. How long the catalogue
takes to make such rows is measured on a small store of real bundles.
"""

from __future__ import annotations

import argparse
import os
import random
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import date
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from typing import Any

from benchmarks.catalogue import timed
from provenance._catalogue.build import update_catalogue
from provenance._catalogue.database import opened_catalogue, transaction
from provenance._catalogue.query import Wanted, ask_sql, find_in_catalogue
from provenance._collection.taking_stock import compare_by
from provenance._store.store import Store
from tests.catalogue.store_model import SmallBundle, accession, events_sealed

EDITIONS = 3
ROOMS = 4
BOXES = 200
DAY: dict[str, Any] = {"on": date(2030, 5, 4), "recorded_on": "2030-05-04T09:00:00Z"}


def places() -> list[tuple[str, str, str, str, str]]:
    """One building, its rooms, and boxes of which four bear the same name."""
    found = [("MAIN", "", "building", "", "MAIN")]
    found += [(f"R{n}", "MAIN", "room", "", f"MAIN / R{n}") for n in range(ROOMS)]
    for number in range(BOXES):
        room = f"R{number % ROOMS}"
        name = f"box {number // ROOMS}"
        found.append((f"B{number}", room, "box", name, f"MAIN / {room} / B{number}"))
    return found


def fill(index: Path, records: int, samples: int) -> None:
    """The rows of that many records, as the catalogue has them."""
    chance = random.Random(7)
    with opened_catalogue(index) as database:
        database.execute("PRAGMA synchronous = OFF")
        with transaction(database):
            database.executemany("INSERT INTO place VALUES (?, ?, ?, ?, ?)", places())
            database.execute("INSERT INTO source VALUES ('store', 'bench')")
            for record in range(records):
                for edition in range(EDITIONS):
                    put_bundle(database, record, edition, samples, chance)


def put_bundle(
    database: sqlite3.Connection, record: int, edition: int, samples: int, chance: random.Random
) -> None:
    current = edition == EDITIONS - 1
    number = f"2030.{record * EDITIONS + edition:06}"
    bundle_id = database.execute(
        "INSERT INTO bundle (path, form, state, signature, identity, role, is_current, record, "
        "edition, accession, first_seen_at, read_at, first_seen_in_run, read_in_run) VALUES "
        "(?, 'zip', 'there', 'zip', ?, ?, ?, ?, 'full', ?, '', '', 1, 1) RETURNING bundle_id",
        [
            f"/store/{number}/bundle.zip",
            number,
            "current" if current else "older",
            int(current),
            f"{record:024x}",
            number,
        ],
    ).fetchone()[0]
    site = f"S{record:05}"
    database.execute(
        "INSERT INTO site VALUES (?, ?, ?, ?, 'mixed', 'ZZ', '', NULL, NULL, NULL, '', 'R', '')",
        [bundle_id, site, site, site],
    )
    rows = list(held_rows(bundle_id, site, samples, chance))
    database.executemany(
        'INSERT INTO sample (bundle_id, site_id, sample_id, element_id, use, "where", kind, '
        "species, collected_on, outcome, felling_class, cutting, keeper_id, keeper_name, gone, "
        "is_current) VALUES (?, ?, ?, ?, 'beam', '', 'core', 'PISY', '', '', '', '', ?, '', '', ?)",
        [(*row[:5], int(current)) for row in rows],
    )
    if current:
        database.executemany(
            "INSERT INTO held VALUES (?, ?, ?, ?, ?, '', '', ?, ?, ?, ?, '2030-05-04', '', 0, 1)",
            rows,
        )


def held_rows(
    bundle_id: int, site: str, samples: int, chance: random.Random
) -> Iterator[tuple[Any, ...]]:
    """bundle, site, sample, timber, holder, place, lender, loan, due day."""
    for number in range(samples):
        known = (bundle_id, site, str(200 + number), f"E{number}")
        if chance.random() < 1 / 400:
            due = f"2031-{chance.randint(1, 12):02}-01"
            yield (
                *known,
                f"LAB{chance.randint(0, 20)}",
                "",
                "R",
                f"L.{chance.randint(0, 99)}",
                due,
            )
        else:
            yield (*known, "R", f"B{chance.randint(0, BOXES - 1)}", None, None, None)


INSIDE = (
    "WITH RECURSIVE inside (place_id) AS (SELECT 'R1' UNION SELECT place.place_id FROM inside "
    "JOIN place ON place.within = inside.place_id) SELECT count(*) FROM inside CROSS JOIN held "
    "WHERE held.place = inside.place_id AND held.is_current"
)


def ask(index: Path) -> None:
    def listed(kind: str, **wanted: Any) -> Callable[[], int]:
        return lambda: len(find_in_catalogue(index, kind, Wanted(**wanted)))

    def counted(query: str) -> Callable[[], int]:
        return lambda: ask_sql(index, query).row(0)[0]

    questions = {
        "sample 203 of one site": listed("holdings", sample="203", site="S00017"),
        "sample 203 of every site": listed("holdings", sample="203"),
        "one box": listed("holdings", place="B7"),
        "every box of one name": listed("holdings", place="box 5"),
        "a room: every sample listed": listed("holdings", place="R1"),
        "a room: how many": counted(INSIDE),
        "all loans": listed("loans"),
        "overdue": listed("loans", overdue="2031-06-01"),
        "one loan": counted("SELECT count(*) FROM holding WHERE loan = 'L.7'"),
        "holders and counts": counted("SELECT count(*) FROM holding GROUP BY holder, gone"),
        "samples, each once": counted("SELECT count(*) FROM current_sample"),
        "samples of a site": listed("samples", site="S00017"),
    }
    for label, question in questions.items():
        found = question()
        print(f"  {label:30} {found:10,} {timed(question, 5):9.3f} s")


def take_stock(index: Path) -> None:
    """A stocktake of the whole store: one scan in two hundred is forgotten."""
    chance = random.Random(7)
    with opened_catalogue(index) as database:
        rows = database.execute(
            "SELECT place, site_id, sample_id FROM held WHERE place <> '' ORDER BY place"
        ).fetchall()
        scans = []
        for place, here in groupby(rows, key=itemgetter(0)):
            scans.append(("place", place, "", "", ""))
            seen = [("sample", "", *row[1:], "") for row in here if chance.random() < 0.995]
            scans += seen
        codes = {place[0]: place[0] for place in places()}
        start = time.perf_counter()
        found = compare_by(database, "R", codes, scans)
        seconds = time.perf_counter() - start
    print(f"  {'stocktake, scans':30} {len(scans):10,} {seconds:9.3f} s {dict(found.counts)}")


def build(folder: Path, records: int, samples: int) -> None:
    """A real store: made, looked at again, and again after one event."""
    place = folder / "store"
    wood = {str(200 + number): f"E{number}" for number in range(samples)}
    taken = {"event": "collected", "happened_on": "2029-06-01", "to_party_id": "R"}
    ledger = events_sealed([taken | {"sample_id": sample} for sample in wood])
    with Store(place).writing(**DAY) as writing:
        for record in range(records):
            before = ""
            for edition in range(EDITIONS):
                bundle = SmallBundle(f"S{record}", wood, ledger, note=str(edition))
                number = f"2030.{record * EDITIONS + edition}"
                before = accession(writing, number, str(record), bundle, follows=before)
            writing.put_ledger(str(record), ledger)
    index = place / "catalogue.sqlite"
    first = timed(lambda: update_catalogue(place, index), 1)
    again = timed(lambda: update_catalogue(place, index), 3)
    with Store(place).writing(**DAY) as writing:
        moved = {"event": "stored", "happened_on": "2030-05-04", "sample_id": "203"}
        writing.add_events("7", [moved | {"place_held": "B7"}])
    one = timed(lambda: update_catalogue(place, index), 1)
    bundles = records * EDITIONS
    print(f"\na store of {records} records, {bundles} bundles, {samples} samples each")
    print(
        f"  made                           {first:9.3f} s {first / bundles * 1e3:8.2f} ms a bundle"
    )
    print(f"  looked at again                {again:9.3f} s {first / again:8.0f} times faster")
    print(f"  after one event                {one:9.3f} s {first / one:8.0f} times faster")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=20_000)
    parser.add_argument("--samples", type=int, default=50)
    parser.add_argument("--built", type=int, default=200)
    chosen = parser.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    with tempfile.TemporaryDirectory() as scratch:
        index = Path(scratch) / "index.sqlite"
        fill(index, chosen.records, chosen.samples)
        count = chosen.records * chosen.samples
        size = index.stat().st_size / 1e6
        bundles = chosen.records * EDITIONS
        print(f"{count:,} samples, {chosen.records:,} records, {bundles:,} bundles; {size:.0f} MB")
        ask(index)
        take_stock(index)
        build(Path(scratch), chosen.built, chosen.samples)


if __name__ == "__main__":
    main()
