"""Holds what several figures share: places and events, what a last ring says, words of counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import polars as pl

from provenance._derive.figures.chart import ChartPage, Fill
from provenance._derive.figures.year_marks import Event, Mark, events_of, years_in_words
from provenance._derive.summary import Derived
from provenance._record.joined import outermost_places
from provenance._record.package import Package

NOT_CONSTRUCTION = (
    "A felling date is not a date of construction: timbers may be stored, reused or installed "
    "later."
)
LAST_RINGS = {
    "cutting": (Fill(0.0), "cutting date"),
    "near": (Fill(0.55), "near cutting"),
    "non_cutting": (Fill(strokes="rising", pitch=0.75), "non-cutting: felled later"),
    "unstated": (Fill(), "not stated"),
}
"""Fill and words for what the last ring says, the best evidence first."""
LAST_TICK = 8.0
"""Room for half the words of a tick at the end of an axis, in mm."""


@dataclass(frozen=True)
class Places:
    """What figures need to know of places and events.

    `names` has the name of each place, `buildings` the building that each lies in, `sites` the site
    of each; `events` are the documented events.
    """

    names: Mapping[str, str]
    buildings: Mapping[str, str]
    sites: Mapping[str, str] = field(default_factory=dict)
    events: tuple[Event, ...] = ()

    @classmethod
    def of(cls, package: Package) -> Places:
        """The places and events of a record."""
        rows = package.tables.rows("place")
        buildings = outermost_places(package.tables)
        return cls(
            {row["place_id"]: row["name"] for row in rows},
            buildings,
            {row["place_id"]: row["site_id"] for row in rows},
            events_of(package, buildings),
        )

    def name(self, place_id: str) -> str:
        """The name of a place, else its code."""
        return self.names.get(place_id) or place_id

    def building_words(self, place_id: str | None) -> str:
        """The building that a place lies in, with its code; '' when none is known."""
        building = self.buildings.get(place_id or "", "")
        name = self.names.get(building, "")
        return f"{name} ({building})" if name and name != building else building

    def events_at(self, building: str) -> list[Mark]:
        """The events of a building and those of its whole site, but of no other building."""
        site = self.sites.get(building, "")
        return [
            one.mark
            for one in self.events
            if one.building == building or (not one.building and site and one.site_id == site)
        ]


def rows_of(derived: Derived, table: str) -> list[dict[str, Any]]:
    """The rows of a derived table; none where the record's own model has no such table."""
    return derived.tables[table].to_dicts() if table in derived.tables else []


def dated_spans(spans: pl.DataFrame) -> pl.DataFrame:
    """The rows of the derived table `span` with a last ring; `cutting` has a key of LAST_RINGS."""
    known = pl.col("cutting").is_in(list(LAST_RINGS))
    return spans.drop_nulls("outer_year").with_columns(
        cutting=pl.when(known).then("cutting").otherwise(pl.lit("unstated"))
    )


def outside_dates(derived: Derived) -> pl.DataFrame:
    """One row a tree with its best outside date: tree_id, sample_id, outer_year, cutting.

    The best is the one whose last ring says most of the felling, then the latest. Pieces count as
    one tree where the table of fellings says so; wood that it does not know is a tree of its own.
    """
    trees = {row["element_id"]: row["tree_id"] for row in rows_of(derived, "felling")}
    rank = {cutting: at for at, cutting in enumerate(LAST_RINGS)}
    best: dict[str, dict[str, Any]] = {}
    for row in dated_spans(derived.tables["span"]).iter_rows(named=True):
        element = row["element_id"]
        # a sample whose wood is not recorded cannot be anybody's second core
        tree = trees.get(element) or element or f"sample {row['sample_id']}"
        one = {
            "tree_id": tree,
            "sample_id": row["sample_id"],
            "outer_year": row["outer_year"],
            "cutting": row["cutting"],
        }
        held = best.setdefault(tree, one)
        if _worth(one, rank) > _worth(held, rank):
            best[tree] = one
    schema = {"tree_id": pl.String, "sample_id": pl.String, "outer_year": pl.Int64}
    frame = pl.DataFrame(list(best.values()), schema | {"cutting": pl.String})
    return frame.sort("outer_year", "tree_id")


def _worth(one: Mapping[str, Any], rank: Mapping[str, int]) -> tuple[int, int, str]:
    return -rank[one["cutting"]], one["outer_year"], one["sample_id"] or ""


def phase_marks(derived: Derived, places: Collection[str]) -> list[tuple[str, Mark]]:
    """The felling phases of some places as (place, band with its years and its trees)."""
    return [
        (
            row["place_id"],
            Mark(
                row["first_year"],
                row["last_year"],
                f"{years_in_words(row['first_year'], row['last_year'])}"
                + (f" ({counted(trees, 'tree', 'trees')})" if (trees := row["tree_count"]) else ""),
                is_phase=True,
            ),
        )
        for row in rows_of(derived, "phase")
        if row["place_id"] in places and None not in (row["first_year"], row["last_year"])
    ]


def record_marks(derived: Derived, places: Places) -> list[Mark]:
    """The phases of all buildings and all events, with names where there are several buildings."""
    outer = set(places.buildings.values())
    marks = [(place, mark) for place, mark in phase_marks(derived, outer)]
    marks += [(one.building, one.mark) for one in places.events]
    if len(outer) < 2:
        return [mark for _, mark in marks]
    return [
        replace(mark, words=f"{mark.words}, {places.name(place)}" if place else mark.words)
        for place, mark in marks
    ]


def counted(count: int, one: str, many: str) -> str:
    """A number with the word that goes with it."""
    return f"{count} {one if count == 1 else many}"


def key_of_last_rings(page: ChartPage, dates: pl.DataFrame) -> None:
    """Say what the fills mean that occur among the dates, and how often each does."""
    counts = Counter(dates["cutting"])
    page.key(
        (fill, f"{words} ({counts[cutting]})")
        for cutting, (fill, words) in LAST_RINGS.items()
        if counts[cutting]
    )
