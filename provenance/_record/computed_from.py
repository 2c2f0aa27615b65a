"""Remembers what the computed tables of a package were made from, to tell when they are stale.

The descriptor holds a digest of each table that a command read. It is of what the cells say, so a
copy or a checkout, where every file has a new time and may have other line ends, tells as much as
the package itself. A public edition holds none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from hashlib import sha256

import polars as pl

from provenance._record.package import Package, open_package
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

COMPUTED_FROM = "computedFrom"
READ_OF = {"file": ("kind", "ring_widths")}
"""Table of which commands read those rows alone whose column has that code: another photo makes
nothing stale."""


def note_sources(package: Package, command: str, sources: Sequence[str]) -> None:
    """Write down what the tables that `command` has just written were made from.

    `sources` are tables; an older package may lack one. The caller holds its lock.
    """
    now = open_package(package.folder)
    told = now.descriptor.get(COMPUTED_FROM)
    others = told if isinstance(told, Mapping) else {}
    known = package.model.tables
    digests = {name: _digest(package.tables, name) for name in sources if name in known}
    now.with_descriptor({COMPUTED_FROM: {**others, command: digests}})


def changed_sources(package: Package, tables: Snapshot, command: str) -> list[str]:
    """Those of the tables that `command` read which were changed since; [] when none was noted."""
    told = package.descriptor.get(COMPUTED_FROM)
    digests = told.get(command) if isinstance(told, Mapping) else None
    if not isinstance(digests, Mapping):
        return []
    known = package.model.tables
    return [
        name for name, then in digests.items() if name in known and _digest(tables, name) != then
    ]


def _digest(tables: Snapshot, name: str) -> str:
    """SHA-256 of the cells of a table; a column without any says nothing."""
    frame = tables.whole(name)
    if name in READ_OF:
        column, code = READ_OF[name]
        frame = frame.filter(pl.col(column) == code)
    found = sha256()
    for column in sorted(set(frame.columns) - {ROW}):
        cells = frame[column].to_list()
        if any(cells):
            found.update("\x1e".join((column, *("\x1f" + (cell or "") for cell in cells))).encode())
    return found.hexdigest()
