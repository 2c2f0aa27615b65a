"""Says in sentences how a building is built, in which order, with what labor and of how old trees.

As everywhere in a story, every number in a sentence stands in a row of a derived table.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

from provenance._derive.figures.figure_parts import counted
from provenance._derive.figures.year_marks import years_in_words
from provenance._model.notation import write_year

Row = Mapping[str, Any]
Label = Callable[[str, str | None], str]
"""The label of a code of a vocabulary, in lower case."""

_ARCHITECTURE = {
    "construction": "Built of",
    "bonding": "Bonding",
    "roof_type": "Roof",
    "floor_type": "Floor",
}
"""Column of `architecture`, which is also its vocabulary, and what is said before its values."""
_MOST_NAMED = 4
"""So many places are named in a sentence; of more only the number is said."""


def listed(words: Sequence[str], last: str = "and") -> str:
    """'A, B and C'."""
    return f" {last} ".join(one for one in (", ".join(words[:-1]), words[-1]) if one)


def order_of_building(
    rows: Iterable[Row],
    earlier: Mapping[str, Sequence[str]],
    names: Mapping[str, str],
    label: Label,
) -> Iterator[str]:
    """What relations and years tell of when places were built.

    `rows` are all those of some builds of `build_order`; `earlier` has for each build the places of
    those right before it.
    """

    def called(place: str) -> str:
        return f"{names[place]} ({place})" if names.get(place, place) != place else place

    builds: dict[str, list[Row]] = {}
    for row in rows:
        builds.setdefault(row["build_id"], []).append(row)
    said = []
    for build, members in sorted(builds.items(), key=lambda one: (one[1][0]["layer"], one[0])):
        first = members[0]
        contradiction = label("build_contradiction", first["contradiction"])
        clauses = [
            # those of a loop are one group only because nothing tells them apart
            *(["built together"] if len(members) > 1 and first["contradiction"] != "loop" else []),
            *([f"later than {listed(before)}"] if (before := earlier.get(build)) else []),
            *_bound(first, "from", "not before", called, label),
            *_bound(first, "to", "not after", called, label),
            *([f"contradiction: {contradiction}"] if contradiction else []),
        ]
        if clauses:
            own = ", ".join(called(one["place_id"]) for one in members)
            said.append(f"{own}: {', '.join(clauses)}")
    if said:
        yield f"Order of building, as far as relations and years show. {'. '.join(said)}."


def _bound(
    row: Row, end: str, words: str, called: Callable[[str], str], label: Label
) -> Iterator[str]:
    """'not before 1871 (first felling phase of North wall (W2))'."""
    if (year := row[f"built_{end}_year"]) is None:
        return
    by, of = label("build_evidence", row[f"built_{end}_by"]), row[f"{end}_place_id"]
    place = f" of {called(of)}" if of and of != row["place_id"] else ""
    yield f"{words} {write_year(year)}" + (f" ({by}{place})" if by else "")


def architecture_in_words(
    rows: Sequence[Row], place: str, names: Mapping[str, str], label: Label
) -> Iterator[str]:
    """How the parts of a place are built; what it is itself stands among the fields of the page."""
    said = []
    for column, words in _ARCHITECTURE.items():
        values: dict[str, list[str]] = {}
        for row in rows:
            if row[column] and row["place_id"] != place:
                part = names.get(row["place_id"], row["place_id"])
                values.setdefault(row[column], []).append(part)
        if values:
            each = (f"{label(column, code)} ({_some(parts)})" for code, parts in values.items())
            said.append(f"{words}: {', '.join(each)}")
    if said:
        yield f"Architecture of its parts. {'. '.join(said)}."


def _some(names: Sequence[str]) -> str:
    return listed(names) if len(names) <= _MOST_NAMED else counted(len(names), "part", "parts")


def labor_in_words(totals: Iterable[Row], phases: Mapping[str, Row]) -> Iterator[str]:
    """Hours of a building; `totals` as `total_hours` has them."""
    said = []
    for row in totals:
        phase = phases.get(row["phase_id"] or "")
        if row["phase_id"] and phase is None:
            continue
        of = (
            f"the wood of the phase {years_in_words(phase['first_year'], phase['last_year'])}"
            if phase
            else "all recorded wood"
        )
        hours = f"{row['hours_low']:.0f} to {row['hours_high']:.0f} hours"
        said.append(f"{hours} for {of} ({counted(row['work_count'], 'kind', 'kinds')} of work)")
    if said:
        yield f"Labor, estimated from published rates: {'; '.join(said)}."


def ages_in_words(rows: Iterable[Row], label: Label) -> Iterator[str]:
    """Ages of the trees of a building at felling, by species; rows are of `tree_age`."""
    of: dict[str, list[Row]] = {}
    for row in rows:
        if row["age_from_years"] is not None:
            of.setdefault(row["species"] or "", []).append(row)
    said = []
    for species, trees in sorted(of.items()):
        closed = [one for one in trees if one["age_to_years"] is not None]
        least = [one["age_from_years"] for one in trees if one["age_to_years"] is None]
        parts = []
        if closed:
            low = min(one["age_from_years"] for one in closed)
            high = max(one["age_to_years"] for one in closed)
            years = counted(high, "year", "years")
            years = years if low == high else f"{low} to {years}"
            parts.append(f"{counted(len(closed), 'tree', 'trees')} of {years}")
        if least:
            what = "more" if closed else "tree" if len(least) == 1 else "trees"
            parts.append(f"{len(least)} {what} of at least {counted(min(least), 'year', 'years')}")
        said.append(f"{label('species', species) or 'species not known'} {', '.join(parts)}")
    if said:
        yield f"Age at felling, at the height of the sample: {'; '.join(said)}."
