"""Guesses how a column is written: unit, decimal mark, order of dates, words for codes."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from provenance._base.errors import UnreadableValue
from provenance._intake.drafting.columns import EIGHT_DIGITS, FIGURES, Column, plain_word
from provenance._intake.drafting.words import form_words
from provenance._intake.lines.cells import CellReader
from provenance._intake.mapping.mapping import ReadingHabits
from provenance._intake.mapping.mapping_file import code_meant
from provenance._intake.values.numerals import read_boolean
from provenance._model.measures import MM_PER
from provenance._model.schema import Field, Model, Vocabulary
from provenance._model.wood_names import species_meant, tells_genus

SEVERAL = "[,;/+&]"
"""What parts several codes in one cell, where the list does not know the cell as a whole."""
_LONGEST_WORD = 60
_FEET_INCHES = re.compile(r"[0-9]\s*(?:'|ft|′|’)")
_FRACTION = re.compile(r"[0-9]/[0-9]|[½¼¾⅛⅜⅝⅞]")
_COMMA_DECIMAL = re.compile(r"-?[0-9]+,[0-9]+")


def guess_unit(one: Field, column: Column) -> tuple[str, str]:
    """A unit for a length, and whether the heading or the values say so; ('', '') if neither."""
    if one.unit not in MM_PER or one.type != "number":
        return "", ""
    if column.partner is not None:
        return "ft-in", "the heading"
    texts = list(column.telling)
    with_feet = sum(bool(_FEET_INCHES.search(text)) for text in texts) * 2 > len(texts)
    unit = column.heading.unit
    if unit in MM_PER or unit == "ft-in":
        return ("ft-in" if unit == "ft" and with_feet else unit), "the heading"
    if with_feet:
        return "ft-in", "the values"
    if sum(bool(_FRACTION.search(text)) for text in texts) * 3 > len(texts):
        return "in", "the values"
    return "", ""


def decimal_comma(column: Column) -> bool:
    """Whether numbers are written 5,42."""
    if column.facts.decimal_mark:
        return column.facts.decimal_mark == ","
    return column.share(lambda one: bool(_COMMA_DECIMAL.fullmatch(one))) > 0.3


def guess_date_formats(texts: Collection[str]) -> tuple[list[str], str]:
    """Formats of dates in plain figures, and a word when they can be taken two ways.

    Several formats mean that the texts leave it open, or that they are mixed.
    """
    orders: set[str] = set()
    shapes: set[tuple[str, str]] = set()
    example = ""
    for text in texts:
        match = FIGURES.fullmatch(text.strip())
        if match is None:
            continue
        first, second = int(match[1]), int(match[3])
        shapes.add((match[2], "YYYY" if len(match[4]) == 4 else "YY"))
        if first > 12 >= second:
            orders.add("D{0}M{0}{1}")
        elif second > 12 >= first:
            orders.add("M{0}D{0}{1}")
        else:
            example = example or text
    if not shapes:
        plain = any(EIGHT_DIGITS.fullmatch(text) for text in texts)
        return (["YYYYMMDD"], "") if plain else ([], "")
    if len(orders) == 1:
        (order,) = orders
        return [order.format(*shape) for shape in sorted(shapes)], ""
    if not orders and all(mark == "." for mark, _ in shapes):
        # with points the day stands first wherever dates are written so; common practice
        return ["D{0}M{0}{1}".format(*shape) for shape in sorted(shapes)], ""
    both = [
        order.format(*shape) for shape in sorted(shapes) for order in ("D{0}M{0}{1}", "M{0}D{0}{1}")
    ]
    if orders:
        return both, "the column mixes day/month and month/day; ask the crew, and correct it there"
    return both, f"{example} can be either; keep the one that the crew used"


def dates_in_order(texts: Collection[str], first: str) -> list[str]:
    """The formats of dates in plain figures whose day ('D') or month ('M') stands first."""
    order = "D{0}M{0}{1}" if first == "D" else "M{0}D{0}{1}"
    found = [match for text in texts if (match := FIGURES.fullmatch(text.strip()))]
    shapes = {(one[2], "YYYY" if len(one[4]) == 4 else "YY") for one in found}
    return [order.format(*shape) for shape in sorted(shapes)]


def is_code(text: str, one: Field, model: Model) -> bool:
    """Whether a field's list has a code for a text."""
    if not one.vocabulary:
        return False
    try:
        CellReader(one, ReadingHabits(), model).read(text)
    except UnreadableValue:
        return False
    return True


@dataclass(frozen=True)
class WordsForCodes:
    """What a column says instead of codes.

    `meant` are words that are taken for a code; `unknown` are those that are not, each with how
    often it stands there and a question; `split` parts several words in a cell, or is ''.
    """

    meant: Mapping[str, str]
    unknown: tuple[tuple[str, int, str], ...]
    split: str


@dataclass(frozen=True)
class Written:
    """How a column is written: `habits` as a field of a mapping says them, doubts in sentences.

    `unknown` are words that no list knows, as in `WordsForCodes`.
    """

    habits: Mapping[str, Any]
    doubts: tuple[str, ...]
    unknown: tuple[tuple[str, int, str], ...]


def guess_habits(
    one: Field,
    column: Column,
    missing: Sequence[str],
    model: Model,
    other_dates: Callable[[], Collection[str]] = frozenset,
) -> Written:
    """How a column is written that is taken for a field.

    `missing` are the marks for 'nothing written' of the mapping; `other_dates` gives dates of the
    same sheet, which tell the order of day and month where the column leaves it open.
    """
    habits: dict[str, Any] = {}
    doubts = []
    if one.type in ("number", "integer") and decimal_comma(column):
        habits["decimal"] = ","
    unit, source = guess_unit(one, column)
    if unit and unit != one.unit:
        habits["unit"] = unit
        if source != "the heading":
            doubts.append(f"unit guessed from {source}")
    elif not unit and one.unit in ("m", "cm", "mm") and one.type == "number":
        doubts.append(f"taken for {one.unit}; else add unit:")
    if one.notation == "edtf":
        formats, doubt = _formats_of(column, other_dates)
        if formats:
            habits["formats"] = formats
        if any(text.endswith("YY") and not text.endswith("YYYY") for text in formats):
            habits["century_pivot"] = 1950
            doubts.append("49 is read as 2049, 50 as 1950")
        if doubt:
            doubts.append(doubt)
    if one.type == "boolean":
        habits |= _answers(column)
    own = {mark for mark in missing if is_code(mark, one, model)}
    if any(text.casefold() in own for text in column.texts):
        # here the mark is a word of the list
        habits["missing"] = ["", *sorted(set(missing) - own)]
    words = guess_codes(one, column, frozenset(missing), model)
    if words.split:
        habits["split"] = words.split
    if words.meant:
        habits["synonyms"] = dict(words.meant)
        doubts.append("whether these words mean these codes")
    return Written(habits, tuple(doubts), words.unknown)


def _formats_of(
    column: Column, other_dates: Callable[[], Collection[str]]
) -> tuple[list[str], str]:
    """As `guess_date_formats`, and by the other dates of the sheet where the column is open."""
    formats, doubt = guess_date_formats(column.telling)
    if len(formats) < 2:
        return formats, doubt
    agreed = [one for one in guess_date_formats(other_dates())[0] if one in formats]
    if len({one[0] for one in agreed}) == 1 and "can be either" in doubt:
        return agreed, "the order is that of the other dates"
    return formats, doubt


def _answers(column: Column) -> dict[str, list[str]]:
    """The words for yes and no that are not known without being told."""
    answers = form_words().answers
    found = {
        answer: sorted(
            {one.casefold() for one in column.texts if answers.get(one.casefold()) == answer}
        )
        for answer in ("yes", "no")
    }
    return {answer: words for answer, words in found.items() if words}


def guess_codes(
    one: Field, column: Column, missing: Collection[str], model: Model
) -> WordsForCodes:
    """The words of a coded column that its list does not know, and what they may mean."""
    vocabulary = model.vocabulary_of(one)
    if vocabulary is None:
        return WordsForCodes({}, (), "")
    reader = CellReader(one, ReadingHabits(), model)
    strange = _not_read(reader, column.texts, missing)
    split = ""
    if one.separator and any(re.search(SEVERAL, text) for text, _ in strange):
        split = SEVERAL
        parts: Counter[str] = Counter()
        for text, count in strange:
            for part in re.split(SEVERAL, text):
                parts[part.strip()] += count
        strange = _not_read(reader, parts, missing)
    meant: dict[str, str] = {}
    unknown = []
    for text, count in strange:
        code = _code_for(text, vocabulary, column) if len(text) <= _LONGEST_WORD else ""
        if code:
            meant[text] = code
        else:
            unknown.append((text, count, code_meant(text, vocabulary)))
    return WordsForCodes(meant, tuple(unknown), split)


def _not_read(
    reader: CellReader, counts: Counter[str], missing: Collection[str]
) -> list[tuple[str, int]]:
    unknown = []
    for text, count in counts.most_common():
        if not text or text.casefold() in missing:
            continue
        try:
            reader.read(text)
        except UnreadableValue:
            unknown.append((text, count))
    return unknown


def says_yes(text: str) -> bool:
    """Whether a cell says yes, in one of the languages of form_words.yaml."""
    plain = plain_word(text)
    try:
        return read_boolean(plain)
    except UnreadableValue:
        return form_words().answers.get(plain) == "yes"


def known_words(vocabulary: Vocabulary) -> Mapping[str, str]:
    """Word → code of a list, with the words of form_words.yaml for it."""
    others = form_words().for_codes(vocabulary.name)
    listed = {
        plain_word(word): term.code
        for term in vocabulary.terms
        for word in (*term.synonyms, term.label, term.code)
    }
    return {word: code for word, code in others.items() if code in vocabulary.codes} | listed


def _code_for(text: str, vocabulary: Vocabulary, column: Column) -> str:
    """The one code that a word can only mean; '' where that is not so."""
    plain = plain_word(text)
    said = form_words().for_codes(vocabulary.name).get(plain)
    if said in vocabulary.codes:
        return said
    if tells_genus(vocabulary):
        codes = species_meant(text, vocabulary)
        return codes[0] if len(codes) == 1 else ""
    words = known_words(vocabulary)
    if plain.endswith("s") and plain[:-1] in words:
        return words[plain[:-1]]
    if says_yes(text):
        # under 'Bark left?' a yes says what the heading names
        heading = column.heading.plain.split()
        named = {words[word] for word in heading if word in words}
        return str(named.pop()) if len(named) == 1 else ""
    return ""


def unread_answers(
    one: Field, column: Column, said: Mapping[str, Any], missing: Collection[str], model: Model
) -> list[tuple[str, int]]:
    """The texts of a column that a yes-or-no field cannot hold, and how often each stands there.

    `said` is what the mapping says of the field.
    """
    habits = ReadingHabits(yes=frozenset(said.get("yes", ())), no=frozenset(said.get("no", ())))
    return _not_read(CellReader(one, habits, model), column.texts, missing)
