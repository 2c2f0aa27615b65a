"""Reads sheets of OpenDocument spreadsheets (.ods), row after row.

A reader of our own, because the libraries at hand either drop error cells and formulas without a
word, or build the whole document in memory, repeated cells included. OpenDocument 1.3 Part 3
(OASIS), chapters 9.1 and 19: names of elements and attributes below are those of the standard.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._gate.budget import SheetBudget
from provenance._intake.files.received import (
    Area,
    CellValue,
    ErrorCell,
    FractionCell,
    Row,
    SheetFacts,
    UncachedFormula,
)
from provenance._intake.files.xlsx import DAMAGE, HAS_COMMENTS, parse_xml, refuse_oversized

CONTENT = "content.xml"
SAVE_ANEW = "open it in a spreadsheet program and save it again as .ods or .xlsx"
_CELLS = ("table-cell", "covered-table-cell")
_DURATION = re.compile(r"P(?:(\d+)D)?T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+(?:\.\d+)?)S)?")


class OdsBook:
    """A spreadsheet document; implements ReceivedFile."""

    def __init__(self, path: Path, limits: SheetBudget) -> None:
        """Read through it once; raises UnusableInput when it is damaged, locked or too large."""
        self._path = path
        self._limits = limits
        try:
            with zipfile.ZipFile(path) as archive:
                refuse_oversized(path, archive, limits)
                if b"encryption-data" in archive.read("META-INF/manifest.xml"):
                    raise UnusableInput(
                        f"{path.name} is locked with a password; save a copy without one"
                    )
        except DAMAGE as error:
            raise UnusableInput(_damaged(path, error)) from error
        first = _Handler(path.name, limits, None)
        for _ in _parsed(path, first):
            pass
        for one in first.sheets:
            one.epoch = 1904 if first.null_date.startswith("1904") else 1900
        self._facts = {one.name: one for one in first.sheets}
        self.remarks = (HAS_COMMENTS,) if first.comments else ()

    @property
    def sheet_names(self) -> tuple[str, ...]:
        """The sheets in their order, hidden ones too."""
        return tuple(self._facts)

    def close(self) -> None:
        """Nothing is held open."""

    def sheet(self, name: str) -> _OdsSheet:
        """The sheet of that name; raises KeyError when there is none."""
        return _OdsSheet(self._path, self._facts[name], self._limits)


@dataclass(frozen=True)
class _OdsSheet:
    """One sheet; implements ReceivedSheet."""

    path: Path
    noted: SheetFacts
    limits: SheetBudget

    def facts(self) -> SheetFacts:
        """Merged and hidden cells, formulas and the last row."""
        return self.noted

    def rows(self) -> Iterator[Row]:
        """Every row that holds anything, from the top."""
        yield from _parsed(self.path, _Handler(self.path.name, self.limits, self.noted.name))


def _parsed(path: Path, handler: _Handler) -> Iterator[Row]:
    """Parse the document in pieces and hand out the rows that each piece completed."""
    try:
        with zipfile.ZipFile(path) as archive, archive.open(CONTENT) as part:
            for _ in parse_xml(part, handler):
                yield from handler.taken_rows()
    except DAMAGE as error:
        raise UnusableInput(_damaged(path, error)) from error
    yield from handler.taken_rows()


class _Handler:
    """Puts cells together from the XML; calls come from expat.

    With `wanted` None it notes the facts of every sheet; otherwise it makes rows of that sheet.
    """

    def __init__(self, file_name: str, limits: SheetBudget, wanted: str | None) -> None:
        self.file_name = file_name
        self.limits = limits
        self.wanted = wanted
        self.sheets: list[SheetFacts] = []
        self.comments = False
        self.null_date = ""
        self._hidden_styles: set[str] = set()
        self._style = ""
        self._sheet: SheetFacts | None = None
        self._in_wanted = False
        self._row = self._row_repeats = 0
        self._column = 0
        self._head_column = 0
        self._values: list[CellValue] = []
        self._cell: dict[str, str] = {}
        self._text: list[str] | None = None
        self._paragraphs = 0
        self._aside = 0  # depth inside of comments and drawings, whose text is not the cell's
        self._done: list[Row] = []
        self._count = 0

    def taken_rows(self) -> list[Row]:
        """The rows that are complete, once each."""
        done, self._done = self._done, []
        return done

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if self._aside or name in ("annotation", "frame", "custom-shape", "shapes"):
            self._aside += 1
            self.comments = self.comments or name == "annotation"
        elif name in _CELLS:
            self._cell = attributes
            self._text, self._paragraphs = [], 0
        elif name == "p" and self._text is not None:
            if self._paragraphs:
                self._text.append("\n")
            self._paragraphs += 1
        elif name in ("s", "tab", "line-break") and self._text is not None:
            blanks = " " * min(int(attributes.get("c", "1")), 1000)
            self._text.append({"s": blanks, "tab": "\t"}.get(name, "\n"))
        elif name == "table-row" and self._sheet is not None:
            self._row_repeats = _repeats(attributes, "rows")
            self._values, self._column = [], 0
            if attributes.get("visibility", "visible") != "visible" and self._row_repeats < 10_000:
                rows = range(self._row + 1, self._row + self._row_repeats + 1)
                self._sheet.hidden_rows.update(rows)
        elif name == "table-column" and self._sheet is not None:
            repeats = min(_repeats(attributes, "columns"), self.limits.last_column)
            if attributes.get("visibility", "visible") != "visible":
                first = self._head_column + 1
                self._sheet.hidden_columns.update(range(first, first + repeats))
            self._head_column += repeats
        else:
            self._start_other(name, attributes)

    def _start_other(self, name: str, attributes: dict[str, str]) -> None:
        if name == "table" and self._sheet is None:
            self._sheet = SheetFacts(
                attributes.get("name", ""),
                visible=attributes.get("style-name", "") not in self._hidden_styles,
            )
            self._in_wanted = self._sheet.name == self.wanted
            self._row = self._head_column = 0
        elif name == "style":
            self._style = attributes.get("name", "")
        elif name == "table-properties" and attributes.get("display") == "false":
            self._hidden_styles.add(self._style)
        elif name == "null-date":
            self.null_date = attributes.get("date-value", "")

    def end(self, name: str) -> None:
        if self._aside:
            self._aside -= 1
        elif name in _CELLS:
            self._end_cell()
        elif name == "table-row" and self._sheet is not None:
            self._end_row()
        elif name == "table" and self._sheet is not None:
            self.sheets.append(self._sheet)
            self._sheet, self._in_wanted = None, False

    def data(self, text: str) -> None:
        if self._text is not None and self._paragraphs and not self._aside:
            self._text.append(text)

    def _end_cell(self) -> None:
        cell, text = self._cell, "".join(self._text or ())
        self._text = None
        repeats = _repeats(cell, "columns")
        first = self._column + 1
        self._column += repeats
        if self._sheet is None:
            return
        value = _value(cell, text.strip())
        if value is None and "number-columns-spanned" not in cell and "formula" not in cell:
            return
        if self.wanted is None:
            self._note(cell, self._row + 1, first)
        elif self._in_wanted:
            self._refuse_too_many(repeats if self._column <= self.limits.columns else 1 << 40)
            self._values.extend([None] * (first - 1 - len(self._values)))
            self._values.extend([value] * repeats)

    def _note(self, cell: dict[str, str], row: int, column: int) -> None:
        assert self._sheet is not None
        if "formula" in cell:
            self._sheet.formulas[row, column] = _formula(cell)
        across = int(cell.get("number-columns-spanned", "1"))
        down = int(cell.get("number-rows-spanned", "1"))
        if across > 1 or down > 1:
            area = Area(row, column, row + down - 1, column + across - 1)
            self._sheet.merged.append(area)
        self._sheet.last_row = row

    def _end_row(self) -> None:
        first = self._row + 1
        self._row += self._row_repeats
        if any(value is not None for value in self._values):
            self._refuse_too_many(len(self._values) * (self._row_repeats - 1))
            for number in range(first, self._row + 1):
                self._done.append((number, list(self._values)))

    def _refuse_too_many(self, more: int) -> None:
        self._count += more
        if self._count > self.limits.cells:
            raise UnusableInput(
                f"{self.file_name}, sheet '{self.wanted}' has more than {self.limits.cells:,} "
                "cells; field forms have far fewer. Delete what is not part of the table"
            )


def _repeats(attributes: dict[str, str], what: str) -> int:
    """How often a row, column or cell stands there, at least once."""
    return max(int(attributes.get(f"number-{what}-repeated", "1")), 1)


def _formula(cell: dict[str, str]) -> str:
    return "=" + cell["formula"].partition("=")[2]


def _value(cell: dict[str, str], text: str) -> CellValue:
    kind = cell.get("value-type", "")
    # both `office:value-type` and LibreOffice's `calcext:value-type` come under this name, in the
    # order of the file; the second one says 'error' where the standard has no word for it
    if kind == "error" or (text.startswith("#") and _is_error(text) and "formula" in cell):
        return ErrorCell(text or "an error")
    if kind in ("float", "percentage", "currency") and "value" in cell:
        number = float(cell["value"])
        if number.is_integer() and abs(number) < 1e15:
            return int(number)
        return FractionCell(number) if re.search(r"[0-9]/[0-9]", text) else number
    if kind == "date" and "date-value" in cell:
        return _moment(cell["date-value"]) or text or None
    if kind == "time" and "time-value" in cell:
        return _duration(cell["time-value"]) or text or None
    if kind == "boolean" and "boolean-value" in cell:
        return cell["boolean-value"] == "true"
    value = text or cell.get("string-value", "").strip()
    if not value and "formula" in cell and not kind:
        return UncachedFormula(_formula(cell))
    return value or None


def _is_error(text: str) -> bool:
    return re.fullmatch(r"#(?:REF|N/A|VALUE|DIV/0|NAME|NULL|NUM)[!?]?", text) is not None


def _moment(text: str) -> date | datetime | None:
    try:
        return datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)
    except ValueError:
        return None


def _duration(text: str) -> time | timedelta | None:
    match = _DURATION.fullmatch(text)
    if match is None:
        return None
    days, hours, minutes = (int(part or 0) for part in match.groups()[:3])
    whole = timedelta(days=days, hours=hours, minutes=minutes, seconds=float(match[4] or 0))
    return (datetime.min + whole).time() if whole < timedelta(days=1) else whole


def _damaged(path: Path, error: Exception) -> str:
    return f"{path.name} cannot be read ({error}); {SAVE_ANEW}"
