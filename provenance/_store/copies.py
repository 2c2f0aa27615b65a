"""Takes over what was done in a copy of a store, and parts a store in two."""

from __future__ import annotations

import json
import secrets
import shutil
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path, PurePosixPath

from provenance._base.disk import building_folder
from provenance._base.errors import UnusableInput
from provenance._gate.documents import read_json
from provenance._ledger.custody import verify_events
from provenance._ledger.joining import joined_ledgers
from provenance._store.acts import (
    ACCESSION,
    AUDITED,
    JOINED,
    SPLIT,
    WITHDRAWN,
    WROTE,
    Act,
    ends_of,
    first_fault,
    joined_acts,
)
from provenance._store.comparing import last_written
from provenance._store.current import standing_accessions
from provenance._store.fixity import add_fixity, read_fixity
from provenance._store.store import LEDGERS, MARKER, Store, Writing
from provenance._store.tables import store_table

CATALOGUE = "catalogue.sqlite"
"""Made anew from the store, so that its part does not take it along."""


@dataclass(frozen=True)
class MergedStore:
    """What came from a copy: acts, accessions (by number), records whose ledgers got longer.

    `differing` names what both changed, each in another way: it stays as it is in this store.
    """

    acts: int
    accessions: tuple[str, ...]
    ledgers: tuple[str, ...]
    differing: tuple[str, ...]


def merge_copy(store: Store, other: Store, *, on: date, recorded_on: str, by: str) -> MergedStore:
    """Take over into a store what was done in a copy of it; the copy is not changed.

    Raises UnusableInput for another store, for a register or ledger that is not whole, for a number
    that both gave out, and for a bundle that the copy has lost; nothing is written then.
    """
    if other.store_id != store.store_id:
        raise UnusableInput(
            f"{other.folder} is not a copy of {store.folder} but another store; accession its "
            "bundles here instead"
        )
    with store.writing(on=on, recorded_on=recorded_on, by=by) as writing:
        mine = writing.store
        for one in (mine, other):
            if fault := first_fault(one.acts):
                raise UnusableInput(
                    f"{one.folder / 'register.csv'}: {fault}; run 'treenail audit' on it first"
                )
        here = {act.act_id for act in mine.acts}
        new = [act for act in other.acts if act.act_id not in here]
        added = [act for act in new if act.kind == ACCESSION]
        _refuse_twice(mine, added)
        writing.put_acts(joined_acts(mine.acts, other.acts))
        if len(ends_of(writing.acts)) > 1:
            writing.add(JOINED, reason="a copy of the store was merged")
        for act in added:
            _bring_bundle(writing, other, act)
        ledgers = tuple(_join_ledgers(writing, other))
        differing = tuple(_join_files(writing, other, new))
        months = {act.path for act in new if act.kind == AUDITED} - {""}
        add_fixity(writing, [row for path in months for row in read_fixity(other, path)], "")
    return MergedStore(len(new), tuple(act.number for act in added), ledgers, differing)


def _refuse_twice(mine: Store, added: Iterable[Act]) -> None:
    taken = {act.number for act in mine.accessions}
    if twice := sorted({act.number for act in added} & taken):
        raise UnusableInput(
            f"both stores gave out {', '.join(twice)}, for different bundles. Accession those of "
            "the copy here under new numbers; nothing was merged"
        )


def _bring_bundle(writing: Writing, other: Store, act: Act) -> None:
    """Copy the folder of an accession: bundle, receipt, card, and what lies beside them."""
    folder = other.folder / PurePosixPath(act.kept_at).parent
    if (writing.store.folder / act.kept_at).exists():
        raise UnusableInput(
            f"{writing.store.folder / act.kept_at} is there, though the register does not have "
            f"{act.number}; move it away. Nothing was merged"
        )
    if act.number not in other.withdrawn and not (other.folder / act.kept_at).exists():
        raise UnusableInput(
            f"{other.folder / act.kept_at}, accessioned in the copy, is not there; restore it or "
            f"withdraw {act.number} in the copy. Nothing was merged"
        )
    for path in sorted(one for one in folder.rglob("*") if one.is_file()):
        writing.staged.copy(path.relative_to(other.folder).as_posix(), path)


def _join_ledgers(writing: Writing, other: Store) -> Iterator[str]:
    """Let each ledger have the events of both; gives the records whose ledger got longer."""
    for path in sorted((other.folder / LEDGERS).glob("*.csv")):
        record_id = path.stem
        mine, theirs = writing.ledger(record_id), other.ledger(record_id)
        for events, where in ((mine, writing.store.folder), (theirs, other.folder)):
            for fault in verify_events(events):
                raise UnusableInput(
                    f"{where / LEDGERS / path.name}: {fault.message} Restore it from a copy; "
                    "nothing was merged"
                )
        joined = joined_ledgers(mine, theirs)
        if len(joined) > len(mine):
            writing.put_ledger(record_id, joined)
            yield record_id


def _join_files(writing: Writing, other: Store, new: Sequence[Act]) -> Iterator[str]:
    """Take over tables and other files that the copy wrote; gives what differs in both."""
    here, there = last_written(writing.store.acts), last_written(other.acts)
    of_copy = set(new)
    common = last_written(act for act in other.acts if act not in of_copy)
    for path in sorted({act.path for act in new if act.kind == WROTE}):
        mine, theirs = here.get(path, ""), there[path]
        if mine == theirs:
            continue
        if mine == common.get(path, ""):
            writing.put_file(path, (other.folder / path).read_bytes())
            continue
        table = PurePosixPath(path).stem
        if path != f"{table}.csv":
            yield f"{path} was written in both stores; it stays as it is here"
            writing.put_file(path, (writing.store.folder / path).read_bytes())
            continue
        key = store_table(table).key
        rows = {tuple(row[one] for one in key): row for row in other.rows(table)}
        own = {tuple(row[one] for one in key): row for row in writing.store.rows(table)}
        for name in sorted(rows.keys() & own.keys()):
            if rows[name] != own[name]:
                yield f"{path}: {' '.join(name)} differs in the copy; it stays as it is here"
        writing.put_rows(table, (rows | own).values())


# -- parting a store -----------------------------------------------------------------------------


def split_store(
    store: Store,
    out: Path,
    numbers: Sequence[str],
    *,
    on: date,
    recorded_on: str,
    by: str,
    reason: str,
) -> list[Path]:
    """Make a new store of some accessions of one; gives what may be removed from the old one.

    The new store has its own name, and the whole register, all ledgers, cards and tables of before.
    Each withdraws what the other keeps. Nothing is deleted: what is returned lies in the old store
    still. Raises UnusableInput for a number that is not there, and when a record would be parted.
    """
    with store.writing(on=on, recorded_on=recorded_on, by=by) as writing:
        standing = standing_accessions(writing.store.acts)
        going = [act for act in standing if act.number in set(numbers)]
        staying = [act for act in standing if act.number not in set(numbers)]
        if unknown := sorted(set(numbers) - {act.number for act in going}):
            raise UnusableInput(f"{store.folder} has no accession {unknown[0]} to part from it")
        records = {act.record_id for act in going} - {""}
        if torn := [act.number for act in staying if act.record_id in records]:
            raise UnusableInput(
                f"{', '.join(torn)}: the same record as one that goes. A record stays together, so "
                "name all of its numbers"
            )
        name = secrets.token_hex(16)
        with building_folder(out) as part:
            _copy_files(store.folder, part, [one for act in staying for one in _kept(store, act)])
            marker = read_json(part / MARKER) | {"store_id": name}
            (part / MARKER).write_text(json.dumps(marker, indent=2) + "\n", encoding="utf-8")
            with Store(part).writing(on=on, recorded_on=recorded_on, by=by) as there:
                there.add(SPLIT, reason=f"parted from the store {store.store_id}: {reason}")
                _withdraw(there, staying, f"stayed in the store {store.store_id}: {reason}")
        writing.add(SPLIT, reason=f"the store {name} was parted from it: {reason}")
        _withdraw(writing, going, f"went to the store {name}: {reason}")
    return [path for act in going for path in _kept(store, act) if path.exists()]


def _kept(store: Store, act: Act) -> tuple[Path, Path]:
    """The bundle of an accession, and what lies beside it as it came in."""
    bundle = store.folder / act.kept_at
    return bundle, bundle.parent / "received"


def _copy_files(source: Path, target: Path, but: Sequence[Path]) -> None:
    """Copy what lies in a store; what is made anew, and locks, are left out."""
    left = set(but)

    def leave_out(folder: str, names: list[str]) -> set[str]:
        here = Path(folder)
        own = [one for one in names if one.startswith((".", CATALOGUE)) and here == source]
        return {*own, *(one for one in names if here / one in left)}

    shutil.copytree(source, target, ignore=leave_out, dirs_exist_ok=True)


def _withdraw(writing: Writing, acts: Iterable[Act], reason: str) -> None:
    for act in acts:
        writing.add(WITHDRAWN, number=act.number, record_id=act.record_id, reason=reason)
