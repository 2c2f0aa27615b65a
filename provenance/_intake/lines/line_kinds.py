"""Tells the lines of a sheet that are rows from totals, units, headings and titles of sections.

Which words and layouts crews use: common practice, no source.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from provenance._intake.files.received import CellValue, ErrorCell, Row, UncachedFormula, shown
from provenance._intake.lines.cells import is_ditto, is_missing
from provenance._intake.lines.headings import Headings
from provenance._intake.mapping.mapping import same_heading
from provenance._intake.values.units import unit_named

LEAST_COLUMNS = 3
"""A sheet with fewer columns has no room for a title that stands alone."""
LEARN_FROM = 1000
"""So many rows tell what keys look like."""


class LineKind(StrEnum):
    """What lines are that are no rows, in words for the user."""

    TOTAL = "totals"
    UNITS = "units"
    HEADINGS = "the headings again"
    OTHER_HEADINGS = "headings of another table"
    SECTION = "titles that stand alone on their line"


_TOTAL = re.compile(
    r"(?:grand |sub-?|overall )?(?:totals?|sums?|count|mean|average|avg\.?|median|summe|gesamt|"
    r"insgesamt|zwischensumme|anzahl|mittel|mittelwert|durchschnitt|somme|totaux|moyenne|totale|"
    r"totali|media|suma|promedio|totaal|som|aantal|gemiddelde|summa|medelvärde|razem|celkem|"
    r"итого|всего|合計|小計|合计|总计)(?![\w-])(?: .*|\W.*)?|n ?= ?[0-9]+",
    re.IGNORECASE | re.DOTALL,
)
_LONGEST_TOTAL = 40
# what a formula of a total says: it runs down a column
_DOWN_A_COLUMN = re.compile(
    r"(?:SUM|SUBTOTAL|AVERAGE|COUNTA?|MIN|MAX|MEDIAN)\([^)]*?\.?\$?([A-Z]{1,3})\$?[0-9]+:\.?\$?\1\$?[0-9]+",
    re.IGNORECASE,
)
# what stands in a line of units below columns that have none
_NO_UNIT = re.compile(
    r"[-–—/#°]|deg\.?|degrees?|no\.?|nos\.?|nr\.?|number|text|code|date|h|hrs?|%|"
    r"y ?/ ?n|yes ?/ ?no|"
    r"[dmy]{1,4}[./ -][dmy]{1,4}(?:[./ -][dmy]{1,4})?",
    re.IGNORECASE,
)
_FIGURES = re.compile(r"[-+~(\[]*[.,]?[0-9½¼¾⅛⅜⅝⅞][^a-z]*", re.IGNORECASE)
_SIZE = re.compile(r"([-0-9.,/½¼¾⅛⅜⅝⅞ ]+)\s*([a-z]+)\.?", re.IGNORECASE)


@dataclass(frozen=True)
class KnownColumns:
    """Where on a line things stand, columns counted from 0.

    `keys` are the columns that make the key, one set a table; `mapped` all that are read; `sizes`
    those of lengths; `measured` those of numbers and dates; `fill_down` those that repeat.
    """

    keys: tuple[frozenset[int], ...]
    mapped: frozenset[int]
    sizes: frozenset[int]
    measured: frozenset[int]
    fill_down: frozenset[int]


class LineJudge:
    """Looks at one line after the other; learns from the rows what keys look like."""

    def __init__(
        self,
        headings: Headings,
        columns: KnownColumns,
        formulas: Mapping[tuple[int, int], str],
        missing: frozenset[str],
        rows_all_the_same: Collection[str],
        *,
        own_form: bool = False,
    ) -> None:
        """`rows_all_the_same` are first cells, in small letters, of lines that are rows however
        they look. On a form of this project a code that stands alone is a row, too.
        """
        self._said = [headings.said_at(spot) for spot in range(len(headings.names))]
        self._own_form = own_form
        self._columns = columns
        self._formulas = formulas
        self._missing = missing
        self._rows_all_the_same = rows_all_the_same
        self._looked_at = 0
        self._shapes: dict[int, set[str]] = defaultdict(set)

    def learn(self, rows: Iterable[Row], below: int) -> None:
        """See in lines below a row what keys look like, before the first is judged."""
        for number, row in rows:
            filled = self.filled(row)
            if number > below and len(filled) > 1:
                self.kind_of(number, row, filled)

    def filled(self, row: Sequence[CellValue]) -> set[int]:
        """The columns in which something stands."""
        return {spot for spot, value in enumerate(row) if not is_missing(value, self._missing)}

    def kind_of(self, number: int, row: Sequence[CellValue], filled: set[int]) -> LineKind | None:
        """What the line is; None for a row. `filled` are its filled columns, at least one."""
        if same_heading(shown(row[min(filled)])) in self._rows_all_the_same:
            return None
        if self._repeats_headings(row, filled):
            return LineKind.HEADINGS
        if self._names_units(row, filled):
            return LineKind.UNITS
        if self._sums_up(number, row, filled):
            return LineKind.TOTAL
        if self._stands_alone(row, filled):
            return LineKind.SECTION
        if self._heads_other_columns(row, filled):
            return LineKind.OTHER_HEADINGS
        if len(filled) > 1:
            self._note_keys(row, filled)
        return None

    def _note_keys(self, row: Sequence[CellValue], filled: set[int]) -> None:
        self._looked_at += 1
        if self._looked_at > LEARN_FROM:
            return
        for key in self._columns.keys:
            for spot in key & filled:
                self._shapes[spot].add(_shape(row[spot]))

    def _repeats_headings(self, row: Sequence[CellValue], filled: set[int]) -> bool:
        """As the next page of a form does; a page number may stand beside."""
        same, others = 0, 0
        for spot in filled:
            if spot < len(self._said) and same_heading(shown(row[spot])) in self._said[spot]:
                same += 1
            else:
                others += 1
                if others * 10 > len(filled) * 3:
                    return False
        return same > 1

    def _names_units(self, row: Sequence[CellValue], filled: set[int]) -> bool:
        units = 0
        for spot in filled:
            value = row[spot]
            if not isinstance(value, str) or is_ditto(value):
                return False
            if unit_named(value):
                units += spot in self._columns.sizes
            elif not _NO_UNIT.fullmatch(value.strip(" ()[]")):
                return False
        return units > 0

    def _sums_up(self, number: int, row: Sequence[CellValue], filled: set[int]) -> bool:
        """A word for a total beside nothing but numbers, or a formula that runs down its column.

        The word stands first on the line, or there is no key that could name a row.
        """
        sums = [
            spot
            for spot in filled
            if _DOWN_A_COLUMN.search(self._formulas.get((number, spot + 1), ""))
        ]
        words = [spot for spot in filled if _is_total(row[spot])]
        if not words and not sums:
            return False
        others = filled - set(words)
        texts = [spot for spot in others if not _is_number(row[spot])]
        named = any(
            all(re.search("[0-9]", shown(row[spot])) for spot in key & filled)
            for key in self._whole_keys(filled)
        )
        if sums and not named and len(texts) + len(words) <= 1:
            return True
        if not words or texts:
            return False
        if not others and not any(_says_little(row[spot]) for spot in words):
            return False
        return min(filled) in words or not self._whole_keys(filled - set(words))

    def _whole_keys(self, filled: set[int]) -> list[frozenset[int]]:
        """The keys of which nothing is missing; a part of one may be filled down."""
        there = filled | self._columns.fill_down
        return [key for key in self._columns.keys if key & filled and key <= there]

    def _stands_alone(self, row: Sequence[CellValue], filled: set[int]) -> bool:
        """A text with nothing beside it that cannot be the key of a row."""
        columns = self._columns
        if len(columns.mapped) < LEAST_COLUMNS:
            return False
        if filled <= columns.fill_down and not any(key and key <= filled for key in columns.keys):
            return not any(is_ditto(row[spot]) for spot in filled)
        (spot, *more) = sorted(filled)
        value = row[spot]
        if more or not isinstance(value, str) or _is_number(value) or is_ditto(value):
            return False
        if self._whole_keys(filled):
            is_code = len(value.split()) == 1 and (self._own_form or re.search("[0-9]", value))
            return not is_code and _shape(value) not in self._shapes[spot]
        return spot <= min(columns.mapped) or any(spot in key for key in columns.keys)

    def _heads_other_columns(self, row: Sequence[CellValue], filled: set[int]) -> bool:
        """Nothing but words that all differ, in two or more columns of numbers and dates too."""
        measured = filled & self._columns.measured
        if len(measured) < 2:
            return False
        texts = [row[spot] for spot in filled]
        return all(
            isinstance(text, str) and not is_ditto(text) and not re.search(r"[0-9?]", text)
            for text in texts
        ) and len({shown(text).casefold() for text in texts}) == len(texts)


def _is_total(value: CellValue) -> bool:
    return (
        isinstance(value, str)
        and len(value) <= _LONGEST_TOTAL
        and _TOTAL.fullmatch(value.strip(" *:=")) is not None
    )


def _says_little(value: CellValue) -> bool:
    """Whether a total is the word alone, or comes with its number."""
    return len(shown(value).split()) == 1 or re.search("[0-9]", shown(value)) is not None


def _is_number(value: CellValue) -> bool:
    if isinstance(value, bool | date):
        return False
    if not isinstance(value, str):
        return isinstance(value, int | float | ErrorCell | UncachedFormula)
    text = value.strip()
    if unit_named(text) and not is_ditto(text):
        return True
    size = _SIZE.fullmatch(text)
    return bool(_FIGURES.fullmatch(text)) or (size is not None and unit_named(size[2]) != "")


def _shape(value: CellValue) -> str:
    """What codes of one kind have in common: letters, then digits, a stroke between them.

    >>> _shape("B1-014"), _shape("RB-7"), _shape("North wing")
    ('a9-9', 'a-9', 'a a')
    """
    return re.sub(r"[^\W\d_]+", "a", re.sub("[0-9]+", "9", " ".join(shown(value).split())))
