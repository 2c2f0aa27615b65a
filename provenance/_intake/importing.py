"""Brings field exports into a package: everything that can be read, all of it or nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._base.findings import Finding
from provenance._base.progress import Progress
from provenance._gate.budget import SheetBudget
from provenance._history.acts import GONE, HERE, IMPORT, ROW_FIELD, Act, Line
from provenance._history.edits import Change
from provenance._history.history import (
    History,
    moment_text,
    open_history,
    stage_history,
)
from provenance._history.projection import SAID_AGAIN, Conflict
from provenance._intake.bookkeeping import keep_unread, note_events
from provenance._intake.claims import (
    NOT_SAID,
    Sameness,
    lines_read,
    newest_imports,
    older_answers,
    older_copies,
    under_keys_of_now,
    version_of,
    with_older_sheets,
)
from provenance._intake.events import take_events
from provenance._intake.files.data_package import handed_in
from provenance._intake.import_findings import (
    PERHAPS_RENAMED,
    about_cell,
    about_conflict,
    about_copies,
    about_old_numbers,
    about_older_copy,
    about_refused,
    about_removed,
    about_renamed,
)
from provenance._intake.incoming import IncomingFile, read_file
from provenance._intake.lines.readings import Place, ReadRow, UnreadCell
from provenance._intake.mapping.mapping import FormMapping
from provenance._intake.originals import KeptFile, Shelf
from provenance._intake.returned.returning import Returned, left_this_record, take_back
from provenance._intake.table_rows import TableRows
from provenance._ledger.custody import ledger_with
from provenance._model.schema import AS_FOUND
from provenance._record.package import Package
from provenance._record.settings import Settings, change_settings
from provenance._record.together import writing_together

STEPS_A_FILE = 1000
CUSTODY = "custody"


@dataclass(frozen=True)
class ImportResult:
    """What an import did.

    `originals` maps file names to the codes of the kept files, `acts` to those of the acts that
    read them; `added` and `removed` count rows by table that came and that a newer copy no longer
    has; `changes` lists every cell of a row that was there and now says something else, `places`
    where the new value stands; `unread` counts cells that still wait for somebody, `settled` those
    of earlier imports that are read now; `conflicts` are those that this import brought up;
    `returned` are workbooks that were filled from this record and edited, with what each changes;
    `written` names the tables that changed on disk (none in a trial run).
    """

    originals: Mapping[str, str]
    acts: Mapping[str, str]
    added: Mapping[str, int]
    removed: Mapping[str, int]
    changes: tuple[Change, ...]
    places: tuple[Place, ...]
    lines: int
    spacers: int
    unread: int
    settled: int
    conflicts: tuple[Conflict, ...]
    findings: tuple[Finding, ...]
    written: tuple[str, ...]
    returned: tuple[Returned, ...] = ()

    @property
    def exit_code(self) -> int:
        """1 when cells, conflicts or perhaps renamed rows wait to be settled, else 0."""
        asked = any(one.rule == PERHAPS_RENAMED for one in self.findings)
        return 1 if self.unread or self.conflicts or asked else 0


def import_exports(
    package: Package,
    files: Sequence[Path],
    mapping: FormMapping | None = None,
    *,
    progress: Progress | None = None,
    when: datetime | None = None,
    limits: SheetBudget | None = None,
    trial: bool = False,
    who: str = "",
    same_as: Sameness = NOT_SAID,
    agree: Callable[[ImportResult], bool] | None = None,
) -> ImportResult:
    """Read files through a mapping into the package's tables.

    Files that no source of the mapping takes must be workbooks of this project, which bring their
    own, or answers to its form for phones. The files are kept byte for byte under originals/,
    photos among answers under files/. Each file is read by one act of its own, and the record says
    what all acts together come to, in whatever order they came: a cell of which two files, or a
    file and a person, say different things is a conflict to settle. A newer copy of a file, told by
    what stands in it or said by `same_as`, speaks in the place of the older one. Importing the same
    files again changes nothing. A mapping of numbers as found first sets the numbering of the
    record. `who` imports; `when` is the moment (now); a `trial` writes nothing.

    A workbook that was filled from this record is an edit of the state it left with: what was
    changed in it becomes one act of `who`. With `agree`, that is asked whether to go on before
    anything is written, with the result as it would be; with False nothing is written.

    Raises UnusableInput when a file cannot be used as a whole or may or may not be a newer copy,
    BrokenHistory and BrokenLedger when acts or custody events are to be added to what does not fit
    together; the package is then as it was.
    """
    if mapping is not None and mapping.numbering == AS_FOUND != package.model.numbering:
        as_found = Settings(numbering=AS_FOUND.replace("_", "-"))
        if trial:
            package = replace(package, model=as_found.of(package.model))
        else:
            package = change_settings(package, as_found)
    moment = (when or datetime.now(UTC)).astimezone(UTC)
    paths = _distinct(files)
    budget = limits or SheetBudget()
    incoming = []
    with ExitStack() as keep:
        for place, path in enumerate(paths):

            def advance(share: float, place: int = place) -> None:
                if progress is not None:
                    progress(int((place + share) * STEPS_A_FILE), len(paths) * STEPS_A_FILE)

            incoming.append(read_file(package, path, mapping, budget, advance, keep))
        if progress is not None:
            progress(len(paths) * STEPS_A_FILE, len(paths) * STEPS_A_FILE)
        package.finish_writing()
        with package.locked():
            return _bring_in(package, incoming, moment, trial, who, same_as, agree)


def _distinct(files: Sequence[Path]) -> list[Path]:
    if not files:
        raise UnusableInput("name the files to import")
    seen: dict[str, Path] = {}
    for path in (handed_in(Path(one)) for one in files):
        before = seen.setdefault(path.name, path)
        if before is not path and before.resolve() != path.resolve():
            raise UnusableInput(
                f"{before} and {path} have the same name, so one would count as a newer copy of "
                "the other; rename one of them"
            )
    return list(seen.values())


def _bring_in(
    package: Package,
    incoming: Sequence[IncomingFile],
    moment: datetime,
    trial: bool,
    who: str,
    same_as: Sameness,
    agree: Callable[[ImportResult], bool] | None,
) -> ImportResult:
    """Find what the acts come to in memory, then write all tables and files in one step."""
    before = open_history(package)
    readings = [reading for one in incoming for reading in one.readings]
    names = ["original", "origin", "unread"]
    names += [CUSTODY] * any(CUSTODY in reading.tables for reading in readings)
    tables = {name: TableRows(package.model.table(name), package.tables) for name in names}
    shelf = Shelf(package, tables["original"], moment_text(moment))
    files = _keep_files(shelf, incoming)
    acts = _Acts(before, who, moment_text(moment))
    for one in incoming:
        take = acts.take_back if left_this_record(before, one) else acts.read
        for name in one.files:
            files[name] = take(one, name, files[name], same_as, shelf)
    after = acts.history
    changes = before.changes_to(after)

    findings = [finding for one in incoming for finding in one.findings]
    findings += [finding for reading in readings for finding in reading.findings]
    findings += acts.findings
    answered = {name for one in incoming if one.is_answers for name in one.files}
    findings += about_copies(files, tables["original"], answered)
    rows = [row for reading in readings for row in reading.rows if row.table != CUSTODY]
    cells = [cell for reading in readings for cell in reading.unread]
    added = _count(changes, HERE)
    new_events: list[dict[str, str]] = []
    if CUSTODY in tables:
        log = [row for reading in readings for row in reading.rows if row.table == CUSTODY]
        events = take_events(log, tables[CUSTODY], _known_lines(tables["origin"], files))
        rows += events.rows
        cells = [*_with_ledger_numbers(cells, log, events.rows), *events.unread]
        new_events = events.new
        if new_events:
            added[CUSTODY] = len(new_events)
        note_events(tables["origin"], events.rows, files)
    kept = keep_unread(tables["unread"], cells, rows, files, moment.date().isoformat())
    findings += [about_cell(cell) for cell in kept.waiting]
    new = [one for one in after.state.conflicts if one not in before.state.conflicts]
    conflicts = tuple(one for one in new if one.kind != SAID_AGAIN)
    findings += [about_conflict(one, after, tables["original"]) for one in conflicts]
    findings += about_refused(acts.lines, after)
    findings += about_old_numbers(package, changes)
    by_hand = {change for one in acts.returned for change in one.changes}
    read = [one for one in changes if one not in by_hand]
    findings += about_renamed(before, after, read, acts.names)
    findings += about_removed(read, package.folder, acts.names)
    told = [one for one in changes if one.field != ROW_FIELD]
    order = package.model.tables
    removed = _count(changes, GONE)
    result = ImportResult(
        originals={name: one.original_id for name, one in files.items()},
        acts=acts.names,
        added={name: added[name] for name in order if name in added},
        removed={name: removed[name] for name in order if name in removed},
        changes=tuple(told),
        places=tuple(acts.place_of(one) for one in told),
        lines=sum(reading.lines for reading in readings),
        spacers=sum(reading.spacers for reading in readings),
        unread=len(kept.waiting),
        settled=kept.settled,
        conflicts=conflicts,
        findings=tuple(_with_row(finding, after, tables) for finding in findings),
        written=(),
        returned=tuple(acts.returned),
    )
    if trial or (acts.returned and agree is not None and not agree(result)):
        return result
    return replace(result, written=_write(package, tables, shelf, before, after, new_events))


def _count(changes: Sequence[Change], what: str) -> dict[str, int]:
    counts: dict[str, int] = {}
    for one in changes:
        if one.field == ROW_FIELD and one.after == what:
            counts[one.table] = counts.get(one.table, 0) + 1
    return counts


class _Acts:
    """The history as the files of one call are read into it, one act a file."""

    def __init__(self, history: History, who: str, when: str) -> None:
        self.history, self.who, self.when = history, who, when
        self.names: dict[str, str] = {}
        self.lines: dict[str, tuple[str, list[Line]]] = {}
        self.findings: list[Finding] = []
        self.returned: list[Returned] = []

    def take_back(
        self, one: IncomingFile, name: str, kept: KeptFile, same_as: Sameness, shelf: Shelf
    ) -> KeptFile:
        """Add the act of a workbook that was filled from this record and edited."""
        source = kept.original_id
        self.history, back = take_back(self.history, one, source, same_as, self.who, self.when)
        self.returned.append(back)
        self.findings += back.findings
        if back.act is None:
            return kept
        code = list(self.history.acts)[-1]
        self.names[name] = code
        self.lines[code] = (name, list(back.act.lines))
        older = [self.history.acts[one].source for one in back.act.replaces]
        return shelf.note_older(kept, self._sources(code), older[0] if older else source)

    def read(
        self, one: IncomingFile, name: str, kept: KeptFile, same_as: Sameness, shelf: Shelf
    ) -> KeptFile:
        """Add the act that reads a file; nothing where these bytes were read just so before."""
        readings = [reading for reading in one.readings if reading.place.file_name == name]
        lines = lines_read(self.history, readings)
        if not lines:
            return kept
        history = self.history
        source, version = kept.original_id, version_of(kept.sha256, one.read_with)
        known = set(self.names.values())
        if one.is_answers:
            newest = older_answers(history, lines, known)
        else:
            newest = older_copies(history, name, source, lines, same_as, known)
        read_before = [
            act
            for act, it in history.live.items()
            if it.kind == IMPORT and (it.source, it.version) == (source, version)
        ]
        if read_before:
            self.lines[read_before[0]] = (name, lines)
            if read_before[0] not in newest_imports(history):
                self.findings.append(about_older_copy(name, history, read_before[0]))
            return shelf.note_older(kept, self._sources(read_before[0]), source)
        lines = under_keys_of_now(history, lines, newest)
        act = Act(
            IMPORT,
            who=self.who,
            when=self.when,
            source=source,
            version=version,
            replaces=tuple(sorted(newest)),
            # an answer has one name in every export
            lines=tuple(lines if one.is_answers else with_older_sheets(history, lines, newest)),
        )
        self.history, code = history.adding(act)
        self.names[name] = code
        self.lines[code] = (name, lines)
        last = history.acts[newest[0]].source if newest else source
        return shelf.note_older(kept, self._sources(code), last)

    def _sources(self, act: str) -> frozenset[str]:
        """The received files that an act and the acts it replaces read."""
        waiting, seen = [act], set()
        while waiting:
            name = waiting.pop()
            seen.add(self.history.acts[name].source)
            waiting += self.history.acts[name].replaces
        return frozenset(seen)

    def place_of(self, change: Change) -> Place:
        """Where a value of this call stands; no place where it came to be otherwise."""
        state = self.history.state
        for row in state.names_of(change.table, change.key):
            for claim in state.said_of(change.table, row, change.field):
                if claim.act in self.lines and not claim.refused:
                    line = claim.line
                    name = self.lines[claim.act][0]
                    return Place(name, line.sheet, int(line.line or 0), line.column)
        return Place("")


def _keep_files(shelf: Shelf, incoming: Sequence[IncomingFile]) -> dict[str, KeptFile]:
    files = {}
    for one in incoming:
        read = {reading.place.file_name for reading in one.readings}
        for target, (path, digest) in one.pictures.items():
            shelf.keep_picture(target, path, digest)
        for name, (path, digest) in one.files.items():
            kept = files[name] = shelf.keep(name, path, digest)
            if one.mapping.text is not None and name in read:
                text = one.mapping.text
                shelf.note_mapping(
                    kept,
                    shelf.keep_mapping(one.mapping.file_name, text, sha256(text).hexdigest()),
                )
    return files


def _known_lines(
    origin: TableRows, files: Mapping[str, KeptFile]
) -> dict[tuple[str, str, int], str]:
    """Where the events of earlier copies of these files stood."""
    known = {}
    for name, kept in files.items():
        for row in origin:
            if row["table_name"] == CUSTODY and row["original_id"] in kept.lineage:
                known[name, row["sheet"], int(row["line"])] = row["row_key"]
    return known


def _with_ledger_numbers(
    cells: list[UnreadCell], log: Sequence[ReadRow], numbered: Sequence[ReadRow]
) -> list[UnreadCell]:
    """Cells of custody events under the number that the ledger gave their event."""
    numbers = {before.place: after.key for before, after in zip(log, numbered, strict=True)}
    return [
        replace(cell, key=numbers.get(replace(cell.place, column=""), cell.key))
        if cell.table == CUSTODY
        else cell
        for cell in cells
    ]


def _with_row(finding: Finding, history: History, tables: Mapping[str, TableRows]) -> Finding:
    """The finding with the row of the record that it is about (header = 1)."""
    if finding.table == CUSTODY and finding.key.isdigit():
        # events are numbered by their place in the ledger, below one line of headings
        return replace(finding, row=int(finding.key) + 1)
    if finding.table in tables:
        return replace(finding, row=tables[finding.table].number_of(finding.key))
    names = history.state.names_of(finding.table, finding.key) if finding.key else []
    if not names:
        return finding
    return replace(finding, row=list(history.state.rows[finding.table]).index(names[0]) + 2)


def _write(
    package: Package,
    tables: Mapping[str, TableRows],
    shelf: Shelf,
    before: History,
    history: History,
    new_events: Sequence[Mapping[str, str]],
) -> tuple[str, ...]:
    """Put every changed table and every new original in place, together."""
    import pandas as pd

    frames = {name: tables[name].frame() for name in ("original", "unread") if tables[name].changed}
    if new_events:
        frames[CUSTODY] = ledger_with(package, pd.DataFrame(list(new_events), dtype=str).fillna(""))
    with writing_together(package.folder) as staging:
        shelf.stage(staging)
        origin = tables["origin"].rows
        written = {*frames, *stage_history(history, staging, origin, before=before)}
        for name, frame in frames.items():
            with staging.writing(f"tables/{name}.csv") as stream:
                package.write_table_to(stream, name, frame)
    return tuple(name for name in package.model.tables if name in written)
