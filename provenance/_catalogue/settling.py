"""Settles in the catalogue which bundles and samples are current, once bundles were read."""

from __future__ import annotations

import hashlib
import os
import sqlite3
from collections.abc import Iterable, Sequence

from provenance._base.errors import UnusableInput
from provenance._catalogue.current import GONE, Lies, Role, roles_of
from provenance._catalogue.database import transaction
from provenance._catalogue.entry import HELD_BESIDE
from provenance._store.store import Store

COMMIT_SECONDS = 2.0
"""At most so much work is lost to a kill; a commit for every bundle would wait for the disk."""

FROM_INSIDE = (
    "site", "sample", "held", "party", "former", "plug", "reserved", "wood_use", "architecture",
    "withdrawal",
)  # fmt: skip
"""Tables of what was read in a bundle."""
HELD_COLUMNS = ("site_id", "sample_id", "element_id", "gone", *HELD_BESIDE)
_STORE = "store"
_FOLDER = "folder of the store"
_FOLDERS = "folders"


def insert_rows(
    database: sqlite3.Connection,
    table: str,
    bundle_id: int,
    columns: Sequence[str],
    rows: Iterable[tuple[object, ...]],
) -> None:
    """Add rows of one bundle to a table."""
    names = ", ".join(f'"{name}"' for name in columns)
    marks = ", ".join("?" * (len(columns) + 1))
    database.executemany(
        f"INSERT INTO {table} (bundle_id, {names}) VALUES ({marks})",
        ((bundle_id, *row) for row in rows),
    )


def begin_place(database: sqlite3.Connection, store: Store | None) -> None:
    """See that a catalogue is of one store, or of folders that are in none.

    Where the store was moved or copied with its catalogue, the paths go along. Raises UnusableInput
    when the catalogue is of something else.
    """
    known = signature_in(database, _STORE)
    if store is None and known is None:
        return
    if store is None or known not in (None, store.store_id):
        raise UnusableInput(
            "the index is the catalog of a store, and this is not that store; name another index "
            "with --index"
        )
    here, before = str(store.folder), signature_in(database, _FOLDER)
    if before == here:
        return
    with transaction(database):
        if before is None:
            # of what lay there before it became a store
            for table in (*FROM_INSIDE, "bundle"):
                database.execute(f"DELETE FROM {table}")
        else:
            for table, column in (("bundle", "path"), ("examination", "path"), ("run", "place")):
                database.execute(
                    f"UPDATE {table} SET {column} = ? || substr({column}, ?) "
                    f"WHERE {column} = ? OR substr({column}, 1, ?) = ?",
                    [here, len(before) + 1, before, len(before) + 1, f"{before}{os.sep}"],
                )
        put_signature(database, _STORE, store.store_id)
        put_signature(database, _FOLDER, here)


def signature_in(database: sqlite3.Connection, name: str) -> str | None:
    """What a source was when answers were last made of it, None for one that is new."""
    row = database.execute("SELECT signature FROM source WHERE name = ?", [name]).fetchone()
    return None if row is None else str(row[0])


def put_signature(database: sqlite3.Connection, name: str, signature: str) -> None:
    """Note what a source is, with the answers that were made of it."""
    database.execute("INSERT OR REPLACE INTO source VALUES (?, ?)", [name, signature])


def put_role(database: sqlite3.Connection, bundle_id: int, role: Role) -> None:
    """Note what a bundle is to its record."""
    database.execute(
        "UPDATE bundle SET role = ?, record = ?, is_current = ? WHERE bundle_id = ?",
        [role.role, role.record, int(role.is_current), bundle_id],
    )


def settle_folders(database: sqlite3.Connection) -> None:
    """Settle the bundles that are in no store by their own lineage; nothing where none changed."""
    with transaction(database):
        rows = database.execute("SELECT * FROM bundle ORDER BY path").fetchall()
        said = "\n".join(
            f"{row['path']} {row['state']} {row['signature']} {row['read_in_run']}" for row in rows
        )
        signature = hashlib.sha256(said.encode("utf-8", "surrogateescape")).hexdigest()
        if signature == signature_in(database, _FOLDERS):
            return
        roles = roles_of(
            Lies.of(row["path"], row["form"], dict(row), is_there=row["state"] not in GONE)
            for row in rows
        )
        branches: dict[str, list[int]] = {}
        for row in rows:
            role = roles[row["path"]]
            if role.is_current:
                branches.setdefault(role.record, []).append(row["bundle_id"])
            if (row["role"], row["record"], row["is_current"]) != (*_texts(role), role.is_current):
                put_role(database, row["bundle_id"], role)
                for table in ("sample", "held"):
                    _set_current(database, table, row["bundle_id"], role.is_current)
        for bundle_ids in branches.values():
            if len(bundle_ids) > 1:
                settle_samples(database, bundle_ids)
        put_signature(database, _FOLDERS, signature)


def _texts(role: Role) -> tuple[str, str]:
    return role.role, role.record


def _set_current(
    database: sqlite3.Connection, table: str, bundle_id: int, is_current: bool
) -> None:
    database.execute(
        f"UPDATE {table} SET is_current = ? WHERE bundle_id = ?", [int(is_current), bundle_id]
    )


def settle_samples(database: sqlite3.Connection, bundle_ids: Sequence[int]) -> None:
    """Let each sample of a record count once, in the last of its current bundles that has it."""
    seen: set[tuple[str, str]] = set()
    for bundle_id in reversed(bundle_ids):
        for table in ("sample", "held"):
            _set_current(database, table, bundle_id, True)
        rows = database.execute(
            "SELECT DISTINCT site_id, sample_id FROM sample WHERE bundle_id = ?", [bundle_id]
        )
        here = {(row[0], row[1]) for row in rows}
        twice = [(bundle_id, *one) for one in here & seen]
        for table in ("sample", "held"):
            database.executemany(
                f"UPDATE {table} SET is_current = 0 "
                "WHERE bundle_id = ? AND site_id = ? AND sample_id = ?",
                twice,
            )
        seen |= here
