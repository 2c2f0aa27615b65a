"""Looks a whole repository over for damage and loss, the longest unchecked bundles first.

The result of each bundle is on disk before the next is begun, so a kill loses one bundle's work.
Order and rota follow the numbers of runs and examinations, which only grow, never a date.
"""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from provenance._bag.verdict import NO_RECORD
from provenance._base.errors import TreenailError, UnusableInput
from provenance._base.locks import take_lock
from provenance._base.progress import Progress, say_nothing
from provenance._catalogue.audit.fixity import WHOLE, Examination, examine_bundle, finding
from provenance._catalogue.audit.pieces import (
    LARGE_BYTES,
    PORTIONS_OF_LARGE,
    Large,
    Piece,
    Piecework,
    PutTogether,
)
from provenance._catalogue.audit.standing import IN_DOUBT, standing_of
from provenance._catalogue.audit.store_audit import (
    StoreState,
    compare_store,
    keep_history,
    settle_finding,
    standing_in_store,
    store_at,
    take_in_history,
)
from provenance._catalogue.build import Update, end_run, start_run, update_catalogue
from provenance._catalogue.database import now, opened_catalogue, transaction
from provenance._catalogue.stores.records import signature_of
from provenance._catalogue.stores.spread import HERE, Broken, Crew, assembled, do_each
from provenance._record.remote import Place, lies_below, place_at
from provenance._store.comparing import StoreFinding
from provenance._store.paper import ActAnchor


@dataclass(frozen=True)
class Audit:
    """One audit of a place, and where the repository stands after it.

    `examined` are the examinations of this run, those before a kill too (`resumed` of them);
    `left` counts bundles that the time did not reach. `standing` has the last word on every bundle
    that is known (see catalogue/standing.py). `update` is what had changed at the place.
    """

    run_id: int
    place: Place
    started_at: str
    ended_at: str
    resumed: int
    examined: int
    left: int
    outcome: str
    update: Update
    standing: tuple[dict[str, Any], ...] = field(repr=False)
    store: StoreState | None = None

    @property
    def clean(self) -> bool:
        """True when every bundle is there and was sound when it was last examined.

        Bundles that no audit has reached yet are not held against it: the report counts them. In a
        store there must be no open finding.
        """
        # the catalogue has nothing to read in a bag that holds no record
        of_others = {one["path"] for one in self.standing if one["verdict"] == NO_RECORD}
        unread = self.update.unreadable.keys() - of_others
        if self.store:
            known = {one["path"] for one in self.standing}
            in_doubt = any(one["standing"] in IN_DOUBT for one in self.standing)
            return not (self.store.open or in_doubt or unread - known)
        return not unread and all(one["clean"] for one in self.standing)


def audit_place(
    place: Place,
    index: Path,
    *,
    minutes: float | None = None,
    anew: bool = False,
    crew: Crew = HERE,
    large_bytes: int = LARGE_BYTES,
    anchors: Iterable[ActAnchor] = (),
    progress: Progress = say_nothing,
) -> Audit:
    """Bring the catalogue up to date, then verify bundles in full; results go into the catalogue.

    All bundles at `place`, or with `minutes` as many as are begun in that time: those that are new
    or have changed first, then the longest unchecked. An audit that was killed is taken up where it
    stopped, unless `anew`. Where there are several workers, the files of a bundle of `large_bytes`
    or more are shared out among them. Packages that are not packed have no checksums and are passed
    over. A store is held against its register, and that against `anchors` on paper; what was found
    goes into the store as text.
    Raises TreenailError when another audit of this catalogue is running, or when the catalogue
    cannot be used, a full disk among the reasons: what was examined before is kept.
    """
    place = place.absolute()
    store = store_at(place)
    with _only_audit(index), assembled(crew) as crew:
        update = update_catalogue(place, index, crew=crew)
        with opened_catalogue(index) as database:
            if store:
                keep_history(database, store)
                take_in_history(database, store)
            run_id, resumed = _take_up(database, place, anew)
            to_do: list[Piece] = [
                Large(path, max(large_bytes // PORTIONS_OF_LARGE, 1))
                if byte_count >= large_bytes and not crew.is_here
                else path
                for path, byte_count in _rota(database, place, run_id)
            ]
            done = resumed
            deadline = None if minutes is None else time.monotonic() + 60 * minutes

            def time_left() -> bool:
                return deadline is None or time.monotonic() < deadline

            together = PutTogether()
            for piece, part in do_each(
                Piecework(examine_bundle), to_do, crew=crew, go_on=time_left, more=together.more
            ):
                ended = together.outcome(piece, part)
                if ended is None:
                    continue
                path, result = ended
                if isinstance(result, Broken):
                    result = _not_examined(path, result.reason)
                _store(database, run_id, result)
                done += 1
                progress(done, resumed + len(to_do))
            left = resumed + len(to_do) - done
            outcome = "out_of_time" if left else "finished"
            end_run(database, run_id, outcome)
            row = database.execute("SELECT * FROM run WHERE run_id = ?", [run_id]).fetchone()
            standing = standing_of(database, place)
            state = None
            if store:
                standing = standing_in_store(standing, store)
                state = compare_store(database, store, standing, anchors)
                keep_history(database, store, f"{done} examined; {state.in_words}")
    return Audit(
        run_id=run_id,
        place=place,
        started_at=row["started_at"],
        ended_at=row["ended_at"],
        resumed=resumed,
        examined=done,
        left=left,
        outcome=outcome,
        update=update,
        standing=standing,
        store=state,
    )


def compare_in_store(place: Place, index: Path) -> tuple[tuple[dict[str, Any], ...], StoreState]:
    """How the bundles of a store stand, and its findings, by what was examined before.

    Raises UnusableInput where there is no store, and TreenailError while an audit is running.
    """
    place = place.absolute()
    store = store_at(place)
    if store is None:
        raise UnusableInput(f"{place} is not a store, and only a store keeps what was settled")
    with _only_audit(index):
        update_catalogue(place, index)
        with opened_catalogue(index) as database:
            standing = standing_in_store(standing_of(database, place), store)
            return standing, compare_store(database, store, standing)


def settle_in_store(
    place: Place, index: Path, finding_id: str, *, reason: str, by: str = ""
) -> StoreFinding:
    """Settle an open finding of a store, in the register; the store is compared, not examined.

    `finding_id` may be the beginning of it. Raises UnusableInput where there is no such finding.
    """
    _, state = compare_in_store(place, index)
    assert isinstance(place, Path)
    return settle_finding(place.absolute(), state, finding_id, reason=reason, by=by)


@contextmanager
def _only_audit(index: Path) -> Iterator[None]:
    """Hold the audit of this catalogue; the lock goes with the process, however it ends."""
    path = index.with_name(f".{index.name}.audit")
    try:
        lock = take_lock(path, wait=False)
    except OSError as error:
        raise TreenailError(f"{path} cannot be written to: {error.strerror}") from error
    if lock is None:
        raise TreenailError(f"another audit is running with the index {index}; wait until it ends")
    with lock:
        yield


def _take_up(database: sqlite3.Connection, place: Place, anew: bool) -> tuple[int, int]:
    """The number of the run, and how many bundles a killed one had done that need not be again."""
    killed = database.execute(
        "SELECT run_id FROM run WHERE kind = 'audit' AND place = ? AND ended_at IS NULL "
        "ORDER BY run_id DESC",
        [str(place)],
    ).fetchone()
    with transaction(database):
        database.execute(
            "UPDATE run SET ended_at = ?, outcome = 'abandoned' WHERE kind = 'audit' AND place = ? "
            "AND ended_at IS NULL AND run_id IS NOT ?",
            [now(), str(place), None if anew or killed is None else killed["run_id"]],
        )
    if killed is None or anew:
        return start_run(database, "audit", place), 0
    run_id = int(killed["run_id"])
    return run_id, len(_done_in(database, run_id))


def _done_in(database: sqlite3.Connection, run_id: int) -> set[str]:
    """Bundles that this run has examined and that are still as they were then."""
    rows = database.execute(
        "SELECT DISTINCT path FROM examination JOIN bundle USING (path) WHERE run_id = ? "
        "AND examination.signature = bundle.signature AND outcome != 'not_examined'",
        [run_id],
    )
    return {row["path"] for row in rows}


def _rota(database: sqlite3.Connection, place: Place, run_id: int) -> list[tuple[Place, int]]:
    """What is to be examined: what no audit has seen as it is now, then the longest unchecked.

    Each with the bytes of payload that its own words claim.
    """
    done = _done_in(database, run_id)
    rows = database.execute(
        "SELECT bundle.path, bundle.byte_count, max(examination_id) AS last "
        "FROM bundle LEFT JOIN examination ON examination.path = bundle.path "
        "AND examination.outcome != 'not_examined' "
        "AND examination.signature = bundle.signature "
        "WHERE form != 'package' AND state IN ('there', 'unreadable') "
        "GROUP BY bundle.path ORDER BY last NULLS FIRST, bundle.path"
    )
    left = ((place_at(r["path"]), r["byte_count"] or 0) for r in rows if r["path"] not in done)
    return [(path, byte_count) for path, byte_count in left if lies_below(path, place)]


def _not_examined(path: Place, reason: str) -> Examination:
    remedy = "The machine or this program failed, not the bundle: audit again."
    found = finding("audit.not_examined", "", reason, remedy)
    try:
        signature = signature_of(path) or ""
    except OSError:
        signature = ""
    at = now()
    return Examination(path, at, at, 0.0, "not_examined", "", "", signature, 0, 0, (found,))


def _store(database: sqlite3.Connection, run_id: int, found: Examination) -> None:
    """Keep one examination; whether it is decay or change is told from those before it."""
    with transaction(database):
        before = database.execute(
            "SELECT identity, fingerprint FROM examination WHERE path = ? "
            f"AND outcome IN {WHOLE} ORDER BY examination_id DESC LIMIT 1",
            [str(found.path)],
        ).fetchone()
        outcome, cause = found.outcome, ""
        if outcome in WHOLE and before and before["identity"] != found.identity:
            outcome = "changed" if outcome == "sound" else "bag_changed"
        if outcome in ("damaged", "bag_not_valid"):
            cause = "unknown"
            if before:
                as_it_was = before["fingerprint"] == found.fingerprint
                cause = "decay" if as_it_was else "written_to"
        database.execute(
            "INSERT INTO examination (path, run_id, started_at, ended_at, seconds, outcome, cause, "
            "identity, fingerprint, signature, file_count, byte_count, findings) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [
                str(found.path), run_id, found.started_at, found.ended_at, found.seconds, outcome,
                cause, found.identity, found.fingerprint, found.signature, found.file_count,
                found.byte_count, json.dumps(found.findings, ensure_ascii=False),
            ],
        )  # fmt: skip
