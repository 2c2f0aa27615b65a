"""Guesses what the columns of an unknown form mean, for a person to mend."""

from __future__ import annotations

import difflib
import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import islice
from types import MappingProxyType

from provenance._base.errors import UnreadableValue
from provenance._intake.files.received import ColumnFacts, Row, shown
from provenance._intake.lines.cells import CellReader
from provenance._intake.lines.headings import Headings, headings_of
from provenance._intake.mapping.mapping import ReadingHabits
from provenance._intake.values.units import MM_PER
from provenance._model.schema import Field, Model, Table

LOOK_AT_ROWS = 400
NEAR = 0.84
SURE = 0.99
"""From here on a heading is the name of the field, not only like it."""
CHAIN = ("element", "sample", "plug")
"""The tables that crews write side by side on one line."""
SEVERAL = "[,;/+&]"
_UNIT_WORDS = {
    "ft-in": "ft-in",
    "ft": "ft",
    "feet": "ft",
    "foot": "ft",
    "'": "ft",
    "in": "in",
    "ins": "in",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "cm": "cm",
    "mm": "mm",
    "m": "m",
    "metre": "m",
    "metres": "m",
    "meters": "m",
}
_UNIT = re.compile(r"(?:[(\[]\s*([a-z'\"-]+)\.?\s*[)\]]|[\s,]([a-z-]+)\.?)\s*\*?\s*$")
_FIGURES = re.compile(r"([0-9]{1,2})([./-])([0-9]{1,2})\2([0-9]{4}|[0-9]{2})")
_FEET_INCHES = re.compile(r"[0-9]\s*(?:'|ft|′|’)")
_FRACTION = re.compile(r"[0-9]/[0-9]|[½¼¾⅛⅜⅝⅞]")


@dataclass(frozen=True)
class Guess:
    """A column that looks like a field; `score` is 1 for a heading that is its name."""

    place: int
    one: Field
    score: float


@dataclass
class ColumnValues:
    """What stands below one heading: how many cells, and the first different ones."""

    count: int = 0
    texts: Counter[str] = field(default_factory=Counter)
    has_dates: bool = False


@dataclass(frozen=True)
class SheetGuess:
    """What a sheet seems to be: where its headings are and what becomes of its columns.

    `tables` hold, for each table in the order of the chain, the guesses for its fields.
    """

    header_row: int
    headings: Headings
    values: dict[int, ColumnValues]
    tables: dict[str, list[Guess]]
    described: Mapping[str, ColumnFacts] = field(default_factory=dict)

    @property
    def unknown(self) -> list[int]:
        """Columns with data that no field was found for."""
        taken = {guess.place for guesses in self.tables.values() for guess in guesses}
        return [place for place, seen in sorted(self.values.items()) if place not in taken]


def guess_sheet(
    name: str,
    rows: Iterable[Row],
    model: Model,
    described: Mapping[str, ColumnFacts] = MappingProxyType({}),
) -> SheetGuess | None:
    """A guess about one sheet, called `name`; None when it has no headings.

    `described` says more of some columns, by their heading, where a schema came with the file.
    """
    first = list(islice(rows, LOOK_AT_ROWS))
    words = [
        (table, one, _words(one)) for table in model.of_role("record") for one in _asked(table)
    ]
    header = _header_row(first, {word for _, _, named in words for word in named})
    if header is None:
        return None
    headings = headings_of(dict(first)[header])
    values = _values_below(first, header)
    matching = _Matching(headings, words, values, described)
    return SheetGuess(header, headings, values, _choose(name, matching, model), described)


def _asked(table: Table) -> list[Field]:
    return [one for one in table.fields if one.obtained != "computed" and not one.hidden]


def plain_heading(text: str) -> str:
    """A heading without unit, marks and capitals.

    >>> plain_heading("Length (ft) *"), plain_heading("Re-used?")
    ('length', 're used')
    """
    small = text.casefold().replace("_", " ").strip(" *")
    small = re.sub(r"[(\[].*?[)\]]", " ", small)
    return " ".join(re.sub(r"[^\w#']+", " ", small).split())


def _words(one: Field) -> set[str]:
    bare = re.sub(r"_(?:m|cm|mm|deg|id)$", "", one.name)
    return {plain_heading(word) for word in (one.title, one.name, bare, *one.synonyms)}


def _header_row(first: Sequence[Row], words: set[str]) -> int | None:
    """The row with the most known headings; failing that, the first with the most texts."""
    best, best_score = None, 0.0
    for number, row in first[:30]:
        texts = [shown(value) for value in row if isinstance(value, str)]
        if len(texts) < 2:
            continue
        known = sum(plain_heading(text) in words for text in texts)
        score = known * 3 + min(len(set(texts)), 40) / 40
        if score > best_score:
            best, best_score = number, score
    return best


def _values_below(first: Sequence[Row], header: int) -> dict[int, ColumnValues]:
    values: dict[int, ColumnValues] = {}
    for number, row in first:
        if number <= header:
            continue
        for place, value in enumerate(row):
            if value is None or value == "":
                continue
            seen = values.setdefault(place, ColumnValues())
            seen.count += 1
            seen.has_dates = seen.has_dates or isinstance(value, date)
            seen.texts[shown(value)] += 1
    return values


@dataclass(frozen=True)
class _Matching:
    """Holds headings against the names of fields; `filled` are the columns with anything below."""

    headings: Headings
    words: Sequence[tuple[Table, Field, set[str]]]
    filled: Collection[int]
    described: Mapping[str, ColumnFacts]

    def of_table(self, table: str, without: Collection[int] = ()) -> list[Guess]:
        """The best field of a table for each heading, each field once, but for some columns."""
        guesses = []
        for place, name in enumerate(self.headings.names):
            facts = self.described.get(name, ColumnFacts())
            heading, title = plain_heading(name), plain_heading(facts.title)
            if place in without or not heading or name.startswith("column "):
                continue
            for owner, one, named in self.words:
                if owner.name != table or not _may_hold(one, facts.type):
                    continue
                score = max(_likeness(text, one, named) for text in (heading, title or heading))
                # of two headings that fit, the one with something below it is meant
                score -= 0.0 if place in self.filled else 0.002
                if score >= NEAR:
                    guesses.append(Guess(place, one, score))
        guesses.sort(key=lambda guess: (-guess.score, guess.place))
        best: list[Guess] = []
        for guess in guesses:
            if all(guess.place != one.place and guess.one.name != one.one.name for one in best):
                best.append(guess)
        return best


def _may_hold(one: Field, kind: str) -> bool:
    """Whether a field can hold what a schema says is of that type; texts can be anything."""
    dated = one.notation == "edtf"
    if kind == "boolean":
        return one.type in ("boolean", "string") and not dated
    if kind == "number":
        return one.type in ("number", "integer", "string") and not dated
    if kind in ("date", "datetime", "yearmonth", "year"):
        return dated or one.type == ("integer" if kind == "year" else "string")
    return True


def _likeness(heading: str, one: Field, named: set[str]) -> float:
    """1 for the field's own title, a little less for its other names, then how alike they look."""
    bare = re.sub(r" (?:ft in|ft|in|cm|mm|m)$", "", heading)
    if plain_heading(one.title) in (heading, bare):
        return 1.0
    return 0.995 if {heading, bare} & named else _nearness(heading, named)


def _nearness(heading: str, named: set[str]) -> float:
    """Likeness of words, never as good as the word itself; short words are not compared."""
    ratios = [
        difflib.SequenceMatcher(None, heading, word).ratio()
        for word in named
        if len(word) > 4 and len(heading) > 4
    ]
    return min(max(ratios, default=0.0), 0.98)


def _choose(name: str, matching: _Matching, model: Model) -> dict[str, list[Guess]]:
    """The tables that a sheet fills: the best one, and those of the chain that stand beside it."""
    found = {table.name: matching.of_table(table.name) for table in model.of_role("record")}

    def weight(table: str) -> float:
        title = model.table(table).title.casefold()
        called = plain_heading(name)
        bonus = 2.0 if table in called or title in called or called in title else 0.0
        keyed = _key_guess(found[table], model.table(table)) is not None
        return sum(guess.score for guess in found[table]) + bonus + (1.5 if keyed else 0.0)

    main = max(found, key=weight)
    keyed = _key_guess(found[main], model.table(main)) is not None
    if len(found[main]) < (2 if keyed else 3):
        return {}
    chosen = {main: found[main]}
    if main in CHAIN:
        for table in CHAIN:
            taken = {guess.place for guesses in chosen.values() for guess in guesses}
            fresh = matching.of_table(table, taken) if table != main else []
            keyed = _key_guess(fresh, model.table(table)) is not None
            if len(fresh) >= 2 and (keyed or table == "plug"):
                chosen[table] = _linked(fresh, model.table(table), chosen, model)
    order = list(model.tables)
    return {table: chosen[table] for table in sorted(chosen, key=order.index)}


def _key_guess(guesses: Sequence[Guess], table: Table) -> Guess | None:
    return next((guess for guess in guesses if guess.one.name in table.primary_key), None)


def _linked(
    fresh: list[Guess], table: Table, chosen: Mapping[str, list[Guess]], model: Model
) -> list[Guess]:
    """The guesses with the columns that bear the keys of the tables beside it, for the links."""
    links = []
    for key in table.foreign_keys:
        if key.table in chosen and len(key.fields) == 1:
            one = table.field(key.fields[0])
            bearer = _key_guess(chosen[key.table], model.table(key.table))
            if bearer is not None and one.required:
                links.append(Guess(bearer.place, one, 1.0))
    linked = {guess.one.name for guess in links}
    return [guess for guess in fresh if guess.one.name not in linked] + links


# -- units, dates, words ---------------------------------------------------------------------------


def guess_unit(heading: str, one: Field, seen: ColumnValues) -> tuple[str, str]:
    """A unit for a length, and whether the heading or the values say so; ('', '') if neither."""
    if one.unit not in MM_PER or one.type != "number":
        return "", ""
    match = _UNIT.search(heading.casefold())
    if match and (unit := _UNIT_WORDS.get(match[1] or match[2] or "")):
        return unit, "the heading"
    texts = list(seen.texts)
    if sum(bool(_FEET_INCHES.search(text)) for text in texts) * 2 > len(texts):
        return "ft-in", "the values"
    if sum(bool(_FRACTION.search(text)) for text in texts) * 3 > len(texts):
        return "in", "the values"
    return "", ""


def guess_date_formats(seen: ColumnValues) -> tuple[list[str], str]:
    """Formats of dates in plain figures, and a word when they can be taken two ways.

    Several formats mean that the column leaves it open, or that it is mixed.
    """
    orders: set[str] = set()
    shapes: set[tuple[str, str]] = set()
    example = ""
    for text in seen.texts:
        match = _FIGURES.fullmatch(text.strip())
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
        return [], ""
    if len(orders) == 1:
        (order,) = orders
        return [order.format(*shape) for shape in sorted(shapes)], ""
    both = [
        order.format(*shape) for shape in sorted(shapes) for order in ("D{0}M{0}{1}", "M{0}D{0}{1}")
    ]
    if orders:
        return both, "the column mixes day/month and month/day; ask the crew, and mend it there"
    return both, f"{example} can be either; keep the one that the crew used"


def unknown_words(
    one: Field, seen: ColumnValues, missing: frozenset[str], model: Model
) -> tuple[list[tuple[str, int]], str]:
    """Words of a coded column that its list does not know, with how often they stand there.

    The second value is a regular expression to split cells with, '' where none is needed.
    """
    split = ""
    if one.separator and any(re.search(SEVERAL, text) for text in seen.texts):
        whole = _not_known(one, seen.texts, ReadingHabits(), missing, model)
        split = SEVERAL if whole else ""
    counts = seen.texts
    if split:
        counts = Counter()
        for text, count in seen.texts.items():
            for part in re.split(split, text):
                counts[part.strip()] += count
    return _not_known(one, counts, ReadingHabits(), missing, model), split


def _not_known(
    one: Field,
    counts: Counter[str],
    habits: ReadingHabits,
    missing: frozenset[str],
    model: Model,
) -> list[tuple[str, int]]:
    reader = CellReader(one, habits, model)
    unknown = []
    for text, count in counts.most_common():
        if not text or text.casefold() in missing:
            continue
        try:
            reader.read(text)
        except UnreadableValue:
            unknown.append((text, count))
    return unknown
