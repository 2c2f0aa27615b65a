"""Brings the catalogue up to what lies at a place, reading only what is new or has changed."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from provenance._base.errors import TreenailError, UnusableInput
from provenance._base.progress import Progress, say_nothing
from provenance._catalogue.current import GONE
from provenance._catalogue.database import now, opened_catalogue, transaction, warn_of_clock
from provenance._catalogue.entry import (
    ARCHITECTURE_COLUMNS,
    RESERVED_COLUMNS,
    SAMPLE_COLUMNS,
    WOOD_COLUMNS,
    Entry,
    name_only,
    read_entry,
    read_symbols,
)
from provenance._catalogue.of_store import (
    facts_in,
    kept_in,
    put_accessions,
    settle_store,
)
from provenance._catalogue.settling import (
    COMMIT_SECONDS,
    FROM_INSIDE,
    HELD_COLUMNS,
    begin_place,
    insert_rows,
    settle_folders,
)
from provenance._catalogue.stores.records import Survey, signature_of, survey_place
from provenance._catalogue.stores.spread import HERE, Broken, Crew, do_each
from provenance._identity.plug_fit import STORED
from provenance._model.schema import Vocabulary
from provenance._record.remote import Place, Remote, lies_below, place_at
from provenance._store.store import is_store, open_store

INDEX_NAME = "catalogue.sqlite"
_WITHDRAWAL_COLUMNS = ("manifest_sha256", "reason", "withdrawn_on")


@dataclass(frozen=True)
class Update:
    """What came of one look at a place.

    `read` were new or had changed, `unchanged` were not read again; `vanished` are gone since the
    last look; `unreadable` maps a path to the reason; `clock` warns of a clock that stands wrong.
    """

    run_id: int
    read: tuple[str, ...]
    unchanged: int
    vanished: tuple[str, ...]
    unreadable: dict[str, str]
    clock: str | None


def index_place(place: Place, index: Path | None = None) -> Path:
    """Where the catalogue of a place lies: `index`, or beside the bundles.

    Raises UnusableInput when it would come to lie inside a package or bundle, which it would spoil.
    """
    if index is None:
        if isinstance(place, Remote):
            raise UnusableInput(
                f"{place} is not a folder on this machine, and the catalogue must be in one; name "
                "it with --index"
            )
        if not place.is_dir():
            raise UnusableInput(f"{place} is not a folder; name the catalogue with --index")
        index = place / INDEX_NAME
    for folder in index.resolve().parents:
        if signature_of(folder) is not None:
            raise UnusableInput(
                f"{index} would be inside {folder}, which is a package or bundle and must stay as "
                "it is; choose another place with --index"
            )
    return index


def update_catalogue(
    place: Place, index: Path, *, crew: Crew = HERE, progress: Progress = say_nothing
) -> Update:
    """Bring the catalogue at `index` up to what lies at or below `place`.

    An unchanged bundle is not read again. One that is gone is marked, and so is one that cannot be
    read: what was known of it stays. Bundles elsewhere than at `place` are left alone. Two may do
    this at once. Raises UnusableInput when there is nothing at `place`, TreenailError when the
    catalogue cannot be used.
    """
    place = place.absolute()
    store = open_store(place) if isinstance(place, Path) and is_store(place) else None
    registered = facts_in(store) if store else {}
    survey = survey_place(place)
    with opened_catalogue(index) as database:
        clock = warn_of_clock(database)
        begin_place(database, store)
        run_id = start_run(database, "catalogue", place)
        if store:
            put_accessions(database, store, run_id)
        before = {
            row["path"]: row
            for row in database.execute("SELECT path, signature, state FROM bundle")
        }
        vanished = _mark_absent(database, place, survey, before, run_id)
        # in place of a bundle that was lost for a while a store has put what is known otherwise
        anew = ("unreadable", "withdrawn", "vanished") if store else ("unreadable", "withdrawn")
        to_read = [
            path
            for path, signature in survey.signatures.items()
            if (known := before.get(str(path))) is None
            or known["signature"] != signature
            or known["state"] in anew
        ]
        with transaction(database):
            # those that were out of sight or vanished and are back as they were
            database.executemany(
                "UPDATE bundle SET state = 'there', why = '', gone_in_run = NULL "
                "WHERE path = ? AND signature = ? AND state IN ('vanished', 'out_of_sight')",
                [(str(path), signature) for path, signature in survey.signatures.items()],
            )
        unreadable = {str(path): why for path, why in survey.unreadable.items()}
        reading = _Reading(database, survey, run_id, registered, kept_in(store) if store else None)
        unreadable |= reading.all(to_read, crew, progress)
        if store:
            unreadable |= settle_store(database, store)
        else:
            settle_folders(database)
        end_run(database, run_id, "finished")
    return Update(
        run_id=run_id,
        read=tuple(str(path) for path in to_read if str(path) not in unreadable),
        unchanged=len(survey.signatures) - len(to_read),
        vanished=vanished,
        unreadable=unreadable,
        clock=clock,
    )


def start_run(database: sqlite3.Connection, kind: str, place: Place) -> int:
    """Note that a run was begun; returns its number."""
    with transaction(database):
        cursor = database.execute(
            "INSERT INTO run (kind, place, started_at) VALUES (?, ?, ?)", [kind, str(place), now()]
        )
        assert cursor.lastrowid is not None
        return cursor.lastrowid


def end_run(database: sqlite3.Connection, run_id: int, outcome: str) -> None:
    """Note how a run ended."""
    with transaction(database):
        database.execute(
            "UPDATE run SET ended_at = ?, outcome = ? WHERE run_id = ?", [now(), outcome, run_id]
        )


def _mark_absent(
    database: sqlite3.Connection,
    place: Place,
    survey: Survey,
    before: dict[str, sqlite3.Row],
    run_id: int,
) -> tuple[str, ...]:
    """Mark what is known below `place` and was not met; returns the newly vanished."""
    vanished, hidden = [], []
    for text, row in before.items():
        path = place_at(text)
        if path in survey.signatures or not lies_below(path, place):
            continue
        blind = next((one for one in survey.unreadable if lies_below(path, one)), None)
        if blind is not None:
            hidden.append((survey.unreadable[blind], text))
        elif row["state"] not in GONE:
            vanished.append(text)
    with transaction(database):
        database.executemany(
            "UPDATE bundle SET state = 'out_of_sight', why = ? WHERE path = ?", hidden
        )
        database.executemany(
            "UPDATE bundle SET state = 'vanished', why = ?, gone_in_run = ? WHERE path = ?",
            [(f"not there on {now()}", run_id, path) for path in vanished],
        )
    return tuple(vanished)


@dataclass(frozen=True)
class _Reading:
    """Reads bundles and stores what was in them.

    `registered` maps paths to what the register of a store says of them, which goes before their
    own words; of all but those `kept` there only the name is taken.
    """

    database: sqlite3.Connection
    survey: Survey
    run_id: int
    registered: Mapping[Place, Mapping[str, str]]
    kept: frozenset[Place] | None

    def all(self, to_read: list[Place], crew: Crew, progress: Progress) -> dict[str, str]:
        """Some bundles a transaction; returns path → why for what was unreadable."""
        unreadable: dict[str, str] = {}
        waiting: list[Entry | tuple[Place, str]] = []
        stored = time.monotonic()
        symbols = read_symbols() if to_read else None
        work = partial(_entry_or_reason, symbols=symbols, kept=self.kept)
        for done, (path, result) in enumerate(do_each(work, to_read, crew=crew), start=1):
            if isinstance(result, Broken):
                result = result.reason
            if isinstance(result, Entry) and self._is_exchanged(result):
                result = (
                    f"{path} is not the bundle that was accessioned: its list of checksums is "
                    "another. Restore it from a copy; 'treenail audit' says more"
                )
            if isinstance(result, str):
                unreadable[str(path)] = result
                waiting.append((path, result))
            else:
                waiting.append(result)
            if time.monotonic() - stored > COMMIT_SECONDS:
                self._store(waiting)
                waiting, stored = [], time.monotonic()
            progress(done, len(to_read))
        self._store(waiting)
        return unreadable

    def _is_exchanged(self, entry: Entry) -> bool:
        expected = self.registered.get(entry.path, {}).get("identity", "")
        return entry.path in (self.kept or ()) and expected not in ("", entry.facts["identity"])

    def _store(self, entries: Iterable[Entry | tuple[Place, str]]) -> None:
        with transaction(self.database):
            for one in entries:
                if isinstance(one, Entry):
                    facts = {**one.facts, **self.registered.get(one.path, {})}
                    _store_entry(self.database, replace(one, facts=facts), self.run_id)
                else:
                    path, why = one
                    signature = self.survey.signatures[path]
                    _store_unreadable(self.database, path, signature, why, self.run_id)


def _entry_or_reason(
    path: Place, symbols: Vocabulary | None = None, kept: frozenset[Place] | None = None
) -> Entry | str:
    """The entry, or why it could not be read: an error would not pickle with all it says."""
    try:
        if kept is not None and path not in kept:
            return name_only(path)
        return read_entry(path, symbols)
    except TreenailError as error:
        return str(error)


def _store_entry(database: sqlite3.Connection, entry: Entry, run_id: int) -> None:
    facts = {
        **entry.facts,
        "form": entry.form,
        "role": "",
        "is_current": 0,
        "state": "there",
        "why": "",
        "gone_in_run": None,
        "signature": entry.signature,
        "read_at": now(),
        "read_in_run": run_id,
    }
    bundle_id = _put_bundle(database, entry.path, facts)
    for table in FROM_INSIDE:
        database.execute(f"DELETE FROM {table} WHERE bundle_id = ?", [bundle_id])
    for site in entry.sites:
        insert_rows(database, "site", bundle_id, tuple(site), [tuple(site.values())])
    insert_rows(
        database,
        "sample",
        bundle_id,
        SAMPLE_COLUMNS,
        (row[: len(SAMPLE_COLUMNS)] for row in entry.samples),
    )
    taken = [SAMPLE_COLUMNS.index(name) for name in HELD_COLUMNS if name in SAMPLE_COLUMNS]
    held = (
        (*(row[place] for place in taken), *row[len(SAMPLE_COLUMNS) :]) for row in entry.samples
    )
    insert_rows(database, "held", bundle_id, HELD_COLUMNS, held)
    insert_rows(database, "party", bundle_id, ("party_id", "name"), entry.parties)
    insert_rows(
        database, "former", bundle_id, ("table_name", "former_key", "row_key"), entry.former
    )
    # a plug's source is the bundle
    plugs = (plug[1:-1] for plug in entry.plugs)
    insert_rows(database, "plug", bundle_id, STORED, plugs)
    insert_rows(database, "reserved", bundle_id, RESERVED_COLUMNS, entry.reserved)
    insert_rows(database, "wood_use", bundle_id, WOOD_COLUMNS, entry.wood_use)
    insert_rows(database, "architecture", bundle_id, ARCHITECTURE_COLUMNS, entry.architecture)
    said = [(one.manifest_sha256, one.reason, one.on) for one in entry.withdraws]
    insert_rows(database, "withdrawal", bundle_id, _WITHDRAWAL_COLUMNS, said)


def _store_unreadable(
    database: sqlite3.Connection, path: Place, signature: str, why: str, run_id: int
) -> None:
    form = "zip" if signature.startswith("zip") else "folder"
    facts = {"state": "unreadable", "why": why, "form": form, "read_at": now()}
    _put_bundle(database, path, {**facts, "signature": signature, "read_in_run": run_id})


def _put_bundle(database: sqlite3.Connection, path: Place, facts: dict[str, object]) -> int:
    """Insert or update the row of a path; facts that are not given stay as they were."""
    first = {"first_seen_at": facts["read_at"], "first_seen_in_run": facts["read_in_run"]}
    values = {"path": str(path), **first, **facts}
    updates = ", ".join(f"{name} = excluded.{name}" for name in facts)
    row = database.execute(
        f"INSERT INTO bundle ({', '.join(values)}) VALUES ({', '.join('?' * len(values))}) "
        f"ON CONFLICT (path) DO UPDATE SET {updates} RETURNING bundle_id",
        list(values.values()),
    ).fetchone()
    return int(row[0])


def withdraw_bundle(index: Path, path: Place, reason: str) -> None:
    """Note that a bundle that is not there any more was taken away on purpose, and why.

    Its row stays, but the audit no longer reports it missing. Raises UnusableInput when the
    catalogue does not know the path, or the bundle is still there.
    """
    text = str(path.absolute())
    with opened_catalogue(index) as database, transaction(database):
        row = database.execute("SELECT state FROM bundle WHERE path = ?", [text]).fetchone()
        if row is None:
            raise UnusableInput(f"{index} lists no bundle {text}; give the path as it is listed")
        if path.exists():
            raise UnusableInput(f"{text} is still there; move it away first")
        database.execute(
            "UPDATE bundle SET state = 'withdrawn', why = ? WHERE path = ?",
            [f"{now()}: {reason}", text],
        )
