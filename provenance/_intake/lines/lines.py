"""Reads the lines of one sheet through the rules of a mapping."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

from provenance._base.errors import UnreadableValue, UnusableInput
from provenance._identity.naming import CellNames
from provenance._intake.files.received import CellValue, ReceivedSheet, Row, SheetFacts, shown
from provenance._intake.lines.cells import CellReader, is_missing
from provenance._intake.lines.headings import Headings, find_headings
from provenance._intake.lines.readings import (
    Place,
    ReadRow,
    SheetReading,
    UnreadCell,
    intake_finding,
)
from provenance._intake.lines.sheet_remarks import SheetRemarks
from provenance._intake.mapping.mapping import (
    Condition,
    FieldRule,
    RowsRule,
    SourceRule,
    fill_template,
)
from provenance._model.schema import Model, Table

LOOK_AHEAD = 25
PROGRESS_ROWS = 500
Advance = Callable[[float], None]
"""Called now and then with the share of the sheet that is read."""


@dataclass(frozen=True)
class _Column:
    """One field's rule with the places of its columns and a reader made for them."""

    rule: FieldRule
    places: tuple[int, ...]
    headings: tuple[str, ...]
    reader: CellReader
    constant: str = ""

    @property
    def heading(self) -> str:
        return " + ".join(self.headings)


class _Rows:
    """One table's rule, ready for the lines of one sheet."""

    def __init__(
        self,
        rule: RowsRule,
        headings: Headings,
        model: Model,
        facts: SheetFacts,
        place: Place,
        names: CellNames | None,
    ) -> None:
        self.rule = rule
        self.table: Table = model.table(rule.table)
        self.names = names
        self.when_place = headings.place_of(rule.when.column) if rule.when else None
        self.columns = [
            _column(one, self.table, headings, model, facts, place, names)
            for one in rule.fields
            if all(headings.place_of(name) is not None for name in one.columns)
        ]
        # one for all rows, which may be very many
        self.headings = {column.rule.name: column.heading for column in self.columns}
        here = {spot for column in self.columns for spot in column.places}
        self.places = here | ({self.when_place} if self.when_place is not None else set())

    def applies(self, row: Sequence[CellValue], missing: frozenset[str]) -> bool:
        """Whether the line holds a row of this table."""
        when = self.rule.when
        if when is not None:
            return self.when_place is not None and _holds(when, _at(row, self.when_place), missing)
        return any(
            not is_missing(_at(row, spot), column.rule.habits.missing)
            for column in self.columns
            for spot in column.places
        )


def _at(row: Sequence[CellValue], place: int) -> CellValue:
    return row[place] if place < len(row) else None


def _holds(when: Condition, value: CellValue, missing: frozenset[str]) -> bool:
    if is_missing(value, missing):
        return False
    return not when.words or " ".join(shown(value).split()).casefold() in when.words


def _column(
    rule: FieldRule,
    table: Table,
    headings: Headings,
    model: Model,
    facts: SheetFacts,
    place: Place,
    names: CellNames | None,
) -> _Column:
    named = names.reader_of(table, rule.name) if names is not None else None
    reader = CellReader(table.field(rule.name), rule.habits, model, facts.epoch, named)
    places = tuple(spot for name in rule.columns if (spot := headings.place_of(name)) is not None)
    constant = ""
    if rule.how == "constant":
        try:
            constant = reader.read(rule.text)
        except UnreadableValue as error:
            raise UnusableInput(
                f"the mapping gives the constant {error} ({table.name}.{rule.name}, for {place})"
            ) from None
    return _Column(rule, places, tuple(headings.name(spot) for spot in places), reader, constant)


def read_sheet(
    source: SourceRule,
    sheet: ReceivedSheet,
    place: Place,
    model: Model,
    advance: Advance = lambda share: None,
    names: CellNames | None = None,
) -> SheetReading:
    """Everything that a sheet says by the rules of `source`.

    With `names` a cell may name a sample or parcel of the record as its label does.
    Raises UnusableInput when the headings are not as the mapping says; whatever is wrong with a
    single cell becomes an UnreadCell, and whatever is worth a look a finding.
    """
    facts = sheet.facts()
    rows = sheet.rows()
    first = _rows_down_to(rows, source.header_row + LOOK_AHEAD)
    wanted = () if source.may_lack else source.columns
    headings = find_headings(first, source.header_row, wanted, place)
    reading = SheetReading(place, frozenset(rule.table for rule in source.rows))
    reader = _SheetReader(source, headings, facts, model, reading, names)
    for count, (number, values) in enumerate(chain(first, rows)):
        if number > source.header_row:
            reader.take_line(number, values)
        if count % PROGRESS_ROWS == 0:
            advance(number / max(facts.last_row, number))
    reading.findings += reader.remarks.findings(place)
    return reading


def _rows_down_to(rows: Iterator[Row], last: int) -> list[Row]:
    first = []
    for number, values in rows:
        first.append((number, values))
        if number >= last:
            break
    return first


class _SheetReader:
    """Goes down the lines of one sheet."""

    def __init__(
        self,
        source: SourceRule,
        headings: Headings,
        facts: SheetFacts,
        model: Model,
        reading: SheetReading,
        names: CellNames | None,
    ) -> None:
        self.source = source
        self.headings = headings
        self.reading = reading
        self.rules = [
            _Rows(rule, headings, model, facts, reading.place, names)
            for rule in source.rows
            # a table whose key column the crew took out of our workbook is not read at all
            if not source.may_lack or all(_has(headings, rule, key) for key in _key(model, rule))
        ]
        # a number says the same where it is a part of another code, as in the template P-{Core no}
        self.naming = {
            spot: column.reader
            for rule in self.rules
            for column in rule.columns
            if column.reader.names and column.rule.how in ("column", "first_of")
            for spot in column.places
        }
        self.keep = _places(headings, source.keep)
        self.fill_down = _places(headings, source.fill_down)
        self.mapped = {spot for rule in self.rules for spot in rule.places} | self.keep
        known = self.mapped | self.fill_down | _places(headings, source.left_out)
        self.remarks = SheetRemarks(headings, facts, known, self.fill_down, source.header_row)
        for rule in self.rules:
            for column in rule.columns:
                if column.rule.how in ("column", "first_of"):
                    self.remarks.expect(column.places, column.reader)
        self.above: dict[int, CellValue] = {}
        self.last_number = source.header_row

    def take_line(self, number: int, row: list[CellValue]) -> None:
        """Read one line into rows, unread cells and findings."""
        missing = self.source.missing
        filled = {spot for spot, value in enumerate(row) if not is_missing(value, missing)}
        self.reading.spacers += number - self.last_number - 1  # rows with nothing in them
        self.last_number = number
        if not filled or self._repeats_headings(row, filled):
            self.reading.spacers += 1
            return
        if self.keep and not (filled & self.keep):
            self._report_spacer(number, row, filled)
            return
        self.remarks.look_at(number, row, filled)
        if not filled & (self.mapped - self.fill_down):
            return  # whatever stands here is in columns that are not taken, and is reported so
        self.reading.lines += 1
        row = self._filled_down(row)
        used: set[int] = set()
        applied: list[_Rows] = []
        silent: list[_Rows] = []
        for rule in self.rules:
            if rule.applies(row, missing):
                applied.append(rule)
                used |= self._take_row(rule, number, row)
            else:
                silent.append(rule)
        orphans = filled - used - self.keep - self.fill_down
        if orphans:
            self._report_orphans(applied, silent, number, row, orphans)

    def _repeats_headings(self, row: list[CellValue], filled: set[int]) -> bool:
        """Whether the line says the headings again, as the next page of a form does."""
        names = self.headings.names
        return len(filled) > 1 and all(
            spot < len(names) and " ".join(shown(row[spot]).split()) == names[spot]
            for spot in filled
        )

    def _filled_down(self, row: list[CellValue]) -> list[CellValue]:
        if not self.fill_down:
            return row
        row = list(row)
        for spot in self.fill_down:
            if not is_missing(_at(row, spot), self.source.missing):
                self.above[spot] = row[spot]
            elif spot in self.above:
                row.extend([None] * (spot + 1 - len(row)))
                row[spot] = self.above[spot]
        return row

    def _take_row(self, rule: _Rows, number: int, row: list[CellValue]) -> set[int]:
        """Make the row of one table, or keep the texts when it has no key.

        Returns the columns that had a part in it.
        """
        used = set() if rule.when_place is None else {rule.when_place}
        values: dict[str, str] = {}
        written: dict[str, str] = {}
        failed: list[tuple[_Column, str, str]] = []
        for column in rule.columns:
            try:
                text, places = _read_column(column, row, self.naming)
                used |= places
            except UnreadableValue as error:
                used |= set(column.places)
                failed.append((column, error.value, error.expected))
                continue
            if text:
                values[column.rule.name] = text
                said = " ".join(shown(_at(row, spot)) for spot in sorted(places))
                if said and said != text:
                    written[column.rule.name] = said
        failed += _name_in_other_tables(rule, values, written)
        place = self.reading.place.at(number)
        if rule.table.name == "custody":
            key = values.get("custody_id", "")
        elif lacking := [name for name in rule.table.primary_key if not values.get(name)]:
            self._report_no_key(rule, row, failed, lacking, place)
            return rule.places
        else:
            key = rule.table.key_of(values)
        for column, text, why in failed:
            self._keep_unread(rule, key, column, text, why, place.at(number, column.heading))
        self.reading.rows.append(
            ReadRow(rule.table.name, key, values, rule.headings, place, written)
        )
        return used

    def _keep_unread(
        self, rule: _Rows, key: str, column: _Column, text: str, why: str, place: Place
    ) -> None:
        cell = UnreadCell(rule.table.name, key, column.rule.name, text, why, place)
        self.reading.unread.append(cell)

    def _report_no_key(
        self,
        rule: _Rows,
        row: list[CellValue],
        failed: list[tuple[_Column, str, str]],
        lacking: list[str],
        place: Place,
    ) -> None:
        unreadable = {column.rule.name: (text, why) for column, text, why in failed}
        needed = [column for column in rule.columns if column.rule.name in lacking]
        heading = needed[0].heading if needed else lacking[0]
        no_row = (
            f"stands on a line without {lacking[0]} (column '{heading}'), so no row of "
            f"{rule.table.name} could be made of it; fill that in and import the file again"
        )
        for column in rule.columns:
            text, why = unreadable.get(column.rule.name, (_texts(column, row), no_row))
            if text:
                where = place.at(place.row, column.heading)
                self._keep_unread(rule, "", column, text, why, where)

    def _report_orphans(
        self,
        applied: list[_Rows],
        silent: list[_Rows],
        number: int,
        row: list[CellValue],
        orphans: set[int],
    ) -> None:
        """Texts that no row of this line took are not lost."""
        for rule in (*applied, *silent):
            for column in rule.columns:
                mine = [spot for spot in column.places if spot in orphans]
                if not mine:
                    continue
                orphans -= set(mine)
                if rule in silent:
                    why = _why_silent(rule)
                elif column.rule.how == "template":
                    why = (
                        f"is only a part of {column.rule.name}, which needs all of "
                        f"'{column.heading}'; fill in the others"
                    )
                else:
                    why = f"stands beside another text for {column.rule.name}; keep one of them"
                text = "; ".join(shown(row[spot]) for spot in mine)
                heading = " + ".join(self.headings.name(spot) for spot in mine)
                place = self.reading.place.at(number, heading)
                self._keep_unread(rule, "", column, text, why, place)

    def _report_spacer(self, number: int, row: list[CellValue], filled: set[int]) -> None:
        self.reading.spacers += 1
        texts = [f"{self.headings.name(spot)}: {shown(row[spot])}" for spot in sorted(filled)]
        names = ", ".join(f"'{self.headings.name(spot)}'" for spot in sorted(self.keep))
        self.reading.findings.append(
            intake_finding(
                "note",
                "line_left_out",
                self.reading.place.at(number),
                f"This line has nothing under {names} and was left out. It says: "
                + "; ".join(texts),
                "If it belongs to the record, fill in what is missing and import the file again.",
                value="; ".join(texts),
            )
        )


def _has(headings: Headings, rule: RowsRule, key: str) -> bool:
    return any(
        one.name == key and all(headings.place_of(name) is not None for name in one.columns)
        for one in rule.fields
    )


def _key(model: Model, rule: RowsRule) -> tuple[str, ...]:
    return () if rule.table == "custody" else model.table(rule.table).primary_key


def _places(headings: Headings, names: Sequence[str]) -> set[int]:
    return {place for name in names if (place := headings.place_of(name)) is not None}


def _texts(column: _Column, row: Sequence[CellValue]) -> str:
    texts = [shown(_at(row, spot)) for spot in column.places]
    return "; ".join(text for text in texts if text)


def _why_silent(rule: _Rows) -> str:
    when = rule.rule.when
    blank = f"'{when.column}'" if when else "its columns"
    says = "does not say so" if when and when.words else "is blank"
    return (
        f"stands on a line where {blank} {says}, so no row of {rule.table.name} was made of it; "
        f"fill in {blank}, or enter it by hand"
    )


def _name_in_other_tables(
    rule: _Rows, values: dict[str, str], written: dict[str, str]
) -> list[tuple[_Column, str, str]]:
    """Read the keys of which another field says the table, as of a photo of sample 231-H, in place.

    Returns the columns that could not be read so, with their texts and why.
    """
    failed = []
    for column in rule.columns:
        name = column.rule.name
        table = values.get(rule.table.field(name).key_of or "", "")
        named = rule.names.reader_of_keys(table) if rule.names is not None else None
        if named is None or name not in values:
            continue
        text = values.pop(name)
        try:
            values[name] = named(text)
        except UnreadableValue as error:
            failed.append((column, text, error.expected))
        else:
            if values[name] != text:
                written.setdefault(name, text)
    return failed


def _read_column(
    column: _Column, row: Sequence[CellValue], naming: Mapping[int, CellReader]
) -> tuple[str, set[int]]:
    """The value of one field on one line, '' where nothing is written, and the columns used."""
    rule = column.rule
    if rule.how == "constant":
        return column.constant, set()
    missing = rule.habits.missing
    cells = [(spot, _at(row, spot)) for spot in column.places]
    filled = [(spot, value) for spot, value in cells if not is_missing(value, missing)]
    # what this field takes for 'nothing written' is dealt with, too
    used = {spot for spot, value in cells if is_missing(value, missing)}
    if not filled:
        return "", used
    if rule.how in ("column", "first_of"):
        spot, value = filled[0]
        same = {other for other, text in filled if shown(text) == shown(value)}
        return column.reader.read(value), used | same | {spot}
    if rule.how == "all_of":
        texts = "; ".join(column.reader.plain(value) for _, value in filled)
        return column.reader.read(texts), set(column.places)
    if len(filled) < len(cells):
        return "", used
    parts = {
        heading: naming[spot].read(value) if spot in naming else column.reader.plain(value)
        for heading, (spot, value) in zip(rule.columns, cells, strict=True)
    }
    return column.reader.read(fill_template(rule.text, parts)), set(column.places)
