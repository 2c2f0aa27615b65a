"""What is told of an import: copies, rows that went, conflicts, and cells that wait."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from provenance._base.findings import Finding
from provenance._history.acts import GONE, HERE, ROW_FIELD, Line
from provenance._history.edits import Change, renamed_rows
from provenance._history.history import (
    History,
)
from provenance._history.projection import Claim, Conflict, State
from provenance._intake.lines.readings import Place, UnreadCell, intake_finding
from provenance._intake.originals import KeptFile
from provenance._intake.table_rows import TableRows
from provenance._model.schema import NUMBERED_TABLES, STRICT
from provenance._record.package import Package

PERHAPS_RENAMED = "intake.perhaps_renamed"
NEWER_COPY = "intake.newer_copy"
_KEYS_NAMED = 5
_ROW = re.compile(r", row ([0-9]+)")


def about_older_copy(name: str, history: History, act: str) -> Finding:
    """A copy came again of which a newer one was read since."""
    newer = [one for one, it in history.live.items() if act in it.replaces]
    return intake_finding(
        "warning",
        "older_copy",
        Place(name),
        f"This copy was read on {history.acts[act].when[:10]}, and a newer copy of it since. The "
        "newer one stands; nothing was changed.",
        f"If this one is right, take the newer reading back: treenail change undo "
        f"{history.package.folder} {newer[0][:8]}.",
    )


def about_copies(
    files: Mapping[str, KeptFile], originals: TableRows, answers: Collection[str]
) -> Iterator[Finding]:
    """Files taken for newer copies, and bytes that came under another name before."""
    again: set[str] = set()
    for name, kept in files.items():
        row = originals.get(kept.original_id)
        assert row is not None
        if kept.is_new and (older := row["replaces_original_id"]):
            before = originals.get(older)
            was = f"{before['file_name'] if before else older} ({older})"
            if name in answers:
                # an export has several files, of which one says it for all
                if older in again:
                    continue
                again.add(older)
                yield intake_finding(
                    "note",
                    "answers_again",
                    Place(name),
                    f"Some of these answers were read before, from {was}. The newer answers "
                    "replace the earlier ones.",
                    "If this export is the older one, take it back with 'treenail change undo'.",
                )
                continue
            yield intake_finding(
                "note",
                "newer_copy",
                Place(name),
                f"Taken for a newer copy of {was}, because most of its content is there too. It "
                "replaces that copy.",
                "If it is another sheet, take this back with 'treenail change undo' and import it "
                "with --new.",
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


def about_old_numbers(package: Package, changes: Sequence[Change]) -> Iterator[Finding]:
    """New rows whose numbers or names are not in the form of new ones, a line for each table."""
    came: dict[str, list[str]] = {}
    for one in changes:
        if one.field == ROW_FIELD and one.after == HERE and one.table in NUMBERED_TABLES:
            table = package.model.table(one.table)
            pattern = table.field(table.primary_key[0]).constraints.get("pattern", "")
            if package.model.numbering == STRICT and not re.fullmatch(pattern, one.key):
                came.setdefault(one.table, []).append(one.key)
    for name, keys in came.items():
        table = package.model.table(name)
        shown = ", ".join(keys[:_KEYS_NAMED]) + (" …" if len(keys) > _KEYS_NAMED else "")
        yield intake_finding(
            "warning",
            "old_numbers",
            Place(""),
            f"{table.field(table.primary_key[0]).title}: {len(keys)} not in the form of new ones "
            f"({shown}).",
            "Correct slips. If these are the numbers and names of an older collection, keep them: "
            f"'treenail settings {package.folder} --numbering as-found', or numbering: as_found in "
            "the mapping.",
            table=name,
        )


def about_removed(
    changes: Sequence[Change], folder: Path, acts: Mapping[str, str]
) -> Iterator[Finding]:
    """Rows that a newer copy lacks and nobody else says, which are out of the record."""
    code = " or ".join(one[:8] for one in acts.values())
    for one in changes:
        if one.field == ROW_FIELD and one.after == GONE:
            yield intake_finding(
                "warning",
                "row_gone",
                Place(""),
                f"{one.table} {one.key} is no longer in the newer copy, and no one else says it.",
                "It stays in the history. If it was dropped by mistake, put it back into the sheet "
                f"and import it again, or take this import back: treenail change undo {folder} "
                f"{code}.",
                table=one.table,
                key=one.key,
                value=one.key,
            )


def about_renamed(
    before: History, after: History, changes: Sequence[Change], acts: Mapping[str, str]
) -> Iterator[Finding]:
    """Rows that a newer copy lacks, and another of which there says nearly the same."""
    known = after.state.lineage
    lineages = {known[code] for code in acts.values() if code in known}

    def is_stated(state: State, table: str, row: str) -> bool:
        return any(one.said_by in lineages for one in state.said_of(table, row, ROW_FIELD))

    def said(state: State, table: str, row: str) -> dict[str, str]:
        """What the files themselves say of a row, whatever was decided since."""
        return {
            name: one.value
            for name in state.model.table(table).names
            for one in state.said_of(table, row, name)
            if one.said_by in lineages
        }

    new = [one for one in changes if (one.field, one.after) == (ROW_FIELD, HERE)]
    folder = before.package.folder
    for name in dict.fromkeys(one.table for one in new):
        table = before.package.model.table(name)
        lost = {
            row: said(before.state, name, row)
            for row in before.state.rows[name]
            if is_stated(before.state, name, row) and not is_stated(after.state, name, row)
        }
        rows = [
            row for one in new if one.table == name for row in after.state.names_of(name, one.key)
        ]
        came = [said(after.state, name, row) for row in rows]
        for row, cells in renamed_rows(table, lost, came).items():
            called = next(one for one, its in zip(rows, came, strict=True) if its is cells)
            old, key = before.state.keys[name, row], after.state.keys[name, called]
            yield intake_finding(
                "warning",
                PERHAPS_RENAMED.removeprefix("intake."),
                Place(""),
                f"{name} {old} is not in the newer copy, and {name} {key} there says nearly the "
                "same.",
                "If it is the same under another key, what was corrected and recorded of it is "
                f"kept so: treenail change undo {folder} "
                f"{' or '.join(c[:8] for c in acts.values())}; "
                f'treenail change rename {folder} {name} {old} {key} --why "…"; then import again.',
                table=name,
                key=key,
                value=old,
            )


def about_conflict(one: Conflict, history: History, originals: TableRows) -> Finding:
    """What is said of one thing by several, with who says it and what to do."""
    said = [_said_by(claim, history, originals) for claim in one.claims]
    what = f", {one.field}" if one.field.isidentifier() else ""
    return intake_finding(
        "error",
        "conflict",
        Place(""),
        f"{one.table} {one.key}{what}: {'; '.join(said)}",
        _REMEDIES.get(one.table, _REMEDY),
        table=one.table,
        key=one.key,
        field=one.field if one.field.isidentifier() else "",
        value=one.claims[0].value,
    )


_REMEDY = (
    "Find out which is right, and say so with 'treenail change settle'; if two things have one "
    "number, separate them with 'treenail change split'."
)
_REMEDIES: Mapping[str, str] = {
    "lab_result": "When a laboratory reports again, enter a new result, with the older one under "
    "supersedes_result_id; settle a slip of the pen with 'treenail change settle'."
}


def _said_by(claim: Claim, history: History, originals: TableRows) -> str:
    act = history.acts.get(claim.act)
    by = f" ({act.who})" if act and act.who else ""
    row = originals.get(act.source) if act else None
    name = row["file_name"] if row else "a person" if act else claim.said_by
    place = Place(name, claim.line.sheet, int(claim.line.line or 0), claim.line.column)
    return f'"{claim.value}" by {place}{by}'


def about_refused(
    read: Mapping[str, tuple[str, list[Line]]], history: History
) -> Iterator[Finding]:
    """What the files say that somebody decided otherwise; the decision stands."""
    for (table, row), fields in history.state.claims.items():
        for field, claim in ((field, one) for field, said in fields.items() for one in said):
            if not claim.refused or claim.act not in read or (table, row) not in history.state.keys:
                continue
            key = history.state.keys[table, row]
            name = read[claim.act][0]
            stands = history.state.rows[table].get(row, {}).get(field, "")
            what = (
                f'still says "{claim.value}"; the record has "{stands}", as was decided.'
                if field
                else f"still has {table} {key}, which was removed."
            )
            yield intake_finding(
                "note",
                "decided_otherwise",
                Place(name, claim.line.sheet, int(claim.line.line or 0), claim.line.column),
                f"{what[:1].upper()}{what[1:]}",
                "",
                table=table,
                key=key,
                field=field,
                value=claim.value,
            )


def about_cell(cell: UnreadCell) -> Finding:
    """A cell that could not be read, with what to write instead."""
    message, _, remedy = cell.why.partition("; ")
    if not remedy:
        message, _, remedy = cell.why.partition(". Write ")
        remedy = f"write {remedy}" if remedy else "correct the cell and import the file again"
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


def grouped(findings: Iterable[Finding]) -> list[str]:
    """What findings say, one line for findings that differ in their row only."""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for one in findings:
        row = _ROW.search(one.origin)
        key = (_ROW.sub(", row …", one.origin, count=1), one.message, one.remedy)
        groups.setdefault(key, []).append(row[1] if row else "")
    lines = []
    for (origin, message, remedy), rows in groups.items():
        # one cell may be meant for several tables
        each = list(dict.fromkeys(rows))
        several = f"rows {', '.join(each[:8])}{' …' if len(each) > 8 else ''} ({len(each)} cells)"
        where = origin.replace("row …", f"row {each[0]}" if len(each) == 1 else several)
        lines.append(f"{where}{': ' * bool(where)}{message.rstrip('.')}. {remedy}".rstrip())
    return lines
