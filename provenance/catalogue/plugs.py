"""Gathers the plugs of packages and bundles, and keeps them in an index that is quick to ask.

The index is one SQLite file. A source that has not changed (size and time of its manifest) is not
read again; one that has vanished keeps its plugs, marked, because the plugs are still in the wood.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

from provenance.catalogue.records import Source, find_sources, open_source, signature_of
from provenance.errors import TreenailError, UnusableInput
from provenance.locate import PlugRecord

__all__ = ["gather_plugs", "index_plugs", "read_plugs", "stored_plugs"]

Progress = Callable[[int, int], None]

_SCHEMA = """
CREATE TABLE IF NOT EXISTS source (
  path TEXT PRIMARY KEY,       -- where the package or bundle lies
  signature TEXT NOT NULL,     -- changes when it changes
  there INTEGER NOT NULL       -- 0 when it was gone at the last look
);
CREATE TABLE IF NOT EXISTS plug (
  source TEXT NOT NULL REFERENCES source (path),
  site_id TEXT, sample_id TEXT, plug_id TEXT, stamp TEXT, orientation_mark TEXT,
  dowel_mm REAL, status TEXT, element_id TEXT, "function" TEXT, species TEXT,
  places TEXT, "where" TEXT, collected_on TEXT
);
CREATE INDEX IF NOT EXISTS plug_of_source ON plug (source);
"""


def read_plugs(path: Path) -> list[PlugRecord]:
    """The plugs of one package or bundle, in the order of its table; raises UnusableInput."""
    with open_source(path) as source:
        return list(_plugs(source))


def _plugs(source: Source) -> Iterator[PlugRecord]:
    samples = {row.get("sample_id", ""): row for row in source.rows("sample")}
    elements = {row.get("element_id", ""): row for row in source.rows("element")}
    places = {row.get("place_id", ""): row for row in source.rows("place")}
    for plug in source.rows("plug"):
        if not plug.get("stamp"):
            continue
        sample = samples.get(plug.get("sample_id", ""), {})
        element = elements.get(sample.get("element_id", ""), {})
        chain = _chain(element.get("place_id", ""), places)
        yield PlugRecord(
            source=str(source.path),
            site_id=sample.get("site_id", ""),
            sample_id=plug.get("sample_id", ""),
            plug_id=plug.get("plug_id", ""),
            stamp=plug["stamp"],
            orientation_mark=plug.get("orientation_mark", ""),
            dowel_mm=_number(plug.get("dowel_mm", "")),
            status=plug.get("status", ""),
            element_id=sample.get("element_id", ""),
            function=element.get("function", ""),
            species=element.get("species_field", "") or sample.get("species_field", ""),
            places="\n".join(sorted({name.lower() for row in chain for name in _names(row)})),
            where=", ".join(row.get("name") or row.get("place_id", "") for row in chain),
            collected_on=sample.get("collected_on", ""),
        )


def _chain(place_id: str, places: dict[str, dict[str, str]]) -> list[dict[str, str]]:
    """The place and those it lies in, inmost first; a loop in the record ends the walk."""
    chain: list[dict[str, str]] = []
    seen: set[str] = set()
    while place_id in places and place_id not in seen:
        seen.add(place_id)
        chain.append(places[place_id])
        place_id = places[place_id].get("parent_place_id", "")
    return chain


def _names(row: dict[str, str]) -> list[str]:
    return [text for text in (row.get("place_id", ""), row.get("name", "")) if text]


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def gather_plugs(place: Path, *, progress: Progress | None = None) -> list[PlugRecord]:
    """All plugs at `place`, read afresh: one package or bundle, or a folder of them.

    Raises UnusableInput when there is none, or when one cannot be read (it is named).
    """
    sources = find_sources(place)
    if not sources:
        raise UnusableInput(f"{place} holds no package and no bundle")
    plugs: list[PlugRecord] = []
    for done, path in enumerate(sources, start=1):
        plugs.extend(read_plugs(path))
        if progress:
            progress(done, len(sources))
    return plugs


def index_plugs(place: Path, index: Path, *, progress: Progress | None = None) -> dict[str, str]:
    """Bring the index up to what lies at `place`; returns path → why, for what was not readable.

    A source that cannot be read keeps what the index knew of it. Raises TreenailError when the
    index itself cannot be used.
    """
    sources = find_sources(place)
    unreadable: dict[str, str] = {}
    try:
        with closing(sqlite3.connect(index, timeout=60)) as database, database:
            database.executescript(_SCHEMA)
            known = dict(database.execute("SELECT path, signature FROM source"))
            for done, path in enumerate(sources, start=1):
                if progress:
                    progress(done, len(sources))
                signature = signature_of(path) or ""
                if known.get(str(path)) == signature:
                    continue
                try:
                    plugs = read_plugs(path)
                except UnusableInput as error:
                    unreadable[str(path)] = str(error)
                    continue
                _store(database, path, signature, plugs)
            present = {str(path) for path in sources}
            states = [(int(path in present), path) for path in known]
            database.executemany("UPDATE source SET there = ? WHERE path = ?", states)
    except sqlite3.DatabaseError as error:
        raise TreenailError(
            f"the index {index} cannot be used: {error}; remove it, it is made anew from the "
            "bundles"
        ) from error
    return unreadable


def _store(
    database: sqlite3.Connection, path: Path, signature: str, plugs: list[PlugRecord]
) -> None:
    database.execute("DELETE FROM plug WHERE source = ?", [str(path)])
    database.execute("INSERT OR REPLACE INTO source VALUES (?, ?, 1)", [str(path), signature])
    places = ", ".join("?" * len(PlugRecord._fields))
    database.executemany(f"INSERT INTO plug VALUES ({places})", plugs)


def stored_plugs(index: Path) -> list[PlugRecord]:
    """Every plug in the index, those of vanished sources too; raises TreenailError."""
    if not index.is_file():
        raise TreenailError(f"there is no index {index} yet")
    try:
        with closing(sqlite3.connect(f"file:{index}?mode=ro", uri=True)) as database:
            columns = ", ".join(f'"{name}"' for name in PlugRecord._fields)
            rows = database.execute(f"SELECT {columns} FROM plug")
            return [PlugRecord._make(row) for row in rows]
    except sqlite3.DatabaseError as error:
        raise TreenailError(f"the index {index} cannot be used: {error}; remove it") from error
