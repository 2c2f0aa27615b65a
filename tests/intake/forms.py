"""Small forms of an invented crew, written by libraries that the readers do not use."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import openpyxl

from provenance._intake.importing import ImportResult, import_exports
from provenance._intake.mapping.mapping_file import read_mapping
from provenance._record.package import Package

NOON = datetime(2031, 5, 4, 12, 0, tzinfo=UTC)

TIMBERS = """
title: Timber sheets of the north crew (invented)
dates: {formats: [D/M/YY], century_pivot: 2000}
units: in
missing: ["", "-", "n/a"]
sources:
  - files: "timbers*"
    columns_left_out: [Page]
    rows:
      - table: element
        when: Use
        values: {site_id: HOLL}
        fields:
          element_id: {template: "{House}-{Timber no}"}
          function: {column: Use, synonyms: {big beam: main_beam}}
          length_m: {column: Length, unit: ft-in}
          diameter_a1_cm: {column: Dia A}
          tool_marks: {column: Tools, split: "[,/+]"}
          sampled: {column: Sampled}
          recorded_on: {column: Date}
          notes: {column: Remarks}
      - table: sample
        when: FS no
        values: {site_id: HOLL, kind: core}
        fields:
          sample_id: {column: FS no}
          element_id: {template: "{House}-{Timber no}"}
          bore_mm: {column: Bit}
          collected_on: {column: Date}
          collected_by: {column: By}
"""
HEADINGS = (
    "Page", "House", "Timber no", "Use", "Length", "Dia A", "Tools", "Sampled", "Date", "By",
    "FS no", "Bit", "Remarks",
)  # fmt: skip
BEAM = {
    "Page": "1",
    "House": "B1",
    "Timber no": "014",
    "Use": "big beam",
    "Length": "13' 9 3/8\"",
    "Dia A": "8 5/8",
    "Tools": "adze, broad axe",
    "Sampled": "yes",
    "Date": "4/6/24",
    "By": "MB",
    "FS no": "231",
    "Bit": "1/2",
    "Remarks": "",
}


def a_line(**cells: Any) -> dict[str, Any]:
    """The sound line of a beam with some cells changed; blanks of headings as underscores."""
    return BEAM | {name.replace("_", " "): value for name, value in cells.items()}


def write_csv(
    path: Path, lines: Sequence[dict[str, Any]], headings: Sequence[str] = HEADINGS, **dialect: Any
) -> Path:
    """A text table with these lines."""
    encoding = dialect.pop("encoding", "utf-8")
    with open(path, "w", encoding=encoding, newline="") as stream:
        writer = csv.writer(stream, **dialect)
        writer.writerow(headings)
        writer.writerows([line.get(one, "") for one in headings] for line in lines)
    return path


def write_xlsx(
    path: Path,
    lines: Sequence[dict[str, Any]],
    headings: Sequence[str] = HEADINGS,
    sheet: str = "Timbers",
    change: Any = None,
) -> Path:
    """A workbook with these lines; `change` may do more to book and sheet before it is saved."""
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.title = sheet
    page.append(list(headings))
    for line in lines:
        page.append([line.get(one) or None for one in headings])
    if change is not None:
        change(book, page)
    book.save(path)
    return path


def bring_in(
    package: Package, *files: Path, mapping: str | None = TIMBERS, **options: Any
) -> ImportResult:
    """Import files through a mapping given as text."""
    rules = None
    if mapping is not None:
        path = package.folder.parent / "mapping.yaml"
        path.write_text(mapping, "utf-8")
        rules = read_mapping(path, package.model)
    return import_exports(package, files, rules, **({"when": NOON} | options))


def content_of(folder: Path) -> dict[str, bytes]:
    """Every file of a package with its bytes, but for the lock."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != ".lock"
    }


def one_row(package: Package, table: str, key: str) -> dict[str, str]:
    """The row with a key, filled cells only."""
    frame = package.table(table)
    column = package.model.table(table).primary_key[0]
    (row,) = frame[frame[column] == key].to_dict("records")
    return {str(name): text for name, text in row.items() if text}
