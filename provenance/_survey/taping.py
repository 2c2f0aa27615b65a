"""Enters readings of tapes, offsets, bearings and heights that a person typed, as one act."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from provenance._base.errors import TreenailError, UnusableInput
from provenance._history.acts import short_code
from provenance._history.deciding import Done, EnteredRow, decide, enter
from provenance._history.history import moment_text
from provenance._intake.typed import TypedCells
from provenance._record.package import Package
from provenance._survey.adjust.readings import MEASURED

TABLE = "tie"
NEEDED = {
    "distance": ("from_datum_id", *MEASURED["distance"]),
    "offset": ("from_datum_id", "to_datum_id", *MEASURED["offset"]),
    "bearing": ("from_datum_id", *MEASURED["bearing"], "bearing_reference"),
    "height": MEASURED["height"],
    "coordinate": MEASURED["coordinate"],
}
"""Kind of a tie → the columns without which it says nothing."""


def enter_ties(
    package: Package, typed: Sequence[Mapping[str, str]], *, who: str, when: str = ""
) -> Done:
    """Enter rows of the table 'tie' as a person typed them: "12 ft 3 in", a label's number.

    A row without a code gets one that no other laptop gives. Raises UnusableInput that names
    reading, field and value of everything that cannot be entered; nothing is entered then.
    """
    when = when or moment_text()
    faults: list[str] = []
    rows = []
    reader = TypedCells.of(package.tables, as_shown=True)
    there = set(package.tables.column(TABLE, "tie_id"))
    for number, cells in enumerate(typed, start=1):
        read: dict[str, str] = {}
        for name, text in cells.items():
            try:
                read[name] = reader.read(TABLE, name, text.strip())
            except TreenailError as error:
                faults.append(_at(package, number, name) + str(error))
        faults += _gaps(package, number, {**cells, **read})
        given = {name: text for name, text in read.items() if text}
        given.setdefault("tie_id", short_code("T", when, str(number), *map(str, given.items())))
        written = {
            name: text.strip() for name, text in cells.items() if text.strip() != read.get(name)
        }
        if given["tie_id"] in there:
            faults.append(_at(package, number, "tie_id") + f"{given['tie_id']} is there already")
        rows.append(EnteredRow(TABLE, given["tie_id"], given, written))
    if not typed:
        faults.append("no reading is filled in; write at least one")
    if faults:
        raise UnusableInput("\n  ".join(["nothing was entered; correct these:", *faults]))
    return decide(package, enter(rows), who=who, why="measured", when=when)


def _gaps(package: Package, number: int, cells: Mapping[str, str]) -> list[str]:
    """What a reading lacks, or names twice."""
    kind = cells.get("kind", "")
    found = [
        _at(package, number, name) + "is blank; fill it in, or choose another kind"
        for name in (NEEDED.get(kind, ()) if kind else ("kind",))
        if not cells.get(name)
    ]
    targets = [n for n in ("element_id", "sample_id", "target_datum_id") if cells.get(n)]
    if len(targets) != 1:
        found.append(
            _at(package, number, "element_id")
            + "name one point: the end of a timber, a sample or a datum"
        )
    elif targets == ["element_id"] and not cells.get("element_end"):
        found.append(_at(package, number, "element_end") + "is blank; write a or b")
    return found


def _at(package: Package, number: int, name: str) -> str:
    return f"reading {number}, {package.model.table(TABLE).field(name).title}: "
