"""Rules about points as the last survey left them: whether anyone can rely on where they are."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW
from provenance._record.trust import (
    CONFLICT,
    CONFLICT_SAYS,
    LEFT_OUT,
    OFF_SAYS,
    POSITION,
    TWO_PLACES,
    TWO_PLACES_SAYS,
    UNCHECKED,
    UNCHECKED_SAYS,
)

RELIABILITY = (
    "W. Baarda, A Testing Procedure for Use in Geodetic Networks, 1968 (reliability; from memory)"
)
_NAMED = 5
_SEARCH = "It is looked for within {search_m:.2f} m."
_AGAIN = (
    "Tape it again from one more datum and run 'treenail survey compute' anew; 'treenail survey "
    "compute --residuals' shows every reading."
)


def _points(tables: Snapshot) -> pl.DataFrame:
    """The surveyed points with `point`, what each is; none in a record from before verdicts.

    Holes that were computed from their wood are left out: its ends have the finding.
    """
    known = tables.model.tables.get(POSITION)
    if known is None or "verdict" not in known.names:
        return pl.DataFrame(
            schema={ROW: pl.UInt32, "site_id": pl.String, "point": pl.String}
            | dict.fromkeys(("verdict", "left_out"), pl.String)
            | dict.fromkeys(("search_m", "wood_gap_m", "wood_gap_limit_m"), pl.Float64)
        )
    end = pl.format("end {} of {}", pl.col("element_end").str.to_uppercase(), "element_id")
    taped = tables[POSITION].filter(pl.col("found_by").fill_null("") != "geometry")
    return taped.with_columns(
        point=pl.when(pl.col("point_kind") == "hole")
        .then(pl.format("the hole of {}", "sample_id"))
        .when(pl.col("point_kind") == "datum")
        .then(pl.format("datum {}", "datum_id"))
        .otherwise(end)
    )


@rule(
    "geometry.readings_conflict",
    table=POSITION,
    field="verdict",
    severity="warning",
    says=f"The readings to {{point}} {CONFLICT_SAYS}. {_SEARCH}",
    remedy=_AGAIN,
    source=RELIABILITY,
)
def readings_conflict(tables: Snapshot) -> pl.DataFrame:
    """A point shown as certain would send people to the wrong place."""
    return _points(tables).filter(pl.col("verdict") == CONFLICT)


@rule(
    "geometry.two_places",
    table=POSITION,
    field="verdict",
    severity="warning",
    says=f"The readings to {{point}} {TWO_PLACES_SAYS}. {_SEARCH}",
    remedy="Tape it from a datum off the line between the others, or enter rough coordinates, and "
    "run 'treenail survey compute' again.",
    source="plane geometry: two circles meet in two points",
)
def two_places(tables: Snapshot) -> pl.DataFrame:
    """One of the two is on the wrong side of a wall."""
    return _points(tables).filter(pl.col("verdict") == TWO_PLACES)


@rule(
    "geometry.reading_left_out",
    table=POSITION,
    field="left_out",
    severity="note",
    says="A reading to {point} does not fit the others, and the survey left it out: {left_out}.",
    remedy="Compare it with the field book; correct it, or accept this finding if it was misread.",
    source=RELIABILITY,
)
def reading_left_out(tables: Snapshot) -> pl.DataFrame:
    """A slip is corrected best while someone remembers the day."""
    return _points(tables).filter(pl.col("verdict") == LEFT_OUT)


@rule(
    "geometry.hole_off_the_wood",
    table=POSITION,
    field="wood_gap_m",
    severity="warning",
    says=f"The tapes put {{point}} {{wood_gap_m:.2f}} m {OFF_SAYS}; chance explains "
    "{wood_gap_limit_m:.2f} m.",
    remedy="Check whether the distance was taken from end B, then the clock position and the "
    "tapes.",
    source=COMMON_PRACTICE,
)
def hole_off_the_wood(tables: Snapshot) -> pl.DataFrame:
    """One of the two descriptions of the hole is wrong."""
    return _points(tables).filter(pl.col("wood_gap_m") > pl.col("wood_gap_limit_m"))


@rule(
    "geometry.unchecked_points",
    table=POSITION,
    field="verdict",
    severity="note",
    says=f"Nothing checks the readings to {{points}} points of site {{site_id}} ({{named}}): "
    f"{UNCHECKED_SAYS}.",
    remedy="Tape one extra distance to each point.",
    source=RELIABILITY,
)
def unchecked_points(tables: Snapshot) -> pl.DataFrame:
    """Only another tape shows a misread one; one note per site."""
    names = pl.col("point").head(_NAMED).str.join(", ")
    more = pl.when(pl.len() > _NAMED).then(pl.lit(" and more")).otherwise(pl.lit(""))
    return (
        _points(tables)
        .filter(pl.col("verdict") == UNCHECKED)
        .group_by("site_id", maintain_order=True)
        .agg(pl.col(ROW).min(), pl.len().alias("points"), (names + more).alias("named"))
    )
