"""Sound field files to be damaged, written by libraries that the readers do not use."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

from tests.builders import pack_bundle
from tests.bundle.conftest import a_full_package
from tests.intake.forms import HEADINGS, TIMBERS, a_line, write_csv, write_xlsx

LINES = [a_line(), a_line(Timber_no="015", FS_no="232", Remarks="two, by the door")]


def _more_of_a_workbook(book: Any, page: Any) -> None:
    page.append([None, "B1", "016", "=C2", 4.5])
    page.merge_cells("A4:A5")
    page.row_dimensions[5].hidden = True
    page.column_dimensions["M"].hidden = True
    book.create_sheet("Key").append(["yes", "adze"])


def write_forms(folder: Path) -> None:
    """One form in each format, and the mapping by which they are read."""
    folder.mkdir()
    (folder / "mapping.yaml").write_text(TIMBERS, encoding="utf-8")
    write_csv(folder / "timbers.csv", LINES)
    write_xlsx(folder / "timbers.xlsx", LINES, change=_more_of_a_workbook)
    document = OpenDocumentSpreadsheet()
    table = Table(name="Timbers")
    for texts in (HEADINGS, *([line.get(one, "") for one in HEADINGS] for line in LINES)):
        row = TableRow(numberrowsrepeated="1")
        for text in texts:
            cell = TableCell(valuetype="string", numbercolumnsrepeated="1")
            cell.addElement(P(text=text))
            row.addElement(cell)
        table.addElement(row)
    document.spreadsheet.addElement(table)
    document.save(folder / "timbers.ods")


def write_seeds(folder: Path) -> None:
    """A sound package, its bundle as folder and as zip, and the forms."""
    folder.mkdir(parents=True)
    package = a_full_package(folder)
    pack_bundle(package, folder / "bundle")
    pack_bundle(package, folder / "bundle.zip", zipped=True)
    write_forms(folder / "forms")
