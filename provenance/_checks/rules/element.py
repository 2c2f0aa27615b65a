"""Rules about one piece of wood: its sizes, its description, and whether it was sampled."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.dates import date_bounds
from provenance._checks.language.links import codes_with, of_each, with_any, without_any
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._record.attempts import samples_taken
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

DIAMETERS = ("diameter_a1_cm", "diameter_a2_cm", "diameter_b1_cm", "diameter_b2_cm")

THICKEST_CM = 150.0
ROUND_WITHIN = 1.6
"""A stem may be oval; beyond this ratio one of the two caliper readings is another figure."""
SQUARED_WITHIN = 12.0
"""A plank may be much wider than thick, hardly more than this."""
RECTANGLES = ("rectangle", "plank")
HALF_AT_MOST = 0.75
"""Depth by width: a half is about 0.5 deep, a whole stem 1."""
PLANK_AT_MOST = 0.5
DIAGONAL_WITHIN = 0.05
"""Corners a few degrees out of square are still taken for square."""
TURNED_WITHIN = 0.1
TURNED_FROM = 1.25
STEEPEST_CM_PER_M = 6.0
"""Trunks taper by about half to two centimetres a metre; a root flare reaches a few more."""
TAPER_FROM_M = 0.5
FEATURE_ALLOWANCE_M = 0.05
LOWEST_M, HIGHEST_M = -6.0, 30.0
"""Floors below timber: a sill in a cellar wall; the roof of a tower."""
RISE_ALLOWANCE_M = 0.1
NOMINAL = r"^[0-9]+( [0-9]+/[0-9]+|/[0-9]+)? x [0-9]+( [0-9]+/[0-9]+|/[0-9]+)?$"
"""How the trade calls lumber: '2 x 6', '5/4 x 6', '1 1/2 x 12'."""


def _larger(one: str, other: str) -> pl.Expr:
    return pl.max_horizontal(one, other)


def _ends(elements: pl.DataFrame) -> pl.DataFrame:
    """Each piece twice, with `end`, the `field` of its first reading, `first_cm`, `second_cm`, and
    of the two `larger_cm` and `smaller_cm`, null where one is missing.
    """
    frames = []
    for end in ("a", "b"):
        first, second = f"diameter_{end}1_cm", f"diameter_{end}2_cm"
        both = pl.col(first).is_not_null() & pl.col(second).is_not_null()
        frames.append(
            elements.with_columns(
                field=pl.lit(first),
                end=pl.lit(end.upper()),
                first_cm=pl.col(first),
                second_cm=pl.col(second),
                larger_cm=pl.when(both).then(_larger(first, second)),
                smaller_cm=pl.when(both).then(pl.min_horizontal(first, second)),
            )
        )
    return pl.concat(frames)


def _with(tables: Snapshot, *columns: str) -> pl.DataFrame:
    """The table `element`; no row of it where its schema, of an older version, lacks a column."""
    elements = tables["element"]
    if missing := [one for one in columns if one not in elements.columns]:
        return elements.clear().with_columns(pl.lit(None, pl.Float64).alias(one) for one in missing)
    return elements


def _of_section(tables: Snapshot, *sections: str) -> pl.DataFrame:
    """The pieces whose shape has one of these cross-sections."""
    shapes = codes_with(tables, "element_shape", "section", *sections)
    return tables["element"].filter(pl.col("shape").is_in(shapes))


@rule(
    "element.sampled_without_sample",
    table="element",
    field="sampled",
    severity="warning",
    says="{element_id} is marked as sampled, but there is no sample of it.",
    remedy="Look for the sample under another piece of wood, or set 'sampled' to no.",
    source=COMMON_PRACTICE,
)
def sampled_without_sample(tables: Snapshot) -> pl.DataFrame:
    """Either a sample is lost or there is a hole that nobody drilled."""
    marked = tables["element"].filter(pl.col("sampled"))
    return without_any(marked, samples_taken(tables), "element_id")


@rule(
    "element.sample_not_marked",
    table="element",
    field="sampled",
    severity="warning",
    says="{element_id} is marked as not sampled, but sample {sample_id} was taken from it.",
    remedy="Check that the sample is of this piece of wood; then set 'sampled' to yes.",
    source=COMMON_PRACTICE,
)
def sample_not_marked(tables: Snapshot) -> pl.DataFrame:
    """The sample may have been written down for the wrong beam."""
    firsts = samples_taken(tables).group_by("element_id").agg(pl.col("sample_id").min())
    return (
        tables["element"]
        .filter(~pl.col("sampled"))
        .join(firsts, on="element_id", maintain_order="left")
    )


@rule(
    "element.sampled_without_size",
    table="element",
    field="diameter_a1_cm",
    severity="note",
    says="{element_id} was sampled, but its thickness was not measured.",
    remedy="Measure both ends with the caliper on the next visit.",
    source=COMMON_PRACTICE,
)
def sampled_without_size(tables: Snapshot) -> pl.DataFrame:
    """Without a thickness nobody can tell how much of the stem a core covers."""
    unmeasured = pl.all_horizontal(pl.col(name).is_null() for name in DIAMETERS)
    return with_any(tables["element"].filter(unmeasured), samples_taken(tables), "element_id")


@rule(
    "element.too_thick",
    table="element",
    field="diameter_a1_cm",
    severity="warning",
    says="{element_id} is {thickest_cm} cm thick.",
    remedy="Centimetres are meant: check for millimetres, or a lost decimal point.",
    source=COMMON_PRACTICE,
)
def too_thick(tables: Snapshot) -> pl.DataFrame:
    """Building timber thicker than a metre and a half is next to unknown."""
    thickest = pl.max_horizontal(DIAMETERS)
    field = pl.coalesce(pl.when(pl.col(name) == thickest).then(pl.lit(name)) for name in DIAMETERS)
    return (
        tables["element"]
        .with_columns(thickest_cm=thickest, field=field)
        .filter(pl.col("thickest_cm") > THICKEST_CM)
    )


@rule(
    "element.readings_unlike",
    table="element",
    field="diameter_a1_cm",
    severity="warning",
    says="At end {end} of {element_id} the two caliper readings are {first_cm} and {second_cm} cm, "
    "too unlike for wood of shape '{shape}'.",
    remedy="Check both figures against the record sheet, and the shape.",
    source=COMMON_PRACTICE,
)
def readings_unlike(tables: Snapshot) -> pl.DataFrame:
    """One of the two is most likely a slip of the pen or of the unit."""
    allowed = (
        pl.when(pl.col("shape").fill_null("round") == "round")
        .then(ROUND_WITHIN)
        .otherwise(SQUARED_WITHIN)
    )
    return _ends(tables["element"]).filter(pl.col("larger_cm") / pl.col("smaller_cm") > allowed)


@rule(
    "element.one_reading_of_worked_wood",
    table="element",
    field="diameter_a1_cm",
    severity="note",
    says="At end {end} of {element_id} there is one reading alone; wood of shape '{shape}' takes "
    "two.",
    remedy="Measure the other side on the next visit; without it there is no volume.",
    source=COMMON_PRACTICE,
)
def one_reading_of_worked_wood(tables: Snapshot) -> pl.DataFrame:
    """Only round wood is as thick one way as the other."""
    one_alone = pl.col("first_cm").is_null() != pl.col("second_cm").is_null()
    sections = ("half", "quarter", "two_sided", *RECTANGLES)
    return _ends(_of_section(tables, *sections)).filter(one_alone)


@rule(
    "element.half_round_too_deep",
    table="element",
    field="diameter_a1_cm",
    severity="warning",
    says="At end {end} the readings of {element_id}, which is half round, are {first_cm} and "
    "{second_cm} cm; half a stem is about half as deep as it is wide.",
    remedy="Check the shape, and that the second reading was taken square to the flat face.",
    source=COMMON_PRACTICE,
)
def half_round_too_deep(tables: Snapshot) -> pl.DataFrame:
    """Two readings alike are those of a whole stem, or two of the same width."""
    ends = _ends(_of_section(tables, "half"))
    return ends.filter(pl.col("smaller_cm") > HALF_AT_MOST * pl.col("larger_cm"))


@rule(
    "element.plank_too_thick",
    table="element",
    field="diameter_a1_cm",
    severity="warning",
    says="At end {end} plank {element_id} is {first_cm} by {second_cm} cm, thicker than half its "
    "width.",
    remedy="Check both figures, and whether it is not squared wood.",
    source=COMMON_PRACTICE,
)
def plank_too_thick(tables: Snapshot) -> pl.DataFrame:
    """How many trees there were is counted without planks, but with squared wood."""
    ends = _ends(_of_section(tables, "plank"))
    return ends.filter(pl.col("smaller_cm") > PLANK_AT_MOST * pl.col("larger_cm"))


@rule(
    "element.diagonal_implausible",
    table="element",
    field="diagonal_cm",
    severity="warning",
    says="{element_id} measures {diagonal_cm} cm from corner to corner; its thicker end, "
    "{first_cm} by {second_cm} cm, allows for {least_cm:.1f} to {most_cm:.1f} cm.",
    remedy="Check the three figures, and that they are of one end.",
    source="Pythagoras; how far readings may be off: common practice, no source",
)
def diagonal_implausible(tables: Snapshot) -> pl.DataFrame:
    """Volume and log of squared wood rest on it where corners are round."""
    squared = _of_section(tables, *RECTANGLES)
    if "diagonal_cm" not in squared.columns:  # an older version of the schemas
        return squared.clear()
    sharp = (pl.col("first_cm") ** 2 + pl.col("second_cm") ** 2).sqrt()
    off = pl.col("diagonal_cm") * DIAGONAL_WITHIN
    return (
        _ends(squared)
        .with_columns(least_cm=pl.col("larger_cm"), most_cm=sharp)
        .drop_nulls(["diagonal_cm", "most_cm"])
        .sort("most_cm", descending=True, maintain_order=True)
        .unique(ROW, keep="first", maintain_order=True)
        .filter(
            (pl.col("diagonal_cm") < pl.col("least_cm") - off)
            | (pl.col("diagonal_cm") > pl.col("most_cm") + off)
        )
        .with_columns(field=pl.lit("diagonal_cm"))
        .sort(ROW)
    )


@rule(
    "element.round_corners_not_measured",
    table="element",
    field="diagonal_cm",
    severity="note",
    says="{element_id} has round corners, but nobody measured it from corner to corner.",
    remedy="Measure the larger distance between corners at the thicker end; without it there is no "
    "volume.",
    source=COMMON_PRACTICE,
)
def round_corners_not_measured(tables: Snapshot) -> pl.DataFrame:
    """The sides alone do not say how much of the corners is gone."""
    elements = tables["element"]
    if "diagonal_cm" not in elements.columns:  # an older version of the schemas
        return elements.clear()
    round_cornered = pl.col("shape").is_in(codes_with(tables, "element_shape", "wane", True))
    measured = pl.all_horizontal(pl.col(one).is_not_null() for one in DIAMETERS)
    return elements.filter(round_cornered & measured & pl.col("diagonal_cm").is_null())


@rule(
    "element.readings_exchanged",
    table="element",
    field="diameter_b1_cm",
    severity="note",
    says="{element_id}: the readings at end A are {diameter_a1_cm} and {diameter_a2_cm} cm, at end "
    "B {diameter_b1_cm} and {diameter_b2_cm} cm, as if the two at one end were exchanged.",
    remedy="The first reading is taken the same way at both ends; exchange them at one end if the "
    "sheet allows.",
    source=COMMON_PRACTICE,
)
def readings_exchanged(tables: Snapshot) -> pl.DataFrame:
    """Taper and volume come out wrong when width and height are mixed."""

    def alike(one: str, other: str) -> pl.Expr:
        apart = (pl.col(one) - pl.col(other)).abs()
        return apart <= TURNED_WITHIN * _larger(one, other)

    a1, a2, b1, b2 = DIAMETERS
    oblong = _larger(a1, a2) / pl.min_horizontal(a1, a2) >= TURNED_FROM
    return tables["element"].filter(oblong & alike(a1, b2) & alike(a2, b1))


@rule(
    "element.taper_implausible",
    table="element",
    field="diameter_b1_cm",
    severity="warning",
    says="{element_id} is {a_cm:.1f} cm thick at end A and {b_cm:.1f} cm at end B, "
    "which tapers by {taper_cm_per_m:.1f} % of its length of {length_m} m.",
    remedy="Look for an end that was read in inches, or with a reading of another piece of wood.",
    source=COMMON_PRACTICE,
)
def taper_implausible(tables: Snapshot) -> pl.DataFrame:
    """A trunk does not thin that fast; two figures of one wood do not belong together."""
    a1, a2, b1, b2 = DIAMETERS
    sized = tables["element"].with_columns(
        a_cm=pl.mean_horizontal(a1, a2), b_cm=pl.mean_horizontal(b1, b2)
    )
    return (
        sized.filter(pl.col("length_m") >= TAPER_FROM_M)
        .with_columns(taper_cm_per_m=(pl.col("a_cm") - pl.col("b_cm")).abs() / pl.col("length_m"))
        .filter(pl.col("taper_cm_per_m") > STEEPEST_CM_PER_M)
    )


@rule(
    "element.thicker_than_long",
    table="element",
    field="length_m",
    severity="note",
    says="{element_id} is {thickest_cm} cm thick but only {length_m} m long.",
    remedy="Check the unit of the length, and that length and diameter were not exchanged.",
    source=COMMON_PRACTICE,
)
def thicker_than_long(tables: Snapshot) -> pl.DataFrame:
    """Wood in buildings is nearly always longer than thick."""
    return (
        tables["element"]
        .with_columns(thickest_cm=pl.max_horizontal(DIAMETERS))
        .filter(pl.col("thickest_cm") > pl.col("length_m") * 100)
    )


@rule(
    "element.longer_than_its_use",
    table="element",
    field="length_m",
    severity="warning",
    says="{element_id} is {length_m} m long; wood that serves as {use} is hardly ever longer than "
    "{longest_m} m.",
    remedy="Check the unit of the length, and the use.",
    source=COMMON_PRACTICE,
)
def longer_than_its_use(tables: Snapshot) -> pl.DataFrame:
    """A peg of nine metres is a beam, or ninety millimetres."""
    terms = tables.model.vocabularies["element_function"].terms
    limited = [term for term in terms if "longest_m" in term.attributes]
    limits = pl.DataFrame(
        {
            "function": [term.code for term in limited],
            "use": [term.label.lower() for term in limited],
            "longest_m": [float(term.attributes["longest_m"]) for term in limited],
        },
        schema={"function": pl.String, "use": pl.String, "longest_m": pl.Float64},
    )
    return (
        tables["element"]
        .join(limits, on="function", maintain_order="left")
        .filter(pl.col("length_m") > pl.col("longest_m"))
    )


@rule(
    "element.feature_beyond_its_end",
    table="element",
    field="features",
    severity="warning",
    says="{element_id} is {length_m} m long, but something lies on it at {distance_m} m.",
    remedy="Check the distance and the length; features are written '0.42: mortise; 1.10: nail'.",
    source=COMMON_PRACTICE,
)
def feature_beyond_its_end(tables: Snapshot) -> pl.DataFrame:
    """Joints and nails are how a beam and its hole are known again."""
    distances = (
        pl.col("features")
        .str.extract_all(r"(?:^|;)\s*\d+(?:\.\d+)?\s*:")
        .list.eval(pl.element().str.extract(r"(\d+(?:\.\d+)?)").cast(pl.Float64))
        .list.max()
    )
    return (
        tables["element"]
        .drop_nulls("features")
        .with_columns(distance_m=distances)
        .filter(pl.col("distance_m") > pl.col("length_m") + FEATURE_ALLOWANCE_M)
    )


@rule(
    "element.recorded_outside_visit",
    table="element",
    field="recorded_on",
    severity="note",
    says="{element_id} was recorded on {recorded_on}; the visit to {site_id} ran from "
    "{visit_start} to {visit_end}.",
    remedy="Check the year first; a record made later from photos deserves a word in the notes.",
    source=COMMON_PRACTICE,
)
def recorded_outside_visit(tables: Snapshot) -> pl.DataFrame:
    """A wrong year in the field book is the usual reason."""
    visits = of_each(date_bounds(tables["site"], "visit_start", "visit_end"), "site_id")
    dates = ("visit_start", "visit_start_first", "visit_end", "visit_end_last")
    return (
        date_bounds(tables["element"], "recorded_on")
        .join(visits.select("site_id", *dates), on="site_id", how="left", maintain_order="left")
        .filter(
            (pl.col("recorded_on_last") < pl.col("visit_start_first"))
            | (pl.col("recorded_on_first") > pl.col("visit_end_last"))
        )
    )


@rule(
    "element.height_implausible",
    table="element",
    field="height_a_m",
    severity="warning",
    says="{element_id} is said to lie {height_m} m above the floor below it.",
    remedy="Check the unit, and that the height was taken from the floor below and not from the "
    "site grid's zero level.",
    source=COMMON_PRACTICE,
)
def height_implausible(tables: Snapshot) -> pl.DataFrame:
    """Whoever looks for the timber looks at that height."""
    heights = ("height_a_m", "height_b_m")
    elements = _with(tables, *heights)
    off = [
        elements.with_columns(height_m=pl.col(name), field=pl.lit(name)).filter(
            ~pl.col(name).is_between(LOWEST_M, HIGHEST_M)
        )
        for name in heights
    ]
    return of_each(pl.concat(off).sort(ROW), ROW)


@rule(
    "element.rises_more_than_its_length",
    table="element",
    field="height_b_m",
    severity="warning",
    says="{element_id} is {longest_m} m long, but one end is said to be {rise_m:.2f} m higher than "
    "the other.",
    remedy="Check both heights and the length; heights of both ends are taken from one floor.",
    source="geometry: a straight line rises at most by its length",
)
def rises_more_than_its_length(tables: Snapshot) -> pl.DataFrame:
    """One of three figures is wrong."""
    elements = _with(tables, "height_a_m", "height_b_m", "full_length_m")
    return elements.with_columns(
        longest_m=pl.max_horizontal("length_m", "full_length_m"),
        rise_m=(pl.col("height_a_m") - pl.col("height_b_m")).abs(),
    ).filter(pl.col("rise_m") > pl.col("longest_m") + RISE_ALLOWANCE_M)


@rule(
    "element.full_length_short",
    table="element",
    field="full_length_m",
    severity="warning",
    says="{element_id} is {full_length_m} m long as a whole, but {length_m} m of it can be seen.",
    remedy="Check both figures; the full length is never less than what can be seen.",
    source=COMMON_PRACTICE,
)
def full_length_short(tables: Snapshot) -> pl.DataFrame:
    """A part is not longer than the whole."""
    return _with(tables, "full_length_m").filter(pl.col("full_length_m") < pl.col("length_m"))


@rule(
    "element.faces_swapped",
    table="element",
    field="width_cm",
    severity="note",
    says="{element_id} is {width_cm} cm at its wider face and {thickness_cm} cm at its narrower.",
    remedy="Swap the two if the sheet allows.",
    source=COMMON_PRACTICE,
)
def faces_swapped(tables: Snapshot) -> pl.DataFrame:
    """A plank 5 by 25 and a plank 25 by 5 are one, and should be found as one."""
    elements = _with(tables, "width_cm", "thickness_cm")
    return elements.filter(pl.col("width_cm") < pl.col("thickness_cm"))


@rule(
    "element.nominal_size_form",
    table="element",
    field="nominal_size",
    severity="note",
    says="The nominal size of {element_id}, '{nominal_size}', is not written as trade sizes are.",
    remedy="Write thickness, x, and width without units, such as 2 x 6 or 5/4 x 6; enter measured "
    "sizes as wider and narrower face.",
    source=COMMON_PRACTICE,
)
def nominal_size_form(tables: Snapshot) -> pl.DataFrame:
    """Sizes written alike can be counted together."""
    elements = _with(tables, "nominal_size").cast({"nominal_size": pl.String})
    return elements.filter(~pl.col("nominal_size").str.contains(NOMINAL))


@rule(
    "element.like_count_unexplained",
    table="element",
    field="like_count",
    severity="note",
    says="{element_id} stands for {like_count} timbers, but how the number is known is not "
    "recorded.",
    remedy="Enter whether they were counted or estimated.",
    source=COMMON_PRACTICE,
)
def like_count_unexplained(tables: Snapshot) -> pl.DataFrame:
    """Sums of wood rest on it."""
    elements = _with(tables, "like_count", "like_count_how")
    return elements.filter((pl.col("like_count") > 1) & pl.col("like_count_how").is_null())


@rule(
    "element.several_in_one_row_sampled",
    table="element",
    field="like_count",
    severity="warning",
    says="{element_id} stands for {like_count} timbers and is sampled: which of them the sample is "
    "of cannot be told.",
    remedy="Give the sampled timber a row of its own, and count one less here.",
    source=COMMON_PRACTICE,
)
def several_in_one_row_sampled(tables: Snapshot) -> pl.DataFrame:
    """A hole is in one timber."""
    several = _with(tables, "like_count").filter(pl.col("like_count") > 1)
    return with_any(several, tables["sample"], "element_id")


@rule(
    "element.reason_but_sampled",
    table="element",
    field="not_sampled_reason",
    severity="warning",
    says="{element_id} was not sampled for the reason '{not_sampled_reason}', yet it is sampled.",
    remedy="Remove the reason, or check that the sample is of this timber.",
    source=COMMON_PRACTICE,
)
def reason_but_sampled(tables: Snapshot) -> pl.DataFrame:
    """The sample may have been written down for the wrong timber."""
    reasons = _with(tables, "not_sampled_reason").filter(pl.col("not_sampled_reason").is_not_null())
    samples = samples_taken(tables).select("element_id").drop_nulls().unique()
    return reasons.filter(
        pl.col("sampled").fill_null(False)
        | pl.col("element_id").is_in(samples["element_id"].to_list()).fill_null(False)
    )
