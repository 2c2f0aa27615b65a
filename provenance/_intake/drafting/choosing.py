"""Chooses the tables that a sheet fills, and the field of each of its columns."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from provenance._intake.drafting.columns import Column, Kinds
from provenance._intake.drafting.words import (
    Wanted,
    plain_heading,
    read_heading,
    telling_words,
    wanted,
)
from provenance._model.schema import Field, Model

ASK = 2.0
"""A best guess below this is asked; the scale is that of `_score`, found by trying on forms."""
SURE = 3.4
"""A guess below this is worth a question in the draft."""
TITLE = 3.2
"""What it counts when the heading is the field's own title."""
LIKELY = 1.5
"""What it counts for a table of the chain that name or first column of the sheet speak for it."""
CHAIN = ("element", "sample", "plug")
"""The tables that crews write side by side on one line."""
_MOST_GUESSES = 3
_NEAR = 0.86
_ELSEWHERE = frozenset({"photo", "page"})
_TAKEN = frozenset({"sample", "hole", "ring"})


@dataclass(frozen=True)
class Guess:
    """A column that looks like a field of a table; `score` is on the scale of ASK and SURE.

    `named` says that the heading is one of the field's names.
    """

    column: Column
    table: str
    one: Field
    score: float
    named: bool = False

    @property
    def sure(self) -> bool:
        """Whether it needs no question."""
        return self.score >= SURE or self.named


@dataclass
class Choice:
    """What a sheet seems to be: for each table the guesses for its fields, by field.

    `columns` are all that a mapping can name, `asked` those that are left; `thinkable` is every
    guess, the likeliest first.
    """

    columns: Sequence[Column]
    tables: dict[str, dict[str, Guess]]
    asked: list[Column]
    thinkable: list[Guess]

    def others(self, column: Column) -> list[Guess]:
        """What a column may be instead: the likeliest of the fields that have none."""
        filled = {(table, name) for table, found in self.tables.items() for name in found}
        return [
            guess
            for guess in self.thinkable
            if guess.column is column and (guess.table, guess.one.name) not in filled
        ][:_MOST_GUESSES]


class Chooser:
    """Chooses for the sheets of one draft."""

    def __init__(self, model: Model) -> None:
        """`model` has the tables and lists."""
        self._model = model
        self._kinds = Kinds(model)
        self._wanted = model.once("columns wanted of forms", _wanted_of)
        self._alone: dict[tuple[Column, str, str], float] = {}

    @property
    def names(self) -> frozenset[str]:
        """Every heading that a field is known by."""
        return frozenset(
            name for fields in self._wanted.values() for want in fields for name in want.names
        )

    def choose(self, sheet: str, columns: Sequence[Column]) -> Choice:
        """The tables and fields for the columns of a sheet of that name."""
        called = read_heading(sheet)
        chain = [name for name in CHAIN if name in self._wanted]
        likely = _main_of(called.things, columns)
        others = [name for name in self._wanted if name not in CHAIN]
        best, most = Choice(columns, {}, list(columns), []), 0.0
        for main in [*chain, *others]:
            group = chain if main in CHAIN else [main]
            choice = self._choose(group, main, columns)
            worth = self._worth(choice, group, sheet) + (LIKELY if main == likely else 0.0)
            if worth > most:
                best, most = choice, worth
        return self._with_second(best, others)

    def _choose(self, group: Sequence[str], main: str, columns: Sequence[Column]) -> Choice:
        """The fields of some tables for the columns; a table that no key leads to is left out."""
        pairs = self._pairs(group, main, columns)
        allowed = set(group)
        while True:
            tables: dict[str, dict[str, Guess]] = {}
            for guess in _best(guess for guess in pairs if guess.table in allowed):
                tables.setdefault(guess.table, {})[guess.one.name] = guess
            linked = _linked(tables, main, self._model) if main in CHAIN else tables
            lost = {name for name in tables if not linked[name]}
            if not lost:
                break
            allowed -= lost
        used = {one.column for fields in linked.values() for one in fields.values()}
        asked = [column for column in columns if column not in used]
        return Choice(columns, _in_order(linked, self._model), asked, pairs)

    def _with_second(self, best: Choice, others: Sequence[str]) -> Choice:
        """The choice with another table beside it that the columns left over fill, key and all."""
        for name in others:
            if name in best.tables:
                continue
            second = self._choose([name], name, best.asked)
            found = second.tables.get(name, {})
            keys = self._model.table(name).primary_key
            if len(found) > 3 and all(key in found and found[key].named for key in keys):
                tables = _in_order({**best.tables, name: found}, self._model)
                return Choice(
                    best.columns, tables, second.asked, [*best.thinkable, *second.thinkable]
                )
        return best

    def _pairs(self, group: Sequence[str], main: str, columns: Sequence[Column]) -> list[Guess]:
        """Every column with every field that it may be, the likeliest first."""
        scope = _scope(main, columns)
        pairs = [
            Guess(column, table, want.one, score, column.heading.plain in want.names)
            for column in columns
            for table in group
            for want in self._wanted[table]
            if (score := self._score(column, want, main, scope[column.place])) > 0
        ]
        return sorted(pairs, key=lambda guess: -guess.score)

    def _score(self, column: Column, want: Wanted, main: str, scope: str) -> float:
        """How well heading, values and the columns before speak for a field."""
        heading = column.heading
        if not _may_hold(want.one, column.facts.type):
            return 0.0
        key = (column, want.table, want.one.name)
        if key not in self._alone:
            # the same for whatever the sheet is thought to be of
            self._alone[key] = self._score_alone(column, want)
        score = self._alone[key]
        if main in CHAIN:
            score += _in_chain(column, want, main, scope)
        return score + _at_end(heading.end, heading.plain, want.one.name)

    def _score_alone(self, column: Column, want: Wanted) -> float:
        """How well heading and values speak for a field, wherever the column stands."""
        said = _said(column, want)
        score = said
        if column.telling:
            share = self._kinds.share(column, want.values)
            score += want.weight * 1.6 * (share - 0.25)
            if share < 0.2 and said < TITLE and want.values not in ("text", "name"):
                score -= 1.5
            if said <= 0:
                # values alone must be telling: several words of a list, not just numbers
                listed = want.values.startswith("list") or want.values == "bit"
                several = len(column.telling) > 1 and len(column.told) > 3
                telling = listed and share > 0.9 and several
                score -= 0.0 if telling else 1.0 if listed else 2.2
        if "elsewhere" in column.heading.says or (
            want.values != "path" and self._kinds.share(column, "picture") > 0.5
        ):
            score -= 2.5
        return score

    def _worth(self, choice: Choice, group: Sequence[str], sheet: str) -> float:
        tables = [self._model.table(name) for name in group]
        called = plain_heading(sheet)
        named = any(
            word and (word in called or (called and called in word))
            for table in tables
            for word in (table.name.replace("_", " "), table.title.casefold())
        )
        keyed = any(
            all(name in choice.tables.get(table.name, {}) for name in table.primary_key)
            for table in tables
        )
        scores = {
            guess.column: guess.score
            for found in choice.tables.values()
            for guess in found.values()
        }
        return sum(scores.values()) + 2.0 * named + 1.5 * keyed


def _wanted_of(model: Model) -> Mapping[str, Sequence[Wanted]]:
    """What the column of each field looks like, by table."""
    return {
        table.name: [
            wanted(table, one)
            for one in table.fields
            if one.obtained != "computed" and not one.hidden
        ]
        for table in model.of_role("record")
    }


def _said(column: Column, want: Wanted) -> float:
    """How well the heading speaks for a field."""
    heading = column.heading
    if not heading.plain and not heading.says:
        return 0.0
    if heading.plain == want.title:
        return TITLE
    if heading.plain in want.names:
        return 2.6
    said = 1.6 * bool(heading.says & want.says) + 1.2 * bool(heading.things & want.things)
    if heading.things - want.things - {"tree"} and want.things:
        said -= 1.0
    if "link" in heading.says:
        said += 0.4 if "link" in want.says else -1.0 if "id" in want.says else 0.0
    # "Sample No" is the sample, not the other sample of the same tree
    if want.apart and not want.apart & telling_words(heading.plain):
        return 0.0
    if want.compared and (alike := _words_alike(heading.plain, want.names)):
        return 2.4 * alike + 0.4 * bool(heading.says & want.says)
    if said <= 0 and len(heading.plain) > 4:
        names = [one for one in want.names if len(one) > 4 and one[0] == heading.plain[0]]
        near = names and difflib.get_close_matches(heading.plain, names, 1, _NEAR)
        return 2.0 if near else said
    return said


def _words_alike(plain: str, names: Iterable[str]) -> float:
    """How many words a heading shares with the name most like it, from 0 to 1 (Dice's measure)."""
    own = telling_words(plain)
    best = 0.0
    for name in names:
        others = telling_words(name)
        if own and others:
            best = max(best, 2 * len(own & others) / (len(own) + len(others)))
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


def _in_chain(column: Column, want: Wanted, main: str, scope: str) -> float:
    """What the tables that stand side by side have to do with it."""
    heading, name = column.heading, want.one.name
    score = 0.5 if scope == want.table else 0.0
    if main == "element":
        if (scope, want.table) == ("element", "sample") and not heading.things & _TAKEN:
            score -= 0.5
        if want.table == "plug" and "plug" not in heading.things:
            score -= 0.0 if heading.says & {"stamp", "glue"} else 1.6
        if name == "notes" and want.table != "element":
            score -= 3.0
        if name == "sample_id" and want.table == "sample" and "sample" not in heading.things:
            score -= 1.5
        if name == "element_id" and want.table == "sample":
            score -= 1.0
    else:
        score += 0.4 if want.table == main else -1.2
    if want.table == main and name == f"{main}_id" and heading.says == {"id"}:
        score += 0.9  # a bare number counts what the sheet is of
    if want.table != "plug" and "plug" in heading.things:
        score -= 1.5
    if want.things == frozenset() and want.table == "element" and heading.things & _ELSEWHERE:
        score -= 0.9
    if name.endswith("_cm") and heading.says & {"id", "floor"}:
        score -= 2.0
    if name == "outer_surface" and "surface" not in heading.says:
        score -= 1.0
    if "length" in want.says and "diam" in heading.says:
        score -= 1.5
    return score


def _at_end(end: str, plain: str, name: str) -> float:
    """Whether the end of the wood in the heading is the one of the field."""
    match = re.search(r"_(a|b)(1|2|_)", name)
    if match is None:
        return 0.0
    second = bool(re.search(r"2|high", plain))
    score = 0.0 if not end else 0.8 if end == match[1] else -0.8
    score += 0.3 if match[2] == ("2" if second else "1") else 0.0
    if match[1] == "b" and not end:
        score -= 1.6
    # of two that fit alike the first comes first
    return score - 0.02 * (match[1] == "b") - 0.02 * (match[2] == "2")


def _main_of(called: Iterable[str], columns: Sequence[Column]) -> str:
    """Of which table of the chain a sheet is: by its name, else by its first column of numbers."""
    for table in ("plug", "sample", "element"):
        if table in called:
            return table
    for column in columns:
        if (
            not column.telling
            or column.share(lambda one: any(sign.isdigit() for sign in one)) < 0.5
        ):
            continue
        if "id" in column.heading.says or column.heading.things:
            named = [table for table in ("plug", "sample") if table in column.heading.things]
            return named[0] if named else "element"
    return "element"


def _scope(main: str, columns: Sequence[Column]) -> dict[int, str]:
    """The table that a column belongs to by where it stands: behind a sample's number, its."""
    scope, table = {}, main
    for column in columns:
        says, things = column.heading.says, column.heading.things
        if main == "element" and "sample" in things and (not says - {"species"} or "id" in says):
            table = "sample"
        scope[column.place] = table
    return scope


def _best(pairs: Iterable[Guess]) -> list[Guess]:
    """Each column and each field once, the likeliest first."""
    taken: list[Guess] = []
    places: set[int] = set()
    fields: set[tuple[str, str]] = set()
    for guess in pairs:
        key = (guess.table, guess.one.name)
        if guess.score >= ASK and guess.column.place not in places and key not in fields:
            taken.append(guess)
            places.add(guess.column.place)
            fields.add(key)
    return taken


def _in_order(tables: Mapping[str, dict[str, Guess]], model: Model) -> dict[str, dict[str, Guess]]:
    return {name: tables[name] for name in model.tables if tables.get(name)}


def _linked(
    tables: dict[str, dict[str, Guess]], main: str, model: Model
) -> dict[str, dict[str, Guess]]:
    """The tables of a line with their keys in each other; those that no key leads to are left out.

    One column serves several fields: the timber's number names the timber and is in the sample's
    row; one date and one person stand for all that was done on a line.
    """
    element, sample, plug = (dict(tables.get(name, {})) for name in CHAIN)
    timber = element.get("element_id") or sample.get("element_id")
    core = sample.get("sample_id") or plug.get("sample_id")

    def also(into: dict[str, Guess], table: str, name: str, guess: Guess | None) -> None:
        if guess is not None and name not in into:
            one = model.table(table).field(name)
            into[name] = Guess(guess.column, table, one, guess.score, guess.named)

    if main != "element" and not (timber and set(element) - {"element_id"}):
        element = {}
    if main != "sample" and not (core and set(sample) - {"sample_id", "element_id"}):
        sample = {}
    if main != "plug" and not core:
        plug = {}
    if element:
        also(element, "element", "element_id", timber)
    if sample:
        also(sample, "sample", "element_id", timber)
        also(sample, "sample", "sample_id", core)
        also(sample, "sample", "collected_on", element.get("recorded_on"))
        also(sample, "sample", "collected_by", element.get("recorded_by"))
    if plug:
        also(plug, "plug", "sample_id", core)
    return {"element": element, "sample": sample, "plug": plug}
