"""Reads a workbook that this project wrote for the crew, which needs no mapping.

Its sheet '_treenail' holds JSON, in column A from the first cell down, that says which column of
which sheet is which field: {"treenail_workbook": 1, "sheets": {"Samples": {"table": "sample",
"header_row": 2, "columns": {"Bore (mm)": "bore_mm"}}}}.
"""

from __future__ import annotations

import glob
import json
from contextlib import closing
from pathlib import Path
from typing import Any

from provenance._base.errors import UnusableInput
from provenance._intake.files.readers import open_received
from provenance._intake.files.received import Limits, ReceivedFile
from provenance._intake.mapping.mapping import FieldRule, FormMapping, RowsRule, SourceRule
from provenance._model.schema import Model

MARKER_SHEET = "_treenail"
VERSION = 1
OWN_SHEETS = (MARKER_SHEET, "Lists", "How to fill this in")


def mapping_of_workbook(path: Path, limits: Limits | None = None) -> FormMapping | None:
    """The mapping that a workbook brings along; None for any other file.

    Raises UnusableInput when the workbook was made by a later version, or its marker is damaged.
    """
    with closing(open_received(path, limits=limits)) as received:
        return mapping_of(received, path.name)


def mapping_of(received: ReceivedFile, file_name: str) -> FormMapping | None:
    """As `mapping_of_workbook`, of a file that is open."""
    if MARKER_SHEET not in received.sheet_names:
        return None
    cells = [str(row[0] or "") for _, row in received.sheet(MARKER_SHEET).rows()]
    try:
        marker = json.loads("".join(cells))
        version = marker["treenail_workbook"]
        if version != VERSION:
            raise UnusableInput(
                f"{file_name} was made by a later version of this program (workbook {version}); "
                "update the program"
            )
        sources = tuple(_source(file_name, sheet, said) for sheet, said in marker["sheets"].items())
    except (json.JSONDecodeError, KeyError, TypeError, AttributeError) as error:
        raise UnusableInput(
            f"{file_name}: its hidden sheet '{MARKER_SHEET}' is damaged ({error}); copy the lines "
            "into a fresh workbook, or read it with a mapping"
        ) from None
    return FormMapping(f"Workbook {file_name}", sources)


def _source(file_name: str, sheet: str, said: dict[str, Any]) -> SourceRule:
    fields = tuple(
        FieldRule(str(field), "column", (str(heading),))
        for heading, field in said["columns"].items()
    )
    return SourceRule(
        files=(glob.escape(file_name.casefold()),),
        rows=(RowsRule(str(said["table"]), fields),),
        sheets=(sheet,),
        header_row=int(said["header_row"]),
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
