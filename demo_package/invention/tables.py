"""Sheets as plain rows, and the writers that give the same bytes each time."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

import xlsxwriter

Cell = str | int | float | date
INVENTED = "INVENTED demonstration data: no such place, person or laboratory exists"


@dataclass
class Sheet:
    """One sheet of a workbook or one text table: headings and rows by heading.

    `rows` may hold None for a line that the crew left empty. `key` is the heading by which a
    person finds a row again. `title` is the merged line above the headings, `blank_lines` how many
    empty lines stand between the two.
    """

    name: str
    headings: tuple[str, ...]
    rows: list[dict[str, Cell] | None]
    key: str
    title: str = ""
    blank_lines: int = 1

    @property
    def header_row(self) -> int:
        """The line of the headings as a spreadsheet counts it."""
        return 1 if not self.title else 2 + self.blank_lines

    def line_of(self, row: dict[str, Cell]) -> int:
        """The line of a row as a spreadsheet counts it."""
        place = next(place for place, one in enumerate(self.rows) if one is row)
        return self.header_row + 1 + place

    def find(self, key: str) -> dict[str, Cell]:
        """The one row whose key reads so; raises LookupError when there is none or several."""
        found = [row for row in self.rows if row is not None and str(row.get(self.key)) == key]
        if len(found) != 1:
            raise LookupError(f"{self.name}: {len(found)} rows have {self.key} = {key}")
        return found[0]


@dataclass
class Book:
    """A workbook or text file with its look."""

    file_name: str
    sheets: list[Sheet]
    colour: str = "#D9D9D9"
    font: str = "Calibri"
    landscape: bool = True
    delimiter: str = ","
    encoding: str = "utf-8"
    widths: dict[str, int] = field(default_factory=dict)

    def sheet(self, name: str) -> Sheet:
        """The sheet of that name; a text table has one sheet named ''."""
        return next(one for one in self.sheets if one.name == name)


def write_book(book: Book, folder: Path) -> Path:
    """Write a workbook (.xlsx) or a text table (.csv, .tsv)."""
    path = folder / book.file_name
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.suffix == ".xlsx":
        _write_workbook(book, path)
    else:
        path.write_bytes(_text_table(book))
    return path


def _text_table(book: Book) -> bytes:
    (sheet,) = book.sheets
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=book.delimiter, lineterminator="\r\n")
    if sheet.title:
        writer.writerow([sheet.title] + [""] * (len(sheet.headings) - 1))
        for _ in range(sheet.blank_lines):
            writer.writerow([""] * len(sheet.headings))
    writer.writerow(sheet.headings)
    for row in sheet.rows:
        writer.writerow([(row or {}).get(heading, "") for heading in sheet.headings])
    return text.getvalue().encode(book.encoding)


def _write_workbook(book: Book, path: Path) -> None:
    workbook = xlsxwriter.Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False})
    # a fixed date, or the bytes would differ each time
    workbook.set_properties(
        {"title": book.file_name, "comments": INVENTED, "created": datetime(2023, 6, 17)}
    )
    look = {"font_name": book.font, "font_size": 10, "valign": "top"}
    title = workbook.add_format({**look, "bold": True, "font_size": 13})
    head = workbook.add_format(
        {**look, "bold": True, "bg_color": book.colour, "border": 1, "text_wrap": True}
    )
    plain = workbook.add_format({**look, "border": 4})
    wrapped = workbook.add_format({**look, "border": 4, "text_wrap": True})
    day = workbook.add_format({**look, "border": 4, "num_format": "d.m.yyyy", "align": "left"})
    for sheet in book.sheets:
        page = workbook.add_worksheet(sheet.name)
        if sheet.title:
            page.merge_range(0, 0, 0, min(len(sheet.headings), 14) - 1, sheet.title, title)
        top = sheet.header_row - 1
        page.set_row(top, 32)
        for column, heading in enumerate(sheet.headings):
            page.write_string(top, column, heading, head)
            cells = [str(row.get(heading, "")) for row in sheet.rows if row is not None]
            wide = max([len(cell) for cell in cells] + [len(word) for word in heading.split()])
            page.set_column(column, column, book.widths.get(heading, min(max(wide + 2, 6), 40)))
        for place, row in enumerate(sheet.rows, start=top + 1):
            for column, heading in enumerate(sheet.headings):
                value = (row or {}).get(heading, "")
                if isinstance(value, date):
                    page.write_datetime(place, column, datetime(*value.timetuple()[:3]), day)
                elif isinstance(value, int | float):
                    page.write_number(place, column, value, plain)
                elif value and row is not None:
                    page.write_string(place, column, value, wrapped if len(value) > 40 else plain)
                elif row is not None:
                    page.write_blank(place, column, None, plain)
        page.freeze_panes(top + 1, 2)
        if book.landscape:
            page.set_landscape()
        page.set_paper(9)
        if len(sheet.headings) > 20:
            # too wide for one page: print in strips, with the first columns on each
            page.repeat_columns(0, 2)
        else:
            page.fit_to_pages(1, 0)
        page.repeat_rows(top)
        page.set_footer("&L" + INVENTED + "&R&P / &N")
    workbook.close()


def rows_of(sheets: Iterable[Sheet]) -> int:
    """How many filled rows there are."""
    return sum(row is not None for sheet in sheets for row in sheet.rows)
