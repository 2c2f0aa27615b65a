"""Reads a workbook that this project wrote for the crew, which needs no mapping.

Its sheet '_treenail' holds JSON, in column A from the first cell down, that says which column of
which sheet is which field: {"treenail_workbook": 1, "sheets": {"Samples": {"table": "sample",
"header_row": 2, "columns": {"Bore (mm)": "bore_mm"}}}}. A workbook that was filled from a record
also says which state of it left with it: {"left": {"record": "…", "acts": ["…"], "row_column":
"Row"}}, names of acts and the heading of the column that names the rows.
"""

from __future__ import annotations

import glob
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from provenance._base.errors import UnusableInput
from provenance._base.languages import available_languages, catalogue
from provenance._gate.budget import SheetBudget
from provenance._gate.documents import json_from
from provenance._gate.refusal import RefusedInput
from provenance._intake.files.readers import open_received
from provenance._intake.files.received import ReceivedFile, shown
from provenance._intake.mapping.mapping import (
    FieldRule,
    FormMapping,
    ReadingHabits,
    RowsRule,
    SourceRule,
    same_heading,
)
from provenance._intake.values.units import unit_in_heading
from provenance._model.schema import Model

MARKER_SHEET = "_treenail"
VERSION = 1
FOUND = 0.8
"""A sheet under another name is one of ours when it has so many of its headings."""
OWN_SHEETS = (
    MARKER_SHEET,
    *(
        catalogue(language).gettext(name)
        for language in available_languages()
        for name in ("Lists", "How to fill this in")
    ),
)
"""What holds no lines to read, in every language that a workbook may speak."""


def mapping_of_workbook(path: Path, limits: SheetBudget | None = None) -> FormMapping | None:
    """The mapping that a workbook brings along; None for any other file.

    Raises UnusableInput when the workbook was made by a later version, or its marker is damaged.
    """
    with closing(open_received(path, limits=limits)) as received:
        return mapping_of(received, path.name)


@dataclass(frozen=True)
class Left:
    """The state of a record with which a filled workbook left.

    `record` is the act with which the record began, `acts` those that none followed, `row_column`
    the heading above the names of rows, `sheets` what the sheet of each table was called.
    """

    record: str
    acts: tuple[str, ...]
    row_column: str
    sheets: Mapping[str, str]


def mapping_of(received: ReceivedFile, file_name: str) -> FormMapping | None:
    """As `mapping_of_workbook`, of a file that is open; a sheet that was renamed is found."""
    marker = _marker(received, file_name)
    if marker is None:
        return None
    try:
        now = _sheets_now(received, marker["sheets"])
        unread = [marker["left"]["row_column"]] if "left" in marker else []
        sources = tuple(
            _source(file_name, now.get(sheet, sheet), said, unread)
            for sheet, said in marker["sheets"].items()
        )
    except _DAMAGE as error:
        raise _damaged(file_name, error) from None
    return FormMapping(f"Workbook {file_name}", sources)


def left_of(received: ReceivedFile, file_name: str) -> Left | None:
    """The state with which a filled workbook left; None for any other file."""
    marker = _marker(received, file_name)
    if marker is None or "left" not in marker:
        return None
    try:
        left = marker["left"]
        sheets = {str(said["table"]): sheet for sheet, said in marker["sheets"].items()}
        acts = tuple(str(act) for act in left["acts"])
        return Left(str(left["record"]), acts, str(left["row_column"]), sheets)
    except _DAMAGE as error:
        raise _damaged(file_name, error) from None


_DAMAGE = (RefusedInput, KeyError, TypeError, AttributeError)


def _damaged(file_name: str, error: Exception) -> UnusableInput:
    return UnusableInput(
        f"{file_name}: its hidden sheet '{MARKER_SHEET}' is damaged ({error}); copy the lines "
        "into a fresh workbook, or read it with a mapping"
    )


def _marker(received: ReceivedFile, file_name: str) -> dict[str, Any] | None:
    if MARKER_SHEET not in received.sheet_names:
        return None
    cells = [str(row[0] or "") for _, row in received.sheet(MARKER_SHEET).rows()]
    try:
        marker: dict[str, Any] = json_from("".join(cells).encode(), file_name)
        version = marker["treenail_workbook"]
    except _DAMAGE as error:
        raise _damaged(file_name, error) from None
    if version != VERSION:
        raise UnusableInput(
            f"{file_name} was made by a later version of this program (workbook {version}); "
            "update the program"
        )
    return marker


def _sheets_now(received: ReceivedFile, sheets: Mapping[str, Any]) -> dict[str, str]:
    """What each sheet is called now; one that was renamed is told by its headings."""
    here = {same_heading(name): name for name in received.sheet_names}
    now = {sheet: here[same_heading(sheet)] for sheet in sheets if same_heading(sheet) in here}
    strange = [name for name in received.sheet_names if name not in {*now.values(), *OWN_SHEETS}]
    for sheet, said in sheets.items():
        if sheet in now:
            continue
        wanted = {same_heading(one) for one in said["columns"]}
        for name in strange:
            if len(wanted & _headings(received, name, said["header_row"])) >= FOUND * len(wanted):
                now[sheet] = name
                strange.remove(name)
                break
    return now


def _headings(received: ReceivedFile, sheet: str, header_row: int) -> set[str]:
    for number, row in received.sheet(sheet).rows():
        if number >= header_row:
            return {same_heading(shown(one)) for one in row} if number == header_row else set()
    return set()


def _source(file_name: str, sheet: str, said: dict[str, Any], unread: list[str]) -> SourceRule:
    fields = tuple(
        FieldRule(
            str(field),
            "column",
            (str(heading),),
            habits=ReadingHabits(unit=unit_in_heading(str(heading)) or None),
        )
        for heading, field in said["columns"].items()
    )
    return SourceRule(
        files=(glob.escape(file_name.casefold()),),
        rows=(RowsRule(str(said["table"]), fields),),
        sheets=(sheet,),
        header_row=int(said["header_row"]),
        left_out=tuple(unread),
        may_lack=True,
    )


def own_sheets(received: ReceivedFile) -> frozenset[str]:
    """The sheets of our workbook that hold no lines to read; none in any other file."""
    mine = MARKER_SHEET in received.sheet_names
    return frozenset(OWN_SHEETS) & set(received.sheet_names) if mine else frozenset()


def refuse_foreign_fields(mapping: FormMapping, model: Model, file_name: str) -> None:
    """Raise UnusableInput when the workbook was made for fields that the package does not have."""
    for source in mapping.sources:
        for rule in source.rows:
            table = model.tables.get(rule.table)
            foreign = (
                [rule.table]
                if table is None or table.role != "record"
                else [f"{rule.table}.{one.name}" for one in rule.fields if one.name not in table]
            )
            if foreign:
                raise UnusableInput(
                    f"{file_name} was made for another profile: this package has no "
                    f"{', '.join(foreign)}; fit the package to that profile, or use a workbook of "
                    "this package"
                )
