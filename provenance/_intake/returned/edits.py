"""Tells what a person changed in the sheets of a filled workbook, line by line."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from provenance._base.errors import UnreadableValue
from provenance._base.findings import Finding
from provenance._history.acts import HERE, ROW_FIELD, Line
from provenance._history.edits import (
    cell_lines,
    new_row_lines,
    removal_lines,
    rename_lines,
)
from provenance._history.projection import State, key_field, links_of, reader_of
from provenance._intake.files.received import shown
from provenance._intake.lines.cells import CellReader
from provenance._intake.lines.readings import (
    Place,
    ReadRow,
    SheetReading,
    UnreadCell,
    intake_finding,
)
from provenance._intake.mapping.mapping import ReadingHabits
from provenance._intake.returned.book import ReturnedBook, ReturnedSheet
from provenance._intake.returned.rows import match_rows
from provenance._model.form_cell import form_cell
from provenance._model.schema import Table

MANY_GONE = 1 / 3
"""A sheet that lost more than this share of its lines is pointed out: was it cut off?"""


@dataclass
class Edit:
    """What a person changed in one workbook: lines of an act, cells not understood, remarks."""

    lines: list[Line] = field(default_factory=list)
    unread: list[UnreadCell] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)


@dataclass
class _SheetLine:
    """One line with what could be read of it; `row` is the row it is, None for a new one.

    `key` is the text that stands for it. `read` is None where no row could be made of the line (no
    key; it reads as a total), and so is only known to be there.
    """

    name: str
    key: str
    place: Place
    read: ReadRow | None = None
    unread: dict[str, UnreadCell] = field(default_factory=dict)
    row: str | None = None

    def text(self, name: str) -> str:
        if name in self.unread:
            return self.unread[name].text
        return self.read.values.get(name, "") if self.read is not None else ""


def edit_of(state: State, readings: Sequence[SheetReading], book: ReturnedBook) -> Edit:
    edit = Edit()
    by_sheet = {reading.place.sheet: reading for reading in readings}
    sheets = []
    for sheet in book.sheets:
        table = state.model.table(sheet.table)
        if table.name not in state.rows:
            continue  # the ledger takes events by itself
        place = by_sheet[sheet.name].place
        edit.findings += _about_columns(sheet, table, place, book)
        if key_field(table) in sheet.headings:
            sheets.append(_Sheet(state, sheet, table, by_sheet[sheet.name], edit))
    for name in book.missing:
        if state.rows.get(name):
            edit.findings.append(
                _note(
                    Place(readings[0].place.file_name) if readings else Place(""),
                    "sheet_taken_out",
                    f"The sheet '{book.left.sheets[name]}' was removed of the workbook; its rows "
                    "stay in the record as they are.",
                    "To take rows out of the record, delete their lines and keep the sheet.",
                )
            )
    called: dict[tuple[str, str], str] = {}
    taken: set[tuple[str, str]] = set()
    for one in sheets:
        one.call_rows(called, taken)
    taken.clear()
    for one in sheets:
        edit.lines += one.lines_said(called, taken)
    return edit


class _Sheet:
    """The lines of one sheet, each matched to its row."""

    def __init__(
        self,
        state: State,
        sheet: ReturnedSheet,
        table: Table,
        reading: SheetReading,
        edit: Edit,
    ) -> None:
        self.state, self.sheet, self.table, self.edit = state, sheet, table, edit
        self.place = reading.place
        self.own = key_field(table)
        self.rows = state.rows[table.name]
        self.readers = {
            name: CellReader(table.field(name), ReadingHabits(), state.model)
            for name in sheet.headings
        }
        self.same = {name: reader_of(state.model, table.name, name) for name in sheet.headings}
        self.all_lines = self._lines_of(reading)
        self.gone = self._match()
        self.lines = list(self._with_own_key())

    def _lines_of(self, reading: SheetReading) -> list[_SheetLine]:
        names = self.sheet.names or {}
        lines = {
            number: _SheetLine(names.get(number, ""), key, self.place.at(number))
            for number, key in self.sheet.keys.items()
        }
        for read in reading.rows:
            lines[read.place.row].read = read
        for cell in reading.unread:
            lines[cell.place.row].unread[cell.field] = cell
        return [lines[number] for number in sorted(lines)]

    def _match(self) -> list[str]:
        """Say of each line which row it is; returns the rows that have no line."""
        left = {
            row: {name: self._comparable(name, cells.get(name, "")) for name in self.readers}
            for row, cells in self.rows.items()
        }
        lines = [
            (
                one.name,
                {
                    name: self._comparable(name, one.text(name) or one.key * (name == self.own))
                    for name in self.readers
                },
            )
            for one in self.all_lines
        ]
        matched = match_rows(left, lines, self.own)
        for one, row in zip(self.all_lines, matched.rows, strict=True):
            one.row = row
        find = self.edit.findings
        title = self.table.name
        if self.sheet.names is None and self.rows:
            find.append(
                _note(
                    self.place,
                    "names_gone",
                    "The hidden column that tells which line is which row was removed; the rows "
                    "were told by their keys and by what they say.",
                    "Look at the list of changes with care.",
                )
            )
        if matched.misled:
            find.append(
                _note(
                    self.place,
                    "names_left_behind",
                    "The hidden names of rows do not fit their lines, as when the other columns "
                    "are sorted without theirs; the rows were told by what they say.",
                    "Look at the list of changes with care.",
                )
            )
        for place, row in matched.copies.items():
            find.append(
                _note(
                    self.all_lines[place].place,
                    "line_copied",
                    f"This line is a copy of {title} {self._key(row)}; it was taken for a new row.",
                    "",
                )
            )
        for place, row in matched.told.items():
            find.append(
                _note(
                    self.all_lines[place].place,
                    "told_by_content",
                    f"By what it says, this line was taken for {title} {self._key(row)}.",
                    "If it is another row, answer no and say so in the workbook: leave the line of "
                    f"{self._key(row)} where it was.",
                )
            )
        if len(matched.gone) > max(1, MANY_GONE * len(self.rows)):
            find.append(
                intake_finding(
                    "warning",
                    "many_taken_out",
                    self.place,
                    f"{len(matched.gone)} OF {len(self.rows)} LINES OF THIS SHEET ARE GONE, and "
                    "would be taken out of the record.",
                    "If the sheet was shortened or filtered, answer no and bring back the entire "
                    "sheet. 'treenail change undo' takes it back afterwards, too.",
                )
            )
        return matched.gone

    def _with_own_key(self) -> Iterator[_SheetLine]:
        """The lines that can be taken: with a key, and one that no other line has."""
        holders: dict[str, _SheetLine] = {}
        with_key = [one for one in self.all_lines if one.read is not None]
        # who had the key before keeps it
        for one in sorted(with_key, key=lambda one: self._key(one.row) != one.text(self.own)):
            holders.setdefault(one.text(self.own), one)
        for one in self.all_lines:
            key = one.text(self.own)
            if one.read is None:
                self._keep_unread(one)
                if one.row is not None:
                    column = self.sheet.headings[self.own]
                    self.edit.findings.append(
                        intake_finding(
                            "warning",
                            "no_key",
                            one.place.at(one.place.row, column),
                            f"No row could be made of this line: it "
                            f"{'reads as a total or heading' if one.key else 'has no key'}. "
                            f"{self.table.name} {self._key(one.row)} stays as it is.",
                            "Correct the key; to remove the row, delete the entire line.",
                            table=self.table.name,
                            key=self._key(one.row),
                        )
                    )
            elif holders[key] is not one:
                column = self.sheet.headings[self.own]
                self.edit.unread.append(
                    UnreadCell(
                        self.table.name,
                        self._key(one.row) or key,
                        self.own,
                        key,
                        f"is the key of line {holders[key].place.row} too, so nothing of this line "
                        "was taken; give it a key of its own and bring the workbook back",
                        one.place.at(one.place.row, column),
                    )
                )
            else:
                self._keep_unread(one)
                yield one

    def call_rows(self, called: dict[tuple[str, str], str], taken: set[tuple[str, str]]) -> None:
        """Note which row each key of this sheet means from now on."""
        table = self.table.name
        for one in self.lines:
            key = one.text(self.own)
            if one.row is None and not self._was_taken_out(one):
                one_line = next(new_row_lines(self.state, self.table, {self.own: key}, taken))
                called[table, key] = one_line.row
            else:
                called[table, key] = one.row or one.name

    def lines_said(
        self, called: Mapping[tuple[str, str], str], taken: set[tuple[str, str]]
    ) -> Iterator[Line]:
        """What an act says of this sheet."""
        state, table = self.state, self.table
        for one in self.lines:
            assert one.read is not None
            values = dict(one.read.values)
            if one.row is None and not self._was_taken_out(one):
                new = {name: self._meant(called, values, name) for name in values}
                said: Iterable[Line] = new_row_lines(state, table, new, taken)
                yield from (self._at(one, line) for line in said)
                continue
            row = one.row or one.name
            old = self.rows.get(row, {})
            if one.row is None:
                # a copy of the workbook from before had taken it out
                yield from state.decide(table.name, row, ROW_FIELD, HERE)
            key = values[self.own]
            if not self._unchanged(self.own, state.keys[table.name, row], key):
                for line in rename_lines(state, table, row, key):
                    yield self._at(one, line)
            changed = [
                name
                for name in self.readers
                if name != self.own
                and name not in one.unread
                and not self._unchanged(name, old.get(name, ""), values.get(name, ""))
            ]
            now = {**old, **{name: values.get(name, "") for name in self.readers}}
            new = now | {name: self._meant(called, now, name) for name in changed}
            for line in cell_lines(state, table, row, old, new, changed):
                yield self._at(one, line)
        for row in self.gone:
            yield from removal_lines(state, table, row)

    # -- one cell ----------------------------------------------------------------------------------

    def _unchanged(self, name: str, left: str, text: str) -> bool:
        """Whether a cell says what it said when it left, as far as a spreadsheet keeps that."""
        same = self.same[name]
        if same(left) == same(text):
            return True
        if not left or not text:
            return False
        try:
            again = self.readers[name].read(
                form_cell(self.state.model, self.table.field(name), left)
            )
        except UnreadableValue:
            return False
        return same(again) == same(text) or _as_number(again) == _as_number(text) is not None

    def _keep_unread(self, one: _SheetLine) -> None:
        """Keep the cells that cannot be read, but for those that left so."""
        cells = self.rows.get(one.row or "", {})
        for name, cell in one.unread.items():
            left = form_cell(self.state.model, self.table.field(name), cells.get(name, ""))
            known = {_plain(shown(left))}
            try:
                self.readers[name].read(left)
            except UnreadableValue as error:
                known.add(_plain(error.value))
            if one.row is None or _plain(cell.text) not in known:
                self.edit.unread.append(replace(cell, key=self._key(one.row) or cell.key))

    def _meant(
        self, called: Mapping[tuple[str, str], str], values: Mapping[str, str], name: str
    ) -> str:
        """A cell in which a key of this workbook is the key that its row had when it left."""
        text = values.get(name, "")
        target = links_of(self.table).get(name)
        if target is None and (other := self.table.field(name).key_of):
            target = values.get(other, "")
        row = called.get((target or "", text))
        if row is None or name == self.own:
            return text
        assert target is not None
        return self.state.keys.get((target, row), row) if row in self.state.rows[target] else row

    def _at(self, one: _SheetLine, line: Line) -> Line:
        """A line of the act with the place in the workbook."""
        name = line.field if line.field in self.sheet.headings else ""
        written = one.read.written.get(name, "") if one.read is not None else ""
        return line._replace(
            written=written,
            sheet=self.place.sheet,
            line=str(one.place.row),
            column=self.sheet.headings.get(name, ""),
        )

    def _was_taken_out(self, one: _SheetLine) -> bool:
        """Whether a line is the row whose name it has, which an earlier copy took out."""
        place = (self.table.name, one.name)
        return (
            bool(one.name)
            and one.name not in self.rows
            and self.state.keys.get(place) == one.text(self.own)
        )

    def _key(self, row: str | None) -> str:
        return "" if row is None else self.state.keys[self.table.name, row]

    def _comparable(self, name: str, text: str) -> str:
        return _plain(self.same[name](text))


def _plain(text: str) -> str:
    return " ".join(text.split())


def _as_number(text: str) -> str | None:
    """A number with the 15 digits that every spreadsheet program keeps."""
    try:
        return f"{float(text):.15G}"
    except ValueError:
        return None


def _note(place: Place, rule: str, message: str, remedy: str) -> Finding:
    return intake_finding("note", rule, place, message, remedy)


def _about_columns(
    sheet: ReturnedSheet, table: Table, place: Place, book: ReturnedBook
) -> Iterator[Finding]:
    if before := book.renamed.get(sheet.name):
        yield _note(place, "sheet_renamed", f"This is the sheet '{before}' by its headings.", "")
    missing = [one.title for one in table.form_fields() if one.name not in sheet.headings]
    if missing:
        whole = key_field(table) not in sheet.headings
        yield _note(
            place,
            "columns_taken_out",
            f"Columns are not there any more: {', '.join(missing)}. "
            + ("Without the key nothing of this sheet was read." if whole else "")
            + "The record keeps what it has in them.",
            "",
        )
