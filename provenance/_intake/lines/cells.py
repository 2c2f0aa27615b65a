"""Turns what stands in one cell into what one field of the record holds, as text."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import cast

from provenance._base.errors import UnreadableValue
from provenance._base.languages import catalogue
from provenance._intake.files.received import (
    CellValue,
    ErrorCell,
    FractionCell,
    UncachedFormula,
    shown,
)
from provenance._intake.mapping.mapping import ReadingHabits
from provenance._intake.mapping.mapping_file import code_meant
from provenance._intake.values.dates import read_date
from provenance._intake.values.directions import read_angle, read_clock
from provenance._intake.values.doubts import in_brackets, without_doubt
from provenance._intake.values.numerals import (
    exact_value,
    read_boolean,
    read_integer,
    read_number,
)
from provenance._intake.values.serial_dates import SerialEpoch
from provenance._intake.values.units import METRIC, BareFraction, read_length
from provenance._model.form_cell import YES
from provenance._model.measures import MM_PER
from provenance._model.schema import AS_FOUND, Field, Model, Vocabulary
from provenance._model.spoken import in_language

_ERROR = re.compile(r"#(?:REF!|N/A|VALUE!|DIV/0!|NAME\?|NULL!|NUM!|SPILL!|CALC!)", re.IGNORECASE)
# what crews put under a value that goes for the next line too
_DITTO_MARKS = frozenset({'"', "''", "〃", "″", "”", "“", "´´", "„", "↓"})
_DITTO_WORDS = frozenset(
    {"ditto", "do.", "dto", "dto.", "idem", "same", "same as above", "as above", "see above"}
    | {"wie oben", "s.o.", "desgl.", "d°"}
)
_CODE_NOTATIONS = ("identifier", "specimen_number", "site_code", AS_FOUND)
_SURE_NAME = re.compile(r"[\w./-]*")
_SPLIT = r"[;\n]"
_WORD_LIMIT = 8
_LONGEST_DITTO = 20
_STROKES = str.maketrans("-–—", "   ")
MOST_KNOWN = 10_000


def is_ditto(value: CellValue) -> bool:
    """Whether a cell only says that it holds what stands above: a mark, or 'do.' or 'same'.

    >>> is_ditto("〃"), is_ditto('- " -'), is_ditto("As above"), is_ditto("DO")
    (True, True, True, False)
    """
    if not isinstance(value, str) or len(value) > _LONGEST_DITTO:
        return False
    if value[:1].isalpha():
        # DO may be somebody's initials
        return value == "do" or " ".join(value.split()).casefold() in _DITTO_WORDS
    # a mark may be written once a word, or with strokes beside it
    marks = value.translate(_STROKES).split()
    return bool(marks) and all(mark in _DITTO_MARKS for mark in marks)


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
        *,
        names_row: bool = False,
        filled_down: bool = False,
        named: Callable[[str], str] | None = None,
    ) -> None:
        """`epoch` is the workbook's, for bare numbers where a date is meant.

        `names_row` says that the field is a key, of its own row or of another one; `filled_down`
        that ditto marks have been put in full where there was something above. `named` turns what
        names a sample or parcel into its number, or raises UnreadableValue. `matched` is what was
        read as a usual size: text of the cell -> label of the size.
        """
        self._field = one
        self._named = named
        habits = replace(habits, serial_epoch=habits.serial_epoch or epoch)
        self._habits = habits
        # a form speaks the language of the record, and is filled in with its words
        self._vocabulary = in_language(model, model.language).vocabulary_of(one)
        self._yes = {*habits.yes, catalogue(model.language).gettext(YES)}
        self._words = _words_of(self._vocabulary, habits) if self._vocabulary else {}
        self._known: dict[str, str] = {}
        self._names_row = names_row or one.notation in _CODE_NOTATIONS
        self._as_found = self._names_row and model.numbering == AS_FOUND
        self._filled_down = filled_down
        usual = model.vocabularies.get(one.usual_sizes or "")
        self._usual = {
            Fraction(str(term.attributes["mm"])) / MM_PER["in"]: term.label
            for term in (usual.terms if usual else ())
            if "mm" in term.attributes
        }
        self.matched: dict[str, str] = {}
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
        text = self._text(value, text)
        if self._named is None:
            return text
        try:
            return self._named(text)
        except UnreadableValue as error:
            if error.value == text:
                raise
            # what is wrong may be one line of a code, and the whole cell is kept
            raise UnreadableValue(text, f"is not a label that can be read: {error}") from None

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
                shown(value),
                "is a spreadsheet error; correct the formula or type the value",
            )
        if is_ditto(value) and _normal(shown(value)) not in {*self._words, *self._habits.synonyms}:
            raise UnreadableValue(
                value,
                "is a ditto mark with no row right above it to repeat; write the value out"
                if self._filled_down
                else "is a ditto mark; write the value out, or list the column under fill_down in "
                "the mapping, which reads a ditto mark as the cell above, and a blank cell too",
            )
        return value

    def _refuse_doubtful_key(self, text: str) -> None:
        if _SURE_NAME.fullmatch(text):
            return
        sure = without_doubt(text)
        if sure != text:
            raise UnreadableValue(
                text,
                f"leaves a doubt about the number, and it would name another row than {sure}; "
                f"write {sure or 'the number'} if that is the best reading and put the doubt into "
                "the remarks",
            )

    def _code_of(self, word: str) -> str | None:
        return self._words.get(word.strip()) or self._words.get(_normal(word))

    def _codes(self, text: str) -> str:
        one, habits = self._field, self._habits
        if not one.separator:
            return self._code(text)
        if (whole := self._code_of(text)) is not None:
            return whole
        parts = [part.strip() for part in re.split(habits.split or _SPLIT, text)]
        codes = [self._code(part, text) for part in parts if part]
        if not codes:
            raise UnreadableValue(text, "names nothing; write one or more words of the list")
        return f"{one.separator} ".join(dict.fromkeys(codes))

    def _code(self, word: str, cell: str = "") -> str:
        code = self._code_of(word)
        if code is not None:
            return code
        assert self._vocabulary is not None
        labels = [term.label for term in self._vocabulary.terms]
        near = code_meant(word, self._vocabulary)
        some = labels if len(labels) <= _WORD_LIMIT else [*labels[:_WORD_LIMIT], "…"]
        part = f"has '{word}', which is" if cell and cell != word else "is"
        sure = without_doubt(word)
        if sure != word and (code := self._code_of(sure)) is not None:
            raise UnreadableValue(
                cell or word,
                f"says '{sure}' with a doubt, for which '{self._field.title}' has no place; write "
                f"{sure} and put the doubt into the remarks, or say under synonyms in the mapping "
                f"what '{word}' means",
            )
        raise UnreadableValue(
            cell or word,
            f"{part} not in the list '{self._vocabulary.title}'.{near} Write one of "
            f"{', '.join(some)}, or say under synonyms in the mapping what it means",
        )

    def _boolean(self, value: CellValue) -> bool:
        return read_boolean(_spoken(value), yes=self._yes, no=self._habits.no)

    def _measured(self, value: Spoken) -> float:
        one, habits = self._field, self._habits
        if one.unit is not None and one.unit in MM_PER:
            return self._length(value, habits.unit or one.unit)
        if one.unit == "deg":
            return read_angle(
                value, lowest=self._lowest, highest=self._highest, decimal=habits.decimal
            )
        if one.unit == "h":
            return read_clock(value, decimal=habits.decimal)
        return read_number(value, decimal=habits.decimal, allow_negative=self._below_zero)

    def _length(self, value: Spoken, unit: str) -> float:
        assert self._field.unit is not None
        # 9 1/4 typed into a workbook is a number that is shown so
        written = shown(value) if isinstance(value, FractionCell) and unit in METRIC else value

        def read_in(unit: str) -> float:
            into, below = self._field.unit or unit, self._below_zero
            return read_length(
                written, unit, into, allow_negative=below, decimal=self._habits.decimal
            )

        try:
            return read_in(unit)
        except BareFraction as fraction:
            label = self._usual.get(exact_value(written))
            if label is None:
                raise
            self.matched[fraction.value] = label
            return read_in("in")

    def _date(self, value: CellValue) -> str:
        habits = self._habits
        if isinstance(value, str) and in_brackets(value.strip()):
            sure = without_doubt(value)
            raise UnreadableValue(
                value, f"is in brackets; write {sure}? if they are a doubt, {sure} if not"
            )
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
        if self._as_found:
            # one spelling for what looks alike, so that rows find one another
            return re.sub(r"\s", " ", unicodedata.normalize("NFC", text)).strip()
        if self._names_row:
            self._refuse_doubtful_key(text)
        if isinstance(value, bool):
            return text.lower()
        # tabs and the like would not survive every reader of the table
        return "".join(sign for sign in text if sign in "\n\t" or ord(sign) >= 32).strip()

    @property
    def names(self) -> bool:
        """Whether the field names a sample or a parcel of the record."""
        return self._named is not None

    @property
    def measures(self) -> bool:
        """Whether the field holds numbers."""
        return self._field.type in ("number", "integer")

    @property
    def sizes(self) -> bool:
        """Whether the field holds lengths."""
        return self._field.unit in MM_PER

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


@lru_cache(1 << 14)  # each column reads the words of its list again
def _normal(word: str) -> str:
    """A word of a list without capitals, and with blanks, hyphens and underscores alike."""
    return " ".join(word.replace("_", " ").replace("-", " ").split()).casefold()


def _words_of(vocabulary: Vocabulary, habits: ReadingHabits) -> Mapping[str, str]:
    """Word → code; the mapping's synonyms go before codes, labels and the list's own synonyms."""
    codes = frozenset(vocabulary.codes)
    words: dict[str, str] = {}
    for term in vocabulary.terms:
        for word in term.synonyms:
            words.setdefault(_normal(word), term.code)
    for term in vocabulary.terms:
        words[_normal(term.label)] = term.code
    for term in vocabulary.terms:
        # 'C' beside 'c' is known by its capital alone
        word = _normal(term.code)
        words[term.code if word in codes else word] = term.code
    own = {_normal(word): code for word, code in habits.synonyms.items()}
    return {word: own.get(_normal(word), code) for word, code in words.items()} | own
