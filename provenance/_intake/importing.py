"""Brings field exports into a package: everything that can be read, all of it or nothing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._base.findings import Finding
from provenance._base.progress import Progress
from provenance._intake.bookkeeping import keep_unread, note_origins
from provenance._intake.events import take_events
from provenance._intake.files.data_package import handed_in
from provenance._intake.files.received import Limits
from provenance._intake.incoming import IncomingFile, read_file
from provenance._intake.lines.readings import Place, ReadRow, UnreadCell, intake_finding
from provenance._intake.mapping.mapping import FormMapping
from provenance._intake.merging import Change, TableRows, WrittenOnce, take_rows
from provenance._intake.originals import KeptFile, Shelf
from provenance._ledger.custody import ledger_with
from provenance._record.package import Package
from provenance._record.together import finish_writing, writing_together

STEPS_A_FILE = 1000
CUSTODY = "custody"
WRITTEN_ONCE: Mapping[str, str] = {
    "lab_result": "enter what the laboratory reports anew as a revision: a result code of its own, "
    "with the older one under supersedes_result_id"
}
"""Tables whose rows are reports: a later file may fill blanks, but not overwrite."""


@dataclass(frozen=True)
class ImportResult:
    """What an import did.

    `originals` maps file names to the numbers of the kept files; `added` counts new rows by table;
    `changes` lists every cell of an existing row that was filled or overwritten; `unread` counts
    cells that still wait for somebody, `settled` those of earlier imports that are read now;
    `written` names the tables that changed on disk (none in a trial run).
    """

    originals: Mapping[str, str]
    added: Mapping[str, int]
    changes: tuple[Change, ...]
    lines: int
    spacers: int
    unread: int
    settled: int
    findings: tuple[Finding, ...]
    written: tuple[str, ...]

    @property
    def exit_code(self) -> int:
        """1 when cells wait to be settled, else 0."""
        return 1 if self.unread else 0


def import_exports(
    package: Package,
    files: Sequence[Path],
    mapping: FormMapping | None = None,
    *,
    progress: Progress | None = None,
    when: datetime | None = None,
    limits: Limits | None = None,
    trial: bool = False,
) -> ImportResult:
    """Read files through a mapping into the package's tables.

    Files that no source of the mapping takes must be workbooks of this project, which bring their
    own. The files are kept byte for byte under originals/. Rows are told apart by their key: a new
    key is a new row, a filled cell overwrites, a blank one never erases, and rows that a newer copy
    of a file no longer has are kept and reported. Importing the same files again changes nothing.
    `when` is the moment of the import (now); a `trial` writes nothing.

    Raises UnusableInput when a file cannot be used as a whole, and BrokenLedger when custody events
    are to be added to a ledger that does not fit together; the package is then as it was.
    """
    moment = (when or datetime.now(UTC)).astimezone(UTC)
    paths = _distinct(files)
    incoming = []
    for place, path in enumerate(paths):

        def advance(share: float, place: int = place) -> None:
            if progress is not None:
                progress(int((place + share) * STEPS_A_FILE), len(paths) * STEPS_A_FILE)

        incoming.append(read_file(package, path, mapping, limits or Limits(), advance))
    if progress is not None:
        progress(len(paths) * STEPS_A_FILE, len(paths) * STEPS_A_FILE)
    finish_writing(package.folder)
    with package.locked():
        return _bring_in(package, incoming, moment, trial)


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
    package: Package, incoming: Sequence[IncomingFile], moment: datetime, trial: bool
) -> ImportResult:
    """Merge everything in memory, then write all tables and files in one step."""
    readings = [reading for one in incoming for reading in one.readings]
    names = sorted({table for reading in readings for table in reading.tables})
    tables = {
        name: TableRows(package.model.table(name), package.tables)
        for name in (*names, "original", "origin", "unread")
    }
    shelf = Shelf(package, tables["original"], moment.strftime("%Y-%m-%dT%H:%M:%SZ"))
    files = _keep_files(shelf, incoming)
    findings = [finding for one in incoming for finding in one.findings]
    findings += [finding for reading in readings for finding in reading.findings]
    findings += _about_copies(files, tables["original"])
    rows = [row for reading in readings for row in reading.rows]
    cells = [cell for reading in readings for cell in reading.unread]

    once = WrittenOnce(WRITTEN_ONCE, _own_rows(tables["origin"], files))
    taken = take_rows([row for row in rows if row.table != CUSTODY], tables, once)
    added = dict(taken.added)
    cells += taken.unread
    rows = [row for row in rows if row.table != CUSTODY]
    new_events: list[dict[str, str]] = []
    if CUSTODY in tables:
        log = [row for reading in readings for row in reading.rows if row.table == CUSTODY]
        events = take_events(log, tables[CUSTODY], _known_lines(tables["origin"], files))
        rows += events.rows
        cells = [*_with_ledger_numbers(cells, log, events.rows), *events.unread]
        new_events = events.new
        if new_events:
            added[CUSTODY] = len(new_events)
    scopes: dict[tuple[str, str], frozenset[str]] = defaultdict(frozenset)
    for reading in readings:
        scopes[reading.place.file_name, reading.place.sheet] |= reading.tables
    findings += note_origins(tables["origin"], rows, files, scopes)
    kept = keep_unread(tables["unread"], cells, rows, files, moment.date().isoformat())
    findings += [_about_cell(cell) for cell in kept.waiting]
    written = () if trial else _write(package, tables, shelf, new_events)
    return ImportResult(
        originals={name: one.original_id for name, one in files.items()},
        added={name: added[name] for name in package.model.tables if name in added},
        changes=tuple(taken.changes),
        lines=sum(reading.lines for reading in readings),
        spacers=sum(reading.spacers for reading in readings),
        unread=len(kept.waiting),
        settled=kept.settled,
        findings=tuple(_with_row(finding, tables) for finding in findings),
        written=written,
    )


def _keep_files(shelf: Shelf, incoming: Sequence[IncomingFile]) -> dict[str, KeptFile]:
    files = {}
    for one in incoming:
        read = {reading.place.file_name for reading in one.readings}
        for name, (path, digest) in one.files.items():
            kept = files[name] = shelf.keep(name, path, digest)
            if one.mapping.text is not None and name in read:
                text = one.mapping.text
                shelf.note_mapping(
                    kept,
                    shelf.keep_mapping(one.mapping.file_name, text, sha256(text).hexdigest()),
                )
    return files


def _about_copies(files: Mapping[str, KeptFile], originals: TableRows) -> Iterator[Finding]:
    for name, kept in files.items():
        row = originals.get(kept.original_id)
        assert row is not None
        if kept.is_new and row["replaces_original_id"]:
            yield intake_finding(
                "note",
                "newer_copy",
                Place(name),
                f"Taken for a newer copy of {row['replaces_original_id']}, which was received "
                "under the same name.",
                "If it is another form, rename it before importing: rows of the older one are "
                "reported as gone.",
            )
        elif row["file_name"] != name:
            yield intake_finding(
                "note",
                "received_before",
                Place(name),
                f"The very same bytes were received before as {row['file_name']} "
                f"({kept.original_id}); they are kept once.",
                "",
            )


def _own_rows(origin: TableRows, files: Mapping[str, KeptFile]) -> frozenset[tuple[str, str]]:
    """Rows that were read from nothing but the bytes that are read again now."""
    ours = {kept.original_id for kept in files.values()}
    sources: dict[tuple[str, str], set[str]] = defaultdict(set)
    for row in origin:
        sources[row["table_name"], row["row_key"]].add(row["original_id"])
    return frozenset(key for key, originals in sources.items() if originals <= ours)


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


def _about_cell(cell: UnreadCell) -> Finding:
    message, _, remedy = cell.why.partition("; ")
    if not remedy:
        message, _, remedy = cell.why.partition(". Write ")
        remedy = f"write {remedy}" if remedy else "mend the cell and import the file again"
    return intake_finding(
        "warning",
        cell.rule,
        cell.place,
        f'"{cell.text}" {message.rstrip(".")}',
        remedy[:1].upper() + remedy[1:] + ".",
        table=cell.table,
        key=cell.key,
        field=cell.field,
        value=cell.text,
    )


def _with_row(finding: Finding, tables: Mapping[str, TableRows]) -> Finding:
    if finding.table not in tables or not finding.key:
        return finding
    if finding.table == CUSTODY and finding.key.isdigit():
        # events are numbered by their place in the ledger, below one line of headings
        return replace(finding, row=int(finding.key) + 1)
    return replace(finding, row=tables[finding.table].number_of(finding.key))


def _write(
    package: Package,
    tables: Mapping[str, TableRows],
    shelf: Shelf,
    new_events: Sequence[Mapping[str, str]],
) -> tuple[str, ...]:
    """Put every changed table and every new original in place, together."""
    import pandas as pd

    frames = {
        name: rows.frame() for name, rows in tables.items() if rows.changed and name != CUSTODY
    }
    if new_events:
        frames[CUSTODY] = ledger_with(package, pd.DataFrame(list(new_events), dtype=str).fillna(""))
    if frames or shelf.has_files:
        with writing_together(package.folder) as staging:
            shelf.stage(staging)
            for name, frame in frames.items():
                with staging.writing(f"tables/{name}.csv") as stream:
                    package.write_table_to(stream, name, frame)
    return tuple(name for name in package.model.tables if name in frames)
