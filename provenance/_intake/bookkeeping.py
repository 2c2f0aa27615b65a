"""Writes down where every row was read from, and which cells still wait for somebody."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from provenance._base.findings import Finding
from provenance._intake.lines.readings import Place, ReadRow, UnreadCell, intake_finding
from provenance._intake.merging import TableRows
from provenance._intake.originals import KeptFile

Files = Mapping[str, KeptFile]
"""File name → the received file."""


def note_origins(
    origin: TableRows,
    rows: Iterable[ReadRow],
    files: Files,
    scopes: Mapping[tuple[str, str], frozenset[str]],
) -> list[Finding]:
    """Note file, sheet and line of every row, and which rows a newer copy no longer has.

    `scopes` are the sheets that were read, (file name, sheet) → tables read from it; rows of other
    sheets and tables are left as they are. Returns a finding for each row that is newly gone.
    """
    here: dict[tuple[str, str], set[tuple[str, str]]] = defaultdict(set)
    for read in rows:
        place = read.place
        kept = files[place.file_name]
        here[place.file_name, place.sheet].add((read.table, read.key))
        values = {
            "table_name": read.table,
            "row_key": read.key,
            "original_id": kept.original_id,
            "sheet": place.sheet,
            "line": str(place.row),
        }
        row = origin.get(origin.table.key_of(values))
        if row is None:
            origin.add({**values, "still_there": "true"})
        else:
            origin.put(row, "still_there", "true")
    return _rows_gone(origin, here, files, scopes)


def _rows_gone(
    origin: TableRows,
    here: Mapping[tuple[str, str], set[tuple[str, str]]],
    files: Files,
    scopes: Mapping[tuple[str, str], frozenset[str]],
) -> list[Finding]:
    by_original: dict[str, list[KeptFile]] = defaultdict(list)
    for kept in files.values():
        for original_id in kept.lineage:
            by_original[original_id].append(kept)
    findings = []
    for row in list(origin):
        for kept in by_original.get(row["original_id"], ()):
            sheet = (kept.name, row["sheet"])
            if row["table_name"] not in scopes.get(sheet, ()):
                continue
            there = (row["table_name"], row["row_key"]) in here.get(sheet, ())
            if there or row["still_there"] == "false":
                if there and row["original_id"] != kept.original_id:
                    origin.put(row, "still_there", "true")
                continue
            origin.put(row, "still_there", "false")
            findings.append(_gone(row, kept))
    return findings


def _gone(row: Mapping[str, str], kept: KeptFile) -> Finding:
    what = f"{row['table_name']} {row['row_key']}"
    if row["original_id"] == kept.original_id:
        how = f"was read from row {row['line']} before, and is no longer with this mapping"
    else:
        how = f"was read from row {row['line']} of {row['original_id']}; this copy has it no more"
    return intake_finding(
        "warning",
        "line_gone",
        Place(kept.name, row["sheet"]),
        f"{what} {how}. It is kept.",
        "Ask the crew whether it was dropped on purpose or got another code; if so, take the row "
        "out of the record.",
        table=row["table_name"],
        key=row["row_key"],
        value=row["row_key"],
    )


@dataclass(frozen=True)
class KeptUnread:
    """The cells of this import that still wait, and how many older ones it settled."""

    waiting: list[UnreadCell]
    settled: int


_Identity = tuple[str, ...]


def keep_unread(
    unread: TableRows,
    cells: list[UnreadCell],
    rows: Iterable[ReadRow],
    files: Files,
    day: str,
) -> KeptUnread:
    """Keep the text of every cell that could not be read, once, and settle what can be read now.

    A cell that stands in the table already, from this file or an older copy of it, is not kept a
    second time; if a person has settled it there, it no longer waits.
    """
    older: dict[str, dict[_Identity, list[dict[str, str]]]] = {}
    for name, kept in files.items():
        mine: dict[_Identity, list[dict[str, str]]] = defaultdict(list)
        for row in unread:
            if row["original_id"] in kept.lineage:
                mine[_identity_of(row)].append(row)
        older[name] = mine
    waiting: list[UnreadCell] = []
    found: set[int] = set()
    by_field: dict[tuple[str, str, str, str], str] = {}
    number = max((int(n) for row in unread if (n := row["unread_id"][2:]).isdigit()), default=0)
    for cell in cells:
        same = older[cell.place.file_name].get(_identity(cell), [])
        left = [one for one in same if id(one) not in found]
        on_line = [one for one in left if one["line"] == str(cell.place.row)]
        if left:
            row = (on_line or left)[0]
        else:
            number += 1
            kept = files[cell.place.file_name]
            row = unread.add(_as_row(cell, kept.original_id, f"U-{number}"))
        found.add(id(row))
        if not row["settled"]:
            waiting.append(cell)
        if cell.key:
            by_field[cell.place.file_name, cell.table, cell.key, cell.field] = row["unread_id"]
    settled = _settle(unread, found, by_field, rows, files, day)
    return KeptUnread(waiting, settled)


def _identity(cell: UnreadCell) -> _Identity:
    return (cell.place.sheet, cell.place.column, cell.table, cell.key, cell.field, cell.text)


def _identity_of(row: Mapping[str, str]) -> _Identity:
    names = ("sheet", "column", "table_name", "row_key", "field", "cell_text")
    return tuple(row[name] for name in names)


def _as_row(cell: UnreadCell, original_id: str, unread_id: str) -> dict[str, str]:
    return {
        "unread_id": unread_id,
        "original_id": original_id,
        "sheet": cell.place.sheet,
        "line": str(cell.place.row),
        "column": cell.place.column,
        "cell_text": cell.text,
        "table_name": cell.table,
        "row_key": cell.key,
        "field": cell.field,
        "why": cell.why,
    }


def _settle(
    unread: TableRows,
    found: set[int],
    by_field: Mapping[tuple[str, str, str, str], str],
    rows: Iterable[ReadRow],
    files: Files,
    day: str,
) -> int:
    """Say of older cells that they are read now, or that a newer text has taken their place."""
    open_rows = [row for row in unread if not row["settled"] and id(row) not in found]
    if not open_rows:
        return 0
    by_key: dict[tuple[str, str, str], str] = {}
    by_line: dict[tuple[str, str, int, str], dict[str, str]] = defaultdict(dict)
    for read in rows:
        by_key.setdefault((read.place.file_name, read.table, read.key), "")
        for name, value in read.values.items():
            by_key[(read.place.file_name, read.table, f"{read.key}\0{name}")] = value
            line = (read.place.file_name, read.place.sheet, read.place.row, read.table)
            by_line[line][name] = value
    count = 0
    for row in open_rows:
        for name, kept in files.items():
            if row["original_id"] not in kept.lineage:
                continue
            field = row["field"]
            if row["row_key"]:
                value = by_key.get((name, row["table_name"], f"{row['row_key']}\0{field}"), "")
            else:
                line_of = (name, row["sheet"], int(row["line"] or 0), row["table_name"])
                value = by_line.get(line_of, {}).get(field, "")
            newer = by_field.get((name, row["table_name"], row["row_key"], field))
            if value:
                words = f'Read from {kept.original_id} on {day}: "{value}".'
            elif newer:
                words = f"A newer copy ({kept.original_id}) says something else: see {newer}."
            else:
                continue
            unread.put(row, "settled", words)
            count += 1
            break
    return count
