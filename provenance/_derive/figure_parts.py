"""Holds what several figures share: names of places, what a last ring says, words of counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from provenance._derive.chart import ChartPage, Fill
from provenance._record.joined import outermost_places
from provenance._record.package import Package

NOT_CONSTRUCTION = (
    "A date of felling is not a date of construction: wood may be stored, reused or put in later."
)
LAST_RINGS = {
    "cutting": (Fill(0.0), "cutting date"),
    "near": (Fill(0.55), "near cutting"),
    "non_cutting": (Fill(strokes="rising", pitch=0.75), "non-cutting: felled later"),
    "unstated": (Fill(), "not stated"),
}
"""Fill and words for what the last ring says."""
LAST_TICK = 8.0
"""Room for half the words of a tick at the end of an axis, in mm."""


@dataclass(frozen=True)
class Places:
    """What figures need to know of places: their names, and the building that each lies in."""

    names: Mapping[str, str]
    buildings: Mapping[str, str]

    @classmethod
    def of(cls, package: Package) -> Places:
        """The places of a record."""
        names = {row["place_id"]: row["name"] for row in package.tables.rows("place")}
        return cls(names, outermost_places(package.tables))

    def name(self, place_id: str) -> str:
        """The name of a place, else its code."""
        return self.names.get(place_id) or place_id

    def building_words(self, place_id: str | None) -> str:
        """The building that a place lies in, with its code; '' when none is known."""
        building = self.buildings.get(place_id or "", "")
        name = self.names.get(building, "")
        return f"{name} ({building})" if name and name != building else building


def dated_spans(spans: pl.DataFrame) -> pl.DataFrame:
    """The rows of the derived table `span` with a last ring; `cutting` has a key of LAST_RINGS."""
    known = pl.col("cutting").is_in(list(LAST_RINGS))
    return spans.drop_nulls("outer_year").with_columns(
        cutting=pl.when(known).then("cutting").otherwise(pl.lit("unstated"))
    )


def counted(count: int, one: str, many: str) -> str:
    """A number with the word that goes with it."""
    return f"{count} {one if count == 1 else many}"


def key_of_last_rings(page: ChartPage, spans: pl.DataFrame) -> None:
    """Say what the fills mean that occur among the spans, and how often each does."""
    counts = Counter(spans["cutting"])
    page.key(
        (fill, f"{words} ({counts[cutting]})")
        for cutting, (fill, words) in LAST_RINGS.items()
        if counts[cutting]
    )
