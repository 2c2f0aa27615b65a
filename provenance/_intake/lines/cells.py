"""Turns what stands in one cell into what one field of the record holds, as text."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import cast

from provenance._base.errors import UnreadableValue
from provenance._intake.files.received import CellValue, ErrorCell, UncachedFormula, shown
from provenance._intake.mapping.mapping import ReadingHabits
from provenance._intake.mapping.mapping_file import code_meant
from provenance._intake.values.dates import read_date
from provenance._intake.values.directions import read_angle, read_clock
from provenance._intake.values.numerals import read_boolean, read_integer, read_number
from provenance._intake.values.serial_dates import SerialEpoch
from provenance._intake.values.units import MM_PER, read_length
from provenance._model.schema import Field, Model, Vocabulary

_ERROR = re.compile(r"#(?:REF!|N/A|VALUE!|DIV/0!|NAME\?|NULL!|NUM!|SPILL!|CALC!)", re.IGNORECASE)
# what crews put under a value that goes for the next line too
_DITTO = frozenset({'"', "''", "〃", "″", "”", "“", "´´", "ditto", "do.", '-"-', '- " -', '" "'})
_CODE_NOTATIONS = ("identifier", "specimen_number", "site_code")
_SPLIT = r"[;\n]"
_WORD_LIMIT = 8
MOST_KNOWN = 10_000

Spoken = str | int | float | date | datetime | time | None
"""What the readers of sizes, numbers and dates take."""


def is_missing(value: CellValue, missing: frozenset[str]) -> bool:
    """Whether a cell says that nothing was written down."""
    if value is None:
        return True
    return isinstance(value, str) and " ".join(value.split()).casefold() in missing


def number_text(value: float | int) -> str:
    """A number as it is stored: no exponent, no needless zeros.

    >>> number_text(12.0), number_text(18.7325), number_text(1e-05)
    ('12', '18.7325', '0.00001')
    """
    text = format(Decimal(repr(value)), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


class CellReader:
    """Reads the cells of one field with the habits of one column; made once, used line by line."""

    def __init__(
        self,
        one: Field,
        habits: ReadingHabits,
        model: Model,
        epoch: SerialEpoch | None = None,
    ) -> None:
        """`epoch` is the workbook's, for bare numbers where a date is meant."""
        self._field = one
        habits = replace(habits, serial_epoch=habits.serial_epoch or epoch)
        self._habits = habits
        self._vocabulary = model.vocabulary_of(one)
        self._words = _words_of(self._vocabulary, habits) if self._vocabulary else {}
        self._known: dict[str, str] = {}
        limits = one.constraints
        low = limits.get("minimum", limits.get("exclusiveMinimum"))
        self._below_zero = low is None or low < 0
        self._lowest = float(-360 if low is None else low)
        self._highest = float(limits.get("maximum", 360))

    def read(self, value: CellValue) -> str:
        """The text to store; raises UnreadableValue that says what to write instead."""
        if not isinstance(value, str):
            return self._read(value)
        # on a form the same few words and sizes stand again and again
        known = self._known.get(value)
        if known is None:
            known = self._read(value)
            if len(self._known) < MOST_KNOWN:
                self._known[value] = known
        return known

    def _read(self, value: CellValue) -> str:
        value = self._sound(value)
        one = self._field
        if self._vocabulary is not None:
            return self._codes(shown(value))
        text = shown(value)
        own = self._habits.synonyms.get(" ".join(text.split()).casefold())
        if one.type == "boolean":
            return own or str(self._boolean(value)).lower()
        if one.type == "integer":
            return str(read_integer(_spoken(value), decimal=self._habits.decimal))
        if one.type == "number":
            return number_text(self._measured(_spoken(value)))
        if own is not None:
            return own
        if one.notation == "edtf":
            return self._date(value)
        return self._text(value, text)

    def plain(self, value: CellValue) -> str:
        """The text of a cell that is one part of a value; raises UnreadableValue as `read`."""
        value = self._sound(value)
        return self._text(value, shown(value))

    def _sound(self, value: CellValue) -> CellValue:
        """The value, unless the cell shows an error or stands for the one above."""
        if isinstance(value, UncachedFormula):
            raise UnreadableValue(
                value.formula,
                "is a formula whose result the file does not hold; open the file in a spreadsheet "
                "program and save it, or type the value",
            )
        if isinstance(value, ErrorCell) or (isinstance(value, str) and _ERROR.fullmatch(value)):
            raise UnreadableValue(
                shown(value), "is an error of the spreadsheet; mend the formula or type the value"
            )
        if isinstance(value, str) and value.casefold() in _DITTO:
            raise UnreadableValue(
                value,
                "is a ditto mark; write the value out, or list the column under fill_down in the "
                "mapping if its blank cells mean the same",
            )
        return value

    def _codes(self, text: str) -> str:
        one, habits = self._field, self._habits
        if not one.separator:
            return self._code(text)
        if (whole := self._words.get(_normal(text))) is not None:
            return whole
        parts = [part.strip() for part in re.split(habits.split or _SPLIT, text)]
        codes = [self._code(part, text) for part in parts if part]
        if not codes:
            raise UnreadableValue(text, "names nothing; write one or more words of the list")
        return f"{one.separator} ".join(dict.fromkeys(codes))

    def _code(self, word: str, cell: str = "") -> str:
        code = self._words.get(_normal(word))
        if code is not None:
            return code
        assert self._vocabulary is not None
        labels = [term.label for term in self._vocabulary.terms]
        near = code_meant(word, self._vocabulary)
        some = labels if len(labels) <= _WORD_LIMIT else [*labels[:_WORD_LIMIT], "…"]
        part = f"has '{word}', which is" if cell and cell != word else "is"
        raise UnreadableValue(
            cell or word,
            f"{part} not in the list '{self._vocabulary.title}'.{near} Write one of "
            f"{', '.join(some)}, or say under synonyms in the mapping what it means",
        )

    def _boolean(self, value: CellValue) -> bool:
        return read_boolean(_spoken(value), yes=self._habits.yes, no=self._habits.no)

    def _measured(self, value: Spoken) -> float:
        one, habits = self._field, self._habits
        if one.unit in MM_PER:
            assert one.unit is not None
            return read_length(
                value,
                habits.unit or one.unit,
                one.unit,
                allow_negative=self._below_zero,
                decimal=habits.decimal,
            )
        if one.unit == "deg":
            return read_angle(
                value, lowest=self._lowest, highest=self._highest, decimal=habits.decimal
            )
        if one.unit == "h":
            return read_clock(value, decimal=habits.decimal)
        return read_number(value, decimal=habits.decimal, allow_negative=self._below_zero)

    def _date(self, value: CellValue) -> str:
        habits = self._habits
        return read_date(
            _spoken(value),
            habits.formats,
            century_pivot=habits.century_pivot,
            day_first=habits.day_first,
            serial_epoch=habits.serial_epoch,
        )

    def _text(self, value: CellValue, text: str) -> str:
        if self._field.notation in _CODE_NOTATIONS and isinstance(value, date | time | timedelta):
            raise UnreadableValue(
                text,
                "is a date or time: the spreadsheet has turned a code such as 3-4 into one; set "
                "the column to text and type the code again",
            )
        if isinstance(value, bool):
            return text.lower()
        # tabs and the like would not survive every reader of the table
        return "".join(sign for sign in text if sign in "\n\t" or ord(sign) >= 32).strip()

    @property
    def measures(self) -> bool:
        """Whether the field holds numbers."""
        return self._field.type in ("number", "integer")

    @property
    def dates(self) -> bool:
        """Whether the field holds dates."""
        return self._field.notation == "edtf"


def _spoken(value: CellValue) -> Spoken:
    """A value as the readers of sizes and dates take it."""
    if isinstance(value, timedelta):
        raise UnreadableValue(
            value,
            "is a span of time: the spreadsheet has taken it for a clock; set the column to text "
            "and type it again",
        )
    return cast(Spoken, value)


def _normal(word: str) -> str:
    """A word of a list without capitals, and with blanks, hyphens and underscores alike."""
    return " ".join(word.replace("_", " ").replace("-", " ").split()).casefold()


def _words_of(vocabulary: Vocabulary, habits: ReadingHabits) -> Mapping[str, str]:
    """Word → code; the mapping's synonyms go before codes, labels and the list's own synonyms."""
    words: dict[str, str] = {}
    for term in vocabulary.terms:
        for word in term.synonyms:
            words.setdefault(_normal(word), term.code)
    for term in vocabulary.terms:
        words[_normal(term.label)] = term.code
    for term in vocabulary.terms:
        words[_normal(term.code)] = term.code
    for word, code in habits.synonyms.items():
        words[_normal(word)] = code
    return words
