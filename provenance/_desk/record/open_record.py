"""A record as long as the desk is open: what people enter, and what the check says of it."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from provenance._base.errors import TreenailError
from provenance._base.languages import _
from provenance._checks.again import Checking
from provenance._desk.record.shown import shown_row
from provenance._history import deciding
from provenance._history.edits import Change
from provenance._history.history import open_history
from provenance._intake.working import Changed, Stands, Unread, Working
from provenance._model.spoken import spoken
from provenance._record.journal import has_waiting
from provenance._record.package import open_package

if TYPE_CHECKING:
    from pathlib import Path

    from provenance._base.findings import Finding, Report
    from provenance._history.history import History
    from provenance._model.schema import Model
    from provenance._record.package import Package
    from provenance._record.snapshot import Snapshot


@dataclass
class NotSaved(TreenailError):
    """Nothing was saved: cells that cannot be read, or that hold something else by now."""

    model: Model
    unread: tuple[Unread, ...]
    stands: tuple[Stands, ...]

    def __str__(self) -> str:
        said = [f"{self._title(one)}: {one.message}" for one in self.unread]
        said += [
            _(
                "{field} of {key} is “{now}” by now; someone changed it meanwhile. Load the page "
                "again and compare."
            ).format(field=self._title(one), key=one.key, now=one.now)
            for one in self.stands
        ]
        return "\n".join(said)

    def _title(self, one: Unread | Stands) -> str:
        return spoken(self.model).table(one.table).field(one.field).title


class OpenRecord:
    """One record at the desk, for all its pages.

    Its history is read when something is entered first, or `warm` is called: until then it is read
    as a command reads it.
    """

    def __init__(self, folder: Path, *, read_only: bool = False) -> None:
        self._folder = folder
        self._read_only = read_only
        self._package = open_package(folder)
        self._model: object = None
        self._working: Working | None = None
        self._seen = self._package.stamps
        self._changes = 0
        self._begun = threading.Lock()
        self._checking: Checking | None = None
        self._one_check = threading.Lock()
        self.last_report: Report | None = None
        """What the check said when it was asked last."""

    @property
    def package(self) -> Package:
        """The package with every act of this desk in its tables, for whatever else works on it.

        Raises UnusablePackage.
        """
        if self._working is not None:
            self._working.write_tables()
            return self._working.package
        # tables whose files are as they were are not read again
        model = self._package.stamps_of_model
        if model != self._model or has_waiting(self._folder):
            self._package = open_package(self._folder)
            self._model = model
        return self._package

    @property
    def tables(self) -> Snapshot:
        """The tables as they stand now, written or not."""
        return self.package.tables if self._working is None else self._working.tables

    @property
    def history(self) -> History:
        """Everything that was said of the record; raises BrokenHistory."""
        if not self._read_only:
            return self._to_change().history
        package = self.package
        with package.locked_for_reading():
            return open_history(package)

    @property
    def title(self) -> str:
        """The title for people, as the descriptor has it."""
        return self._as_described.title

    @property
    def model(self) -> Model:
        """The schemas of the record."""
        return self._as_described.model

    @property
    def _as_described(self) -> Package:
        """The package, whose tables may lack acts of this desk."""
        return self.package if self._working is None else self._working.package

    def warm(self) -> None:
        """Read the history, so that what is entered first is saved as fast as what follows."""
        if not self._read_only:
            # who enters something is told what is wrong; here nobody listens
            with suppress(TreenailError, OSError):
                self._to_change()

    def changed_since(self, mark: int) -> Changed:
        """What anybody changed since a mark, as `Working` has it; before that, whether anybody did.

        With a mark below 0 only the mark of now is asked.
        """
        if self._working is not None:
            # the marks of a history that was read since are others: everything may have changed
            return self._working.changed_since(max(mark, 0))
        stamps = self._package.stamps
        if stamps != self._seen:
            self._seen, self._changes = stamps, self._changes + 1
        return Changed(self._changes, frozenset(), everything=0 <= mark != self._changes)

    def findings(self) -> Report:
        """What the check says now; only what a change touches is asked again."""
        with self._one_check:
            package = self._as_described
            tables = self.tables
            if self._checking is None or self._checking.package.model is not package.model:
                self._checking = Checking(package)
            self._checking.package = package
            self.last_report = self._checking.findings(tables)
            return self.last_report

    def change(self, cells: Sequence[Change], *, by: str, why: str = "") -> deciding.Done:
        """Save cells as one act; `before` and `after` are texts as the pages show them.

        Raises NotSaved, and Refused as `deciding.enter`; nothing is written then.
        """
        working = self._to_change()
        stale = []
        told = []
        for one in cells:
            now = working.row(one.table, one.key) or {}
            seen = self._shown(working, one.table, now).get(one.field, "") if now else ""
            if seen != one.before:
                stale.append(Stands(one.table, one.key, one.field, seen))
            told.append(one._replace(before=now.get(one.field, "")))
        if stale:
            raise NotSaved(working.package.model, (), tuple(stale))
        answer = working.change(told, who=by, why=why)
        if answer.done is None:
            raise NotSaved(working.package.model, answer.unread, answer.stands)
        return answer.done

    def rows(self, table: str, keys: Iterable[str]) -> list[dict[str, str]]:
        """The rows that bear these keys after an act, as the pages show them."""
        working = self._to_change()
        found = [working.row(table, key) for key in keys]
        return [self._shown(working, table, row) for row in found if row]

    def _shown(self, working: Working, name: str, row: Mapping[str, str]) -> dict[str, str]:
        model = working.package.model
        table = model.table(name)
        whole = {one: row.get(one, "") for one in table.names}
        return shown_row(model, table, whole, working.as_written)

    def decide(self, decision: deciding.Deciding, *, by: str, why: str = "") -> deciding.Done:
        """Save a decision; raises Refused."""
        return self._to_change().decide(decision, who=by, why=why)

    def write(self) -> None:
        """Write what waits, for whoever reads the folder."""
        if self._working is not None:
            self._working.write_tables()

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


def of_row(report: Report, table: str, key: str) -> dict[str, list[Finding]]:
    """The findings about a row, by field; those about the row as a whole under ''."""
    fields: dict[str, list[Finding]] = {}
    for one in report.about(table, key):
        fields.setdefault(one.field, []).append(one)
    return fields
