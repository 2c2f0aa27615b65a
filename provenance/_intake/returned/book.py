"""Reads what a filled workbook has besides its values: the state it left with, names of rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from provenance._history.projection import key_field
from provenance._intake.files.received import ReceivedFile, ReceivedSheet, shown
from provenance._intake.lines.headings import headings_of
from provenance._intake.mapping.mapping import FormMapping, SourceRule
from provenance._intake.mapping.workbook_marker import Left, left_of
from provenance._model.schema import Model


@dataclass(frozen=True)
class ReturnedSheet:
    """One sheet: the headings of its columns by field, and what is found by line number.

    `keys` has the text of the key for every line on which anything stands, `names` the names of
    rows; None where the hidden column was taken out.
    """

    name: str
    table: str
    headings: Mapping[str, str]
    keys: Mapping[int, str]
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
    received: ReceivedFile, mapping: FormMapping, model: Model, file_name: str
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
        key = key_field(model.table(rule.table))
        if left.sheets[rule.table] != name:
            renamed[name] = left.sheets[rule.table]
        sheets.append(_returned_sheet(received.sheet(name), name, source, key, left.row_column))
    return ReturnedBook(left, tuple(sheets), renamed, tuple(missing))


def _returned_sheet(
    sheet: ReceivedSheet, name: str, source: SourceRule, key: str, row_column: str
) -> ReturnedSheet:
    places: dict[str, int] = {}
    headings: dict[str, str] = {}
    keys: dict[int, str] = {}
    names: dict[int, str] | None = None
    named_at: int | None = None
    for number, row in sheet.rows():
        if number < source.header_row:
            continue
        if number == source.header_row:
            there = headings_of(row)
            for one in source.rows[0].fields:
                if (spot := there.place_of(one.columns[0])) is not None:
                    places[one.name], headings[one.name] = spot, one.columns[0]
            named_at = there.place_of(row_column)
            names = None if named_at is None else {}
            continue
        texts = {one: shown(row[spot]).strip() for one, spot in places.items() if spot < len(row)}
        if any(texts.values()):
            keys[number] = texts.get(key, "")
        if names is not None and named_at is not None and named_at < len(row):
            names[number] = shown(row[named_at]).strip()
    return ReturnedSheet(name, source.rows[0].table, headings, keys, names)
