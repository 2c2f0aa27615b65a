"""Turns what was read of a file into the act by which it enters the record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256

from provenance._base.errors import UnusableInput
from provenance._history.acts import HERE, IMPORT, ROW_FIELD, Act, Line
from provenance._history.history import History
from provenance._history.projection import covered_tables, key_field, links_of
from provenance._history.sameness import NEWER, OTHER, likeness, share_found, texts_of
from provenance._history.speaking import WRITTEN_ONCE
from provenance._intake.lines.readings import ReadRow, SheetReading

LEDGER = "custody"
READ = "read"
"""What the line says that names a sheet and a table which was read from it."""


@dataclass(frozen=True)
class Sameness:
    """What a person says of a file: that it is a newer copy of `replaces`, or of none (`new`)."""

    replaces: str = ""
    new: bool = False


NOT_SAID = Sameness()


class PerhapsNewer(UnusableInput):
    """A file that may be a newer copy of an earlier one: `file_name`, received as `source`.

    `share` is how much of the earlier one it says, from 0 to 1.
    """

    def __init__(self, name: str, file_name: str, source: str, share: float) -> None:
        self.file_name, self.source, self.share = file_name, source, share
        super().__init__(
            f"{name} says {share:.0%} of what {file_name} ({source}) says, which is too much for "
            "another sheet and too little for a corrected copy. If it is a newer copy of it, say "
            f"--replaces {source}; if it is another sheet, say --new. Nothing was imported"
        )


def version_of(file_sha256: str, read_with: bytes | None) -> str:
    """What tells one reading of a file from another: its bytes, and its mapping or its photos."""
    return sha256(f"{file_sha256} {sha256(read_with or b'').hexdigest()}".encode()).hexdigest()


def lines_read(history: History, readings: Sequence[SheetReading]) -> list[Line]:
    """What readings of one file say, sheet by sheet.

    Events of a custody log go by their line: the ledger gives them their numbers, and what the
    projection makes of acts does not touch it.
    """
    lines: list[Line] = []
    for reading in readings:
        for table in sorted(reading.tables):
            lines.append(Line(table, "", ROW_FIELD, "", READ, sheet=reading.place.sheet))
        for row in reading.rows:
            lines += _row_lines(history, row)
    return lines


def _row_lines(history: History, read: ReadRow) -> Iterator[Line]:
    sheet, number = read.place.sheet, str(read.place.row)
    own = key_field(history.package.model.table(read.table))
    key = f"{sheet} {number}".strip() if read.table == LEDGER else read.key
    yield Line(read.table, key, ROW_FIELD, "", HERE, sheet=sheet, line=number)
    for name, value in read.values.items():
        if name == own:
            continue
        written = read.written.get(name, "")
        yield Line(
            read.table,
            key,
            name,
            after=value,
            written=written if written != value else "",
            sheet=sheet,
            line=number,
            column=read.headings.get(name, ""),
        )


def under_keys_of_now(
    history: History, lines: Sequence[Line], replaces: Sequence[str]
) -> list[Line]:
    """The lines with a key that somebody gave a row later taken for that row.

    A key that older copies of the file have said goes on meaning what it meant there.
    """
    model, state = history.package.model, history.state
    links = {table.name: links_of(table) for table in covered_tables(model)}
    of_row = {
        (line.table, line.row, line.field): line.after for line in lines if line.row and line.field
    }

    def target_of(line: Line) -> str:
        if target := links.get(line.table, {}).get(line.field):
            return target
        if line.field and line.table in links and line.field in model.table(line.table):
            other = model.table(line.table).field(line.field).key_of
            return of_row.get((line.table, line.row, other), "") if other else ""
        return ""

    said = set()
    waiting = list(replaces)
    while waiting:
        older = history.acts[waiting.pop()]
        waiting += older.replaces
        for line in older.lines:
            said |= {(line.table, line.row), (target_of(line), line.after)}

    here = {(line.table, line.row) for line in lines}

    def row_meant(table: str, key: str) -> str:
        names = state.names_of(table, key)
        # a file that has both keys means two things, which is for a person to settle
        if (table, key) in said or len(names) != 1 or (table, names[0]) in here:
            return key
        return names[0]

    now = []
    for line in lines:
        if line.row and line.table in links:
            after = line.after
            if after and (target := target_of(line)):
                after = row_meant(target, after)
            line = line._replace(row=row_meant(line.table, line.row), after=after)
        now.append(line)
    return now


def newest_imports(history: History) -> dict[str, Act]:
    """The imports that count and of which no newer copy was read."""
    reading = {name: act for name, act in history.live.items() if act.kind == IMPORT}
    older = {name for act in reading.values() for name in act.replaces}
    return {name: act for name, act in reading.items() if name not in older}


def older_copies(
    history: History, name: str, source: str, lines: Sequence[Line], said: Sameness, known: set[str]
) -> tuple[str, ...]:
    """The imports of which a file is a newer copy, told by what stands in it.

    `known` are acts of this same call, which are never older copies. Raises UnusableInput where
    that cannot be told, with what to say (PerhapsNewer).
    """
    newest = {one: act for one, act in newest_imports(history).items() if one not in known}
    same_file = [one for one, act in newest.items() if act.source == source]
    # a report is never silenced by a later one, so it does not matter whether it is a copy
    if same_file or {line.table for line in lines} <= {*WRITTEN_ONCE}:
        return tuple(same_file)
    if said.new:
        return ()
    if said.replaces:
        named = [one for one, act in newest.items() if act.source == said.replaces]
        if not named:
            sources = ", ".join(sorted(act.source for act in newest.values())) or "none"
            raise UnusableInput(
                f"{name}: no file that still counts was received as {said.replaces}; there are "
                f"{sources}"
            )
        return tuple(named)
    ranked = likeness(newest, lines)
    share, best = ranked[0] if ranked else (0.0, "")
    if share >= NEWER:
        return (best,)
    if share < OTHER:
        return ()
    older = newest[best]
    raise PerhapsNewer(name, _file_name(history, older.source), older.source, share)


def older_answers(history: History, lines: Sequence[Line], known: set[str]) -> tuple[str, ...]:
    """The imports that read one of these answers before, whose sheet has the name of the answer.

    An answer that was corrected and sent again speaks in its own place; the others of an earlier
    export go on speaking. `known` are acts of this same call.
    """
    answers = {(line.sheet, line.table) for line in lines if not line.row}
    return tuple(
        name
        for name, act in history.live.items()
        if name not in known and act.kind == IMPORT and answers & act.covers
    )


def _file_name(history: History, source: str) -> str:
    rows = history.package.tables.rows("original")
    return next((row["file_name"] for row in rows if row["original_id"] == source), source)


def with_older_sheets(
    history: History, lines: Sequence[Line], replaces: Sequence[str]
) -> list[Line]:
    """The lines, with a sheet that has another name now bound to the older copy's sheet."""
    here = {line.sheet for line in lines}
    older = [line for name in replaces for line in history.acts[name].lines]
    before: dict[str, str] = {}
    gone = sorted({line.sheet for line in older} - here)
    for sheet in sorted(here - {line.sheet for line in older}):
        new = texts_of(line for line in lines if line.sheet == sheet)
        shares = [
            (share_found(texts_of(line for line in older if line.sheet == one), new), one)
            for one in gone
        ]
        share, best = max(shares, default=(0.0, ""))
        if share >= OTHER:
            before[sheet] = best
            gone.remove(best)
    return [
        line._replace(before=before[line.sheet]) if not line.row and line.sheet in before else line
        for line in lines
    ]
