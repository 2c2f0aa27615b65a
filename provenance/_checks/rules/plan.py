"""Rules about plans that were fitted to the site grid: whether what was traced still stands."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.links import look_up
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._record.snapshot import Snapshot

DATUM_ALLOWANCE_M = 0.05
"""An adjusted datum lies some centimeters from what was written down first."""
LARGEST_SCATTER = 2.0
NO_PLANS = pl.DataFrame()
"""What is found where there is no such table: in public editions and in older packages."""


@rule(
    "geometry.plan_datum_moved",
    table="plan_point",
    field="x_m",
    severity="warning",
    says="Plan {file_id} was fitted when datum {datum_id} was {apart_m:.2f} m from where the "
    "record has it now.",
    remedy="Trace the plan again with its saved points (treenail survey trace); the traced points "
    "will move.",
    source=COMMON_PRACTICE,
)
def plan_datum_moved(tables: Snapshot) -> pl.DataFrame:
    """Everything traced on a plan depends on its known points."""
    if "plan_point" not in tables.model.tables:
        return NO_PLANS
    known = tables["plan_point"].filter(pl.col("datum_id").is_not_null())
    frame = look_up(known, "datum_id", tables, "datum", {"now_x": "x_m", "now_y": "y_m"})
    apart = ((pl.col("x_m") - pl.col("now_x")) ** 2 + (pl.col("y_m") - pl.col("now_y")) ** 2).sqrt()
    return frame.with_columns(apart_m=apart).filter(pl.col("apart_m") > DATUM_ALLOWANCE_M)


@rule(
    "geometry.plan_known_points_scatter",
    table="plan_fit",
    field="known_scatter",
    severity="warning",
    says="The known points of the plan {file_id} scatter {known_scatter:.1f} times as much as was "
    "assumed.",
    remedy="Check the point with the largest misfit (treenail survey trace shows it); a photo "
    "needs --fit projective.",
    source=COMMON_PRACTICE,
)
def plan_known_points_scatter(tables: Snapshot) -> pl.DataFrame:
    """One of them is marked at the wrong place, or the plan is inaccurate."""
    if "plan_fit" not in tables.model.tables:
        return NO_PLANS
    return tables["plan_fit"].filter(pl.col("known_scatter") > LARGEST_SCATTER)


@rule(
    "geometry.plan_unchecked",
    table="plan_fit",
    field="spare_readings",
    severity="note",
    says="Nothing checks the {known_points} known points of the plan {file_id}.",
    remedy="Mark one more point and trace the plan again.",
    source=COMMON_PRACTICE,
)
def plan_unchecked(tables: Snapshot) -> pl.DataFrame:
    """If one is marked at the wrong place, so is everything traced on the plan."""
    if "plan_fit" not in tables.model.tables:
        return NO_PLANS
    return tables["plan_fit"].filter(pl.col("spare_readings") == 0)
