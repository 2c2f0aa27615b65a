"""Checks a record again and again, doing only what hangs on what was changed since."""

from __future__ import annotations

import operator
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import polars as pl

from provenance._base.findings import COLUMNS, Report
from provenance._base.locks import LOCK
from provenance._checks.check import (
    about_skipped,
    answers,
    let_stand,
    rules_run,
    unless_failed,
    without_accepted,
)
from provenance._checks.language.rule import Rule
from provenance._checks.registry import package_rules
from provenance._checks.structure.gathering import ORIGIN_TABLES, gather
from provenance._checks.structure.keys import FORMER_KEY, find_in_links
from provenance._checks.structure.patterns import Patience
from provenance._checks.structure.structure import find_in_table
from provenance._checks.traced import DISK, Kept, Notes, Source, TracedTables, hangs_on
from provenance._model.schema import Model
from provenance._record.journal import JOURNAL
from provenance._record.package import Package
from provenance._record.reading import TableText
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

_FOUND = pl.DataFrame(schema={name: pl.Int64 if name == ROW else pl.String for name in COLUMNS})
_Parts = tuple[pl.DataFrame, ...]
_Kept = TypeVar("_Kept")


@dataclass(frozen=True)
class _Answer:
    """What a rule found, or the table it misses, or how it broke down; and what it read."""

    parts: _Parts
    skipped: str | None
    failed: Exception | None
    read: frozenset[Source]


class Checking:
    """The findings of one package, over and over; for one thread at a time.

    Keeps the tables that were asked, the findings of each rule, the columns that each rule read,
    and what rules share. `findings` looks for what is different now, a column at a time, and beside
    the tables by the times and sizes of the files, and asks again only those rules that read any of
    it. Of an older state nothing is kept but what `Snapshot.once_more` goes on from.
    A package whose schemas were changed is opened again, and gets a new one of these.
    """

    def __init__(self, package: Package, *, rules: Sequence[Rule] | None = None) -> None:
        self.package = package
        self.asked = 0
        """How many rules were asked when the findings were last wanted."""
        self._rules = package_rules() if rules is None else rules
        self._tables: Snapshot | None = None
        self._texts: dict[str, TableText | None] = {}
        self._disk: object = None
        self._notes = Notes()
        self._shared: dict[str, Kept] = {}
        self._former: dict[str, Any] = {}
        self._structure: dict[str, _Parts] = {}
        self._links: dict[str, _Parts] = {}
        self._answers: dict[str, _Answer] = {}
        self._gathered: dict[str, tuple[_Parts, pl.DataFrame]] = {}

    def findings(self, tables: Snapshot | None = None) -> Report:
        """The report that `check_package` gives of the package now; raises what it raises.

        `tables` are asked in the place of those of the package, which may not be written yet.
        """
        tables = (self.package.tables if tables is None else tables).with_faults()
        self._forget(tables)
        texts = {name: text for name, text in self._texts.items() if text is not None}
        parts = [*self._find_in_structure(texts)]
        asked = self._ask(TracedTables(tables, self._notes, self._shared, self._former), texts)
        skipped = {id: one.skipped for id, one in asked.items() if one.skipped}
        failed = {id: one.failed for id, one in asked.items() if one.failed}
        parts += [part for one in asked.values() for part in one.parts]
        parts += about_skipped(skipped, self._rules, self.package)
        report = Report(
            package=self.package.name,
            found=self._gather(texts, parts),
            rows_checked={name: len(text) for name, text in texts.items()},
            rules_run=tuple(rules_run(self._rules, skipped)),
        )
        return unless_failed(without_accepted(report, let_stand(tables)), failed, self._rules)

    def _forget(self, tables: Snapshot) -> None:
        """Forget what hangs on anything that is not as it was when this was last called."""
        before, self._texts = self._texts, dict(tables.each())
        if self._tables:
            # what was typed need not be typed again
            known = [name for name, text in self._texts.items() if text is before.get(name)]
            tables.with_known(self._tables, known)
        self._tables = tables
        changed: set[Source] = set()
        for name, text in self._texts.items():
            changed.update(self._changed(name, before.get(name), text))
        disk, self._disk = self._disk, _on_disk(self.package.folder)
        if self._disk != disk:
            changed.add(DISK)
        of = {name for name, _ in changed}
        _drop(self._structure, lambda name, _: name in of)
        _drop(self._links, lambda name, _: not changed.isdisjoint(self._read_for_links(name)))
        _drop(self._shared, lambda _, kept: hangs_on(kept, changed))
        _drop(self._answers, lambda _, kept: not kept.read.isdisjoint(changed))
        _drop(
            self._gathered,
            lambda name, _: (
                not of.isdisjoint(ORIGIN_TABLES)
                or not changed.isdisjoint(self._read_for_keys(name))
            ),
        )

    def _changed(
        self, name: str, before: TableText | None, now: TableText | None
    ) -> Iterator[Source]:
        """What of a table is not as it was; where rows or headings are others, all of it."""
        if before is now:
            return
        columns = {ROW, *self.package.model.table(name).names}
        for text in (before, now):
            columns.update(text.frame.columns if text else ())
        if before and now and _alike(before, now):
            columns = {
                one for one in now.frame.columns if not before.frame[one].equals(now.frame[one])
            }
        yield from ((name, one) for one in columns)

    def _read_for_links(self, name: str) -> Iterator[Source]:
        model = self.package.model
        yield from ((FORMER_KEY, one) for one in (ROW, *_names(model, FORMER_KEY)))
        yield name, ROW
        for link in model.table(name).foreign_keys:
            yield link.table, ROW
            yield from ((name, one) for one in link.fields)
            yield from ((link.table, one) for one in link.reference_fields)

    def _read_for_keys(self, name: str) -> Iterator[Source]:
        return ((name, one) for one in (ROW, *_key(self.package.model, name)))

    def _find_in_structure(self, texts: Mapping[str, TableText]) -> Iterator[pl.DataFrame]:
        model, patience = self.package.model, Patience()
        for name, table in model.tables.items():
            if name not in self._structure:
                found = tuple(find_in_table(model, table, texts.get(name), patience))
                self._structure[name] = found
            yield from self._structure[name]
            if name not in texts:
                continue
            if name not in self._links:
                self._links[name] = tuple(find_in_links(model, table, texts))
            yield from self._links[name]
        if patience != Patience():
            # what a pattern says that runs out of time hangs on what was tried before it
            self._structure.clear()

    def _ask(self, tables: TracedTables, texts: Mapping[str, TableText]) -> dict[str, _Answer]:
        """What each rule says, in the order in which `check_package` asks them."""
        whole = len(texts) == len(self.package.model.tables)
        idle = {name for name, text in texts.items() if whole and not len(text)}
        traced = {name: text for name, text in tables.each() if text is not None}
        asked: dict[str, _Answer] = {}
        self.asked = 0
        for one in sorted(self._rules, key=lambda one: "" if one.on_disk else one.table):
            if one.table in idle and not one.on_disk:
                continue
            if one.id not in self._answers:
                self._answers[one.id] = self._answer(one, tables, traced)
                self.asked += 1
            asked[one.id] = self._answers[one.id]
        for id in [id for id, answer in asked.items() if answer.failed]:
            # what it would have read is not known
            del self._answers[id]
        return asked

    def _answer(self, one: Rule, tables: TracedTables, texts: Mapping[str, TableText]) -> _Answer:
        skipped: dict[str, str] = {}
        failed: dict[str, Exception] = {}
        with self._notes.reading() as read:
            parts = answers(one, texts, tables, skipped, failed)
        return _Answer(tuple(parts), skipped.get(one.id), failed.get(one.id), frozenset(read))

    def _gather(self, texts: Mapping[str, TableText], parts: list[pl.DataFrame]) -> pl.DataFrame:
        """The findings with keys and origins in the order of a report, a table at a time."""
        tables = self.package.model.tables
        of: dict[str, list[pl.DataFrame]] = {}
        for part in parts:
            if len(part):
                table = str(part["table"][0])
                # those of tables that an older schema lacks stand together
                of.setdefault(table if table in tables else "", []).append(part)
        _drop(self._gathered, lambda name, kept: not _same(kept[0], of.get(name, ())))
        for name in of.keys() - self._gathered.keys():
            looked_up = {one: texts[one] for one in (name, *ORIGIN_TABLES) if one in texts}
            report = gather(self.package, looked_up, pl.concat(of[name]), ())
            self._gathered[name] = tuple(of[name]), report.found
        return pl.concat(
            [_FOUND, *(self._gathered[name][1] for name in (*tables, "") if name in of)]
        )


def _names(model: Model, table: str) -> tuple[str, ...]:
    return tuple(model.table(table).names) if table in model.tables else ()


def _key(model: Model, table: str) -> tuple[str, ...]:
    return model.table(table).primary_key if table in model.tables else ()


def _alike(one: TableText, other: TableText) -> bool:
    """Whether two states of a table have the same headings and as many rows, equally odd."""
    heads = (one.labels, one.faults, one.empty, len(one))
    return heads == (other.labels, other.faults, other.empty, len(other)) and one.blank.equals(
        other.blank
    )


def _same(some: Sequence[object], others: Sequence[object]) -> bool:
    return len(some) == len(others) and all(map(operator.is_, some, others))


def _drop(kept: dict[str, _Kept], is_old: Callable[[str, _Kept], bool]) -> None:
    for name in [name for name, one in kept.items() if is_old(name, one)]:
        del kept[name]


def _on_disk(folder: Path) -> list[tuple[str, int, int, int]]:
    """Path, time, size and number of every file of the package that is no table."""
    found = []
    for where, below, names in os.walk(folder):
        if where == str(folder):
            below[:] = [one for one in below if one != "tables"]
            names = [one for one in names if one not in (LOCK, JOURNAL)]
        for name in names:
            path = os.path.join(where, name)
            try:
                status = os.stat(path)
            except OSError:
                # gone meanwhile, or a link to nowhere: it is a change when that changes
                found.append((path, 0, 0, 0))
            else:
                found.append((path, status.st_mtime_ns, status.st_size, status.st_ino))
    return found
