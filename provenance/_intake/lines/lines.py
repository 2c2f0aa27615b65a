"""Reads the lines of one sheet through the rules of a mapping."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from itertools import chain

from provenance._base.errors import UnreadableValue
from provenance._identity.naming import CellNames
from provenance._intake.files.received import CellValue, ReceivedSheet, Row, SheetFacts, shown
from provenance._intake.lines.column_doubts import DoubtfulCell
from provenance._intake.lines.headings import Headings, find_headings
from provenance._intake.lines.line_kinds import KnownColumns, LineJudge, LineKind
from provenance._intake.lines.mapped_columns import (
    MappedColumn,
    MappedRows,
    cell_at,
    name_in_other_tables,
    read_column,
    texts_of,
)
from provenance._intake.lines.readings import (
    Place,
    ReadRow,
    SheetReading,
    UnreadCell,
    intake_finding,
)
from provenance._intake.lines.repeats import Repeats
from provenance._intake.lines.sheet_remarks import SheetRemarks
from provenance._intake.mapping.mapping import RowsRule, SourceRule
from provenance._intake.values.units import BareFraction, unit_in_heading, unit_named
from provenance._model.schema import Model

LOOK_AHEAD = 25
PROGRESS_ROWS = 500
Advance = Callable[[float], None]
"""Called now and then with the share of the sheet that is read."""


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
    reader.lines.learn(first, max(headings.rows))
    for count, (number, values) in enumerate(chain(first, rows)):
        if number > max(headings.rows):
            reader.take_line(number, values)
        if count % PROGRESS_ROWS == 0:
            advance(number / max(facts.last_row, number))
    reader.ask_about_columns()
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
        self.fill_down = _places(headings, source.fill_down)
        self.rules = [
            MappedRows(rule, headings, model, facts, reading.place, self.fill_down, names)
            for rule in source.rows
            # a table whose key column the crew took out of our workbook is not read at all
            if not source.may_lack or all(_has(headings, rule, key) for key in _key(model, rule))
        ]
        self.keep = _places(headings, source.keep)
        self.mapped = {spot for rule in self.rules for spot in rule.places} | self.keep
        known = self.mapped | self.fill_down | _places(headings, source.left_out)
        self.remarks = SheetRemarks(
            headings, facts, known, self.fill_down, source.header_row, source.may_lack
        )
        for rule in self.rules:
            for column in rule.columns:
                if column.rule.how in ("column", "first_of"):
                    self.remarks.expect(column.places, column.reader)
        self.columns = [column for rule in self.rules for column in rule.columns]
        read_as_one = [one for one in self.columns if one.rule.how in ("column", "first_of")]
        # a number says the same where it is a part of another code, as in the template P-{Core no}
        self.naming = {
            spot: column.reader
            for column in read_as_one
            if column.reader.names
            for spot in column.places
        }
        self.lines = LineJudge(
            headings,
            KnownColumns(
                keys=tuple(rule.key_places for rule in self.rules),
                mapped=frozenset(self.mapped),
                sizes=frozenset(
                    spot for one in self.columns if one.reader.sizes for spot in one.places
                ),
                measured=frozenset(
                    spot
                    for one in read_as_one
                    if one.reader.measures or one.reader.dates
                    for spot in one.places
                ),
                fill_down=frozenset(self.fill_down),
            ),
            facts.formulas,
            source.missing,
            source.keep_lines,
            own_form=source.may_lack,
        )
        self.repeats = Repeats(self.fill_down, source.missing)
        self.last_number = max(headings.rows)
        for column in self.columns:
            for spot in column.places:
                for said in sorted(headings.said_at(spot)):
                    unit = unit_in_heading(said) or unit_named(said)
                    self._compare_unit(column, spot, unit, max(headings.rows))

    def take_line(self, number: int, row: list[CellValue]) -> None:
        """Read one line into rows, unread cells and findings."""
        filled = self.lines.filled(row)
        self.reading.spacers += number - self.last_number - 1  # rows with nothing in them
        if number > self.last_number + 1 or not filled:
            self.repeats.interrupt()
        self.last_number = number
        if not filled:
            self.reading.spacers += 1
            return
        kind = self.lines.kind_of(number, row, filled)
        if kind is LineKind.UNITS:
            for column in self.columns:
                for spot in column.places:
                    said = unit_named(shown(cell_at(row, spot)))
                    self._compare_unit(column, spot, said, number)
        elif self.keep and not (filled & self.keep):
            self.repeats.interrupt()
            self._report_spacer(number, row, filled)
            return
        if kind is not None:
            self._set_aside(kind, number, row, filled)
            return
        self.remarks.look_at(number, row, filled)
        named = any(rule.key_places and rule.key_places <= filled for rule in self.rules)
        if not named and not filled & (self.mapped - self.fill_down):
            return  # whatever stands here is in columns that are not taken, and is reported so
        self.reading.lines += 1
        written, row = row, self.repeats.put_in_full(row)
        used: set[int] = set()
        applied: list[MappedRows] = []
        silent: list[MappedRows] = []
        for rule in self.rules:
            if rule.applies(row, self.source.missing):
                applied.append(rule)
                used |= self._take_row(rule, number, row, written)
            else:
                silent.append(rule)
        orphans = filled - used - self.keep - self.fill_down
        if orphans:
            self._report_orphans(applied, silent, number, row, orphans)

    def _set_aside(
        self, kind: LineKind, number: int, row: list[CellValue], filled: set[int]
    ) -> None:
        self.reading.spacers += 1
        self.remarks.set_aside(kind, number, shown(row[min(filled)]))
        if kind is LineKind.SECTION:
            self.repeats.begin_anew(row, filled)
        elif kind in (LineKind.TOTAL, LineKind.OTHER_HEADINGS):
            self.repeats.begin_anew(row)
        else:
            self.repeats.interrupt()

    def _compare_unit(self, column: MappedColumn, spot: int, said: str, number: int) -> None:
        place = self.reading.place.at(number, self.headings.name(spot))
        if (finding := column.doubts.compare_unit(said, place)) is not None:
            self.reading.findings.append(finding)

    def ask_about_columns(self) -> None:
        """One question a column where all of it is in doubt, else one a cell."""
        for rule in self.rules:
            for column in rule.columns:
                for cell in column.doubts.questions():
                    self._keep_unread(rule, cell.key, column, cell.text, cell.why, cell.place)

    def _take_row(
        self, rule: MappedRows, number: int, row: list[CellValue], as_written: list[CellValue]
    ) -> set[int]:
        """Make the row of one table, or keep the texts when it has no key.

        `as_written` is the line before anything was filled in from above.

        Returns the columns that had a part in it.
        """
        used = set() if rule.when_place is None else {rule.when_place}
        values: dict[str, str] = {}
        written: dict[str, str] = {}
        failed: list[tuple[MappedColumn, str, str]] = []
        together: list[tuple[MappedColumn, str, str]] = []
        for column in rule.columns:
            if column.doubts.said and column.is_filled(row):
                used |= set(column.places)
                together.append((column, texts_of(column, row), "its unit is in doubt"))
                continue
            try:
                text, places = read_column(column, row, self.naming)
                used |= places
            except UnreadableValue as error:
                used |= set(column.places)
                asked = together if isinstance(error, BareFraction) else failed
                asked.append((column, error.value, error.expected))
                continue
            if text:
                values[column.rule.name] = text
                column.doubts.filled += 1
                spots = sorted(places)
                said = " ".join(
                    shown(cell_at(as_written, spot) or cell_at(row, spot)) for spot in spots
                )
                if said and said != text:
                    written[column.rule.name] = said
                if said in column.reader.matched:
                    self.remarks.matched(column.heading, said, column.reader.matched[said])
        failed += name_in_other_tables(rule, values, written)
        place = self.reading.place.at(number)
        if rule.table.name == "custody":
            key = values.get("custody_id", "")
        elif lacking := [name for name in rule.table.primary_key if not values.get(name)]:
            self._report_no_key(rule, row, [*failed, *together], lacking, place)
            return rule.places
        else:
            key = rule.table.key_of(values)
        for column, _, _ in failed:
            column.doubts.filled += 1
        for column, text, why in together:
            column.doubts.filled += 1
            column.doubts.cells.append(
                DoubtfulCell(key, text, why, place.at(number, column.heading))
            )
        for column, text, why in failed:
            self._keep_unread(rule, key, column, text, why, place.at(number, column.heading))
        self.reading.rows.append(
            ReadRow(rule.table.name, key, values, rule.headings, place, written)
        )
        return used

    def _keep_unread(
        self, rule: MappedRows, key: str, column: MappedColumn, text: str, why: str, place: Place
    ) -> None:
        cell = UnreadCell(rule.table.name, key, column.rule.name, text, why, place)
        self.reading.unread.append(cell)

    def _report_no_key(
        self,
        rule: MappedRows,
        row: list[CellValue],
        failed: list[tuple[MappedColumn, str, str]],
        lacking: list[str],
        place: Place,
    ) -> None:
        unreadable = {column.rule.name: (text, why) for column, text, why in failed}
        needed = [column for column in rule.columns if column.rule.name in lacking]
        heading = needed[0].heading if needed else lacking[0]
        key = f"{lacking[0]} (column '{heading}')"
        if lacking[0] in unreadable:
            no_row = f"is on a line whose {key} could not be read"
            remedy = "correct that and import the file again"
        else:
            no_row = f"is on a line without {key}"
            remedy = "fill that in and import the file again"
            if rule.rule.when is None and len(self.rules) > 1 and len(rule.key_places) == 1:
                remedy += (
                    f"; if not every line has a row of {rule.table.name}, say so in the mapping "
                    f"under table: {rule.table.name} with when: {json.dumps(heading)}"
                )
        no_row += f", so no row of {rule.table.name} could be made of it; {remedy}"
        for column in rule.columns:
            text, why = unreadable.get(column.rule.name, (texts_of(column, row), no_row))
            if text:
                where = place.at(place.row, column.heading)
                self._keep_unread(rule, "", column, text, why, where)

    def _report_orphans(
        self,
        applied: list[MappedRows],
        silent: list[MappedRows],
        number: int,
        row: list[CellValue],
        orphans: set[int],
    ) -> None:
        """Texts that no row of this line took are not lost."""
        for rule in (*applied, *silent):
            for column in rule.columns:
                mine = [spot for spot in column.places if spot in orphans]
                if not mine or column.rule.how == "filled":
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
                    why = f"is beside another text for {column.rule.name}; keep one of them"
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


def _why_silent(rule: MappedRows) -> str:
    when = rule.rule.when
    blank = f"'{when.column}'" if when else "its columns"
    says = "does not say so" if when and when.words else "is blank"
    return (
        f"is on a line where {blank} {says}, so no row of {rule.table.name} was made of it; "
        f"fill in {blank}, enter it by hand, or let another table of the mapping take it as well"
    )
