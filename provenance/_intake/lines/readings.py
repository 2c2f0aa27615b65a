"""What reading a sheet gives: rows, cells that could not be read, and where each of them stood."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from provenance._base.findings import Finding


@dataclass(frozen=True, slots=True)
class Place:
    """A file, and as far as known the sheet, the row as a spreadsheet counts it, the heading."""

    file_name: str
    sheet: str = ""
    row: int = 0
    column: str = ""

    def at(self, row: int, column: str = "") -> Place:
        """A place in the same sheet."""
        return replace(self, row=row, column=column)

    def __str__(self) -> str:
        """As people say it.

        >>> str(Place("timbers.xlsx", "Timbers", 14, "Dia A"))
        "timbers.xlsx, sheet 'Timbers', row 14, column 'Dia A'"
        """
        parts = [self.file_name]
        if self.sheet:
            parts.append(f"sheet '{self.sheet}'")
        if self.row:
            parts.append(f"row {self.row}")
        if self.column:
            parts.append(f"column '{self.column}'")
        return ", ".join(parts)


def intake_finding(
    severity: str,
    rule: str,
    place: Place,
    message: str,
    remedy: str,
    *,
    table: str = "",
    key: str = "",
    field: str = "",
    value: str = "",
) -> Finding:
    """A finding about a received file; the row of the record is filled in when it is written."""
    return Finding(
        severity=severity,
        rule=f"intake.{rule}",
        table=table,
        row=0,
        key=key,
        field=field,
        value=value,
        message=message,
        remedy=remedy,
        origin=str(place),
    )


@dataclass(frozen=True, slots=True)
class ReadRow:
    """One row meant for one table: filled fields only; `headings` say where each field stands.

    `written` has the text of the cells as it was written, where the value says it otherwise.
    """

    table: str
    key: str
    values: Mapping[str, str]
    headings: Mapping[str, str]
    place: Place
    written: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class UnreadCell:
    """A cell whose text could not become a value; `why` says what to write instead.

    `key` is '' when the row itself could not be told; `rule` is the finding's: 'cell_unread',
    'conflict' (another line says otherwise) or 'not_overwritten'.
    """

    table: str
    key: str
    field: str
    text: str
    why: str
    place: Place
    rule: str = "cell_unread"


@dataclass
class SheetReading:
    """All that one sheet gave; `tables` are those that its rules fill."""

    place: Place
    tables: frozenset[str]
    rows: list[ReadRow] = field(default_factory=list)
    unread: list[UnreadCell] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    lines: int = 0
    spacers: int = 0
