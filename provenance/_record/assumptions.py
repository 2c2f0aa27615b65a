"""Figures that a person brought with a source, found for a kind of wood and a place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from provenance._record.joined import places_around
from provenance._record.snapshot import Snapshot


@dataclass(frozen=True)
class Assumption:
    """One row of the table `assumption`; the figure and its spread have the unit of the kind."""

    assumption_id: str
    kind: str
    figure: float
    spread: float | None
    """One standard deviation; None where the source gives none."""
    source: str
    activity: str = ""
    species: str = ""
    place_id: str = ""


@dataclass(frozen=True)
class Assumptions:
    """All that a record assumes, and for each place those it lies in, from itself outward."""

    rows: tuple[Assumption, ...]
    around: Mapping[str, tuple[str, ...]]

    def find(self, kind: str, *, species: str = "", place: str = "") -> Assumption | None:
        """The figure of a kind for wood of a species in a place; None where nobody gave one.

        One for the species itself goes before one for all, then one for the nearest place around
        it before one for the whole record. '' asks for what holds for all.
        """
        return self._nearest([row for row in self.rows if row.kind == kind], species, place)

    def rates(self, *kinds: str, species: str = "", place: str = "") -> tuple[Assumption, ...]:
        """Of every work by every kind its figure as `find` has it, sorted by work and kind."""
        keys = sorted({(row.activity, row.kind) for row in self.rows if row.kind in kinds})
        found = (
            self._nearest(
                [row for row in self.rows if (row.activity, row.kind) == key], species, place
            )
            for key in keys
        )
        return tuple(one for one in found if one)

    def _nearest(self, rows: list[Assumption], species: str, place: str) -> Assumption | None:
        places = (*self.around.get(place, (place,)), "")
        holding = [row for row in rows if row.species in (species, "") and row.place_id in places]
        return min(
            holding,
            key=lambda row: (not row.species, places.index(row.place_id), row.assumption_id),
            default=None,
        )


def assumptions_of(tables: Snapshot) -> Assumptions:
    """Read the table `assumption`; none for an older package, which has no such table.

    A row without a figure that is a positive number is left out; the check names it.
    """
    if "assumption" not in tables.model.tables:
        return Assumptions((), {})
    rows = tables["assumption"]
    sound = rows.filter((rows["figure"] > 0) & rows["assumption_kind"].is_not_null())
    texts = ("assumption_id", "source", "activity", "species", "place_id")
    return Assumptions(
        tuple(
            Assumption(
                kind=row["assumption_kind"],
                figure=row["figure"],
                spread=row["spread"],
                **{name: row[name] or "" for name in texts},
            )
            for row in sound.iter_rows(named=True)
        ),
        places_around(tables),
    )
