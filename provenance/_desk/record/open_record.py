"""A record as long as the desk is open: what people enter, and what the check says of it."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from provenance._base.errors import TreenailError
from provenance._checks.again import Checking
from provenance._desk.record.shown import shown_row
from provenance._history import deciding
from provenance._history.edits import Change
from provenance._intake.working import Changed, Stands, Unread, Working
from provenance._record.package import open_package

if TYPE_CHECKING:
    from pathlib import Path

    from provenance._base.findings import Finding, Report
    from provenance._record.package import Package
    from provenance._record.snapshot import Snapshot


@dataclass
class NotSaved(TreenailError):
    """Nothing was saved: cells that cannot be read, or that hold something else by now."""

    unread: tuple[Unread, ...]
    stands: tuple[Stands, ...]

    def __str__(self) -> str:
        said = [f"{one.field}: {one.message}" for one in self.unread]
        said += [
            f"{one.field} of {one.key} is '{one.now}' by now; someone changed it meanwhile. "
            "Load the page again and compare"
            for one in self.stands
        ]
        return "\n".join(said)


class OpenRecord:
    """One record at the desk, for all its pages.

    Its history is read when something is entered first, or `warm` is called: until then it is read
    as a command reads it.
    """

    def __init__(self, folder: Path, *, read_only: bool = False) -> None:
        self._folder = folder
        self._read_only = read_only
        self._package = open_package(folder)
        self._working: Working | None = None
        self._begun = threading.Lock()
        self._checking: Checking | None = None
        self._one_check = threading.Lock()

    @property
    def package(self) -> Package:
        """The package with every act of this desk in its tables, for whatever else works on it.

        Raises UnusablePackage.
        """
        if self._working is not None:
            self._working.write_tables()
            return self._working.package
        self._package = open_package(self._folder)
        return self._package

    @property
    def tables(self) -> Snapshot:
        """The tables as they stand now, written or not."""
        return self.package.tables if self._working is None else self._working.tables

    def warm(self) -> None:
        """Read the history, so that what is entered first is saved as fast as what follows."""
        if not self._read_only:
            # who enters something is told what is wrong; here nobody listens
            with suppress(TreenailError, OSError):
                self._to_change()

    def changed_since(self, mark: int) -> Changed:
        """What anybody changed since a mark, as `Working` has it."""
        if self._working is None:
            return Changed(0, frozenset(), everything=False)
        return self._working.changed_since(mark)

    def findings(self) -> Report:
        """What the check says now; only what a change touches is asked again."""
        with self._one_check:
            package = self.package if self._working is None else self._working.package
            tables = self.tables
            if self._checking is None or self._checking.package.model is not package.model:
                self._checking = Checking(package)
            self._checking.package = package
            return self._checking.findings(tables)

    def change(self, cells: Sequence[Change], *, by: str, why: str = "") -> deciding.Done:
        """Save cells as one act; `before` and `after` are texts as the pages show them.

        Raises NotSaved, and Refused as `deciding.enter`; nothing is written then.
        """
        working = self._to_change()
        tables = working.tables
        stale = []
        told = []
        for one in cells:
            row = working.row(one.table, one.key)
            table = tables.model.table(one.table)
            now = {name: (row or {}).get(name, "") for name in table.names}
            seen = shown_row(tables, table, now).get(one.field, "") if row else ""
            if seen != one.before:
                stale.append(Stands(one.table, one.key, one.field, seen))
            told.append(one._replace(before=now.get(one.field, "")))
        if stale:
            raise NotSaved((), tuple(stale))
        answer = working.change(told, who=by, why=why)
        if answer.done is None:
            raise NotSaved(answer.unread, answer.stands)
        return answer.done

    def decide(self, decision: deciding.Deciding, *, by: str, why: str = "") -> deciding.Done:
        """Save a decision; raises Refused."""
        return self._to_change().decide(decision, who=by, why=why)

    def close(self) -> None:
        """Write what waits; a record that was moved meanwhile finds it in its history."""
        if self._working is not None and self._folder.is_dir():
            self._working.close()

    def _to_change(self) -> Working:
        if self._read_only:
            raise deciding.Refused("this desk was opened to read only")
        with self._begun:
            if self._working is None:
                self._working = Working(open_package(self._folder))
            return self._working


def of_row(found: Iterable[Finding], table: str, key: str) -> dict[str, list[Finding]]:
    """The findings about a row, by field; those about the row as a whole under ''."""
    fields: dict[str, list[Finding]] = {}
    for one in found:
        if (one.table, one.key) == (table, key):
            fields.setdefault(one.field, []).append(one)
    return fields
