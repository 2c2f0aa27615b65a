"""Rules about what a laboratory reports of growth: widths of rings, and rings that are missing."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.language.views import results_with_samples
from provenance._model.determination import WITH_YEARS
from provenance._record.snapshot import Snapshot

ROUNDED_MM = 0.05
"""A mean width is written to a tenth of a millimeter at least."""


def _grown(tables: Snapshot) -> pl.DataFrame:
    """Results with their samples; a package of an older version says nothing of growth."""
    results = results_with_samples(tables)
    new = {"mean_width_mm": pl.Float64, "missing_ring_count": pl.Int64}
    lacking = [one for one in new if one not in results.columns]
    return results.with_columns(pl.lit(None, new[one]).alias(one) for one in lacking)


@rule(
    "result.all_rings_missing",
    table="lab_result",
    field="missing_ring_count",
    severity="error",
    says="Result {result_id} of sample {sample_id}: {inner_year} to {outer_year} are {span} "
    "years, but {missing_ring_count} rings are reported missing.",
    remedy="Compare count and years with the report.",
    source=COMMON_PRACTICE,
)
def all_rings_missing(tables: Snapshot) -> pl.DataFrame:
    """At least the first and the last ring are present."""
    span = pl.col("outer_year") - pl.col("inner_year") + 1
    fewest_there = pl.when(span > 1).then(2).otherwise(1)
    return (
        _grown(tables)
        .with_columns(span=span)
        .filter(pl.col("span") > 0, pl.col("missing_ring_count") > pl.col("span") - fewest_there)
    )


@rule(
    "result.missing_rings_undated",
    table="lab_result",
    field="missing_ring_count",
    severity="warning",
    says="Result {result_id} of sample {sample_id} is '{outcome}', but counts {missing_ring_count} "
    "missing rings.",
    remedy="Ask the laboratory: missing rings are known only from crossdating.",
    source=COMMON_PRACTICE,
)
def missing_rings_undated(tables: Snapshot) -> pl.DataFrame:
    """Either the sample was dated, or something else was counted."""
    undated = ~pl.col("outcome").is_in(WITH_YEARS)
    return _grown(tables).filter(undated & (pl.col("missing_ring_count") > 0))


@rule(
    "result.rings_wider_than_core",
    table="lab_result",
    field="mean_width_mm",
    severity="warning",
    says="Result {result_id} has {ring_count} rings of {mean_width_mm} mm on average on core "
    "{sample_id}, which is {sample_length_mm} mm long.",
    remedy="Check the mean and its unit, the length of the core and the number of the sample.",
    source=COMMON_PRACTICE,
)
def rings_wider_than_core(tables: Snapshot) -> pl.DataFrame:
    """All rings of a core lie side by side in it."""
    measured = pl.col("ring_count") - pl.col("missing_ring_count").fill_null(0)
    least = measured * (pl.col("mean_width_mm") - ROUNDED_MM)
    return _grown(tables).filter(pl.col("leaves_hole") & (least > pl.col("sample_length_mm")))
