"""Holds a store against its register, and keeps what its audits found as text in the store."""

from __future__ import annotations

import json
import os
import sqlite3
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from typing import Any

from provenance import __version__
from provenance._base.disk import sha256_of
from provenance._base.errors import TreenailError, UnusableInput
from provenance._bundle.verify import open_record, opened_bundle
from provenance._catalogue.audit.fixity import WHOLE, finding
from provenance._catalogue.current import GONE
from provenance._catalogue.database import now, transaction
from provenance._record.remote import Place
from provenance._store.acts import SETTLED, ends_of, first_fault
from provenance._store.comparing import (
    Lying,
    StoreFinding,
    bundle_findings,
    table_findings,
    told,
)
from provenance._store.current import standing_accessions
from provenance._store.fixity import add_fixity, fixity_files, read_fixity
from provenance._store.identity import bag_digests, identity_in
from provenance._store.own_files import digest_in, own_findings
from provenance._store.paper import ActAnchor
from provenance._store.store import Store, held, is_store, open_store
from provenance._store.terms import reminders

_OUTCOMES = {
    **dict.fromkeys(("damaged", "bag_not_valid", "bag_incomplete", "not_a_bag"), "damaged"),
    "faulty": "faulty",
    "unreadable": "not readable",
}
"""Standing → kind of finding; those that begin with bag are of bags without a record."""
_MOST_FAULTS = 5
_WRITTEN = "examination"
_COLUMNS = (
    "path", "run_id", "started_at", "ended_at", "seconds", "outcome", "cause", "identity",
    "fingerprint", "signature", "file_count", "byte_count", "findings",
)  # fmt: skip


@dataclass(frozen=True)
class StoreState:
    """What does not fit together in a store: `open` until a person settles it, with a reason.

    `due` are sentences about embargoes and loans to the store whose day has come.
    """

    open: tuple[StoreFinding, ...]
    settled: tuple[StoreFinding, ...]
    due: tuple[str, ...] = ()

    @property
    def in_words(self) -> str:
        """'3 findings open, 1 settled'."""
        count = len(self.open)
        return f"{count} finding{'s' * (count != 1)} open, {len(self.settled)} settled"


def store_at(place: Place) -> Path | None:
    """The folder of the store at a place, None where there is none."""
    return place if isinstance(place, Path) and is_store(place) else None


def compare_store(
    database: sqlite3.Connection,
    folder: Path,
    standing: Sequence[Mapping[str, Any]],
    anchors: Iterable[ActAnchor] = (),
) -> StoreState:
    """Compare all of the store in `folder`; `standing` is what is known of the bundles in it.

    Raises UnusableInput for a register that cannot be read.
    """
    memory = _Memory(database)
    signatures = dict(database.execute("SELECT path, signature FROM bundle").fetchall())
    lying = {}
    for one in standing:
        if one["state"] not in GONE and one["standing"] != "not_packed":
            there = _lying(folder, one, signatures[one["path"]], database, memory)
            lying[there.path] = there
    # what others record meanwhile must not look like a fault
    with held(folder, to_read=True) as store:
        found = own_findings(store, anchors, memory.judged)
        for act in standing_accessions(store.acts):
            if act.kept_at not in lying and (folder / act.kept_at).exists():
                bag, payload = bag_digests(folder / act.kept_at)
                lying |= {act.kept_at: Lying(act.kept_at, bag, payload)} if bag else {}
    found += bundle_findings(store.acts, lying, lambda path: _marks_of(folder / path))
    memory.keep()
    open_ones, settled = told(found, store.acts)
    return StoreState(tuple(open_ones), tuple(settled), _due(Store(folder)))


def _due(store: Store) -> tuple[str, ...]:
    try:
        return tuple(reminders(store, _today()))
    except UnusableInput as error:
        return (str(error),)


def standing_in_store(
    standing: Iterable[dict[str, Any]], folder: Path
) -> tuple[dict[str, Any], ...]:
    """How bundles stand, by the register: which are withdrawn, and which go on from which.

    Bundles that are gone and that the register does not know are left out.
    """
    store = open_store(folder)
    kept = {act.kept_at: act for act in store.accessions}
    withdrawn = store.withdrawn
    followed: dict[str, list[str]] = defaultdict(list)
    for act in standing_accessions(store.acts):
        for name in act.follows.split():
            followed[name].append(str(folder / act.kept_at))
    found = []
    for one in standing:
        of = kept.get(Path(one["path"]).relative_to(folder).as_posix())
        one = one | {"superseded_by": followed[of.act_id] if of else []}
        if one["state"] == "vanished":
            if of is None:
                continue
            if why := withdrawn.get(of.number):
                one |= {"standing": "withdrawn", "clean": True, "why": why.reason}
        found.append(one)
    return tuple(found)


def settle_finding(
    folder: Path, state: StoreState, finding_id: str, *, reason: str, by: str
) -> StoreFinding:
    """Note in the register that a person has looked into an open finding, and what came of it.

    `finding_id` may be the beginning of it. Raises UnusableInput when no open finding, or more than
    one, begins so.
    """
    found = [one for one in state.open if one.finding_id.startswith(finding_id.lower())]
    if len(found) != 1 or not finding_id:
        known = ", ".join(one.finding_id[:8] for one in state.open) or "none"
        raise UnusableInput(
            f"--settle {finding_id}: {len(found)} open findings begin so; open are {known}"
        )
    (one,) = found
    with Store(folder).writing(on=_today(), recorded_on=now(), by=by) as writing:
        about = {"number": one.number, "record_id": one.record_id, "path": one.path}
        writing.add(SETTLED, finding=one.finding_id, reason=f"{one.kind}: {reason}", **about)
    return one


# -- what lies there -----------------------------------------------------------------------------


def _lying(
    folder: Path,
    one: Mapping[str, Any],
    signature: str,
    database: sqlite3.Connection,
    memory: _Memory,
) -> Lying:
    path = Path(one["path"])
    outcome = _OUTCOMES.get(one["standing"], "")
    faults = [f"{f['path']} {f['message']}".strip() for f in one["findings"]] if outcome else []
    try:
        bag, payload = memory.digests(path, signature)
    except (TreenailError, OSError) as error:
        bag, payload = "", ""
        outcome = outcome or "not readable"
        faults = faults or [str(error)]
    return Lying(
        path.relative_to(folder).as_posix(),
        bag,
        payload,
        outcome,
        tuple(fault.replace(f"{folder}/", "") for fault in faults),
        one["why"].replace(f"{folder}/", "") if outcome == "damaged" else "",
        (one["sound_at"] or _sound_elsewhere(database, payload)) if outcome else "",
    )


def _sound_elsewhere(database: sqlite3.Connection, payload: str) -> str:
    """When a bundle was last sound, wherever it lay then; ''."""
    row = database.execute(
        "SELECT max(ended_at) FROM examination WHERE identity = ? AND identity != '' "
        f"AND outcome IN {WHOLE}",
        [payload],
    ).fetchone()
    return row[0] or ""


def _marks_of(bundle: Path) -> tuple[str, ...]:
    """Of which record a bundle is; () where it cannot be read, which its examination says."""
    try:
        with opened_bundle(bundle) as folder:
            return identity_in(folder, open_record(folder).tables, ()).marks
    except (TreenailError, OSError):
        return ()


class _Memory:
    """What was made of files that are as they were; it may be deleted with the catalogue."""

    def __init__(self, database: sqlite3.Connection) -> None:
        self._database = database
        rows = database.execute("SELECT path, state, result FROM judged")
        self._known = {row["path"]: (row["state"], row["result"]) for row in rows}
        self._new: dict[str, tuple[str, str]] = {}

    def _of(self, path: str, state: str, make: Callable[[], Any]) -> Any:
        known = self._new.get(path) or self._known.get(path)
        if known is None or known[0] != state:
            known = self._new[path] = (state, json.dumps(make()))
        return json.loads(known[1])

    def keep(self) -> None:
        """Remember what was made anew."""
        with transaction(self._database):
            for path, (state, result) in self._new.items():
                _note(self._database, path, state, result)

    def judged(
        self, path: str, state: str, judge: Callable[[], Sequence[StoreFinding]]
    ) -> list[StoreFinding]:
        """Findings about a file of text, whose state is known by its checksum."""
        found = self._of(path, state, lambda: [asdict(one) for one in judge()])
        return [StoreFinding(**one) for one in found]

    def digests(self, path: Path, signature: str) -> tuple[str, str]:
        """`bag` and `payload` of a bundle; of a folder the signature says nothing of its tags."""
        if path.is_dir():
            return bag_digests(path)
        bag, payload = self._of(str(path), signature, lambda: bag_digests(path))
        return bag, payload


# -- the history of examinations -----------------------------------------------------------------


def keep_history(database: sqlite3.Connection, folder: Path, said: str = "") -> None:
    """Write the examinations that the store's files do not have into them, with an act.

    Nothing is written while the register is not whole, or has two ends that the act would join, or
    the files are not as they were written: then the findings would be gone with the next line. In
    a store that may only be read the examinations stay in the catalogue.
    """
    if not os.access(folder, os.W_OK):
        return
    store = open_store(folder)
    if first_fault(store.acts) or len(ends_of(store.acts)) > 1:
        return
    altered = table_findings(store.acts, fixity_files(store), partial(digest_in, store))
    if told(altered, store.acts)[0]:
        return
    rows = database.execute(
        "SELECT * FROM examination WHERE examination_id > ? ORDER BY examination_id",
        [_written(database)],
    ).fetchall()
    last = rows[-1]["examination_id"] if rows else 0
    rows = [one for one in rows if Path(one["path"]).is_relative_to(store.folder)]
    if not rows and not said:
        return
    memory = _Memory(database)
    with store.writing(on=_today(), recorded_on=now()) as writing:
        add_fixity(writing, [_as_text(store.folder, one, memory) for one in rows], said)
    with transaction(database):
        if last:
            _note(database, _WRITTEN, str(last))
        for path in fixity_files(store):
            _note(database, path, sha256_of(store.folder / path))


def take_in_history(database: sqlite3.Connection, folder: Path) -> None:
    """Take examinations that only the store's files know into the catalogue, in their order.

    For a catalogue that is made anew, and after a copy of the store was merged. Call `keep_history`
    first.
    """
    store = open_store(folder)
    known = dict(database.execute("SELECT path, state FROM judged").fetchall())
    digests = {path: sha256_of(store.folder / path) for path in fixity_files(store)}
    changed = [path for path, digest in digests.items() if known.get(path) != digest]
    if not changed:
        return
    there = database.execute(f"SELECT {', '.join(_COLUMNS)} FROM examination").fetchall()
    known_by = {(row["path"], row["ended_at"]) for row in there}
    lacking = [
        _as_examination(folder, row)
        for path in changed
        for row in read_fixity(store, path)
        if (str(folder / row["path"]), row["examined_at"]) not in known_by
    ]
    if lacking:
        ordered = sorted([*map(tuple, there), *lacking], key=lambda one: str(one[3]))
        marks = ", ".join("?" * len(_COLUMNS))
        with transaction(database):
            database.execute("DELETE FROM examination")
            database.executemany(
                f"INSERT INTO examination ({', '.join(_COLUMNS)}) VALUES ({marks})",
                ordered,
            )
            last = database.execute("SELECT max(examination_id) FROM examination").fetchone()[0]
            _note(database, _WRITTEN, str(last))
    with transaction(database):
        for path in changed:
            _note(database, path, digests[path])


def _written(database: sqlite3.Connection) -> int:
    row = database.execute("SELECT state FROM judged WHERE path = ?", [_WRITTEN]).fetchone()
    return int(row["state"]) if row else 0


def _note(database: sqlite3.Connection, path: str, state: str, result: str = "") -> None:
    database.execute("INSERT OR REPLACE INTO judged VALUES (?, ?, ?)", [path, state, result])


def _as_text(folder: Path, one: sqlite3.Row, memory: _Memory) -> dict[str, str]:
    path = Path(one["path"])
    try:
        bag, _ = memory.digests(path, one["signature"])
    except (TreenailError, OSError):
        bag = ""
    faults = [f"{f['path']}: {f['message']}" for f in json.loads(one["findings"])]
    return {
        "examined_at": one["ended_at"],
        "path": path.relative_to(folder).as_posix(),
        "bag": bag,
        "payload": one["identity"],
        "outcome": one["outcome"],
        "cause": one["cause"],
        "faults": "; ".join(faults[:_MOST_FAULTS]),
        "file_count": str(one["file_count"]),
        "byte_count": str(one["byte_count"]),
        "fingerprint": one["fingerprint"],
        "signature": one["signature"],
        "program": f"treenail {__version__}",
    }


def _as_examination(folder: Path, row: Mapping[str, str]) -> tuple[Any, ...]:
    faults = [finding("audit.earlier", "", row["faults"])] if row["faults"] else []
    at = row["examined_at"]
    return (
        str(folder / row["path"]), 0, at, at, 0.0, row["outcome"], row["cause"], row["payload"],
        row["fingerprint"], row["signature"], int(row["file_count"] or 0),
        int(row["byte_count"] or 0), json.dumps(faults, ensure_ascii=False),
    )  # fmt: skip


def _today() -> date:
    return datetime.now(UTC).date()
