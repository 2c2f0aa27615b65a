"""Collects what a person should know of a sheet besides its values, and says it once a sheet."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from provenance._base.findings import Finding
from provenance._intake.files.received import Area, CellValue, SheetFacts, column_letters, shown
from provenance._intake.lines.cells import CellReader
from provenance._intake.lines.headings import Headings
from provenance._intake.lines.line_kinds import LineKind
from provenance._intake.lines.readings import Place, intake_finding
from provenance._intake.values.dates import YEARS_TYPED

MOST_NAMED = 8


@dataclass
class SheetRemarks:
    """Watches the lines of one sheet go by; columns are known by their place."""

    _headings: Headings
    _facts: SheetFacts
    _known: set[int]
    _fill_down: set[int]
    _header_row: int
    _own_form: bool = False
    _measures: set[int] = field(default_factory=set)
    _dates: set[int] = field(default_factory=set)
    _taken: set[int] = field(default_factory=set)
    _strange: Counter[int] = field(default_factory=Counter)
    _example: dict[int, tuple[int, str]] = field(default_factory=dict)
    _as_text: Counter[int] = field(default_factory=Counter)
    _serials: dict[int, tuple[int, str]] = field(default_factory=dict)
    _hidden: list[int] = field(default_factory=list)
    _set_aside: dict[LineKind, list[tuple[int, str]]] = field(default_factory=dict)
    _matched: dict[str, Counter[tuple[str, str]]] = field(default_factory=dict)

    def expect(self, places: Iterable[int], reader: CellReader) -> None:
        """Say what is read from some columns."""
        self._taken.update(places)
        if reader.measures:
            self._measures.update(places)
        if reader.dates:
            self._dates.update(places)

    def look_at(self, number: int, row: Sequence[CellValue], filled: set[int]) -> None:
        """Note what is worth a word on one line."""
        if number in self._facts.hidden_rows:
            self._hidden.append(number)
        for spot in filled - self._known:
            self._strange[spot] += 1
            self._example.setdefault(spot, (number, shown(row[spot])))
        if self._facts.epoch is None:
            return  # in a text file every number is text
        for spot in filled & self._measures:
            value = row[spot]
            if isinstance(value, str) and _plain_number(value):
                self._as_text[spot] += 1
        for spot in filled & self._dates:
            value = row[spot]
            is_number = isinstance(value, int | float) and not isinstance(value, bool)
            if is_number and value not in YEARS_TYPED:
                self._serials.setdefault(spot, (number, shown(value)))

    def set_aside(self, kind: LineKind, number: int, text: str) -> None:
        """Note a line that is no row, by its first text."""
        self._set_aside.setdefault(kind, []).append((number, text))

    def matched(self, heading: str, text: str, size: str) -> None:
        """Note a fraction that was taken for a usual size."""
        self._matched.setdefault(heading, Counter())[text, size] += 1

    def findings(self, place: Place) -> Iterator[Finding]:
        """What is worth a word when the last line has gone by."""
        yield from self._about_lines(place)
        yield from self._about_strange_columns(place)
        yield from self._about_merged(place)
        yield from self._about_formulas(place)
        yield from self._about_hidden(place)
        if self._as_text:
            names = self._named(self._as_text)
            yield intake_finding(
                "note",
                "numbers_as_text",
                place,
                f"Numbers are kept as text in {names} ({self._as_text.total()}); they were "
                "read as numbers.",
                "Nothing to do, unless a value looks wrong.",
            )
        for heading, sizes in self._matched.items():
            listed = ", ".join(f"{text} for {size}" for text, size in sorted(sizes))
            yield intake_finding(
                "note",
                "fractions_matched",
                place.at(0, heading),
                f"{sizes.total()} fraction(s) without a unit were taken for usual sizes of a drill "
                f"bit in inches: {listed}.",
                "Nothing to do if the bits are in inches; unit: in in the mapping makes it sure.",
                value=min(sizes)[0],
            )
        for spot, (number, text) in sorted(self._serials.items()):
            yield intake_finding(
                "note",
                "day_numbers",
                place.at(number, self._headings.name(spot)),
                f"Dates stand here as bare numbers such as {text}; they were read as day "
                f"numbers counted from {self._facts.epoch}, as the workbook does.",
                "Look at one of them in the record; format the column as dates.",
                value=text,
            )

    def _named(self, spots: Iterable[int]) -> str:
        return ", ".join(f"'{self._headings.name(spot)}'" for spot in sorted(spots))

    def _about_lines(self, place: Place) -> Iterator[Finding]:
        for kind, lines in self._set_aside.items():
            first, text = lines[0]
            some = "; ".join(f'row {number} ("{said[:40]}")' for number, said in lines[:MOST_NAMED])
            if rest := lines[MOST_NAMED:]:
                some += f"; row(s) {rows_in_words([number for number, _ in rest])}"
            other = kind is LineKind.OTHER_HEADINGS
            yield intake_finding(
                "warning" if other else "note",
                "lines_set_aside",
                place.at(first),
                f"Left out, taken for {kind} ({len(lines)}): {some}.",
                (
                    "If another table begins there, hand it in as a sheet of its own. "
                    if other
                    else ""
                )
                + "If one of them is a row of the record, "
                + (
                    "give it another code."
                    if self._own_form
                    else "put its first text under keep_lines in the mapping: keep_lines: "
                    f"[{json.dumps(text, ensure_ascii=False)}]."
                ),
                value=text,
            )

    def _about_strange_columns(self, place: Place) -> Iterator[Finding]:
        for spot, count in sorted(self._strange.items()):
            number, text = self._example[spot]
            name = self._headings.name(spot)
            yield intake_finding(
                "note",
                "column_not_taken",
                place.at(number, name),
                f"The mapping says nothing of this column; {count} cell(s) were not taken, the "
                f'first says "{text[:80]}".',
                f"Give it a field, or list '{name}' under columns_left_out.",
                value=text[:200],
            )

    def _about_merged(self, place: Place) -> Iterator[Finding]:
        for area in self._facts.merged:
            if area.last_row < self._header_row:
                continue  # a title above the table
            spots = [spot for spot in self._spots(area) if spot in self._known]
            if not spots or set(spots) <= self._fill_down:
                continue
            first = f"row {area.first_row}, column '{self._headings.name(area.first_column - 1)}'"
            yield intake_finding(
                "warning",
                "merged_cells",
                place.at(area.first_row, self._headings.name(spots[0])),
                f"The cells {area} are merged into one: their value was read for {first} only, "
                "the others are blank.",
                "Unmerge them and write the value into each cell it goes for, or list the "
                "column under fill_down in the mapping.",
                value=str(area),
            )

    def _spots(self, area: Area) -> range:
        last = min(area.last_column, max(self._known, default=0) + 1)
        return range(area.first_column - 1, last)

    def _about_formulas(self, place: Place) -> Iterator[Finding]:
        per_column = Counter(
            column - 1
            for row, column in self._facts.formulas
            if row > self._header_row and column - 1 in self._taken
        )
        if per_column:
            yield intake_finding(
                "note",
                "formulas",
                place,
                f"Cells in {self._named(per_column)} are formulas ({per_column.total()}); "
                "their last results were read where the file holds them.",
                "See that the results are what the crew measured.",
            )

    def _about_hidden(self, place: Place) -> Iterator[Finding]:
        hidden = [f"the row(s) {rows_in_words(self._hidden)}"] if self._hidden else []
        columns = sorted(
            column for column in self._facts.hidden_columns if column - 1 in self._taken
        )
        if columns:
            hidden.append(f"the column(s) {', '.join(map(column_letters, columns))}")
        if not self._facts.visible:
            hidden = ["the whole sheet"]
        if hidden:
            yield intake_finding(
                "note",
                "hidden_cells",
                place,
                f"Hidden in the workbook, and read as well: {' and '.join(hidden)}.",
                "If they were hidden because they are wrong, delete them there and import the "
                "file again.",
            )


def _plain_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def rows_in_words(numbers: Sequence[int]) -> str:
    """Row numbers with neighbors joined: 3-5, 9."""
    parts: list[list[int]] = []
    for number in numbers:
        if parts and parts[-1][-1] == number - 1:
            parts[-1] = [parts[-1][0], number]
        else:
            parts.append([number])
    return ", ".join("-".join(map(str, part)) for part in parts)
