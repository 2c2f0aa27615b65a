"""Reads what a filled workbook has besides its values: the state it left with, names of rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from provenance._intake.files.received import ReceivedFile, shown
from provenance._intake.lines.headings import headings_of
from provenance._intake.mapping.mapping import FormMapping
from provenance._intake.mapping.workbook_marker import Left, left_of


@dataclass(frozen=True)
class ReturnedSheet:
    """One sheet: the headings of its columns by field, and the row names found, by line number.

    `names` is None where the hidden column was taken out.
    """

    name: str
    table: str
    headings: Mapping[str, str]
    names: Mapping[int, str] | None


@dataclass(frozen=True)
class ReturnedBook:
    """A filled workbook of some record that comes back; `sheets` are those that are still there.

    `renamed` are sheets by what they are called now → as they left, `missing` tables whose sheet
    was taken out.
    """

    left: Left
    sheets: tuple[ReturnedSheet, ...]
    renamed: Mapping[str, str]
    missing: tuple[str, ...]


def returned_book(
    received: ReceivedFile, mapping: FormMapping, file_name: str
) -> ReturnedBook | None:
    """What a filled workbook brings back; None for any other file."""
    left = left_of(received, file_name)
    if left is None:
        return None
    sheets, missing, renamed = [], [], {}
    for source in mapping.sources:
        rule, name = source.rows[0], source.sheets[0]
        if name not in received.sheet_names:
            missing.append(rule.table)
            continue
        if left.sheets[rule.table] != name:
            renamed[name] = left.sheets[rule.table]
        headings: dict[str, str] = {}
        names: dict[int, str] | None = None
        spot: int | None = None
        for number, row in received.sheet(name).rows():
            if number == source.header_row:
                there = headings_of(row)
                for one in rule.fields:
                    if there.place_of(one.columns[0]) is not None:
                        headings[one.name] = one.columns[0]
                spot = there.place_of(left.row_column)
                names = None if spot is None else {}
            elif names is not None and spot is not None and spot < len(row):
                names[number] = shown(row[spot]).strip()
        sheets.append(ReturnedSheet(name, rule.table, headings, names))
    return ReturnedBook(left, tuple(sheets), renamed, tuple(missing))
