"""Writes down where custody events were read from, and which cells still wait for somebody."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from provenance._history.acts import short_code
from provenance._intake.lines.readings import ReadRow, UnreadCell
from provenance._intake.originals import KeptFile
from provenance._intake.table_rows import TableRows

Files = Mapping[str, KeptFile]
"""File name → the received file."""


def note_events(origin: TableRows, rows: Iterable[ReadRow], files: Files) -> None:
    """Note file, sheet and line of custody events; of all else the acts know."""
    for read in rows:
        values = {
            "table_name": read.table,
            "row_key": read.key,
            "original_id": files[read.place.file_name].original_id,
            "sheet": read.place.sheet,
            "line": str(read.place.row),
        }
        if origin.get(origin.table.key_of(values)) is None:
            origin.add({**values, "still_there": "true"})


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
    for cell in cells:
        same = older[cell.place.file_name].get(_identity(cell), [])
        left = [one for one in same if id(one) not in found]
        on_line = [one for one in left if one["line"] == str(cell.place.row)]
        if left:
            row = (on_line or left)[0]
        else:
            kept = files[cell.place.file_name]
            row = unread.add(_as_row(cell, kept.original_id, unread))
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


def _as_row(cell: UnreadCell, original_id: str, unread: TableRows) -> dict[str, str]:
    # the same cell of the same file has one code on every computer
    what = (original_id, str(cell.place.row), *_identity(cell))
    code, number = short_code("U", *what), 1
    while unread.get(code) is not None:
        number += 1
        code = short_code("U", *what, str(number))
    return {
        "unread_id": code,
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
