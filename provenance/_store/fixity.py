"""Keeps the examinations of the bundles in a store as text, by their paths in the store."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable

from provenance._store.acts import AUDITED
from provenance._store.store import Store, Writing
from provenance._store.tables import Row, read_rows, rows_bytes

FOLDER = "fixity"
TABLE = "fixity"


def fixity_files(store: Store) -> list[str]:
    """The files of the history, by their paths in the store, the oldest first."""
    found = (store.folder / FOLDER).glob("[0-9]*.csv")
    return sorted(path.relative_to(store.folder).as_posix() for path in found)


def read_fixity(store: Store, path: str) -> list[dict[str, str]]:
    """The examinations in one file of the history; raises UnusableInput."""
    return read_rows(store.folder / path, TABLE)


def add_fixity(writing: Writing, rows: Iterable[Row], said: str) -> None:
    """Put examinations into the file of their month; the register keeps its checksum.

    Those that are there already are left out. `said` is what the audit came to; it stands in the
    register even where nothing was examined.
    """
    months: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        months[row["examined_at"][:7]].append(row)
    for month, added in sorted(months.items()):
        path = f"{FOLDER}/{month}.csv"
        every = {_key(row): row for row in (*added, *read_fixity(writing.store, path))}
        content = rows_bytes(TABLE, (every[key] for key in sorted(every)))
        writing.staged.write(path, content)
        digest = hashlib.sha256(content).hexdigest()
        writing.add(AUDITED, path=path, digest=digest, reason=said)
    if not months and said:
        writing.add(AUDITED, reason=said)


def _key(row: Row) -> tuple[str, str, str]:
    return row["examined_at"], row["path"], row["bag"]
