"""Writes what was guessed of one sheet as a source of a mapping, with questions where open."""

from __future__ import annotations

import glob
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from provenance._intake.drafting.card_index import CardIndex
from provenance._intake.drafting.choosing import CHAIN, Choice, Guess
from provenance._intake.drafting.columns import Column
from provenance._intake.drafting.habits import guess_habits, known_words, says_yes
from provenance._intake.drafting.yaml_words import listed, quoted
from provenance._intake.mapping.mapping_file import LEFT_OUT, OPEN
from provenance._model.schema import Field, Model, Table

MOST_WORDS = 12
"""Words that are in no list, named for one column."""
_EXAMPLES = 3
_LONGEST_EXAMPLE = 30
_LONGEST_KEY = 800
"""YAML takes a key of up to 1024 characters without more ado."""


@dataclass(frozen=True)
class SheetGuess:
    """What is guessed of one sheet; `marks` mean 'nothing written', `nameless` are column letters.

    `nameless` hold values that a mapping cannot name, since they have no heading of their own.
    `computed` are headings of what the program works out itself. `cards` is there for a card index.
    """

    path: Path
    name: str
    header: int
    choice: Choice
    marks: frozenset[str]
    nameless: Sequence[str]
    computed: frozenset[str]
    cards: CardIndex | None = None

    @property
    def all_computed(self) -> bool:
        """Whether it is a table that the program made and will make again."""
        names = [column.name for column in self.choice.columns]
        return bool(names) and self.computed.issuperset(names)


def is_known(choice: Choice) -> bool:
    """Whether enough was found to say what a line of a sheet is."""
    count = sum(len(found) for found in choice.tables.values())
    keyed = any(f"{table}_id" in found for table, found in choice.tables.items())
    return count >= (2 if keyed else 3)


class SourceWriter:
    """Writes the source of one sheet."""

    def __init__(
        self, sheet: SheetGuess, missing: Sequence[str], model: Model, sites: Collection[str]
    ) -> None:
        """`missing` are the marks of the whole mapping, `sites` the codes that the record has."""
        self._sheet = sheet
        self._choice = sheet.choice
        self._missing = missing
        self._model = model
        self._sites = sites
        self._timber_key, house = _key_with_place(self._choice)
        self._asked = [
            column
            for column in self._choice.asked
            if column is not house and column.name not in sheet.computed
        ]

    def lines(self) -> Iterator[str]:
        """The lines of the source, indented as an entry of 'sources'."""
        yield f"  - files: {quoted(glob.escape(self._sheet.path.name))}"
        if self._sheet.name:
            yield f"    sheet: {quoted(self._sheet.name)}"
        yield f"    header_row: {self._sheet.header}"
        for letters in self._sheet.nameless:
            yield f"    # ? column {letters} has no heading of its own and is not read; give it one"
        tables = self._choice.tables if is_known(self._choice) else {}
        asked = self._asked
        if not tables:
            guessed = [
                one.column for found in self._choice.tables.values() for one in found.values()
            ]
            asked = sorted({*asked, *guessed}, key=lambda column: column.place)
        yield from self._questions([column for column in asked if column.cells])
        for column in asked:
            if not column.cells:
                yield f"    # ? column {quoted(column.name)} holds nothing and is not read"
        there = [one.name for one in self._choice.columns if one.name in self._sheet.computed]
        cards = self._sheet.cards
        of_store = [one.name for one in cards.for_the_store] if cards else []
        if of_store:
            yield f"    # ? {', '.join(map(quoted, of_store))}: these go into the store with"
            yield "    # 'treenail accession' or 'treenail store enter'. The full bundle keeps the"
            yield "    # file as it is: take names of donors out of it first"
        if there or of_store:
            why = "" if of_store else "  # the program works these out itself"
            yield f"    columns_left_out: {listed([*there, *of_store])}{why}"
        yield "    rows:"
        number = self._choice.tables.get("sample", {}).get("sample_id")
        if tables and cards and number:
            yield from cards.before(number.column)
        if not tables:
            names = ", ".join(table.name for table in self._model.of_role("record"))
            yield f"      - table: {quoted(OPEN)}  # what is on a line? One of: {names}"
            yield f"        fields: {{{quoted(OPEN)}: {{column: {quoted(OPEN)}}}}}"
        if tables and cards and number and "element" not in tables:
            yield from self._rows(self._model.table("element"), {})
        for name, found in tables.items():
            yield from self._rows(self._model.table(name), found)
        if tables and cards and number:
            yield from cards.behind(number.column)

    def _questions(self, asked: Sequence[Column]) -> Iterator[str]:
        if not asked:
            return
        yield f"    columns_to_decide:  # in place of '{OPEN}' write TABLE.FIELD, or {LEFT_OUT}"
        for column in asked:
            yield from self._question(column)

    def _question(self, column: Column) -> Iterator[str]:
        key = quoted(column.name)
        said = [
            f"{len(column.cells)} cells",
            f"such as {_examples(column)}" if column.cells else "",
        ]
        said.append(_said_to_be(column))
        others = [
            f"{guess.table}.{guess.one.name} ({guess.one.title})"
            for guess in self._choice.others(column)
        ]
        said.append(f"perhaps {' or '.join(others)}" if others else "")
        words = "  # " + ", ".join(one for one in said if one)
        if len(key) > _LONGEST_KEY:
            yield f"      ? {key}"
            yield f"      : {quoted(OPEN)}{words}"
        else:
            yield f"      {key}: {quoted(OPEN)}{words}"

    def _rows(self, table: Table, found: Mapping[str, Guess]) -> Iterator[str]:
        yield f"      - table: {table.name}"
        if words := self._words_for_sampled(table, found):
            asked = self._choice.tables["element"]["sampled"].column
            condition = f"{{column: {quoted(asked.name)}, one_of: {listed(words)}}}"
            yield f"        when: {condition}  # ? only lines where this says so"
        elif len(self._choice.tables) > 1 and (column := self._column_that_tells(table, found)):
            yield f"        when: {quoted(column)}  # ? only lines where this is filled"
        yield "        fields:"
        for one in table.fields:
            if one.name in found:
                yield from self._field(table, found[one.name])
            elif one.required and (answer := self._of_card(table.name, one.name)):
                yield f"          {one.name}: {answer}"
            elif one.name in table.primary_key:
                yield self._key(table, one.name, found)
            elif one.required and one.name == "site_id":
                yield self._site()
            elif one.name == "sampled" and (number := self._sample_number()):
                yield f"          {one.name}: {{filled: {quoted(number)}}}  # ? with a number"
            elif one.required and (code := self._code_in_heading(table, one, found)):
                yield f"          {one.name}: {{constant: {code}}}  # ? every row is of this kind"
            elif one.required:
                yield (
                    f"          # ? {one.name}: every row needs it ({one.title}); name its "
                    "{column: …} or a {constant: …}"
                )

    def _column_that_tells(self, table: Table, found: Mapping[str, Guess]) -> str:
        """The heading that tells whether a line holds a row of this table."""
        others = {
            guess.column.place
            for name, guesses in self._choice.tables.items()
            if name != table.name
            for guess in guesses.values()
        }
        for name in (*table.primary_key, "stamp", *found):
            if name in found and (
                name in table.primary_key or found[name].column.place not in others
            ):
                return found[name].column.name
        return ""

    def _of_card(self, table: str, name: str) -> str:
        """What a card index says, or does not say, of a field without a column of its own."""
        samples = self._choice.tables.get("sample", {})
        if self._sheet.cards is None or "sample_id" not in samples:
            return ""
        elements = self._choice.tables.get("element", {})
        timber = elements.get("element_id") or samples.get("element_id") or samples["sample_id"]
        return self._sheet.cards.answers(table, name, timber.column.name)

    def _sample_number(self) -> str:
        """The heading of the numbers of samples; '' where there is none."""
        found = self._choice.tables.get("sample", {}).get("sample_id")
        return found.column.name if found is not None else ""

    def _words_for_sampled(self, table: Table, found: Mapping[str, Guess]) -> list[str]:
        """The words that say a timber was sampled, where its number does not: 'none', 'no core'."""
        sampled = self._choice.tables.get("element", {}).get("sampled")
        if table.name != "sample" or sampled is None or "sample_id" not in found:
            return []
        numbers = found["sample_id"].column.cells
        said_no = [line for line, text in sampled.column.cells.items() if not says_yes(text)]
        if not any(
            numbers.get(line, "").casefold() not in ("", *self._missing) for line in said_no
        ):
            return []
        return sorted({text for text in sampled.column.texts if says_yes(text)})

    def _key(self, table: Table, name: str, found: Mapping[str, Guess]) -> str:
        """The line for a key that no column was found for."""
        bearer = found.get({"plug": "sample_id", "lab_result": "lab_number"}.get(table.name, ""))
        if bearer is not None and not _has_braces(bearer.column):
            letter = "P" if table.name == "plug" else "R"
            template = f"{letter}-{{{bearer.column.name}}}"
            return f"          {name}: {{template: {quoted(template)}}}  # ? made up of the other"
        apart = [quoted(one.name) for one in self._asked if one.variety == 1]
        perhaps = f" Perhaps {' or '.join(apart[:_EXAMPLES])}" if apart else ""
        said = f"# which column tells the rows apart?{perhaps}"
        return f"          {name}: {{column: {quoted(OPEN)}}}  {said}"

    def _code_in_heading(self, table: Table, one: Field, found: Mapping[str, Guess]) -> str:
        """What the heading of the key says of a coded field without a column: 'Core no' a core."""
        vocabulary = self._model.vocabulary_of(one)
        key = found.get(table.primary_key[0])
        if vocabulary is None or key is None:
            return ""
        words = known_words(vocabulary)
        codes = {words[word] for word in key.column.heading.plain.split() if word in words}
        return str(codes.pop()) if len(codes) == 1 else ""

    def _site(self) -> str:
        if len(self._sites) == 1:
            (site,) = self._sites
            return f"          site_id: {{constant: {quoted(site)}}}  # ? the only site so far"
        some = f"; there are {', '.join(self._sites)}" if self._sites else ""
        return f"          site_id: {{constant: {quoted(OPEN)}}}  # the code of the site{some}"

    def _field(self, table: Table, guess: Guess) -> Iterator[str]:
        one, column = guess.one, guess.column
        remarks = []
        if not guess.sure:
            others = [f"{other.table}.{other.one.name}" for other in self._choice.others(column)]
            instead = f", or {' or '.join(others)}" if others else ""
            remarks.append(f"? is this '{one.title}'{instead}; it holds {_examples(column)}")
        if not guess.named and (described := _said_to_be(column)):
            remarks.append(described)
        written = guess_habits(
            one, column, self._missing, self._model, lambda: self._other_dates(one)
        )
        parts = [self._source_of(guess), *map(_part, written.habits.items())]
        remarks += [f"? {doubt}" for doubt in written.doubts]
        shown = f"  # {'; '.join(remarks)}" if remarks else ""
        yield f"          {one.name}: {{{', '.join(parts)}}}{shown}"
        for text, count, near in written.unknown[:MOST_WORDS]:
            yield (
                f"          # ? not in the list ({count}): {quoted(text[:_LONGEST_EXAMPLE])}."
                f"{near} Say what it means under synonyms: {{…}}"
            )

    def _other_dates(self, one: Field) -> set[str]:
        """The texts of the columns of dates on the sheet."""
        return {
            text
            for guesses in self._choice.tables.values()
            for guess in guesses.values()
            if guess.one.notation == one.notation
            for text in guess.column.telling
        }

    def _source_of(self, guess: Guess) -> str:
        column = guess.column
        if column.partner is not None:
            feet_inches = f"{{{column.name}}}' {{{column.partner.name}}}\""
            return f"template: {quoted(feet_inches)}"
        if guess.one.name == "element_id" and self._timber_key:
            return f"template: {quoted(self._timber_key)}"
        return f"column: {quoted(column.name)}"


def _key_with_place(choice: Choice) -> tuple[str, Column | None]:
    """A template for the timber's key where one number stands in several places, or ''.

    The second value is the column of the place if it has no field of its own.
    """
    chain = [choice.tables.get(name, {}) for name in CHAIN]
    timber = next((found["element_id"] for found in chain if "element_id" in found), None)
    own = [found["place_id"].column for found in chain if "place_id" in found]
    for place in [*(one for one in choice.asked if "room" in one.heading.says), *own]:
        if timber is None or _has_braces(place, timber.column):
            continue
        places: dict[str, set[str]] = {}
        for line, number in timber.column.told.items():
            if line in place.told:
                places.setdefault(number, set()).add(place.told[line])
        if any(len(found) > 1 for found in places.values()):
            return f"{{{place.name}}}-{{{timber.column.name}}}", None if place in own else place
    return "", None


def _has_braces(*columns: Column) -> bool:
    return any(sign in column.name for column in columns for sign in "{}")


def _part(habit: tuple[str, Any]) -> str:
    """A habit as a field of the mapping has it on its line."""
    name, value = habit
    match value:
        case dict():
            said = ", ".join(f"{quoted(word)}: {quoted(code)}" for word, code in value.items())
            return f"{name}: {{{said}}}"
        case list():
            return f"{name}: {listed(value)}"
        case str() if name != "unit":
            return f"{name}: {quoted(value)}"
    return f"{name}: {value}"


def _said_to_be(column: Column) -> str:
    """What a schema that came with the file says of a column."""
    facts = " ".join(f"{column.facts.title}: {column.facts.description}".strip(": ").split())
    return f"said to be {quoted(facts[:200])}" if facts else ""


def _examples(column: Column) -> str:
    some = list(column.telling or column.texts)[:_EXAMPLES]
    return ", ".join(quoted(one[:_LONGEST_EXAMPLE]) for one in some) or "nothing"
