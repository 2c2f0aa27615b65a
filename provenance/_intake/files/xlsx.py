"""Reads sheets of Office Open XML workbooks (.xlsx, .xlsm): cells by openpyxl, row after row.

openpyxl's row-by-row mode does not tell which cells are formulas, merged or hidden, so one pass
over the sheet's XML finds that out first (ECMA-376 Part 1, chapter 18.3).
"""

from __future__ import annotations

import posixpath
import re
import struct
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal
from xml.parsers import expat

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
    column_letters,
)

CHUNK_BYTES = 1 << 18
_PICTURES = ("xl/media/", "Pictures/")
DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    expat.ExpatError,
    EOFError,
    KeyError,
    NotImplementedError,
    OSError,
    OverflowError,
    RuntimeError,
    ValueError,
    struct.error,
)
"""What reading a part of a damaged archive raises (found by damaging some at random)."""
HAS_COMMENTS = "has comments on cells, which are not read; look at the original"
# '# ?/?', '# ??/16', '?/8': what a spreadsheet puts on a cell in which somebody types 9 1/4
_FRACTION_FORMAT = re.compile(r"[?#0]/[?#0-9]")
SAVE_ANEW = "open it in a spreadsheet program and save it again as .xlsx"


class XlsxBook:
    """A workbook; implements ReceivedFile."""

    def __init__(self, path: Path, limits: SheetBudget) -> None:
        """Open it; raises UnusableInput when it is damaged or unpacks to more than `limits`."""
        import openpyxl

        self._path = path
        self._limits = limits
        # as a stream: openpyxl goes by the ending of a name, we go by what is in the file
        self._stream = open(path, "rb")  # noqa: SIM115 - closed with the book
        try:
            with zipfile.ZipFile(self._stream) as archive:
                refuse_oversized(path, archive, limits)
                names = archive.namelist()
            with warnings.catch_warnings():
                # what openpyxl warns of (charts, list checks it drops) does not touch the cells
                warnings.simplefilter("ignore")
                self._book: Any = openpyxl.load_workbook(
                    self._stream, read_only=True, data_only=True, keep_links=False
                )
        except UnusableInput:
            self._stream.close()
            raise
        except Exception as error:  # openpyxl raises whatever a damaged part leads to
            self._stream.close()
            raise UnusableInput(_damaged(path, error)) from error
        sheets = self._book.worksheets
        self._sheets = {str(sheet.title): sheet for sheet in sheets}
        self._epoch: Literal[1900, 1904] = 1904 if self._book.epoch.year == 1904 else 1900
        noted = any(name.startswith(("xl/comments", "xl/threadedComments")) for name in names)
        self.remarks = (HAS_COMMENTS,) if noted else ()

    @property
    def sheet_names(self) -> tuple[str, ...]:
        """The sheets with cells, in their order, hidden ones too."""
        return tuple(self._sheets)

    def close(self) -> None:
        """Let go of the file."""
        self._book.close()
        self._stream.close()

    def sheet(self, name: str) -> _XlsxSheet:
        """The sheet of that name; raises KeyError when there is none."""
        return _XlsxSheet(self._path, self._sheets[name], self._epoch, self._limits)


@dataclass
class _XlsxSheet:
    """One sheet; implements ReceivedSheet."""

    _path: Path
    _sheet: Any
    _epoch: Literal[1900, 1904]
    _limits: SheetBudget
    _facts: SheetFacts | None = None

    @property
    def where(self) -> str:
        return f"{self._path.name}, sheet '{self._sheet.title}'"

    def facts(self) -> SheetFacts:
        """Merged and hidden cells, formulas and the last row."""
        if self._facts is None:
            self._facts = self._scanned()
        return self._facts

    def rows(self) -> Iterator[Row]:
        """Every row that holds anything, from the top."""
        formulas = self.facts().formulas
        # the stated size of a sheet may be wrong, and cells beyond it would be lost
        self._sheet.reset_dimensions()
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # a day number that is no day becomes an error cell
                width = 0
                for number, cells in enumerate(self._sheet.iter_rows(), start=1):
                    width += len(cells)
                    if width > 4 * self._limits.cells:
                        raise UnusableInput(
                            f"{self.where} has cells too far apart to be read; delete what is "
                            "far to the right of the table"
                        )
                    row = [_value(number, cell, formulas) for cell in cells]
                    while row and row[-1] is None:
                        row.pop()
                    if len(row) > self._limits.columns:
                        raise UnusableInput(
                            f"{self.where}, row {number} has something in column "
                            f"{column_letters(len(row))}; {self._limits.columns:,} columns are "
                            "read at most. Delete what is not part of the table"
                        )
                    if row:
                        yield number, row
        except UnusableInput:
            raise
        except Exception as error:
            raise UnusableInput(_damaged(self._path, error, self.where)) from error

    def _scanned(self) -> SheetFacts:
        visible = self._sheet.sheet_state == "visible"
        facts = SheetFacts(str(self._sheet.title), visible, epoch=self._epoch)
        place = self._sheet._worksheet_path  # the only way from a sheet to its part of the file
        try:
            with zipfile.ZipFile(self._path) as archive, archive.open(place) as part:
                for _ in parse_xml(part, _SheetHandler(facts, self._limits, self.where)):
                    pass
        except DAMAGE as error:
            raise UnusableInput(_damaged(self._path, error, self.where)) from error
        return facts


@dataclass
class _SheetHandler:
    """Takes down what a sheet's XML says of itself; calls come from expat."""

    facts: SheetFacts
    limits: SheetBudget
    where: str
    row: int = 0
    column: int = 0
    cells: int = 0
    text: list[str] | None = None

    def start(self, name: str, attributes: dict[str, str]) -> None:
        facts = self.facts
        if name == "c":
            reference = attributes.get("r")
            if reference:
                self.row, self.column = self._place(reference)
            else:
                self.column += 1
            self.cells += 1
            if self.cells > self.limits.cells:
                raise UnusableInput(
                    f"{self.where} has more than {self.limits.cells:,} cells; field forms have far "
                    "fewer. Delete formatted but empty rows, or hand it in as several files"
                )
        elif name == "f":
            self.text = []
        elif name == "row":
            number = attributes.get("r")
            self.row, self.column = (int(number) if number else self.row + 1), 0
            self._keep_inside(self.row, 1)
            facts.last_row = max(facts.last_row, self.row)
            if attributes.get("hidden") in ("1", "true"):
                facts.hidden_rows.add(self.row)
        elif name == "mergeCell":
            first, _, last = attributes["ref"].partition(":")
            facts.merged.append(Area(*self._place(first), *self._place(last or first)))
        elif name == "col" and attributes.get("hidden") in ("1", "true"):
            last_column = min(int(attributes["max"]), self.limits.last_column)
            facts.hidden_columns.update(range(int(attributes["min"]), last_column + 1))

    def _place(self, reference: str) -> tuple[int, int]:
        row, column = _row_and_column(reference)
        self._keep_inside(row, column)
        return row, column

    def _keep_inside(self, row: int, column: int) -> None:
        """A place that no sheet has would be reached by counting up to it."""
        if not (1 <= row <= self.limits.rows and 1 <= column <= self.limits.last_column):
            raise UnusableInput(
                f"{self.where} has a cell in row {row:,}, column {column:,}, which no spreadsheet "
                f"has; {SAVE_ANEW}"
            )

    def end(self, name: str) -> None:
        if name == "f" and self.text is not None:
            self.facts.formulas[self.row, self.column] = "=" + "".join(self.text)
            self.text = None

    def data(self, text: str) -> None:
        if self.text is not None:
            self.text.append(text)


def parse_xml(part: Any, handler: Any) -> Iterator[None]:
    """Send a part of an archive through expat to `handler`, piece by piece as it is iterated.

    Names come without their namespace. Raises ExpatError when it is no XML, and ValueError when it
    brings a document type, which office files never have and which is how they are made to explode.
    """

    def refuse(*_: Any) -> None:
        raise ValueError("it has a document type declaration, which no office program writes")

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = refuse
    parser.StartElementHandler = lambda name, attributes: handler.start(
        name.rpartition(" ")[2], {key.rpartition(" ")[2]: text for key, text in attributes.items()}
    )
    parser.EndElementHandler = lambda name: handler.end(name.rpartition(" ")[2])
    parser.CharacterDataHandler = handler.data
    while chunk := part.read(CHUNK_BYTES):
        parser.Parse(chunk, False)
        yield
    parser.Parse(b"", True)


def refuse_oversized(path: Path, archive: zipfile.ZipFile, limits: SheetBudget) -> None:
    """Raise UnusableInput when the parts without pictures unpack to more than is allowed.

    Any of them may be read: links between the parts say which. The archive's own list of sizes is
    trusted: zipfile reads no byte beyond it.
    """
    size = sum(
        one.file_size
        for one in archive.infolist()
        if not posixpath.normpath(one.filename).startswith(_PICTURES)
    )
    if size > limits.unpacked_bytes:
        raise UnusableInput(
            f"{path.name} unpacks to {size / (1 << 20):,.0f} MB of cells; up to "
            f"{limits.unpacked_bytes / (1 << 20):,.0f} MB are read, and field forms have far less. "
            "If it is the right file, delete formatted but empty rows or hand in several files"
        )


def _row_and_column(reference: str) -> tuple[int, int]:
    column = 0
    place = 0
    for place, sign in enumerate(reference):  # noqa: B007 - where the letters end
        if not "A" <= sign <= "Z":
            break
        column = column * 26 + ord(sign) - ord("A") + 1
    return int(reference[place:]), column


def _value(row: int, cell: Any, formulas: Mapping[tuple[int, int], str]) -> CellValue:
    value: CellValue = cell.value
    if value is None:
        if formulas and (place := (row, getattr(cell, "column", 0))) in formulas:
            return UncachedFormula(formulas[place])
        return None
    if cell.data_type == "e":
        return ErrorCell(str(value))
    if isinstance(value, str):
        text = value.replace("\r\n", "\n").replace("\r", "\n").strip()
        return text or None
    if isinstance(value, float) and _FRACTION_FORMAT.search(cell.number_format):
        return FractionCell(value)
    return value


def _damaged(path: Path, error: Exception, where: str = "") -> str:
    return f"{where or path.name} cannot be read ({error}); {SAVE_ANEW}"
