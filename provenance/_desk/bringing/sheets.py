"""Shows a sheet as it was dropped, with what its columns become and what is still asked."""

from __future__ import annotations

import glob
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._intake.drafting.columns import FIGURES, Column
from provenance._intake.drafting.habits import (
    dates_in_order,
    guess_codes,
    guess_habits,
    unread_answers,
)
from provenance._intake.drafting.sheet import columns_of, first_rows, header_row
from provenance._intake.files.data_package import PackageTable
from provenance._intake.files.readers import open_received
from provenance._intake.files.received import Row, TextHabits, column_letters, shown
from provenance._intake.mapping.document import (
    SIMPLE,
    Source,
    Use,
    blocks,
    decided,
    habits_of,
    is_open,
    lacking,
    table_of,
    unread_source,
    uses,
)
from provenance._intake.mapping.mapping import same_heading
from provenance._intake.mapping.mapping_file import OPEN
from provenance._model.measures import MM_PER
from provenance._model.schema import Field, Model

MOST_ROWS = 25
"""Rows below the headings that are shown; what is asked looks at more."""
MOST_WORDS = 12
"""Different texts of a column by which rows can be told apart."""
UNITS = {
    "ft-in": N_("feet and inches"),
    "ft": N_("feet"),
    "in": N_("inches"),
    "yd": N_("yards"),
    "m": N_("meters"),
    "cm": N_("centimeters"),
    "mm": N_("millimeters"),
}


@dataclass(frozen=True)
class Shown:
    """A column of the sheet: what it becomes (table.field), or the `answer` LEFT_OUT, OPEN or ''.

    `part_of` says in words of which fields it is a part.
    """

    column: Column
    becomes: tuple[str, ...]
    answer: str
    part_of: tuple[str, ...]
    letters: str


@dataclass(frozen=True)
class Origin:
    """Where a field comes from that has no column of its own, or none yet (`how` is '')."""

    where: str
    one: Field
    how: str
    said: str
    options: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Habit:
    """How the column of a field is written; `first` is the day's 'D' or the month's 'M', or ''.

    `unit`, `first` and `century` are None where they are not asked. `words` are texts that no list
    knows, or that were said to mean a code, with how often each stands there and its code.
    """

    where: str
    title: str
    heading: str
    unit: str | None
    own_unit: str
    first: str | None
    century: str | None
    example: str
    words: tuple[tuple[str, int, str], ...]
    options: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class TablePart:
    """What a row of the sheet is in one table; `when` is '' for every row with anything in it.

    `others` are the fields (where, title) that come from nowhere.
    """

    name: str
    title: str
    when: str
    words: tuple[tuple[str, bool], ...]
    origins: tuple[Origin, ...]
    others: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Sheet:
    """One sheet of a dropped file, beside the source of the mapping that reads it (None: none).

    What the mapping says for all of its columns is in `missing` (marks for 'nothing written'),
    `units`, `formats` and `century`.
    """

    path: Path
    name: str
    rows: Sequence[Row]
    header: int
    described: Mapping[str, Any]
    source: Source | None
    model: Model
    missing: tuple[str, ...] = ()
    units: str = ""
    formats: tuple[str, ...] = ()
    century: str = ""

    @cached_property
    def columns(self) -> list[Column]:
        """The columns that a mapping can name, from left to right."""
        if not any(number == self.header for number, _ in self.rows):
            return []
        found, _ = columns_of(self.rows, self.header, self.described)
        apart = []
        for one in found:
            apart += [one, one.partner] if one.partner else [one]
        return apart

    def column(self, heading: str) -> Column | None:
        """The column of a heading."""
        small = same_heading(heading)
        return next((one for one in self.columns if same_heading(one.name) == small), None)

    def above(self) -> list[tuple[int, list[str]]]:
        """The rows above the headings."""
        return [self._texts(row) for row in self.rows if row[0] < self.header]

    def below(self) -> list[tuple[int, list[str]]]:
        """The first rows below the headings."""
        below = [row for row in self.rows if row[0] > self.header]
        return [self._texts(row) for row in below[:MOST_ROWS]]

    def more(self) -> bool:
        """Whether there are rows beyond."""
        return sum(number > self.header for number, _ in self.rows) > MOST_ROWS

    def _texts(self, row: Row) -> tuple[int, list[str]]:
        number, values = row
        return number, [
            shown(values[one.place]) if one.place < len(values) else "" for one in self.columns
        ]

    def shown(self) -> list[Shown]:
        """The columns with what they become."""
        assert self.source is not None
        there = list(uses(self.source))
        found = []
        for column in self.columns:
            small = same_heading(column.name)
            mine = [one for one in there if small in one.columns]
            becomes = tuple(dict.fromkeys(one.where for one in mine if one.how == SIMPLE))
            parts = dict.fromkeys(self.title(one.where) for one in mine if one.how != SIMPLE)
            found.append(
                Shown(
                    column,
                    becomes,
                    decided(self.source, column.name),
                    tuple(parts),
                    column_letters(column.place + 1),
                )
            )
        return found

    def title(self, where: str) -> str:
        """A field as a person reads it: 'Samples: Field specimen number'."""
        block, _bar, name = where.partition(".")
        table = self.model.tables.get(table_of(block))
        if table is None or name not in table:
            return where
        return f"{self.title_of(block)}: {table.field(name).title}"

    def title_of(self, block: str) -> str:
        """The table of a block, with its number where a row holds several: 'Samples (2)'."""
        number = block.partition("#")[2]
        return self.model.table(table_of(block)).title + (f" ({number})" if number else "")

    def fields(self) -> list[tuple[str, list[tuple[str, str]]]]:
        """Every field that a column can become, under table and section: (where, words).

        Of a table that is filled already a second row can be begun, and so on.
        """
        tables = [one.name for one in self.model.of_role("record")]
        there = blocks(self.source) if self.source else {}
        counts = Counter(table_of(block) for block in there)
        more = [
            f"{name}#{n}" for name in tables for n in range(2, counts[name] + 2) if counts[name]
        ]
        return [
            (f"{self.title_of(block)}: {title}", listed)
            for block in [*tables, *more]
            for table in (self.model.table(table_of(block)),)
            for section, title in table.sections.items()
            if (
                listed := [
                    # the table stands before each, so that a person who types gets to it
                    (f"{block}.{one.name}", self.title(f"{block}.{one.name}"))
                    for one in table.form_fields()
                    if one.section == section
                ]
            )
        ]

    @cached_property
    def _askable(self) -> frozenset[str]:
        """The fields that can be chosen, and those that are read or needed already."""
        chosen = {where for _group, listed in self.fields() for where, _words in listed}
        if self.source is not None:
            chosen |= {one.where for one in uses(self.source)}
            chosen |= {f"{block}.{one.name}" for block, one in lacking(self.source, self.model)}
        return frozenset(chosen)

    def require_field(self, where: str) -> None:
        """Raise UnusableInput for what is no field that a column can become."""
        if where not in self._askable:
            raise UnusableInput(_("There is no field '{name}'.").format(name=where))

    def is_coded(self, where: str) -> bool:
        """Whether a field holds codes or yes and no."""
        block, _bar, name = where.partition(".")
        return bool(options_of(self.model, self.model.table(table_of(block)).field(name)))

    # -- what is asked -----------------------------------------------------------------------------

    def parts(self) -> list[TablePart]:
        """What a row is, table by table; nothing while no column has a field."""
        if self.source is None or is_open(self.source):
            return []
        without = lacking(self.source, self.model)
        found = []
        for block, rows in blocks(self.source).items():
            table = self.model.table(rows["table"])
            there_is = list(uses(self.source))
            origins = []
            for name, one in without:
                if name == block:
                    where = f"{name}.{one.name}"
                    # chosen, and not yet written
                    is_chosen = any(u.where == where and u.how == "constant" for u in there_is)
                    how, said = ("constant", OPEN) if is_chosen else ("", "")
                    origins.append(self._origin(where, one, how, said))
            asked = {one.where for one in origins}
            read = {use.where for use in there_is}
            origins += [
                self._origin(use.where, table.field(use.field), use.how, use.said)
                for use in uses(self.source)
                if use.block == block and use.how != SIMPLE and use.where not in asked
            ]
            when = rows.get("when", "")
            column = when if isinstance(when, str) else when["column"]
            chosen = (
                set() if isinstance(when, str) else {str(one).casefold() for one in when["one_of"]}
            )
            there = self.column(column) if column else None
            texts = list(there.telling) if there else []
            # what is different in every row tells none apart
            is_kind = there is not None and there.variety < 1 and len(texts) <= MOST_WORDS
            words = texts if is_kind or chosen else []
            found.append(
                TablePart(
                    block,
                    self.title_of(block),
                    there.name if there else column,
                    tuple((one, one.casefold() in chosen) for one in words),
                    tuple(origins),
                    tuple(
                        (f"{block}.{one.name}", one.title)
                        for one in table.form_fields()
                        if f"{block}.{one.name}" not in {*asked, *read}
                    ),
                )
            )
        return found

    def _origin(self, where: str, one: Field, how: str, said: Any) -> Origin:
        text = "; ".join(said) if isinstance(said, list) else _plain(said)
        return Origin(where, one, how, text, options_of(self.model, one))

    def habits(self) -> list[Habit]:
        """How columns are written, where that can be asked."""
        if self.source is None or is_open(self.source):
            return []
        found = []
        for use in uses(self.source):
            column = self.column(use.said) if use.how == SIMPLE else None
            table = self.model.table(table_of(use.block))
            if column is None or use.field not in table:
                continue
            habit = self._habit(use, table.field(use.field), column)
            if habit.unit is not None or habit.first is not None or habit.words:
                found.append(habit)
        return found

    def _habit(self, use: Use, one: Field, column: Column) -> Habit:
        assert self.source is not None
        said = habits_of(self.source, use.where)
        is_length = one.type == "number" and one.unit in MM_PER
        dated = [match for text in column.texts if (match := FIGURES.fullmatch(text))]
        first = century = None
        if one.notation == "edtf" and dated:
            firsts = {text[0] for text in said.get("formats", self.formats) if text[0] in "DM"}
            first = firsts.pop() if len(firsts) == 1 else ""
            if any(len(match[4]) == 2 for match in dated):
                century = str(said.get("century_pivot", self.century))
        return Habit(
            use.where,
            self.title(use.where),
            column.name,
            said.get("unit", "") if is_length else None,
            UNITS.get(self.units or one.unit or "", ""),
            first,
            century,
            dated[0][0] if dated else next(iter(column.telling), ""),
            tuple(self._words(one, column, said)),
            options_of(self.model, one),
        )

    def _words(
        self, one: Field, column: Column, said: Mapping[str, Any]
    ) -> Iterator[tuple[str, int, str]]:
        """The words of a coded column that no list knows, and those that were given a meaning."""
        meant = said.get("synonyms", {})
        for word, code in meant.items():
            yield word, column.texts.get(word, 0), _plain(code)
        marks = frozenset(said.get("missing", self.missing))
        if one.vocabulary:
            words = guess_codes(one, column, marks, self.model)
            unread = [(text, count) for text, count, _ in words.unknown]
            unread += [(text, column.texts.get(text, 0)) for text in words.meant]
        elif one.type == "boolean":
            unread = unread_answers(one, column, said, marks, self.model)
        else:
            return
        known = {word.casefold() for word in meant}
        yield from ((text, count, "") for text, count in unread if text.casefold() not in known)

    def habits_for(self, column: Column, wanted: Sequence[str]) -> dict[str, dict[str, Any]]:
        """How a column is written, guessed for each of the fields that it is to become."""
        found = {}
        for where in wanted:
            block, _bar, name = where.partition(".")
            table = self.model.tables.get(table_of(block))
            if table is not None and name in table:
                one = table.field(name)
                guessed = guess_habits(one, column, self.missing, self.model)
                found[where] = dict(guessed.habits)
        return found

    def order_of_dates(self, heading: str, first: str) -> list[str]:
        """The formats of a column's dates whose day ('D') or month ('M') stands first."""
        column = self.column(heading)
        return dates_in_order(column.texts, first) if column else []

    def questions(self) -> list[str]:
        """What must be answered before the file can be tried, in sentences.

        What a row should have and a form does not say is left to the check.
        """
        if self.source is None:
            return []
        if is_open(self.source):
            return [_("Say what the columns become, or leave the sheet out.")]
        asked = [
            _("Column '{column}': what does it become?").format(column=one.column.name)
            for one in self.shown()
            if one.answer == OPEN
        ]
        asked += [
            _("{field}: where does it come from?").format(field=self.title(origin.where))
            for part in self.parts()
            for origin in part.origins
            if (origin.said == OPEN and OPEN not in dict(origin.options))
            or (not origin.how and self._is_key(part.name, origin.one))
        ]
        return asked

    def _is_key(self, block: str, one: Field) -> bool:
        return one.name in self.model.table(table_of(block)).primary_key


def _plain(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def options_of(model: Model, one: Field) -> tuple[tuple[str, str], ...]:
    """The codes that a field can hold, each with its label; none where it is not coded."""
    if one.type == "boolean":
        return (("true", _("yes")), ("false", _("no")))
    vocabulary = model.vocabulary_of(one)
    return tuple((term.code, term.label) for term in vocabulary.terms) if vocabulary else ()


@dataclass(frozen=True)
class Raw:
    """A sheet as it was read: its first rows, and what a schema says of its columns."""

    name: str
    rows: Sequence[Row]
    described: Mapping[str, Any]


def raw_sheets(path: Path, document: dict[str, Any]) -> list[Raw]:
    """The sheets of a file, in their order; raises UnusableInput."""
    first: Source = document["sources"][0]
    habits = TextHabits(first.get("encoding"), first.get("delimiter"), first.get("quote"))
    with closing(open_received(path, habits)) as received:
        return [
            Raw(
                name,
                first_rows(sheet.rows()),
                sheet.columns if isinstance(sheet, PackageTable) else {},
            )
            for name in received.sheet_names
            for sheet in (received.sheet(name),)
        ]


def sheets_of(
    path: Path, raw: Sequence[Raw], document: dict[str, Any], model: Model
) -> list[Sheet]:
    """The sheets that hold anything, each with its source."""
    missing = tuple(str(one).casefold() for one in document.get("missing", ()) if one)
    dates = document.get("dates", {})
    names = [one.name for one in raw]
    found = []
    for one in raw:
        if not any(value not in (None, "") for _number, row in one.rows for value in row):
            continue
        source = next((two for two in document["sources"] if _reads(two, one.name, names)), None)
        header = source.get("header_row", 1) if source else header_row(one.rows, frozenset())
        found.append(
            Sheet(
                path,
                one.name,
                one.rows,
                header,
                one.described,
                source,
                model,
                missing,
                document.get("units", ""),
                tuple(dates.get("formats", ())),
                str(dates.get("century_pivot", "")),
            )
        )
    return found


def _reads(source: Source, name: str, names: Sequence[str]) -> bool:
    sheets = [source["sheet"]] if "sheet" in source else source.get("sheets", [])
    if not sheets:
        return len(names) == 1
    return any(same_heading(one) == same_heading(name) for one in sheets)


def asked_anew(sheet: Sheet, header: int) -> Source:
    """A source for a sheet of which everything is asked, with the headings in another row."""
    moved = replace(sheet, header=header)
    names = [one.name for one in moved.columns if one.cells]
    return unread_source(glob.escape(sheet.path.name), sheet.name, header, names)
