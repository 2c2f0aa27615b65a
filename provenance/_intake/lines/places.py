"""Names the place in a received file that a value or a finding comes from."""

from __future__ import annotations

from dataclasses import dataclass, replace

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
