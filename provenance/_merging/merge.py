"""Merges two copies of one record, into one of them or into a third folder."""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

import polars as pl

from provenance._base.disk import building_folder
from provenance._base.errors import TreenailError
from provenance._base.locks import LOCK
from provenance._history.acts import SETTLE, Act, Acts
from provenance._history.edits import Change
from provenance._history.history import (
    History,
    first_act,
    frame_of,
    moment_text,
    open_history,
    read_acts,
    record_key,
    stage_history,
)
from provenance._history.projection import Conflict, covered_tables
from provenance._ledger.custody import TABLE
from provenance._ledger.keys import TABLE as KEYS
from provenance._merging.intake_rows import (
    Rows,
    keys_of_both,
    originals_of_both,
    origins_of_both,
    unread_of_both,
)
from provenance._merging.kept_files import compare_files, lines_that_follow
from provenance._merging.ledgers import disputed, one_ledger, renumbered
from provenance._model.schema import AS_FOUND, Model, table_as_dict, with_numbering
from provenance._record.computed_from import COMPUTED_FROM
from provenance._record.origin import ORIGIN, joined_origins, read_origin
from provenance._record.package import (
    DESCRIPTOR,
    Package,
    as_json,
    describe,
    model_as_dict,
    open_package,
)
from provenance._record.reading import TableText
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW
from provenance._record.together import Staging, writing_together

TWO_OF_ONE_NAME = "two files had this name"


class CannotMerge(TreenailError):
    """Two folders that are not copies of one record, or that cannot be brought together yet."""


@dataclass(frozen=True)
class Merged:
    """What a merge brought into the package, and what a person has to settle.

    `acts` and `events` count what came from the other copy, and `changes` what that changed in the
    tables. `conflicts` are all that the merged record has; `disputed` says of samples which custody
    events cannot follow one another now. `files` were added; `second` maps a path that both copies
    gave to another file to the name which one of them has now. `joined` when the ledgers had gone
    on in both. `notes` are sentences about what else differs.
    """

    acts: int = 0
    changes: tuple[Change, ...] = ()
    conflicts: tuple[Conflict, ...] = ()
    events: int = 0
    joined: bool = False
    disputed: tuple[str, ...] = ()
    files: tuple[str, ...] = ()
    second: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def is_clean(self) -> bool:
        """Whether nothing is left to settle."""
        return not self.conflicts and not self.disputed


def merge_packages(
    package: Package,
    other: Package,
    *,
    who: str = "",
    moment: datetime | None = None,
    out: Path | None = None,
    dry_run: bool = False,
) -> Merged:
    """Bring what another copy of a record holds into a package; the other is left as it is.

    With `out` the package is left as it is too, and the merged record is written there. With
    `dry_run` nothing is written at all. What was changed in the tables of either by hand counts as
    said. `who` and `moment` are noted where merging itself changes a cell.

    Raises CannotMerge for two different records, BrokenHistory where acts were edited,
    BrokenLedger for a ledger that does not fit together, UnusableInput where files or their numbers
    stand in each other's way, AlreadyThere when `out` exists; nothing is changed then.
    """
    if package.folder.resolve() == other.folder.resolve():
        raise CannotMerge(f"{package.folder} and {other.folder} are one folder; name two copies")
    if out is not None and not dry_run:
        with building_folder(out) as built:
            with package.locked_for_reading():
                shutil.copytree(package.folder, built, dirs_exist_ok=True, ignore=_temporary)
            return merge_packages(open_package(built), other, who=who, moment=moment)
    if not dry_run:
        package.finish_writing()
    with ExitStack() as locks:
        # always in one order, so that two who merge crosswise do not wait for each other for ever
        for one in sorted((package, other), key=lambda one: str(one.folder.resolve())):
            writes = one is package and not dry_run
            locks.enter_context(one.locked() if writes else one.locked_for_reading())
        merging = _Merging(package, other, who, moment_text(moment))
        if not dry_run:
            with writing_together(package.folder) as staging:
                merging.stage(staging)
        return merging.outcome()


def _temporary(folder: str, names: list[str]) -> set[str]:
    return {name for name in names if name == LOCK or name.startswith(".together.")}


class _Merging:
    """Everything that a merge comes to, worked out before anything is written."""

    def __init__(self, package: Package, other: Package, who: str, when: str) -> None:
        _refuse_strangers(package, other)
        # as they are now: what is told at the end is told of these
        self.package, self.other = package, other = package.hold(), other.hold()
        model = _newer_model(package, other)
        self.target = package if model is package.model else _fitted(package, model)
        self.mine = open_history(self.target)
        self.theirs = open_history(other)
        self.came = _that_come(self.mine.acts, self.theirs, read_acts(other.tables))
        acts = _parents_first({**self.mine.acts, **self.came})
        self.merged = History(self.target, acts, self.mine.key)
        self.files = compare_files(package, other)
        lines = tuple(
            lines_that_follow(self.files, self.merged.state, self.mine.state, self.theirs.state)
        )
        if lines:
            act = Act(SETTLE, who=who, when=when, why=TWO_OF_ONE_NAME, lines=lines)
            self.merged, _ = self.merged.adding(act)
        self.ledger = one_ledger(package, other)
        self.tables: dict[str, Rows] = {
            TABLE: self.ledger,
            "original": originals_of_both(self.rows("original"), other.tables.rows("original")),
            "unread": unread_of_both(self.rows("unread"), other.tables.rows("unread")),
            KEYS: keys_of_both(self.rows(KEYS), other.tables.rows(KEYS)),
        }
        self.origin = origins_of_both(
            renumbered(self.rows("origin"), self.rows(TABLE), self.ledger),
            renumbered(other.tables.rows("origin"), other.tables.rows(TABLE), self.ledger),
        )

    def rows(self, name: str) -> Rows:
        return self.target.tables.rows(name)

    def stage(self, staging: Staging) -> None:
        """Stage every file that the merge changes."""
        written = set(stage_history(self.merged, staging, self.origin))
        for table in self.target.model.tables.values():
            there = self.rows(table.name)
            rows = self.tables.get(table.name, there)
            if table.name in written or (
                _same(rows, there) and not self._must_be_fitted(table.name)
            ):
                continue
            columns = dict.fromkeys([*table.names, *self.target.tables.columns(table.name)])
            with staging.writing(f"tables/{table.name}.csv") as stream:
                self.target.write_table_to(stream, table.name, frame_of(columns, rows))
        for path, source in self.files.copies.items():
            staging.copy(path, source)
        self._stage_descriptions(staging)

    def _must_be_fitted(self, name: str) -> bool:
        """Whether a table lacks columns of the newer schemas that the other copy brought."""
        if self.target is self.package:
            return False
        there = self.target.tables.columns(name)
        return name not in self.package.model.tables or any(
            one not in there for one in self.target.model.table(name).names
        )

    def _stage_descriptions(self, staging: Staging) -> None:
        descriptor = dict(self.target.descriptor)
        # what computed tables were made from goes with those, which stay as they are here
        known = {*descriptor, COMPUTED_FROM}
        descriptor |= {k: v for k, v in self.other.descriptor.items() if k not in known}
        if self.target is not self.package:
            for table in self.target.model.tables.values():
                text = as_json(table_as_dict(table))
                staging.write(f"schemas/{table.name}.json", text.encode())
            text = as_json(model_as_dict(self.target.model))
            staging.write("schemas/model.json", text.encode())
        if descriptor != dict(self.package.descriptor):
            staging.write(DESCRIPTOR, as_json(descriptor).encode())
        ours, theirs = read_origin(self.package.folder), read_origin(self.other.folder)
        origin = joined_origins(ours, theirs) if ours and theirs else ours or theirs
        if origin is not None and origin != ours:
            staging.write(ORIGIN, as_json(origin.as_dict()).encode())

    def outcome(self) -> Merged:
        """What is told to the person who merges."""
        before = {row["event_sha256"] for row in self.rows(TABLE)}
        new = [row for row in self.ledger if row["event_sha256"] not in before]
        theirs = self.other.tables.rows(TABLE)
        known = before | {row["event_sha256"] for row in theirs}
        changes = self.mine.changes_to(self.merged)
        second = self.files.second
        return Merged(
            acts=len(self.came),
            changes=tuple(changes),
            conflicts=tuple(self.merged.state.conflicts),
            events=sum(row["event_sha256"] in known for row in new),
            joined=any(row["event_sha256"] not in known for row in new),
            disputed=tuple(disputed(self.ledger, self.rows(TABLE))),
            files=tuple(sorted(self.files.copies.keys() - {*second, *second.values()})),
            second=second,
            notes=tuple(self._notes(bool(changes))),
        )

    def _notes(self, changed: bool) -> Iterator[str]:
        yield from self._events_named_by_number()
        if _known_to(self.target.model) > _known_to(self.package.model):
            yield "the newer schemas of the other copy were taken over"
        elif _known_to(self.package.model) > _known_to(self.other.model):
            yield "the other copy has older schemas; those of this one were kept"
        if self.package.model.numbering != self.other.model.numbering:
            yield (
                "one copy keeps numbers as found, and so does the merged record now ('treenail "
                "settings FOLDER --numbering strict' changes it)"
            )
        for what in ("units", "language"):
            here, there = (getattr(one.model, what) for one in (self.package, self.other))
            if here != there:
                yield f"{what} stay as they are here, {here}; the other copy has {there}"
        ours, theirs = self.package.descriptor, self.other.descriptor
        differs = [
            name
            for name, said in theirs.items()
            if name in ours and ours[name] != said and name not in _GENERATED
        ]
        if differs:
            told = "; ".join(f"{one}: {ours[one]!r} here, {theirs[one]!r} there" for one in differs)
            yield f"datapackage.json differs, and what it said here was kept ({told})"
        derived = [
            table.name
            for table in self.target.model.of_role("derived")
            for tables in (self.target.tables, self.other.tables)
            if table.name in tables.model.tables and tables.count(table.name)
        ]
        if changed and derived:
            yield (
                f"computed tables ({', '.join(dict.fromkeys(derived))}) are still as they were in "
                "this copy; run 'treenail survey compute' and 'treenail derive' again"
            )

    def _events_named_by_number(self) -> Iterator[str]:
        """Rows that name an event by a number which another event has now."""
        moved = {
            row["custody_id"]
            for rows in (self.rows(TABLE), self.other.tables.rows(TABLE))
            for row, now in zip(rows, self.ledger, strict=False)
            if row["event_sha256"] and row["event_sha256"] != now["event_sha256"]
        }
        for table in covered_tables(self.target.model):
            for one in (named for named in table.fields if named.key_of):
                for row, cells in self.merged.state.rows[table.name].items():
                    if cells.get(one.key_of or "") == TABLE and cells.get(one.name) in moved:
                        yield (
                            f"{table.name} {self.merged.state.keys[table.name, row]} names custody "
                            f"event {cells[one.name]}; events have new numbers now: find which one "
                            f"it is, and correct {one.name}"
                        )


_GENERATED = ("resources", "profileName", "schemaVersion", "writtenBy", COMPUTED_FROM)
"""Properties of a descriptor that go with schemas, program and computed tables."""


# -- whether the two can be merged -----------------------------------------------------------------


def _refuse_strangers(package: Package, other: Package) -> None:
    begun = [first_act(one).act_id(record_key(one)) for one in (package, other)]
    if begun[0] != begun[1]:
        raise CannotMerge(
            f"{package.folder} and {other.folder} are two different records: they did not begin as "
            "one package. Only copies of one package can be merged"
        )
    if package.model.profile != other.model.profile:
        raise CannotMerge(
            f"{package.folder} has the profile '{package.model.profile}' and {other.folder} the "
            f"profile '{other.model.profile}'; bring both to one with 'treenail new FOLDER "
            "--update --profile NAME', then merge"
        )


def _known_to(model: Model) -> set[tuple[str, str]]:
    fields = {(table.name, name) for table in model.tables.values() for name in table.names}
    return fields | {(one.name, code) for one in model.vocabularies.values() for code in one.codes}


def _newer_model(package: Package, other: Package) -> Model:
    """The model that knows all that the other knows; the package's own where both do.

    How the record measures and its language stay as the package has them.
    """
    mine, theirs = _known_to(package.model), _known_to(other.model)
    if mine >= theirs or theirs > mine:
        model = package.model
        if theirs > mine:
            model = replace(other.model, units=model.units, language=model.language)
        # what either copy keeps as found must stay well-formed
        both = {package.model.numbering, other.model.numbering}
        found = AS_FOUND in both and model.numbering != AS_FOUND
        return with_numbering(model, AS_FOUND) if found else model
    names = sorted(".".join(one) for one in mine - theirs)[:3]
    others = sorted(".".join(one) for one in theirs - mine)[:3]
    raise CannotMerge(
        f"only {package.folder} has {', '.join(names)}, and only {other.folder} has "
        f"{', '.join(others)}; update both with 'treenail new FOLDER --update', then merge"
    )


def _fitted(package: Package, model: Model) -> Package:
    """The package as it is with a newer model, in memory."""
    titles = {"name": package.name, "title": package.title}
    created = str(package.descriptor["created"])
    descriptor: dict[str, Any] = {
        **package.descriptor,
        **describe(model, **titles, created=created),
    }
    there = package.tables

    def read(name: str) -> TableText | None:
        if name in package.model.tables:
            return there.written(name)
        names = model.table(name).names
        frame = pl.DataFrame(schema={ROW: pl.UInt32(), **dict.fromkeys(names, pl.String())})
        return TableText(names, frame, frame[ROW])

    held = Snapshot(model, str(package.folder), read)
    return replace(package, descriptor=MappingProxyType(descriptor), model=model, held=held)


# -- acts ------------------------------------------------------------------------------------------


def _that_come(mine: Acts, theirs: History, written: Acts) -> dict[str, Act]:
    """The acts of the other copy that this one lacks.

    What was changed there by hand is an act that nobody has written down yet. It is made anew
    whenever the copies are merged, so one that differs in nothing but its moment has come already.
    """
    known = {replace(act, when="") for act in mine.values()}
    return {
        name: act
        for name, act in theirs.acts.items()
        if name not in mine and (name in written or replace(act, when="") not in known)
    }


def _parents_first(acts: Acts) -> dict[str, Act]:
    """The acts so that each comes after those it names, and the earlier of two others first."""
    import heapq

    waiting = {
        name: {*act.parents, *act.replaces, act.undoes} & acts.keys() for name, act in acts.items()
    }
    followers: dict[str, list[str]] = {}
    for name, named in waiting.items():
        for one in named:
            followers.setdefault(one, []).append(name)
    ready = [(acts[name].when, name) for name, named in waiting.items() if not named]
    heapq.heapify(ready)
    ordered = {}
    while ready:
        _, name = heapq.heappop(ready)
        ordered[name] = acts[name]
        for follower in followers.get(name, ()):
            waiting[follower].discard(name)
            if not waiting[follower]:
                heapq.heappush(ready, (acts[follower].when, follower))
    return ordered


def _same(ours: Rows, theirs: Rows) -> bool:
    return [{k: v for k, v in row.items() if v} for row in ours] == [
        {k: v for k, v in row.items() if v} for row in theirs
    ]
