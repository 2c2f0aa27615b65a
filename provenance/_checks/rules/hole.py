"""Rules about the hole a core leaves: its place on the wood and the length of core it can give."""

from __future__ import annotations

import math

import polars as pl

from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.language.views import samples_with_wood
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

ALLOWANCE_MM = 10.0
ALLOWANCE_SHARE = 0.05
"""A caliper on uneven wood and a core in pieces are each a few per cent off."""
TAPER_MM_PER_M = 15.0
"""How much thicker wood may be, a metre away from the end that was measured."""
OBLIQUE_FACTOR = 1.5
"""A core at 48 degrees to the square is half as long again as the wood is thick."""
POSITION_ALLOWANCE_M = 0.05
NEAREST_M = 0.10
USUAL_WITHIN_MM = 0.4


def _thickness_mm(end: str) -> pl.Expr:
    """The longest way square through the wood at one end, null when its readings do not tell.

    Round wood: the larger reading. Squared wood: the diagonal, which takes both readings.
    """
    first, second = f"diameter_{end}1_cm", f"diameter_{end}2_cm"
    diagonal = (pl.col(first).pow(2) + pl.col(second).pow(2)).sqrt()
    round_or_unsaid = pl.col("shape").fill_null("round").is_in(["round", "unknown"])
    # without a shape and with two readings the wood may be squared: the diagonal accuses less
    return 10 * (
        pl.when(pl.col("shape") == "round")
        .then(pl.max_horizontal(first, second))
        .when(diagonal.is_not_null())
        .then(diagonal)
        .when(round_or_unsaid)
        .then(pl.max_horizontal(first, second))
    )


def _thickness_at_hole_mm() -> pl.Expr:
    """The way through the wood where the hole is, interpolated along its taper."""
    length, along = pl.col("wood_length_m"), pl.col("along_m")
    at_a, at_b = _thickness_mm("a"), _thickness_mm("b")
    share = (along / length).clip(0, 1)
    # with one end measured the wood may be thicker at the hole, by its taper
    from_a = at_a + TAPER_MM_PER_M * pl.coalesce(along, length, pl.lit(0.0))
    from_b = at_b + TAPER_MM_PER_M * pl.coalesce((length - along).clip(0), length, pl.lit(0.0))
    either = pl.when(at_a.is_not_null() & at_b.is_not_null()).then(pl.max_horizontal(at_a, at_b))
    return pl.coalesce(at_a + (at_b - at_a) * share, either, from_a, from_b)


def _through_mm() -> pl.Expr:
    """How far a drill can go through the wood in the direction it went."""
    direction = pl.col("direction").fill_null("radial")
    return (
        pl.when(direction == "end")
        .then(pl.col("wood_length_m") * 1000)
        .when(direction == "oblique")
        .then(_thickness_at_hole_mm() * OBLIQUE_FACTOR)
        .otherwise(_thickness_at_hole_mm())
    )


@rule(
    "sample.longer_than_wood",
    table="sample",
    field="length_mm",
    severity="error",
    says="Core {sample_id} is {length_mm} mm long, but in the direction of the drill the wood "
    "{element_id} is only about {through_mm:.0f} mm through at that place.",
    remedy="Check the length of the core, the diameters of the wood, their units, and that the "
    "sample is of this wood.",
    source=COMMON_PRACTICE,
)
def longer_than_wood(tables: Snapshot) -> pl.DataFrame:
    """A core cannot be longer than the wood it came from: one of the two rows is wrong."""
    longest_mm = pl.col("through_mm") * (1 + ALLOWANCE_SHARE) + ALLOWANCE_MM
    return (
        samples_with_wood(tables)
        .filter("leaves_hole")
        .with_columns(through_mm=_through_mm())
        .filter(pl.col("length_mm") > longest_mm)
    )


@rule(
    "sample.slice_thicker_than_wood_is_long",
    table="sample",
    field="length_mm",
    severity="error",
    says="The slice {sample_id} is {length_mm} mm thick, but its wood {element_id} is only "
    "{wood_length_m} m long.",
    remedy="For a slice the length is its thickness along the wood; check both figures and units.",
    source=COMMON_PRACTICE,
)
def slice_thicker_than_wood_is_long(tables: Snapshot) -> pl.DataFrame:
    """A slice cannot be longer than the wood it came from."""
    return samples_with_wood(tables).filter(
        pl.col("cuts_wood") & (pl.col("length_mm") > pl.col("wood_length_m") * 1000 + ALLOWANCE_MM)
    )


@rule(
    "sample.position_beyond_wood",
    table="sample",
    field="along_m",
    severity="error",
    says="The hole or cut of sample {sample_id} is put at {along_m} m from end A, but the wood "
    "{element_id} is {wood_length_m} m long.",
    remedy="Measure along the wood from end A to the middle of the hole; check both units.",
    source=COMMON_PRACTICE,
)
def position_beyond_wood(tables: Snapshot) -> pl.DataFrame:
    """Nobody will find a hole beyond the end of the wood."""
    return samples_with_wood(tables).filter(
        pl.col("along_m") > pl.col("wood_length_m") + POSITION_ALLOWANCE_M
    )


@rule(
    "sample.hole_without_position",
    table="sample",
    field="along_m",
    severity="warning",
    says="Sample {sample_id} left a hole in {element_id}, but {lacking}.",
    remedy="Measure from end A along the wood, and read the clock position seen from end A.",
    source=COMMON_PRACTICE,
)
def hole_without_position(tables: Snapshot) -> pl.DataFrame:
    """Whoever comes back to drill again must know where the old hole is."""
    no_along, no_clock = pl.col("along_m").is_null(), pl.col("clock").is_null()
    # a hole drilled into the end is found at the end
    drilled_in_side = pl.col("direction").fill_null("radial") != "end"
    return (
        samples_with_wood(tables)
        .filter(pl.col("leaves_hole") & drilled_in_side & (no_along | no_clock))
        .with_columns(
            field=pl.when(no_along).then(pl.lit("along_m")).otherwise(pl.lit("clock")),
            lacking=pl.when(no_along & no_clock)
            .then(pl.lit("neither its distance from end A nor its clock position is given"))
            .when(no_along)
            .then(pl.lit("its distance from end A is not given"))
            .otherwise(pl.lit("its clock position is not given")),
        )
    )


_HOLE = ("sample_id", "element_id", "leaves_hole", "along_m", "clock")


@rule(
    "sample.holes_close",
    table="sample",
    field="along_m",
    severity="note",
    says="The holes of samples {other_id} and {sample_id} in {element_id} are only "
    "{apart_m:.2f} m apart.",
    remedy="Check both positions; if they are right, keep further holes well away, and ask a "
    "structural engineer where the wood carries load.",
    source="common practice, no source; local codes and the engineer in charge decide",
)
def holes_close(tables: Snapshot) -> pl.DataFrame:
    """Holes side by side weaken the wood, or are one hole written down twice."""
    holes = (
        samples_with_wood(tables)
        .select(ROW, *_HOLE, _mm=_thickness_at_hole_mm())
        .filter(pl.col("leaves_hole") & pl.col("along_m").is_not_null())
        .sort("element_id", "along_m", ROW)
    )
    before = pl.col("sample_id", "along_m", "clock").shift(1).over("element_id").name.prefix("_")
    angle = (pl.col("clock") - pl.col("_clock")) * (2 * math.pi / 12)
    # straight line between two points of the surface; without clock positions along the wood only
    across_m = (pl.col("_mm") / 1000 * (angle / 2).sin()).fill_null(0)
    along_m = pl.col("along_m") - pl.col("_along_m")
    return (
        holes.with_columns(before)
        .with_columns(
            other_id=pl.col("_sample_id"), apart_m=(along_m.pow(2) + across_m.pow(2)).sqrt()
        )
        .filter(pl.col("apart_m") < NEAREST_M)
    )


@rule(
    "sample.core_without_bore",
    table="sample",
    field="bore_mm",
    severity="warning",
    says="The bore of core {sample_id} is not given.",
    remedy="Enter the diameter of the hole that the bit cuts: 1/2 in (12.7 mm), 5/8 in "
    "(15.875 mm) or 7/8 in (22.225 mm).",
    source=COMMON_PRACTICE,
)
def core_without_bore(tables: Snapshot) -> pl.DataFrame:
    """The next dowel has to fit the hole."""
    return samples_with_wood(tables).filter(pl.col("leaves_hole") & pl.col("bore_mm").is_null())


@rule(
    "sample.bore_unusual",
    table="sample",
    field="bore_mm",
    severity="note",
    says="The bore of sample {sample_id} is {bore_mm} mm; drills usually cut {usual}.",
    remedy="Measure the hole, not the core: the core is thinner than the hole.",
    source="common practice, no source; 1 in is exactly 25.4 mm (international yard and pound "
    "agreement 1959)",
)
def bore_unusual(tables: Snapshot) -> pl.DataFrame:
    """The diameter of the core is easily written down for that of the hole."""
    terms = tables.model.vocabularies["bore_size"].terms
    sizes = [float(term.attributes["mm"]) for term in terms if "mm" in term.attributes]
    say = tables.model.measures.say
    near = [(pl.col("bore_mm") - size).abs() <= USUAL_WITHIN_MM for size in sizes]
    return (
        tables["sample"]
        .filter(pl.col("bore_mm").is_not_null() & ~pl.any_horizontal(pl.lit(False), *near))
        .with_columns(usual=pl.lit(", ".join(say(size, "mm", "bore") for size in sizes)))
    )
