"""Rules about the years and signs of a result, and whether the field record bears them out.

Years are astronomical (0 is 1 BC), so a span is a plain difference.
"""

from __future__ import annotations

import polars as pl

from provenance._checks.language.links import codes_with, unlike_first
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.language.views import in_list, live_results, results_with_samples
from provenance._model.felling import what_is_left
from provenance._record.snapshot import Snapshot

RINGS_PER_MM = 10.0
FEW_RINGS = 30
UNFINISHED_RINGS = 1
"""A ring that had only begun may be counted and not dated, at either edge."""
MISSING_SHARE = 0.05
"""Locally absent rings take years without a ring: this share of the span passes unasked."""
MISSING_SHARE_FLAGGED = 0.15
"""…and this one where the laboratory itself says so with + or ++."""
UNIX_DAY_ZERO = 719_162
"""1970-01-01, counted from 0001-01-01."""


def _signs(tables: Snapshot, *cutting: str) -> list[str]:
    return codes_with(tables, "result_symbol", "cutting", *cutting)


def _qualified(tables: Snapshot) -> pl.Expr:
    """Whether a sign stands there that takes a cutting date away, such as + and ++."""
    return in_list("outer_signs", list(what_is_left(tables.model.vocabularies["result_symbol"])))


@rule(
    "result.outer_before_inner",
    table="lab_result",
    field="outer_year",
    severity="error",
    says="Result {result_id} of sample {sample_id}: the outermost ring is dated {outer_year}, the "
    "innermost {inner_year}.",
    remedy="Swap them if the report says so; years BC are negative (0 is 1 BC).",
    source=COMMON_PRACTICE,
)
def outer_before_inner(tables: Snapshot) -> pl.DataFrame:
    """Wood grows outward."""
    return tables["lab_result"].filter(pl.col("outer_year") < pl.col("inner_year"))


@rule(
    "result.rings_do_not_fit_years",
    table="lab_result",
    field="ring_count",
    severity="warning",
    says="Result {result_id} of sample {sample_id}: {inner_year} to {outer_year} are {span} years, "
    "but {ring_count} rings were counted.",
    remedy="Check the three figures against the report. Rings known to be missing have their own "
    "count; + after the outside year means that some may be missing, ++ that some were only "
    "counted.",
    source=COMMON_PRACTICE,
)
def rings_do_not_fit_years(tables: Snapshot) -> pl.DataFrame:
    """A tree grows one ring per year: a difference shows a mistake, or rings that the laboratory
    did not mention.
    """
    flagged = pl.when(_qualified(tables)).then(MISSING_SHARE_FLAGGED).otherwise(MISSING_SHARE)
    missing = pl.col("span") - pl.col("ring_count")
    results = results_with_samples(tables)
    passed = (pl.col("span") * flagged).clip(2).floor()
    if "missing_ring_count" in results.columns:  # not in a package of an older version
        passed = pl.max_horizontal(passed, "missing_ring_count")
    return (
        results.with_columns(span=pl.col("outer_year") - pl.col("inner_year") + 1)
        .filter(pl.col("span") > 0)
        .filter((missing < -UNFINISHED_RINGS) | (missing > passed))
    )


@rule(
    "result.ring_after_collection",
    table="lab_result",
    field="outer_year",
    severity="error",
    says="Result {result_id} dates the outermost ring of sample {sample_id} to {outer_year}, but "
    "the sample was taken on {collected_on}.",
    remedy="Check the year against the report, and the sample number.",
    source=COMMON_PRACTICE,
)
def ring_after_collection(tables: Snapshot) -> pl.DataFrame:
    """Wood does not grow in storage."""
    return results_with_samples(tables).filter(
        pl.col("outer_year") > _year_of(pl.col("collected_on_last"))
    )


@rule(
    "result.felled_after_collection",
    table="lab_result",
    field="felled_from_year",
    severity="error",
    says="Result {result_id} dates the felling of the tree of sample {sample_id} to "
    "{felled_from_year} or later, but the sample was taken on {collected_on}.",
    remedy="Check the years against the report, and the sample number.",
    source=COMMON_PRACTICE,
)
def felled_after_collection(tables: Snapshot) -> pl.DataFrame:
    """A timber in a building is from a felled tree."""
    return results_with_samples(tables).filter(
        pl.col("felled_from_year") > _year_of(pl.col("collected_on_last"))
    )


def _year_of(day: pl.Expr) -> pl.Expr:
    """The year of a day that is counted from 0001-01-01."""
    unix_day = day - UNIX_DAY_ZERO
    return unix_day.cast(pl.Int32).cast(pl.Date).dt.year().cast(pl.Int64)


@rule(
    "result.more_rings_than_length",
    table="lab_result",
    field="ring_count",
    severity="warning",
    says="Result {result_id} has {ring_count} rings on core {sample_id}, which is "
    "{sample_length_mm} mm long.",
    remedy="Check the count, the length of the core and the sample number.",
    source=COMMON_PRACTICE,
)
def more_rings_than_length(tables: Snapshot) -> pl.DataFrame:
    """Rings narrower than a tenth of a millimeter on average are almost unknown."""
    return results_with_samples(tables).filter(
        pl.col("leaves_hole") & (pl.col("ring_count") > pl.col("sample_length_mm") * RINGS_PER_MM)
    )


@rule(
    "result.more_sapwood_than_rings",
    table="lab_result",
    field="sapwood_count",
    severity="error",
    says="Result {result_id} of sample {sample_id} has {sapwood_count} sapwood rings among "
    "{ring_count} rings.",
    remedy="Check both counts against the report.",
    source=COMMON_PRACTICE,
)
def more_sapwood_than_rings(tables: Snapshot) -> pl.DataFrame:
    """Sapwood is the outer part of the rings."""
    return tables["lab_result"].filter(pl.col("sapwood_count") > pl.col("ring_count"))


@rule(
    "result.pith_there_and_missing",
    table="lab_result",
    field="pith_offset",
    severity="warning",
    says="Result {result_id} of sample {sample_id} has the symbol {inner_symbol} (pith), but "
    "{pith_offset} rings are reported missing toward the pith.",
    remedy="Check both against the report.",
    source=COMMON_PRACTICE,
)
def pith_there_and_missing(tables: Snapshot) -> pl.DataFrame:
    """If the pith is in the sample, no rings are missing inside."""
    return results_with_samples(tables).filter(
        in_list("inner_signs", ["p"]) & (pl.col("pith_offset") > 0)
    )


@rule(
    "result.sign_on_the_wrong_side",
    table="lab_result",
    field="outer_symbol",
    severity="error",
    says="Result {result_id} of sample {sample_id}: the symbol(s) '{signs}' do not belong beside "
    "the {side} year.",
    remedy="Symbols for pith belong inside, symbols for bark and cutting outside.",
    source="result symbols in schemas/vocabularies; " + COMMON_PRACTICE,
)
def sign_on_the_wrong_side(tables: Snapshot) -> pl.DataFrame:
    """A symbol on the wrong side turns a limit into a felling date."""
    frames = []
    for side, other in (("inner", "outer"), ("outer", "inner")):
        strangers = codes_with(tables, "result_symbol", "side", other)
        frames.append(
            results_with_samples(tables)
            .filter(in_list(f"{side}_signs", strangers))
            .with_columns(
                field=pl.lit(f"{side}_symbol"),
                signs=pl.col(f"{side}_symbol"),
                side=pl.lit({"inner": "inside", "outer": "outside"}[side]),
            )
        )
    return pl.concat(frames)


@rule(
    "result.signs_contradict",
    table="lab_result",
    field="outer_symbol",
    severity="error",
    says="Result {result_id} of sample {sample_id}: the symbols '{outer_symbol}' beside the "
    "outside year contradict each other.",
    remedy="Check them against the report: bark and vv exclude each other, and so do inc and comp.",
    source="result symbols in schemas/vocabularies; " + COMMON_PRACTICE,
)
def signs_contradict(tables: Snapshot) -> pl.DataFrame:
    """The last ring is present or it is not."""
    edge = in_list("outer_signs", _signs(tables, "yes"))
    no_edge = in_list("outer_signs", _signs(tables, "no", "near"))
    both = in_list("outer_signs", ["inc"]) & in_list("outer_signs", ["comp"])
    return results_with_samples(tables).filter((edge & no_edge) | both)


@rule(
    "result.cutting_date_on_lost_surface",
    table="lab_result",
    field="outer_symbol",
    severity="error",
    says="Result {result_id} gives sample {sample_id} the symbol '{outer_symbol}' of a cutting "
    "date, but the field record gives its surface as '{field_surface}'.",
    remedy="Look at sample and photo with the laboratory; until then, use the year as the "
    "earliest possible felling.",
    source=COMMON_PRACTICE,
)
def cutting_date_on_lost_surface(tables: Snapshot) -> pl.DataFrame:
    """If the outer rings are missing, the last ring measured is not the last one grown."""
    gone = codes_with(tables, "outer_surface", "surface", "gone")
    return live_results(tables).filter(
        in_list("outer_signs", _signs(tables, "yes")) & pl.col("field_surface").is_in(gone)
    )


@rule(
    "result.surface_kept_but_not_reported",
    table="lab_result",
    field="outer_symbol",
    severity="note",
    says="The field record gives the surface of sample {sample_id} as '{field_surface}'; result "
    "{result_id} has the symbol '{outer_symbol}': rings are lost.",
    remedy="Ask the laboratory whether the edge crumbled in transit; a second core may give the "
    "felling year.",
    source=COMMON_PRACTICE,
)
def surface_kept_but_not_reported(tables: Snapshot) -> pl.DataFrame:
    """The most valuable ring is the first to fall off."""
    kept = codes_with(tables, "outer_surface", "surface", "present")
    return live_results(tables).filter(
        in_list("outer_signs", _signs(tables, "no")) & pl.col("field_surface").is_in(kept)
    )


@rule(
    "result.cutting_dates_differ",
    table="lab_result",
    field="outer_year",
    severity="warning",
    says="Samples {first_sample_id} and {sample_id} of one timber {element_id} both have a "
    "cutting date, {first_year} and {outer_year}.",
    remedy="Check that both samples are from this timber; ask the laboratory to compare the two "
    "series.",
    source=COMMON_PRACTICE,
)
def cutting_dates_differ(tables: Snapshot) -> pl.DataFrame:
    """A tree is felled once."""
    cutting = live_results(tables).filter(
        in_list("outer_signs", _signs(tables, "yes"))
        & ~_qualified(tables)
        & pl.col("outer_year").is_not_null()
        & pl.col("element_id").is_not_null()
    )
    of_wood = ["element_id"]
    named = cutting.with_columns(first_sample_id=pl.col("sample_id").first().over(of_wood))
    unlike = unlike_first(named, "outer_year", of_wood, first="first_year")
    return unlike.filter(pl.col("sample_id") != pl.col("first_sample_id"))


@rule(
    "result.felled_before_last_ring",
    table="lab_result",
    field="felled_to_year",
    severity="error",
    says="Result {result_id} of sample {sample_id} dates the felling to {felled_to_year} or "
    "earlier, before the outermost ring of {outer_year} grew.",
    remedy="Check the years against the report.",
    source=COMMON_PRACTICE,
)
def felled_before_last_ring(tables: Snapshot) -> pl.DataFrame:
    """A felled tree grows no rings."""
    return tables["lab_result"].filter(
        pl.min_horizontal("felled_from_year", "felled_to_year") < pl.col("outer_year")
    )


@rule(
    "result.felling_range_backwards",
    table="lab_result",
    field="felled_to_year",
    severity="error",
    says="Result {result_id} of sample {sample_id}: the felling range ends {felled_to_year}, "
    "before it begins {felled_from_year}.",
    remedy="Swap the two years if the report says so.",
    source=COMMON_PRACTICE,
)
def felling_range_backwards(tables: Snapshot) -> pl.DataFrame:
    """A range runs from the earlier to the later year."""
    return tables["lab_result"].filter(pl.col("felled_to_year") < pl.col("felled_from_year"))


@rule(
    "result.felling_far_from_cutting_date",
    table="lab_result",
    field="felled_from_year",
    severity="warning",
    says="Result {result_id} of sample {sample_id} is a cutting date ({outer_year} "
    "{outer_symbol}), but the felling range is {felled_from_year} to {felled_to_year}.",
    remedy="With the last ring present, the tree was felled in that year or before the next "
    "spring.",
    source=COMMON_PRACTICE,
)
def felling_far_from_cutting_date(tables: Snapshot) -> pl.DataFrame:
    """Either the symbol or the range belongs to another sample."""
    furthest = pl.max_horizontal("felled_from_year", "felled_to_year")
    return results_with_samples(tables).filter(
        in_list("outer_signs", _signs(tables, "yes"))
        & ~_qualified(tables)
        & (furthest > pl.col("outer_year") + 1)
    )


@rule(
    "result.dated_on_few_rings",
    table="lab_result",
    field="ring_count",
    severity="note",
    says="Result {result_id} dates sample {sample_id} by crossdating on {ring_count} rings only.",
    remedy="Ask for the match statistics, or mark the date as tentative.",
    source=COMMON_PRACTICE,
)
def dated_on_few_rings(tables: Snapshot) -> pl.DataFrame:
    """Short series match in several places by chance."""
    return live_results(tables).filter(
        (pl.col("outcome") == "dated")
        & (pl.col("method") == "crossdating")
        & (pl.col("ring_count") < FEW_RINGS)
    )
