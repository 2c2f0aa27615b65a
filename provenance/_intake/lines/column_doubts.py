"""Gathers what is in doubt about a whole column of sizes, so that it is asked once."""

from __future__ import annotations

from dataclasses import dataclass, field

from provenance._base.findings import Finding
from provenance._intake.lines.readings import Place, intake_finding
from provenance._intake.lines.sheet_remarks import rows_in_words

ASK_FROM_ONE_IN = 3
"""From one fraction in so many filled cells on, the whole column is asked about."""


@dataclass(frozen=True)
class DoubtfulCell:
    """A cell of a row with that key that was not read; `why` says what to write instead."""

    key: str
    text: str
    why: str
    place: Place


@dataclass
class ColumnDoubts:
    """The doubts about the column of one field.

    `unit` is the one to read it in, '' where it holds no sizes; `said` is another one that the
    sheet itself names, '' where it names none: then no cell of the column is read. `filled` counts
    the filled cells of rows.
    """

    name: str
    unit: str
    said: str = ""
    filled: int = 0
    cells: list[DoubtfulCell] = field(default_factory=list)

    def compare_unit(self, said: str, place: Place) -> Finding | None:
        """An error when the sheet names another unit than the mapping; '' is none."""
        both = {said, self.unit}
        if (
            said == self.said
            or "" in both
            or len(both) == 1
            or ("ft-in" in both and both <= {"ft-in", "ft", "in"})
        ):
            return None
        self.said = said
        return intake_finding(
            "error",
            "units_disagree",
            place,
            f"The sheet says {said} for this column, and {self.name} is to be read in "
            f"{self.unit}; its cells below were not read.",
            f"Write unit: {said} for {self.name} in the mapping, or correct the sheet if it is "
            "wrong there, and import the file again.",
            field=self.name,
            value=said,
        )

    def questions(self) -> list[DoubtfulCell]:
        """The cells to ask about: the first for all of the column, or each for itself."""
        if not self.cells:
            return []
        count, first = len(self.cells), self.cells[0]
        if self.said:
            why = (
                f"is one of {count} filled cell(s) of this column that were not read: the sheet "
                f"says {self.said}, the mapping {self.unit}; write unit: {self.said} for "
                f"{self.name} in the mapping if the sheet is right, and import the file again"
            )
        elif count * ASK_FROM_ONE_IN >= self.filled:
            rows = rows_in_words([cell.place.row for cell in self.cells])
            why = (
                f"is a fraction. Is this column in inches? {count} of its {self.filled} filled "
                f"cell(s) are fractions (row(s) {rows}), and it is to be read in {self.unit}; if "
                f"so, write unit: in for {self.name} in the mapping and import the file again; if "
                "not, write each of them with its unit"
            )
        else:
            return self.cells
        return [DoubtfulCell(first.key, first.text, why, first.place)]
