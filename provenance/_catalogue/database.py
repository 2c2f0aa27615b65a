"""Opens the catalogue's database so that two may use it at once and a kill loses nothing.

SQLite (sqlite.org) with a rollback journal and full synchronisation: a transaction is on disk whole
or not at all, also after kill -9 or a power cut. Writers take turns; each transaction is short.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

from provenance._base.errors import TreenailError
from provenance._catalogue.columns import CATALOGUE_VERSION, CatalogueTable, catalogue_tables

APPLICATION_ID = 0x7472_6E6C
"""The letters 'trnl' in the file's header, so that another program's database is not written to."""

WAIT_SECONDS = 120.0
SYNCHRONOUS = "FULL"
CACHE_KB = 64_000


def now() -> str:
    """This machine's clock in UTC, RFC 3339, to the second."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


@contextmanager
def opened_catalogue(index: Path) -> Iterator[sqlite3.Connection]:
    """Open the catalogue at `index` for reading and writing; it is made when there is none.

    Raises TreenailError when it cannot be used, also later in the block (a full disk, for one);
    whatever was committed stays.
    """
    with _in_words(index):
        if not index.exists():
            # it holds exact places, so it is nobody else's to read unless its owner says so
            os.close(os.open(index, os.O_CREAT | os.O_RDWR, 0o600))
        with closing(_connect(index, "rwc")) as database:
            database.execute(f"PRAGMA synchronous = {SYNCHRONOUS}")
            database.execute("PRAGMA foreign_keys = ON")
            _prepare(database, index)
            yield database


@contextmanager
def read_only_catalogue(index: Path) -> Iterator[sqlite3.Connection]:
    """Open a catalogue that is there, for reading only; raises TreenailError."""
    absent = f"there is no index {index} yet; 'treenail catalogue' makes it"
    if not index.is_file():
        raise TreenailError(absent)
    # opened for writing where that is allowed: what a kill has left half done must be rolled back
    # before anybody can read, and a connection that may only read cannot do that
    with _in_words(index), closing(_connect(index, "rw")) as database:
        database.execute("PRAGMA query_only = ON")
        database.execute(f"PRAGMA cache_size = -{CACHE_KB}")
        with _one_look(database):
            # whoever began it may have been killed before its tables were on the disk
            if not _refuse_strange(database, index):
                raise TreenailError(absent)
        yield database


def _connect(index: Path, mode: str) -> sqlite3.Connection:
    database = sqlite3.connect(
        f"{index.resolve().as_uri()}?mode={mode}",
        uri=True,
        timeout=WAIT_SECONDS,
        isolation_level=None,
    )
    database.row_factory = sqlite3.Row
    return database


@contextmanager
def _in_words(index: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.filename not in (str(index), index):
            raise
        raise TreenailError(f"the index {index} cannot be used: {error.strerror}") from error
    except sqlite3.OperationalError as error:
        raise TreenailError(
            f"the index {index} cannot be used now: {error}. What was written before is safe; free "
            "up space or correct the permissions, and run it again"
        ) from error
    except sqlite3.IntegrityError:
        raise  # a fault of this program, not of the file
    except sqlite3.DatabaseError as error:
        raise TreenailError(
            f"the index {index} cannot be used: {error}; remove it; it is made again from the "
            "bundles (only the dates of earlier audits are lost with it: restore it from a backup "
            "if you have one)"
        ) from error


@contextmanager
def transaction(database: sqlite3.Connection) -> Iterator[sqlite3.Connection]:
    """Everything in the block, or nothing of it; other writers wait meanwhile."""
    database.execute("BEGIN IMMEDIATE")
    try:
        yield database
        database.execute("COMMIT")
    except BaseException:
        # a full disk has rolled back already
        if database.in_transaction:
            database.execute("ROLLBACK")
        raise


@contextmanager
def _one_look(database: sqlite3.Connection) -> Iterator[None]:
    """All that is read in the block is of one moment, though another writes meanwhile."""
    database.execute("BEGIN")
    try:
        yield
    finally:
        database.execute("ROLLBACK")


def _prepare(database: sqlite3.Connection, index: Path) -> None:
    with _one_look(database):
        is_made = _refuse_strange(database, index)
        missing = _missing_tables(database)
    if is_made and not missing:
        return
    with transaction(database):
        _refuse_strange(database, index)
        # those that an earlier version had not; another may have been quicker
        for table in _missing_tables(database):
            for statement in table.statements:
                database.execute(statement)
            words = [(table.name, "", table.meaning)]
            for name, (_, meaning) in table.columns.items():
                words.append((table.name, name.strip('"'), meaning))
            database.executemany("INSERT INTO description VALUES (?, ?, ?)", words)
        if is_made:
            # what the new tables hold is in bundles that were read before: read them again
            database.execute("UPDATE bundle SET signature = ''")
        database.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        database.execute(f"PRAGMA user_version = {CATALOGUE_VERSION}")


def _missing_tables(database: sqlite3.Connection) -> list[CatalogueTable]:
    there = {row[0] for row in database.execute("SELECT name FROM sqlite_master")}
    return [table for table in catalogue_tables() if table.name not in there]


def _refuse_strange(database: sqlite3.Connection, index: Path) -> bool:
    """True when the database is a catalogue, False when it is empty; refuses any other."""
    application = database.execute("PRAGMA application_id").fetchone()[0]
    version = database.execute("PRAGMA user_version").fetchone()[0]
    if application == APPLICATION_ID and version == CATALOGUE_VERSION:
        return True
    if application == APPLICATION_ID:
        raise TreenailError(
            f"the index {index} was made by another version of this program (its version is "
            f"{version}, {CATALOGUE_VERSION} is read here); name a new one, which is made from "
            "the bundles, and keep this one for the dates of its audits"
        )
    if database.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
        raise TreenailError(f"{index} is a database, but not a catalogue; name another --index")
    return False


def warn_of_clock(database: sqlite3.Connection) -> str | None:
    """A sentence when the clock stands before a date in the catalogue, else None.

    Nothing is decided by dates: runs and examinations count upwards. But dates that a person is to
    rely on must be right.
    """
    latest = database.execute(
        "SELECT max(at) FROM (SELECT max(started_at) AS at FROM run UNION "
        "SELECT max(ended_at) FROM examination)"
    ).fetchone()[0]
    here = now()
    if latest and latest > here:
        return (
            f"this machine's clock says {here}, but the catalogue has an entry of {latest}: one of "
            "the two clocks was wrong. The order of the audits is kept anyway; set the clock"
        )
    return None
