"""The catalogue: SQLite against DuckDB, building against reading the bundles each time.

python benchmarks/catalogue.py [--bundles 1000] [--samples 50] [--no-engines]

Ratios of one run are what counts; the bundles are synthetic and hold what the catalogue reads.
"""

from __future__ import annotations

import argparse
import csv
import json
import multiprocessing
import os
import random
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from provenance._catalogue.build import update_catalogue
from provenance._catalogue.database import opened_catalogue
from provenance._catalogue.entry import SAMPLE_COLUMNS, read_entry, read_symbols
from provenance._catalogue.query import Wanted, find_in_catalogue
from provenance._catalogue.stores.records import find_sources

SPECIES = ("PIPO", "PSME", "PISY", "QUSP", "ABCO", "PIED")
USES = ("beam", "lintel", "rafter", "post", "joist")


def write_bundle(folder: Path, number: int, samples: int) -> None:
    """The files that the catalogue reads of a bundle, with plausible values."""
    chance = random.Random(number)
    tables = folder / "data" / "tables"
    tables.mkdir(parents=True)
    (folder / "bagit.txt").write_text("BagIt-Version: 1.0\n")
    (folder / "bag-info.txt").write_text(
        f"Payload-Oxum: 1000.20\nAccession-Number: 2031-{number}\n"
    )
    (folder / "manifest-sha256.txt").write_text(f"{number:064x}  data/x\n")
    data = folder / "data"
    (data / "datapackage.json").write_text(json.dumps({"name": f"site-{number}"}))
    (data / "bundle.json").write_text(json.dumps({"edition": "full", "recordDate": "2031-05-04"}))
    write(tables / "site.csv", [{"site_id": f"S{number}", "latitude": "40", "longitude": "-100"}])
    write(tables / "party.csv", [{"party_id": "LAB", "kind": "organisation", "name": "Lab"}])
    write(tables / "place.csv", [{"place_id": "B1", "name": "House", "parent_place_id": ""}])
    rows = range(samples)
    write(
        tables / "element.csv",
        [
            {
                "element_id": f"E{row}",
                "place_id": "B1",
                "function": chance.choice(USES),
                "species_field": chance.choice(SPECIES),
            }
            for row in rows
        ],
    )
    write(
        tables / "sample.csv",
        [
            {"sample_id": row, "site_id": f"S{number}", "element_id": f"E{row}", "kind": "core"}
            for row in rows
        ],
    )
    write(
        tables / "plug.csv",
        [{"plug_id": f"P{row}", "sample_id": row, "stamp": 100 + row} for row in rows],
    )
    write(
        tables / "custody.csv",
        [
            {
                "custody_id": row,
                "event": "collected",
                "happened_on": "2030-06-04",
                "sample_id": row,
                "to_party_id": f"K{number % 40}",
            }
            for row in rows
        ],
    )
    write(
        tables / "lab_result.csv",
        [
            {
                "result_id": row,
                "sample_id": row,
                "outcome": "dated",
                "inner_year": 1500,
                "outer_year": chance.randint(1550, 1900),
                "outer_symbol": "B",
            }
            for row in rows
        ],
    )


def write(path: Path, rows: list[dict[str, Any]]) -> None:
    with open(path, "w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def timed(work: Callable[[], Any], times: int = 1) -> float:
    """The median seconds of some runs."""
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    return statistics.median(seconds)


def compare_with_reading(folder: Path, bundles: int, samples: int) -> Path:
    place, index = folder / "place", folder / "index.sqlite"
    for number in range(bundles):
        write_bundle(place / f"{number % 100:02}" / f"bundle-{number}", number, samples)
    symbols = read_symbols()
    sources = find_sources(place)
    read_entry(sources[0], symbols)

    species, year = SAMPLE_COLUMNS.index("species"), SAMPLE_COLUMNS.index("outer_year")

    def read_them_all() -> int:
        return sum(
            row[species].startswith("PI") and (row[year] or 0) > 1800
            for path in sources
            for row in read_entry(path, symbols).samples
        )

    reading = timed(read_them_all)
    build = timed(lambda: update_catalogue(place, index))
    again = timed(lambda: update_catalogue(place, index), 3)
    write_bundle(place / "new", bundles, samples)
    one = timed(lambda: update_catalogue(place, index))
    wanted = Wanted(species="PI*", from_year=1800)
    find_in_catalogue(index, "samples", wanted)
    query = timed(lambda: find_in_catalogue(index, "samples", wanted), 3)
    stamp = timed(lambda: find_in_catalogue(index, "samples", Wanted(stamp="117", site="S17")), 3)
    size = index.stat().st_size
    print(f"\n{bundles} bundles, {bundles * samples} samples; catalogue {size / 1e6:.1f} MB")
    print(
        f"  reading every bundle           {reading:8.2f} s  {reading / bundles * 1e3:6.2f} ms each"
    )
    print(f"  building the catalogue          {build:8.2f} s  {build / reading:6.2f} of reading")
    print(f"  looking again, nothing changed  {again:8.3f} s  {reading / again:6.0f} times faster")
    print(f"  looking again, one new          {one:8.3f} s  {reading / one:6.0f} times faster")
    print(f"  query by species and years      {query:8.3f} s  {reading / query:6.0f} times faster")
    print(f"  query by stamp and site         {stamp:8.3f} s  {reading / stamp:6.0f} times faster")
    return index


FOREIGN_KEY = ", FOREIGN KEY (bundle_id) REFERENCES bundle (bundle_id)"
QUERIES = {
    "one stamp of one site": (
        "SELECT s.*, b.path FROM sample s JOIN bundle b USING (bundle_id) JOIN plug p ON "
        "p.bundle_id = s.bundle_id AND p.sample_id = s.sample_id "
        "WHERE p.stamp = '117' AND s.site_id = 'S17'"
    ),
    "species and years, rows": (
        "SELECT s.*, b.path FROM sample s JOIN bundle b USING (bundle_id) WHERE b.state = 'there' "
        "AND s.species LIKE 'PI%' AND s.end_to_year >= 1880"
    ),
    "count by keeper": "SELECT keeper_id, count(*) FROM sample GROUP BY keeper_id",
    "one accession": "SELECT * FROM bundle WHERE accession = '2031-17'",
}


def hold_open(path: str, engine: str, ready: Any, leave: Any) -> None:
    """Another process that has the database open for writing."""
    if engine == "duckdb":
        import duckdb

        held: Any = duckdb.connect(path)
    else:
        held = sqlite3.connect(path)
        held.execute("SELECT count(*) FROM bundle")
    ready.set()
    leave.wait()
    held.close()


def can_write_beside(path: Path, engine: str) -> str:
    context = multiprocessing.get_context("spawn")
    ready, leave = context.Event(), context.Event()
    other = context.Process(target=hold_open, args=(str(path), engine, ready, leave))
    other.start()
    ready.wait()
    try:
        if engine == "duckdb":
            import duckdb

            duckdb.connect(str(path)).close()
        else:
            with closing(sqlite3.connect(path)) as database:
                database.execute("BEGIN IMMEDIATE")
        return "yes"
    except Exception as error:
        return f"no ({type(error).__name__})"
    finally:
        leave.set()
        other.join()


def compare_engines(folder: Path, index: Path) -> None:
    import duckdb
    import polars as pl

    duck = folder / "index.duckdb"
    with opened_catalogue(index) as source:
        tables = {
            name: [tuple(row) for row in source.execute(f"SELECT * FROM {name}")]
            for name in ("bundle", "site", "sample", "plug")
        }
        columns = {name: source.execute(f"PRAGMA table_info({name})").fetchall() for name in tables}
        schema = [
            row[0]
            for row in source.execute(
                "SELECT sql FROM sqlite_schema WHERE name IN ('bundle', 'site', 'sample', 'plug') "
                "OR (type = 'index' AND sql IS NOT NULL AND tbl_name IN "
                "('bundle', 'site', 'sample', 'plug')) ORDER BY type DESC, rowid"
            )
        ]
    by_bundle = {row[0]: {"sample": [], "plug": [], "site": []} for row in tables["bundle"]}
    for name in ("sample", "plug", "site"):
        for row in tables[name]:
            by_bundle[row[0]][name].append(row)
    bundles = {row[0]: row for row in tables["bundle"]}

    def store(database: Any, bundle_id: int) -> None:
        """One bundle, as the catalogue stores it: taken out if it is there, then put in."""
        for name in by_bundle[bundle_id]:
            database.execute(f"DELETE FROM {name} WHERE bundle_id = ?", [bundle_id])
        database.execute("DELETE FROM bundle WHERE bundle_id = ?", [bundle_id])
        row = bundles[bundle_id]
        database.execute(f"INSERT INTO bundle VALUES ({', '.join('?' * len(row))})", row)
        for name, rows in by_bundle[bundle_id].items():
            if hasattr(database, "register"):
                # row by row DuckDB takes a hundred times as long; this is its own fast way
                names = [column[1] for column in columns[name]]
                frame = pl.DataFrame(rows, schema=names, orient="row", infer_schema_length=None)
                database.register("frame", frame.to_arrow())
                database.execute(f"INSERT INTO {name} SELECT * FROM frame")
                database.unregister("frame")
                continue
            marks = ", ".join("?" * len(rows[0]))
            database.executemany(f"INSERT INTO {name} VALUES ({marks})", rows)

    lite = folder / "again.sqlite"
    engines: dict[str, tuple[Path, Callable[[], Any]]] = {
        "sqlite": (lite, lambda: sqlite3.connect(lite, isolation_level=None)),
        "duckdb": (duck, lambda: duckdb.connect(str(duck))),
    }
    results: dict[str, dict[str, float | str]] = {}
    some = list(bundles)[:200]
    for engine, (path, connect) in engines.items():
        numbers: dict[str, float | str] = {}
        database = connect()
        for statement in schema:
            # DuckDB has no index without regard to case, and cannot delete and put back a row that
            # a foreign key points at within one transaction
            statement = statement.replace(" COLLATE NOCASE", "")
            database.execute(statement.replace(FOREIGN_KEY, ""))

        def fill(database: Any = database) -> None:
            database.execute("BEGIN")
            for bundle_id in some:
                store(database, bundle_id)
            database.execute("COMMIT")

        numbers["store 200 bundles, one transaction"] = timed(fill)

        def rest(database: Any = database) -> None:
            for start in range(200, len(bundles), 200):
                database.execute("BEGIN")
                for bundle_id in list(bundles)[start : start + 200]:
                    store(database, bundle_id)
                database.execute("COMMIT")

        rest()
        for label, query in QUERIES.items():
            database.execute(query).fetchall()
            numbers[label] = timed(lambda q=query, d=database: d.execute(q).fetchall(), 5)
        database.close()

        def reopen(connect: Callable[[], Any] = connect) -> None:
            opened = connect()
            opened.execute(QUERIES["one accession"]).fetchall()
            opened.close()

        numbers["open, ask, close"] = timed(reopen, 5)
        numbers["size, MB"] = path.stat().st_size / 1e6
        numbers["another process may write too"] = can_write_beside(path, engine)
        results[engine] = numbers
    print(f"\n{len(bundles)} bundles, {len(tables['sample'])} samples   sqlite   duckdb   ratio")
    for label in results["sqlite"]:
        one, other = results["sqlite"][label], results["duckdb"][label]
        if isinstance(one, str) or isinstance(other, str):
            print(f"  {label:38} {one}   {other}")
        else:
            print(f"  {label:38} {one:8.4f} {other:8.4f} {other / one:8.2f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bundles", type=int, default=1000)
    parser.add_argument("--samples", type=int, default=50)
    parser.add_argument("--no-engines", action="store_true")
    chosen = parser.parse_args()
    print(f"{os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as scratch:
        for share in (10, 3, 1):
            folder = Path(scratch) / str(share)
            index = compare_with_reading(folder, max(chosen.bundles // share, 10), chosen.samples)
        if not chosen.no_engines:
            compare_engines(Path(scratch), index)


if __name__ == "__main__":
    main()
