"""Fits the rules of a mapping to the columns of one sheet, and reads one field on one line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from provenance._base.errors import UnreadableValue, UnusableInput
from provenance._identity.naming import CellNames
from provenance._intake.files.received import CellValue, SheetFacts, shown
from provenance._intake.lines.cells import CellReader, is_missing
from provenance._intake.lines.column_doubts import ColumnDoubts
from provenance._intake.lines.headings import Headings
from provenance._intake.lines.readings import Place
from provenance._intake.mapping.mapping import Condition, FieldRule, RowsRule, fill_template
from provenance._model.measures import MM_PER
from provenance._model.schema import Model, Table


@dataclass(frozen=True)
class MappedColumn:
    """One field's rule with the places of its columns and a reader made for them."""

    rule: FieldRule
    places: tuple[int, ...]
    headings: tuple[str, ...]
    reader: CellReader
    doubts: ColumnDoubts
    constant: str = ""

    @property
    def heading(self) -> str:
        """What to call the columns together."""
        return " + ".join(self.headings)

    def is_filled(self, row: Sequence[CellValue]) -> bool:
        """Whether anything is written down for the field on a line."""
        missing = self.rule.habits.missing
        return any(not is_missing(cell_at(row, spot), missing) for spot in self.places)


class MappedRows:
    """One table's rule, ready for the lines of one sheet."""

    def __init__(
        self,
        rule: RowsRule,
        headings: Headings,
        model: Model,
        facts: SheetFacts,
        place: Place,
        fill_down: set[int],
        names: CellNames | None = None,
    ) -> None:
        """Raises UnusableInput for a constant that the field cannot hold."""
        self.rule = rule
        self.names = names
        self.table: Table = model.table(rule.table)
        self.when_place = headings.place_of(rule.when.column) if rule.when else None
        self.columns = [
            _column(one, self.table, headings, model, facts, place, fill_down, names)
            for one in rule.fields
            if all(headings.place_of(name) is not None for name in one.columns)
        ]
        # one for all rows, which may be very many
        self.headings = {column.rule.name: column.heading for column in self.columns}
        here = {spot for column in self.columns for spot in column.places}
        self.places = here | ({self.when_place} if self.when_place is not None else set())
        self.key_places = frozenset(
            spot
            for column in self.columns
            if column.rule.name in self.table.primary_key
            for spot in column.places
        )

    def applies(self, row: Sequence[CellValue], missing: frozenset[str]) -> bool:
        """Whether the line holds a row of this table."""
        when = self.rule.when
        if when is not None:
            return self.when_place is not None and _holds(
                when, cell_at(row, self.when_place), missing
            )
        return any(column.is_filled(row) for column in self.columns)


def cell_at(row: Sequence[CellValue], place: int) -> CellValue:
    """What stands in a column, also one beyond the end of the line."""
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
    fill_down: set[int],
    names: CellNames | None,
) -> MappedColumn:
    places = tuple(spot for name in rule.columns if (spot := headings.place_of(name)) is not None)
    one = table.field(rule.name)
    keys = {*table.primary_key, *(name for key in table.foreign_keys for name in key.fields)}
    reader = CellReader(
        one,
        rule.habits,
        model,
        facts.epoch,
        names_row=rule.name in keys,
        filled_down=bool(places) and fill_down.issuperset(places),
        named=names.reader_of(table, rule.name) if names is not None else None,
    )
    sized = rule.how in ("column", "first_of") and one.unit in MM_PER
    unit = (rule.habits.unit or one.unit or "") if sized else ""
    constant = ""
    if rule.how == "constant":
        try:
            constant = reader.read(rule.text)
        except UnreadableValue as error:
            raise UnusableInput(
                f"the mapping gives the constant {error} ({table.name}.{rule.name}, for {place})"
            ) from None
    called = tuple(headings.name(spot) for spot in places)
    return MappedColumn(rule, places, called, reader, ColumnDoubts(rule.name, unit), constant)


def texts_of(column: MappedColumn, row: Sequence[CellValue]) -> str:
    """What stands on a line in the columns of one field, as it was written."""
    texts = [shown(cell_at(row, spot)) for spot in column.places]
    return "; ".join(text for text in texts if text)


def name_in_other_tables(
    rule: MappedRows, values: dict[str, str], written: dict[str, str]
) -> list[tuple[MappedColumn, str, str]]:
    """Read the keys of which another field says the table, as of a photo of 231-JV, in place.

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


def read_column(
    column: MappedColumn, row: Sequence[CellValue], naming: Mapping[int, CellReader]
) -> tuple[str, set[int]]:
    """The value of one field on one line, '' where nothing is written, and the columns used.

    Raises UnreadableValue.
    """
    rule = column.rule
    if rule.how == "constant":
        return column.constant, set()
    missing = rule.habits.missing
    cells = [(spot, cell_at(row, spot)) for spot in column.places]
    filled = [(spot, value) for spot, value in cells if not is_missing(value, missing)]
    # what this field takes for 'nothing written' is dealt with, too
    used = {spot for spot, value in cells if is_missing(value, missing)}
    if rule.how == "filled":
        # the text itself is for another field to take
        return str(bool(filled)).lower(), set()
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
