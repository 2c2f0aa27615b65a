"""A record that is being worked on: its history stays in memory, and each act is saved at once.

An act is answered when it stands in the journal of the package, on the disk itself. The tables are
written after a short quiet, at the end, and by whoever else opens the package. Other programs may
change the package meanwhile: before each act its files are asked, and what changed is read again.
"""

from __future__ import annotations

import gc
import os
import threading
from collections.abc import Iterable, Iterator, Sequence, Set
from contextlib import contextmanager
from dataclasses import dataclass
from typing import NamedTuple, Self

from provenance._base.errors import TreenailError, UnreadableValue
from provenance._base.locks import locked
from provenance._history.deciding import Deciding, Done, EnteredRow, decided, enter, undo
from provenance._history.edits import Change
from provenance._history.history import (
    ACT,
    CHANGE,
    History,
    TablesToCome,
    changed_tables,
    open_history,
    read_acts,
    same_rows,
    stage_history,
    told_tables,
)
from provenance._history.projection import columns_of, covered_tables, key_field, rows_in_order
from provenance._history.waiting import entry_of, with_waiting
from provenance._identity.naming import CellNames, SampleNames
from provenance._intake.typed import TypedCells
from provenance._model.schema import AS_FOUND
from provenance._record.journal import (
    JOURNAL,
    append_waiting,
    can_wait,
    read_waiting,
    remove_waiting,
)
from provenance._record.package import Package, open_to_change, stamp_of
from provenance._record.reading import TableText
from provenance._record.snapshot import Snapshot
from provenance._record.together import writing_together

QUIET_SECONDS = 3.0
"""After so long without an act the tables are written."""
MOST_REMEMBERED = 10_000
"""Changed rows that are remembered; who asks for older ones reads everything anew."""

_LARGE = 5_000
"""Rows of a record beyond which looking for circles takes longer than a person should wait."""


class Unread(NamedTuple):
    """A typed cell that cannot be read, with what to write instead."""

    table: str
    key: str
    field: str
    message: str


class Stands(NamedTuple):
    """A cell that holds something else now than the person saw."""

    table: str
    key: str
    field: str
    now: str


@dataclass(frozen=True)
class Answer:
    """What came of typed cells: the act, or why nothing was written."""

    done: Done | None = None
    unread: tuple[Unread, ...] = ()
    stands: tuple[Stands, ...] = ()


class Changed(NamedTuple):
    """What changed since a mark, as (table, key); key '' is the whole table.

    With `everything` it is not known which rows, and all are to be read anew.
    """

    mark: int
    rows: frozenset[tuple[str, str]]
    everything: bool


class Working:
    """A package that is worked on, by several threads where need be.

    >>> with Working(package) as working:  # doctest: +SKIP
    ...     working.change([Change("element", "LH-012", "length_m", "", "9 ft 6 in")], who="MB")
    """

    def __init__(self, package: Package, *, quiet: float = QUIET_SECONDS) -> None:
        """`quiet` are the seconds without an act after which the tables are written.

        Raises as `open_history`, and UnusablePackage for the record in a bundle.
        """
        self.trouble: Exception | None = None
        """Why the tables could not be written the last time; the acts are in the journal."""
        self._history: History
        """What stands, acts that wait included."""
        self._written: History
        """What the tables on disk say."""
        self._size: int
        """How many bytes of the journal are known."""
        self._quiet = quiet
        self._mutex = threading.RLock()
        self._timer: threading.Timer | None = None
        self._mark = self._forgotten = 0
        self._changes: list[tuple[int, str, str]] = []
        self._whole: tuple[History, Snapshot] | None = None
        self._to_come = TablesToCome()
        self._is_open = True
        self._package = open_to_change(package.folder)
        with self._mutex, locked(self._package.folder), _without_collecting():
            self._read()
            _ = self._history.readings
            if len(self._history.state.keys) > _LARGE:
                gc.freeze()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Write the tables; where that cannot be, it raises, and the acts stay in the journal."""
        with self._mutex:
            self.write_tables()
            self._is_open = False
            self._wait(None)

    # -- what stands -------------------------------------------------------------------------------

    @property
    def package(self) -> Package:
        """The package; its tables on disk may lack what `tables` has."""
        return self._package

    @property
    def history(self) -> History:
        """The history as it stands, with what other programs added."""
        with self._mutex:
            if self._is_behind():
                with self._holding():
                    pass  # whoever holds it has read what changed
            return self._history

    @property
    def tables(self) -> Snapshot:
        """The tables as they stand, with the acts that wait to be written."""
        with self._mutex:
            history = self.history
            if self._whole is None or self._whole[0] is not history:
                self._whole = history, _snapshot(history, self._written, self._to_come)
            return self._whole[1]

    def rows(self, table: str) -> list[dict[str, str]]:
        """The rows of a table as texts by column, in the order of the table."""
        state = self.history.state
        if table not in state.rows:
            return [dict(row) for row in self._package.tables.rows(table)]
        columns = columns_of(state, table, ())
        return [{name: row.get(name, "") for name in columns} for row in state.rows[table].values()]

    def row(self, table: str, key: str) -> dict[str, str] | None:
        """The cells of one row that hold something, by field; None where no row bears the key."""
        state = self.history.state
        names = state.names_of(table, key)
        return dict(state.rows[table][names[0]]) if names else None

    def as_written(self, table: str, key: str, field: str) -> str:
        """A length that a cell holds as it was written; '' where it was written so itself."""
        history = self.history
        for row in history.state.names_of(table, key)[:1]:
            for one in history.readings[table].get(row, ()):
                if one.field == field:
                    return one.text
        return ""

    def changed_since(self, mark: int) -> Changed:
        """What anybody changed since a mark, other programs too; the first mark is 0."""
        with self._mutex:
            _ = self.history
            rows = frozenset(one[1:] for one in self._changes if one[0] > mark)
            return Changed(self._mark, rows, mark < self._forgotten)

    # -- acts --------------------------------------------------------------------------------------

    def change(self, cells: Sequence[Change], *, who: str, why: str = "", when: str = "") -> Answer:
        """Save typed cells as one act, all or none.

        `before` is what stood there, `after` what they typed; a bare length is in the unit in which
        the record is measured. A key that no row bears is a new
        row: give its own cell too, from '' to the key, so that a row which was entered under it
        meanwhile is noticed. A changed cell of the key renames a row. Raises as `deciding.enter`.
        """
        with self._holding():
            stands = tuple(self._standing(cells))
            rows, unread = ([], ()) if stands else self._typed(cells)
            if stands or unread:
                return Answer(unread=tuple(unread), stands=stands)
            return Answer(self._record(enter(rows), who, why, when))

    def decide(self, deciding: Deciding, *, who: str, why: str = "", when: str = "") -> Done:
        """Save any decision of `deciding`; raises Refused, and nothing is written then."""
        with self._holding():
            return self._record(deciding, who, why, when)

    def undo(self, act: str, *, who: str, why: str = "", when: str = "") -> Done:
        """Take an act back, as `deciding.undo`."""
        return self.decide(undo(act), who=who, why=why, when=when)

    def _record(self, deciding: Deciding, who: str, why: str, when: str) -> Done:
        after, name = decided(self._history, deciding, who=who, why=why, when=when)
        changes = self._history.changes_to(after)
        if can_wait():
            entry = entry_of(name, after.acts[name])
            self._size = append_waiting(self._package.folder, entry, self._size)
            self._journal = self._journal_now()
            self._wait(self._quiet)
        else:
            # without a key of the account the journal could not be told from a stranger's
            self._put_in_place(after, changed_tables(after, before=self._written))
        self._history = after
        self._note((one.table, one.key) for one in changes)
        return Done(name, tuple(changes), tuple(after.state.conflicts))

    def _standing(self, cells: Sequence[Change]) -> Iterator[Stands]:
        state = self._history.state
        for one in cells:
            names = state.names_of(one.table, one.key)
            now = state.rows[one.table][names[0]].get(one.field, "") if names else ""
            if now != one.before:
                yield Stands(one.table, one.key, one.field, now)

    def _typed(self, cells: Sequence[Change]) -> tuple[list[EnteredRow], list[Unread]]:
        """The cells by row, as the record holds them, and those that cannot be read."""
        history, state = self._history, self._history.state

        new = {(one.table, one.key) for one in cells}

        def is_new(table: str, key: str) -> bool:
            return not state.names_of(table, key)

        def is_key(table: str, key: str) -> bool:
            if table not in state.rows:
                return key in keys(table)
            place = (table, key)
            return place in new or not is_new(*place) or place in history.former_keys

        def keys(table: str) -> list[str]:
            if table not in state.rows:
                own = self._package.model.table(table).primary_key[0]
                return self._package.tables.column(table, own)
            return [state.keys[table, row] for row in state.rows[table]]

        typed = TypedCells(
            state.model,
            is_key,
            keys,
            lambda: CellNames(self.tables, self._sample_names),
            as_shown=True,
        )
        rows: dict[tuple[str, str], tuple[dict[str, str], dict[str, str]]] = {}
        called: dict[tuple[str, str], str] = {}
        unread = []
        for one in cells:
            text = one.after.strip()
            try:
                read = typed.read(one.table, one.field, text)
            except UnreadableValue as error:
                unread.append(Unread(one.table, one.key, one.field, str(error)))
                continue
            own = one.table in state.rows and key_field(state.model.table(one.table))
            if one.field == own and read != one.key and not is_new(one.table, read):
                message = f'"{text}" names {read}, which is in the record already'
                unread.append(Unread(one.table, one.key, one.field, message))
                continue
            values, written = rows.setdefault((one.table, one.key), ({}, {}))
            values[one.field] = read
            if read != text:
                written[one.field] = text
            if one.field == own and is_new(one.table, one.key):
                called[one.table, one.key] = read
        entered = [
            EnteredRow(table, called.get((table, key), key), *said)
            for (table, key), said in rows.items()
        ]
        return entered, unread

    def _sample_names(self, tables: Snapshot) -> SampleNames:
        """What samples are named by, as `SampleNames.of` has it of tables that were written."""
        rows = self._history.state.rows
        samples = [
            (row.get("site_id", ""), row.get("sample_id", ""))
            for table in ("sample", "reservation")
            for row in (rows[table].values() if table in rows else tables.rows(table))
        ]
        called = {
            key: now for (table, key), now in self._history.former_keys.items() if table == "sample"
        }
        as_found = tables.model.numbering == AS_FOUND
        sites = [row.get("site_id", "") for row in rows["site"].values()]
        return SampleNames.called(samples, sites, called, as_found=as_found)

    # -- the disk ----------------------------------------------------------------------------------

    def write_tables(self) -> None:
        """Write the acts that wait into the tables, now."""
        with self._mutex:
            while self._history is not self._written:
                self._write()

    def _write(self) -> None:
        with self._mutex:
            history, written, stamps = self._history, self._written, self._stamps
        # the long part, during which others go on
        files = changed_tables(history, before=written)
        with self._holding():
            if self._history is history and self._stamps == stamps:
                self._put_in_place(history, files)

    def _put_in_place(self, history: History, files: dict[str, bytes]) -> None:
        with writing_together(self._package.folder) as staging:
            for name, data in files.items():
                staging.write(f"tables/{name}.csv", data)
        remove_waiting(self._package.folder)
        if self._whole is not None and self._whole[0] is history:
            # what was made need not be read
            self._package.tables.with_known(self._whole[1], files)
        self._written = history
        self._stand()

    def _write_in_quiet(self) -> None:
        try:
            self._write()
        except (TreenailError, OSError) as error:
            self.trouble = error
            self._wait(10 * self._quiet)
        else:
            self.trouble = None

    def _wait(self, seconds: float | None) -> None:
        """Write the tables so many seconds from now, unless asked again before."""
        with self._mutex:
            if self._timer is not None:
                self._timer.cancel()
                self._timer = None
            if seconds is not None and self._is_open:
                self._timer = threading.Timer(seconds, self._write_in_quiet)
                self._timer.daemon = True
                self._timer.start()

    @contextmanager
    def _holding(self) -> Iterator[None]:
        """Hold the package, with all that other programs changed read."""
        with self._mutex:
            self._package.finish_writing()
            with locked(self._package.folder):
                self._catch_up()
                yield

    def _is_behind(self) -> bool:
        package = self._package
        seen = (package.stamps_of_model, package.stamps, self._journal_now())
        return seen != (self._model, self._stamps, self._journal)

    def _journal_now(self) -> object:
        return stamp_of(os.fspath(self._package.folder / JOURNAL))

    def _stand(self) -> None:
        """Note that what is in memory is what is on the disk, but for the journal's acts."""
        package = self._package
        self._model, self._stamps = package.stamps_of_model, package.stamps
        self._size = read_waiting(package.folder).size
        self._journal = self._journal_now()

    def _catch_up(self) -> None:
        """Read what other programs changed; the lock is held."""
        if not self._is_behind():
            return
        package, before = self._package, self._history
        names = package.model.tables
        changed = {
            name
            for name, was, now in zip(names, self._stamps, package.stamps, strict=True)
            if was != now
        }
        said_by_acts = {ACT, CHANGE, *(table.name for table in covered_tables(package.model))}
        if self._model != package.stamps_of_model:
            self._package = package.read_again()
            self._read()
            self._forget()
        elif changed & said_by_acts:
            self._read_on(changed)
        else:
            waiting = read_waiting(package.folder).entries
            self._history = with_waiting(before, waiting)
            self._stand()
            lost = before.acts.keys() - self._written.acts.keys()
            if lost.difference(one["act_id"] for one in waiting):
                # somebody removed the journal
                files = changed_tables(self._history, before=self._written)
                self._put_in_place(self._history, files)
        if self._history is not before:
            self._note((one.table, one.key) for one in before.changes_to(self._history))
        self._note((name, "") for name in changed - said_by_acts)

    def _read_on(self, changed: Set[str]) -> None:
        """Read the acts that other programs added; everything where they did something else."""
        tables, history = self._package.tables, self._history
        if tables.column(ACT, "act_id")[: len(history.acts)] != list(history.acts):
            return self._read()
        for name, act in read_acts(tables, history.acts).items():
            if act.act_id(history.key) != name or not act.named <= history.acts.keys():
                return self._read()  # which says what is wrong
            history = history.with_act(name, act)
        for name in changed & history.state.rows.keys():
            if not same_rows(rows_in_order(history.state, name), tables.rows(name)):
                return self._read()
        self._written = history
        self._history = with_waiting(history, read_waiting(self._package.folder).entries)
        return self._stand()

    def _read(self) -> None:
        """Read everything; the lock is held."""
        history = open_history(self._package)
        if list(history.acts) != self._package.tables.column(ACT, "act_id"):
            # acts that follow must find in the files what they name
            with writing_together(self._package.folder) as staging:
                stage_history(history, staging)
        self._written = history
        self._history = with_waiting(history, read_waiting(self._package.folder).entries)
        self._stand()

    def _note(self, rows: Iterable[tuple[str, str]]) -> None:
        told = sorted(set(rows))
        self._mark += bool(told)
        self._changes += [(self._mark, *one) for one in told]
        while len(self._changes) > MOST_REMEMBERED:
            self._forgotten = self._changes[0][0]
            self._changes = [one for one in self._changes if one[0] > self._forgotten]

    def _forget(self) -> None:
        self._mark += 1
        self._forgotten = self._mark
        self._changes.clear()


@contextmanager
def _without_collecting() -> Iterator[None]:
    """Read a million small objects without circles, which the collector of circles would look
    through again and again."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _snapshot(history: History, written: History, to_come: TablesToCome) -> Snapshot:
    on_disk = history.package.tables
    if history is written:
        return on_disk
    told = told_tables(history.package.model)

    def read(name: str) -> TableText | None:
        text = to_come.table(history, name, written) if name in told else None
        return on_disk.written(name) if text is None else text

    return Snapshot(history.package.model, str(history.package.folder), read)
