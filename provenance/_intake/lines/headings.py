"""Finds the columns that a mapping names among the headings of a sheet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from provenance._base.errors import UnusableInput
from provenance._intake.files.received import CellValue, Row, column_letters, shown
from provenance._intake.lines.readings import Place
from provenance._intake.mapping.mapping import same_heading
from provenance._intake.mapping.mapping_file import did_you_mean


@dataclass(frozen=True)
class Headings:
    """The headings of a sheet, column by column from A on.

    `names` are as written; a blank one reads 'column H', one that stands twice 'Dia (1)', 'Dia
    (2)'. `twice` holds the headings that do. Headings in two rows read 'Length (ft)', 'Length
    (in)'. `rows` are the rows they stand in, `said` the texts of each of these, in small letters.
    """

    names: tuple[str, ...]
    twice: frozenset[str]
    rows: tuple[int, ...] = ()
    said: tuple[tuple[str, ...], ...] = ()

    def place_of(self, heading: str) -> int | None:
        """Which column, counted from 0, bears a heading; None when there is none."""
        return self._places().get(same_heading(heading))

    def name(self, place: int) -> str:
        """What to call a column, also one beyond the headings."""
        return self.names[place] if place < len(self.names) else _unnamed(place)

    def said_at(self, place: int) -> frozenset[str]:
        """What stands in the rows of the headings above a column, and what it is called."""
        texts = {row[place] for row in self.said if place < len(row)} - {""}
        return frozenset(texts | {same_heading(self.name(place))})

    def _places(self) -> Mapping[str, int]:
        places: dict[str, int] = {}
        for place, name in enumerate(self.names):
            places.setdefault(same_heading(name), place)
        return places


def headings_of(row: Sequence[CellValue]) -> Headings:
    """The headings in a row."""
    texts = [" ".join(shown(value).split()) for value in row]
    counts: dict[str, int] = {}
    for text in texts:
        counts[same_heading(text)] = counts.get(same_heading(text), 0) + 1
    taken = {same_heading(text) for text in texts}
    seen: dict[str, int] = {}
    names = []
    for place, text in enumerate(texts):
        if not text:
            names.append(_unnamed(place))
            continue
        small = same_heading(text)
        seen[small] = seen.get(small, 0) + 1
        numbered = f"{text} ({seen[small]})"
        if counts[small] > 1 and same_heading(numbered) not in taken:
            names.append(numbered)
        else:
            names.append(text)
    twice = frozenset(small for small, count in counts.items() if small and count > 1)
    said = tuple(map(same_heading, texts))
    return Headings(tuple(names), twice, said=(said,))


def _joined(
    top: Sequence[CellValue], below: Sequence[CellValue], wanted: frozenset[str]
) -> Headings:
    """Headings of two rows: 'Length' over 'ft' and 'in' reads 'Length (ft)' and 'Length (in)'.

    A heading that a wider one stands over goes for all below it. What is not `wanted` so is called
    as the upper row says.
    """
    width = max(len(top), len(below))
    upper = [" ".join(shown(_cell(top, place)).split()) for place in range(width)]
    lower = [" ".join(shown(_cell(below, place)).split()).strip("()") for place in range(width)]
    over, both = "", []
    for above, under in zip(upper, lower, strict=True):
        over = above or over
        both.append(f"{over} ({under})" if over and under else above or under)
    joined, plain = headings_of(both), headings_of(upper)
    names = tuple(
        one if same_heading(one) in wanted or same_heading(other) not in wanted else other
        for one, other in zip(joined.names, plain.names, strict=True)
    )
    said = tuple(tuple(map(same_heading, row)) for row in (upper, lower))
    return Headings(names, joined.twice, said=said)


def _cell(row: Sequence[CellValue], place: int) -> CellValue:
    return row[place] if place < len(row) else None


def _unnamed(place: int) -> str:
    return f"column {column_letters(place + 1)}"


def find_headings(
    first_rows: Sequence[Row], header_row: int, wanted: Iterable[str], place: Place
) -> Headings:
    """The headings in the row that the mapping names.

    `first_rows` are the rows down to the headings and some below, to say where they are if not
    there; headings that a mapping calls 'Length (ft)' may stand in two rows, one of them the one
    it names. Raises UnusableInput when the row is empty or a wanted column is missing or stands
    twice; all such columns at once.
    """
    wanted = sorted(set(wanted))
    row = next((values for number, values in first_rows if number == header_row), None)
    elsewhere = _row_with_headings(first_rows, header_row, wanted)
    if row is None:
        raise UnusableInput(
            f"{place}: row {header_row}, where the mapping expects the headings, is empty."
            + (elsewhere or " Set header_row to the row of the headings")
        )
    headings = replace(headings_of(row), rows=(header_row,))
    if any(headings.place_of(one) is None for one in wanted):
        headings = _in_two_rows(first_rows, header_row, wanted) or headings
    missing = [one for one in wanted if headings.place_of(one) is None]
    double = [one for one in missing if same_heading(one) in headings.twice]
    gone = [one for one in missing if one not in double]
    faults = [
        f"the heading '{one}' is in several columns; call them '{one} (1)', '{one} (2)' … in "
        "the mapping, from left to right"
        for one in double
    ]
    faults += [f"there is no column '{one}'.{did_you_mean(one, headings.names)}" for one in gone]
    if faults:
        listed = ", ".join(f"'{name}'" for name in headings.names[:60])
        where = elsewhere if len(gone) * 2 > len(wanted) else ""
        raise UnusableInput(
            f"{place.at(header_row)}: " + "; ".join(faults) + f"{where} The headings there are "
            f"{listed}. Correct the mapping, or the form if it lost a column"
        )
    return headings


def _in_two_rows(
    first_rows: Sequence[Row], header_row: int, wanted: Sequence[str]
) -> Headings | None:
    """The headings of the row and the one below or above it, if they make all that are wanted."""
    small = frozenset(map(same_heading, wanted))
    rows = dict(first_rows)
    for top in (header_row, header_row - 1):
        if top in rows and top + 1 in rows:
            headings = _joined(rows[top], rows[top + 1], small)
            if all(headings.place_of(one) is not None for one in wanted):
                return replace(headings, rows=(top, top + 1))
    return None


def _row_with_headings(first_rows: Sequence[Row], header_row: int, wanted: Sequence[str]) -> str:
    """A hint when another row near the top looks like the headings."""
    for number, values in first_rows:
        here = {same_heading(shown(value)) for value in values if value is not None}
        found = sum(same_heading(one) in here for one in wanted)
        if number != header_row and found * 2 > len(wanted):
            return f" Row {number} looks like the headings: set header_row: {number}."
    return ""
