"""Finds the row of headings on an unknown sheet, and the columns below it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from itertools import islice

from provenance._base.errors import UnreadableValue
from provenance._intake.drafting.columns import Column
from provenance._intake.drafting.words import form_words, read_heading
from provenance._intake.files.received import CellValue, ColumnFacts, Row, column_letters, shown
from provenance._intake.lines.headings import headings_of
from provenance._intake.values.numerals import read_number

LOOK_AT_ROWS = 400
_HEADINGS_WITHIN = 30
_LONGEST_HEADING = 60


def first_rows(rows: Iterable[Row]) -> list[Row]:
    """The rows that a guess is made from."""
    return list(islice(rows, LOOK_AT_ROWS))


def header_row(first: Sequence[Row], names: frozenset[str]) -> int:
    """The number of the row of headings: short, different texts, most of them known words.

    `names` are headings that fields are known by. Where no row has a text it is the first row.
    """
    best, best_score = first[0][0], 0.0
    for place, (number, row) in enumerate(first[:_HEADINGS_WITHIN]):
        texts = {
            text
            for value in row
            if isinstance(value, str) and 0 < len(text := value.strip()) <= _LONGEST_HEADING
        }
        figures = sum(_is_figure(value) for value in row)
        read = [read_heading(text) for text in texts]
        known = sum(bool(one.things or one.says or one.plain in names) for one in read)
        below = any(value is not None for _, row in first[place + 1 :] for value in row)
        score = len(texts) + 2 * known - 3 * figures + (0.5 if below else 0.0)
        if score > best_score + (0.5 if place else 0.0):
            best, best_score = number, score
    return best


def _is_figure(value: CellValue) -> bool:
    if isinstance(value, str):
        if not any(sign.isdigit() for sign in value):
            return False
        try:
            read_number(value)
        except UnreadableValue:
            return False
        return True
    return value is not None


def columns_of(
    first: Sequence[Row], header: int, described: Mapping[str, ColumnFacts]
) -> tuple[list[Column], list[str]]:
    """The columns that a mapping can name, filled or not, and the letters of the other filled ones.

    `described` says more of some columns by their heading. A row of units below the headings goes
    with them, and a column of inches with the feet before it.
    """
    headings = headings_of(next(row for number, row in first if number == header))
    below = [(number, row) for number, row in first if number > header]
    units = _units_row(below[0][1]) if below else {}
    columns = []
    width = max((len(row) for _, row in below), default=0)
    nameless = []
    for place in range(max(width, len(headings.names))):
        name = headings.name(place)
        if headings.place_of(name) != place:
            # beyond the headings, or a heading that stands twice and cannot be told apart
            if any(shown(row[place]).strip() for _, row in below if place < len(row)):
                nameless.append(column_letters(place + 1))
            continue
        facts = described.get(name, ColumnFacts())
        bare = "" if name.startswith("column ") and not facts.title else name
        unit = f" ({units[place]})" if place in units else ""
        heading = read_heading((facts.title or bare) + unit)
        column = Column(place, name, heading, facts)
        for number, row in below[1 if units else 0 :]:
            value = row[place] if place < len(row) else None
            if text := " ".join(shown(value).split()):
                column.cells[number] = text
            column.has_dates = column.has_dates or isinstance(value, date)
        columns.append(column)
    filled = [one for one in columns if one.cells or not one.name.startswith("column ")]
    return _with_partners(filled), nameless


def _units_row(row: Sequence[CellValue]) -> dict[int, str]:
    """The units in the row below the headings, by column; {} when it is a row of values."""
    texts = {place: shown(value).strip(" ().").casefold() for place, value in enumerate(row)}
    filled = {place: text for place, text in texts.items() if text}
    units = {place: text for place, text in filled.items() if text in form_words().units}
    return units if len(units) >= max(2, 0.8 * len(filled)) else {}


def _with_partners(columns: list[Column]) -> list[Column]:
    """The columns, those of inches behind feet taken into the one before."""
    kept: list[Column] = []
    for column in columns:
        before = kept[-1] if kept else None
        if (
            before is not None
            and before.place == column.place - 1
            and (before.heading.unit, column.heading.unit) == ("ft", "in")
            and column.heading.plain in ("", before.heading.plain)
            and before.partner is None
            and not {"{", "}"} & set(before.name + column.name)
        ):
            before.partner = column
        else:
            kept.append(column)
    return kept
