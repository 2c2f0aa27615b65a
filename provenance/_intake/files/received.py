"""What a received file looks like to the rest of the intake, whatever its format."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from fractions import Fraction
from typing import Literal, Protocol

FINEST_FRACTION = 64
"""The smallest division of a rule, in parts of an inch."""


@dataclass(frozen=True)
class ErrorCell:
    """A cell that shows an error of the spreadsheet, such as #REF!."""

    text: str


@dataclass(frozen=True)
class UncachedFormula:
    """A formula whose result the file does not hold."""

    formula: str


class FractionCell(float):
    """A number that its sheet shows as a fraction: 9.25 as 9 1/4."""


CellValue = (
    str
    | int
    | float
    | bool
    | date
    | datetime
    | time
    | timedelta
    | ErrorCell
    | UncachedFormula
    | None
)
Row = tuple[int, list[CellValue]]
"""The number of a row as a spreadsheet counts it, and its cells from column A on."""


@dataclass(frozen=True)
class Area:
    """A rectangle of cells; rows and columns count from 1, ends included."""

    first_row: int
    first_column: int
    last_row: int
    last_column: int

    def __str__(self) -> str:
        """As a spreadsheet writes it: B6:C7."""
        first = f"{column_letters(self.first_column)}{self.first_row}"
        return f"{first}:{column_letters(self.last_column)}{self.last_row}"


@dataclass
class SheetFacts:
    """What is to be known of a sheet before its cells are trusted; its reader fills it in.

    `formulas` holds the text of each formula by (row, column); `hidden_rows` and `hidden_columns`
    count from 1; `epoch` is where the workbook's day numbers start; `last_row` is for progress.
    """

    name: str
    visible: bool = True
    merged: list[Area] = field(default_factory=list)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    formulas: dict[tuple[int, int], str] = field(default_factory=dict)
    epoch: Literal[1900, 1904] | None = None
    last_row: int = 0


@dataclass(frozen=True)
class ColumnFacts:
    """What a schema says of a column; texts are '' where it says nothing."""

    title: str = ""
    description: str = ""
    type: str = ""
    decimal_mark: str = ""


@dataclass(frozen=True)
class TextHabits:
    """What a mapping says of a text file; None where it is to be found out."""

    encoding: str | None = None
    delimiter: str | None = None
    quote: str | None = None


class ReceivedSheet(Protocol):
    """One sheet of a workbook, or a text table as its only sheet, named ''."""

    def facts(self) -> SheetFacts:
        """What is to be known before the cells."""

    def rows(self) -> Iterator[Row]:
        """The rows that hold anything, from the top; raises UnusableInput past a limit."""


class ReceivedFile(Protocol):
    """A file that was handed in, open for reading."""

    @property
    def sheet_names(self) -> tuple[str, ...]:
        """The sheets in their order; ('',) for a text table."""

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader of the format had to decide, in sentences for the user."""

    def sheet(self, name: str) -> ReceivedSheet:
        """One of the sheets."""

    def close(self) -> None:
        """Let go of the file; its sheets cannot be read any more."""


def column_letters(column: int) -> str:
    """The letters of a column, counted from 1.

    >>> column_letters(1), column_letters(28)
    ('A', 'AB')
    """
    letters = ""
    while column:
        column, place = divmod(column - 1, 26)
        letters = chr(ord("A") + place) + letters
    return letters


def shown(value: CellValue) -> str:
    """The text of a cell, as close to what a person sees in it as can be.

    >>> shown(231.0), shown(12.7), shown(True), shown(FractionCell(9.25))
    ('231', '12.7', 'TRUE', '9 1/4')
    """
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, FractionCell):
        whole, part = divmod(abs(Fraction(value).limit_denominator(FINEST_FRACTION)), 1)
        return f"{'-' if value < 0 else ''}{whole or ''} {part or ''}".strip() or "0"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, ErrorCell):
        return value.text
    if isinstance(value, UncachedFormula):
        return value.formula
    if isinstance(value, datetime):
        midnight = value.time() == time(0)
        return value.date().isoformat() if midnight else value.isoformat(" ", "seconds")
    if isinstance(value, time):
        return value.isoformat("seconds" if value.second else "minutes")
    return value.isoformat() if isinstance(value, date) else str(value)
