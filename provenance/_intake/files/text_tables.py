"""Reads tables kept as text: comma, semicolon, tab or bar between the cells, quoted or not.

Rows are counted as a spreadsheet counts them: a quoted line break does not start a new row, an
empty line is a row (RFC 4180 for the quoting; what else is understood is common practice).
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._gate.budget import SheetBudget
from provenance._intake.files.encodings import find_encoding
from provenance._intake.files.received import CellValue, Row, SheetFacts, TextHabits

DELIMITERS = (",", ";", "\t", "|")
SAMPLE_CHARACTERS = 256 << 10
SAMPLE_ROWS = 200
LONGEST_CELL = 1 << 20
_SEPARATOR_LINE = re.compile(r"sep=(.)\r?\n?")


@dataclass(frozen=True)
class _Dialect:
    delimiter: str
    quote: str = '"'
    escape: str | None = None

    def reader(self, lines: Iterator[str]) -> Iterator[list[str]]:
        return csv.reader(
            lines,
            delimiter=self.delimiter,
            quotechar=self.quote,
            escapechar=self.escape,
            doublequote=self.escape is None,
            strict=False,
        )


class TextTable:
    """A text file as its one sheet, named ''; implements ReceivedFile and ReceivedSheet."""

    def __init__(self, path: Path, habits: TextHabits, limits: SheetBudget) -> None:
        """Find out encoding and dialect.

        Raises UnusableInput for a file that is too large, no text, or in an encoding that does
        not exist.
        """
        self._path = path
        self._limits = limits
        size = path.stat().st_size
        if size > limits.text_bytes:
            raise UnusableInput(
                f"{path.name} has {size / (1 << 20):.0f} MB; a text table is read up to "
                f"{limits.text_bytes / (1 << 20):.0f} MB, and field forms have far less. Check "
                "that it is the right file; if it is, hand it in as several files"
            )
        self._encoding, remark = self._find_encoding(habits)
        self.remarks = (remark,) if remark else ()
        sample = self._sample()
        self._marked = _SEPARATOR_LINE.match(sample)
        self._dialect = _find_dialect(sample, path.suffix.lower(), habits, self._marked)

    @property
    def sheet_names(self) -> tuple[str, ...]:
        """A text file has one sheet without a name."""
        return ("",)

    def close(self) -> None:
        """Nothing is held open."""

    def sheet(self, name: str) -> TextTable:
        """The file itself."""
        return self

    def facts(self) -> SheetFacts:
        """Only how far it goes: a text file has no formulas, no merged and no hidden cells."""
        with open(self._path, "rb") as stream:
            lines = sum(chunk.count(b"\n") for chunk in iter(lambda: stream.read(1 << 20), b""))
        return SheetFacts("", last_row=lines + 1)

    def rows(self) -> Iterator[Row]:
        """Every row that holds anything; raises UnusableInput for a quote that is never closed."""
        with open(self._path, encoding=self._encoding, newline="") as stream:
            if self._marked:
                stream.readline()
            reader = self._dialect.reader(_whole_lines(stream))
            cells = 0
            number = 0
            while True:
                try:
                    texts = next(reader, None)
                except csv.Error as error:
                    raise UnusableInput(
                        f"{self._path.name}, row {number + 1}: {error}; most likely a quotation "
                        f"mark ({self._dialect.quote}) is opened there and never closed"
                    ) from None
                except UnicodeDecodeError as error:
                    raise UnusableInput(
                        f"{self._path.name} is not {self._encoding} throughout (near row "
                        f"{number + 1}: {error.reason}); name the right encoding in the mapping"
                    ) from None
                if texts is None:
                    return
                number += 1
                cells += len(texts)
                self._keep_within(number, texts, cells)
                if any(text and not text.isspace() for text in texts):
                    row: list[CellValue] = [_cleaned(text) for text in texts]
                    yield number, row

    def _keep_within(self, number: int, texts: list[str], cells: int) -> None:
        where = f"{self._path.name}, row {number}"
        if len(texts) > self._limits.columns or cells > self._limits.cells:
            raise UnusableInput(
                f"{where}: there are more than {self._limits.columns:,} columns or "
                f"{self._limits.cells:,} cells; check the delimiter and that it is the right file"
            )
        for text in texts:
            if "\n" not in text and "\r" not in text:
                continue
            if text.count("\n") + text.count("\r") > 100:
                raise UnusableInput(
                    f"{where}: one cell runs over more than 100 lines; most likely a quotation "
                    f"mark ({self._dialect.quote}) is opened there and never closed"
                )

    def _find_encoding(self, habits: TextHabits) -> tuple[str, str]:
        if habits.encoding is None:
            found = find_encoding(self._path)
            return found.name, found.remark
        try:
            "".encode(habits.encoding)
        except LookupError:
            raise UnusableInput(
                f"the mapping names the encoding '{habits.encoding}', which does not exist; write "
                "utf-8, cp1252, mac_roman, cp850 or another name that Python knows"
            ) from None
        return (
            "utf-8-sig" if habits.encoding.lower() in ("utf-8", "utf8") else habits.encoding
        ), ""

    def _sample(self) -> str:
        try:
            with open(self._path, encoding=self._encoding, newline="") as stream:
                return stream.read(SAMPLE_CHARACTERS)
        except UnicodeDecodeError as error:
            raise UnusableInput(
                f"{self._path.name} is not {self._encoding} ({error.reason}); name the right "
                "encoding in the mapping, or leave it out"
            ) from None


def _whole_lines(stream: io.TextIOWrapper) -> Iterator[str]:
    """The lines of a text file, none of them longer than a cell may be."""
    while line := stream.readline(LONGEST_CELL):
        if "\r" in line and not line.endswith(("\r\n", "\r")):
            # lone carriage returns end lines on old Macintoshes; csv wants to see them one by one
            yield from line.splitlines(keepends=True)
        else:
            yield line


def _cleaned(text: str) -> str:
    """One kind of line end, and no blanks around; the zero-width mark of a merged file goes."""
    return text.replace("\r\n", "\n").replace("\r", "\n").replace("\ufeff", "").strip()


def _find_dialect(
    sample: str, suffix: str, habits: TextHabits, marked: re.Match[str] | None
) -> _Dialect:
    """The dialect that leaves the rows most even and the fewest marks of quoting in the cells."""
    body = sample[marked.end() :] if marked else sample
    named = habits.delimiter or (marked[1] if marked else None)
    usual = "\t" if suffix in (".tsv", ".tab") else ","
    delimiters = (named,) if named else (usual, *(one for one in DELIMITERS if one != usual))
    quotes = (habits.quote,) if habits.quote else ('"', "'")
    best, best_score = _Dialect(delimiters[0], quotes[0]), 0.0
    for delimiter in delimiters:
        for quote in quotes:
            for escape in (None, "\\"):
                dialect = _Dialect(delimiter, quote, escape)
                # what comes first is the more usual, so the others must be clearly better
                score = _fit(body, dialect)
                if score > best_score + (0.02 if best_score else 0):
                    best, best_score = dialect, score
    return best


def _fit(sample: str, dialect: _Dialect) -> float:
    """How well a dialect parts the rows: the share of the commonest width, a little more for
    wider rows, less for every cell that still bears quotation marks or their escapes.
    """
    lines = sample.splitlines(keepends=True)
    if len(lines) > 1 and len(sample) >= SAMPLE_CHARACTERS:
        lines = lines[:-1]
    if dialect.quote not in sample and dialect.quote != '"':
        return 0.0
    if dialect.escape and f"{dialect.escape}{dialect.quote}" not in sample:
        return 0.0
    widths: Counter[int] = Counter()
    stray = 0
    try:
        for place, row in enumerate(dialect.reader(iter(lines))):
            if place == SAMPLE_ROWS:
                break
            if any(row):
                widths[len(row)] += 1
                stray += sum(map(_bears_marks, row))
    except csv.Error:
        return 0.0
    several = {width: count for width, count in widths.items() if width > 1}
    if not several:
        return 0.0
    width, count = max(several.items(), key=lambda item: (item[1], item[0]))
    rows = widths.total()
    return count / rows + min(width, 40) / 100 - min(stray / rows, 0.5)


def _bears_marks(cell: str) -> bool:
    wrapped = len(cell) > 2 and cell[0] == cell[-1] and cell[0] in "'\""
    escaped = "\\" in cell and cell.endswith(("'", '"'))
    return wrapped or escaped or '\\"' in cell or "\\'" in cell
