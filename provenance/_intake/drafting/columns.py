"""Says of what kind the values of one column are, and how many of them are."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from provenance._base.errors import UnreadableValue
from provenance._intake.drafting.words import Heading, form_words
from provenance._intake.files.received import ColumnFacts
from provenance._intake.values.dates import read_date
from provenance._intake.values.numerals import read_number
from provenance._intake.values.units import exact_length_mm
from provenance._model.schema import Model, Vocabulary
from provenance._model.wood_names import species_meant, tells_genus

MOST_LOOKED_AT = 80
"""Different texts of a column that are looked at."""
FIGURES = re.compile(r"([0-9]{1,2})([./-])([0-9]{1,2})\2([0-9]{4}|[0-9]{2})")
EIGHT_DIGITS = re.compile(r"(?:1[5-9]|20)[0-9]{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12][0-9]|3[01])")
_DATED = re.compile(
    r"[0-9]{4}(?:-[0-9]{2}|[~?/])|[^\W\d_]{3,}\.?,? ?'?[0-9]{2,4}|[0-9]\.? ?[^\W\d_]{3,}"
)
_CODE = re.compile(r"[A-Za-z]{0,6}[ ./_-]?[0-9]{1,6}(?:[ ./_-]?[A-Za-z0-9]{1,6}){0,2}")
_IDENTIFIER = re.compile(r"(?=.*[0-9])[A-Za-z0-9][A-Za-z0-9./_-]{0,23}")
_SHORT_NAME = re.compile(r"[A-Z][A-Z0-9-]{0,9}")
_PATH = re.compile(r"(?i)[/\\]|\.[a-z][a-z0-9]{1,3}$")
_CLOCK = re.compile(r"[0-9]{1,2}(?:[:.][0-9]{1,2})?(?: ?o'?clock)?")
_INITIALS = re.compile(r"[A-ZÄÖÜ]{2,4}")
_PICTURE = re.compile(r"(?i)(?:img|dsc)|\.(?:jpe?g|heic|png|tiff?)$|^P[0-9]{6,}")
_YES_NO = frozenset(("y", "n", "yes", "no", "x", "true", "false", "?", "0", "1"))
_LONGEST_NAME = 24
_LONGEST_WOOD = 40


@dataclass(eq=False)
class Column:
    """One column of a form: its heading taken apart, and what stands below it, line by line.

    `partner` is the next column where feet and inches stand in two.
    """

    place: int
    name: str
    heading: Heading
    facts: ColumnFacts = field(default_factory=ColumnFacts)
    cells: dict[int, str] = field(default_factory=dict)
    has_dates: bool = False
    partner: Column | None = None

    @cached_property
    def texts(self) -> Counter[str]:
        """The different texts and how often each stands there."""
        return Counter(self.cells.values())

    @cached_property
    def told(self) -> Mapping[int, str]:
        """The cells that are no mark for 'nothing written', by line."""
        marks = form_words().nothing_written
        return {line: text for line, text in self.cells.items() if text.casefold() not in marks}

    @cached_property
    def telling(self) -> Mapping[str, int]:
        """The most frequent of the texts that are no such mark, and how often they stand there."""
        return dict(Counter(self.told.values()).most_common(MOST_LOOKED_AT))

    def share(self, is_so: Callable[[str], float]) -> float:
        """How many of the cells are so, from 0 to 1."""
        total = sum(self.telling.values())
        return sum(is_so(one) * n for one, n in self.telling.items()) / total if total else 0.0

    @property
    def variety(self) -> float:
        """How many different texts there are for a cell, from 0 to 1."""
        total = sum(self.telling.values())
        return len(self.telling) / total if total else 0.0


def plain_word(text: str) -> str:
    """A word as the lists are compared: no capitals, hyphens and underscores as blanks."""
    return " ".join(text.replace("_", " ").replace("-", " ").split()).casefold()


class Kinds:
    """Tells the kinds of values, with the lists of one model; made once for a draft."""

    def __init__(self, model: Model) -> None:
        """`model` has the lists of codes."""
        self._lists = model.once("words of lists", _words_of_lists)
        self._vocabularies = model.vocabularies
        self._shares: dict[tuple[Column, str], float] = {}
        self._woods: dict[str, bool] = {}

    def share(self, column: Column, kind: str) -> float:
        """How much of a column is of a kind, from 0 to 1."""
        key = (column, kind)
        if key not in self._shares:
            self._shares[key] = self._share(column, kind)
        return self._shares[key]

    def _share(self, column: Column, kind: str) -> float:
        if kind.startswith("list "):
            return self._of_list(column, kind.removeprefix("list "))
        match kind:
            case "date":
                return 1.0 if column.has_dates else column.share(_is_date)
            case "answer":
                return column.share(_is_answer)
            case "initials":
                few = 1.0 if len(column.telling) <= 12 else 0.3
                return few * column.share(lambda one: bool(_INITIALS.fullmatch(one)))
            case "code":
                return min(1.0, column.variety * 1.1) * self.share(column, "link")
            case "link":
                return column.share(lambda one: _is_code(one) or bool(_SHORT_NAME.fullmatch(one)))
            case "picture":
                return column.share(is_picture)
            case "path":
                return column.share(lambda one: bool(_PATH.search(one)))
            case "figures":
                return column.share(lambda one: "=" in one or _is_number(one))
            case "bit":
                return column.share(_is_bit)
            case "name":
                often = 1.0 if column.variety < 1 else 0.5
                return often * column.share(
                    lambda one: len(one) < _LONGEST_NAME and not _is_date(one)
                )
            case "rings":
                return column.share(lambda one: _whole(one, 20, 1500))
            case "few":
                return column.share(lambda one: _whole(one, 0, 9))
            case "year":
                return column.share(lambda one: _whole(one, 400, 2100))
            case "number":
                return column.share(_is_number)
            case "clock":
                return column.share(lambda one: bool(_CLOCK.fullmatch(one)))
            case "size":
                return (1.0 if len(column.telling) > 2 else 0.8) * column.share(_is_size)
        return column.share(lambda one: len(one) > 3 and not (_is_size(one) or _is_date(one)))

    def _of_list(self, column: Column, name: str) -> float:
        words, other = self._lists[name], form_words().for_codes(name)
        wood = self._vocabularies[name] if tells_genus(self._vocabularies[name]) else None
        # under 'Bark left?' a yes or no says something of that code
        named = any(one in words or one in other for one in column.heading.plain.split())

        def known(text: str) -> float:
            plain = plain_word(text)
            if plain in words or plain in other or plain.removesuffix("s") in words:
                return 1.0
            if named and _is_answer(text):
                return 0.6
            if wood is not None:
                return float(self._is_wood(text, wood))
            parts = [plain_word(one) for one in re.split(r"[,;/+&]", text)]
            if len(parts) > 1 and all(one in words for one in parts):
                return 1.0
            return 0.6 if any(one in words for one in plain.split()) else 0.0

        return column.share(known)

    def _is_wood(self, text: str, vocabulary: Vocabulary) -> bool:
        if text not in self._woods:
            is_name = len(text) <= _LONGEST_WOOD and not any(map(str.isdigit, text))
            self._woods[text] = is_name and bool(species_meant(text, vocabulary))
        return self._woods[text]


def is_picture(text: str) -> bool:
    """Whether a text is the name of a picture."""
    return bool(_PICTURE.search(text))


def _words_of_lists(model: Model) -> Mapping[str, frozenset[str]]:
    return {name: _known_words(one) for name, one in model.vocabularies.items()}


def _known_words(vocabulary: Vocabulary) -> frozenset[str]:
    return frozenset(
        plain_word(word)
        for term in vocabulary.terms
        for word in (term.code, term.label, *term.synonyms)
    )


def _is_answer(text: str) -> bool:
    return text.casefold() in _YES_NO or text.casefold() in form_words().answers


def _is_code(text: str) -> bool:
    """Whether a text can be the number or code of something; 5.42 and dates cannot."""
    if not (_CODE.fullmatch(text) or _IDENTIFIER.fullmatch(text)) or _is_date(text):
        return False
    return text.isdecimal() or not _is_number(text)


def _is_bit(text: str) -> bool:
    return text.replace(",", ".").strip(" \"″in'm") in form_words().bore_sizes


def _is_date(text: str) -> bool:
    text = text.strip()
    if FIGURES.fullmatch(text) or EIGHT_DIGITS.fullmatch(text):
        return True
    if not _DATED.search(text):
        return False
    try:
        read_date(text)
    except UnreadableValue:
        return False
    return True


def _is_number(text: str) -> bool:
    try:
        read_number(text)
    except UnreadableValue:
        return False
    return True


def _is_size(text: str) -> bool:
    try:
        exact_length_mm(text, "in", allow_negative=True)
    except UnreadableValue:
        return False
    return True


def _whole(text: str, lowest: int, highest: int) -> bool:
    return text.isdecimal() and len(text) < 6 and lowest <= int(text) <= highest
