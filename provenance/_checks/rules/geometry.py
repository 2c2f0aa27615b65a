"""Rules about fixed points and measurements: whether the tape can lead back to the hole."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from provenance._checks.language.links import look_up, with_any, without_any
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._record.declination import (
    DECLINATION_REMEDY,
    FAR_YEARS,
    Declinations,
    declinations_of_sites,
)
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

TARGETS = ("element_id", "sample_id", "target_datum_id")
MEASURES = {
    "distance": ("distance_m",),
    "offset": ("along_m", "offset_m"),
    "bearing": ("bearing_deg", "distance_m"),
    "height": ("height_m",),
    "coordinate": ("x_m", "y_m"),
}
"""What each kind of tie cannot do without."""
DATUMS = {
    "distance": ("from_datum_id",),
    "offset": ("from_datum_id", "to_datum_id"),
    "bearing": ("from_datum_id",),
}
WITHHELD = "information_withheld"
ENDS_ALLOWANCE_M = 0.15
ENDS_ALLOWANCE_SHARE = 0.05
DISTANCES_FOR_A_POINT = 3
"""Two tapes meet in two points, one on each side of the line between the datums."""


def _lacking(tables: Snapshot, wanted: dict[str, tuple[str, ...]]) -> pl.DataFrame:
    """Ties that lack a field their kind needs, with `field` the first one."""
    ties = tables["tie"]
    if WITHHELD in ties.columns:
        # in a public edition what runs between two buildings is blank, and the row says so
        ties = ties.filter(pl.col(WITHHELD).is_null())
    frames = []
    for kind, fields in wanted.items():
        first = pl.coalesce(pl.when(pl.col(name).is_null()).then(pl.lit(name)) for name in fields)
        frames.append(
            ties.filter(pl.col("kind") == kind).with_columns(field=first).drop_nulls("field")
        )
    return pl.concat(frames)


@rule(
    "geometry.measure_missing",
    table="tie",
    field="distance_m",
    severity="error",
    says="Measurement {tie_id} is a {kind}, but {field} is blank.",
    remedy="Enter the figure from the field book, or set the right kind.",
    source=COMMON_PRACTICE,
)
def measure_missing(tables: Snapshot) -> pl.DataFrame:
    """A measurement without its figure cannot be used."""
    return _lacking(tables, MEASURES)


@rule(
    "geometry.datum_missing",
    table="tie",
    field="from_datum_id",
    severity="error",
    says="Measurement {tie_id} is a {kind}, but {field} is blank.",
    remedy="Enter the datum that the tape was held at; an offset needs both ends of its baseline.",
    source=COMMON_PRACTICE,
)
def datum_missing(tables: Snapshot) -> pl.DataFrame:
    """A distance needs a starting point."""
    return _lacking(tables, DATUMS)


@rule(
    "geometry.no_target",
    table="tie",
    field="element_id",
    severity="error",
    says="The target of measurement {tie_id} is not recorded.",
    remedy="Enter the timber and its end, the sample, or the datum that was measured.",
    source=COMMON_PRACTICE,
)
def no_target(tables: Snapshot) -> pl.DataFrame:
    """A distance needs an end point."""
    return tables["tie"].filter(pl.all_horizontal(pl.col(name).is_null() for name in TARGETS))


@rule(
    "geometry.two_targets",
    table="tie",
    field="element_id",
    severity="error",
    says="Measurement {tie_id} names more than one target: timber {element_id}, sample "
    "{sample_id}, datum {target_datum_id}.",
    remedy="Keep the point that was measured; enter the other as a separate measurement.",
    source=COMMON_PRACTICE,
)
def two_targets(tables: Snapshot) -> pl.DataFrame:
    """One tape reading ends at one point."""
    named = pl.sum_horizontal(pl.col(name).is_not_null().cast(pl.Int32) for name in TARGETS)
    return tables["tie"].filter(named > 1)


@rule(
    "geometry.end_missing",
    table="tie",
    field="element_end",
    severity="error",
    says="Measurement {tie_id} is to timber {element_id}, but the end is not recorded.",
    remedy="Enter a or b.",
    source=COMMON_PRACTICE,
)
def end_missing(tables: Snapshot) -> pl.DataFrame:
    """The two ends lie meters apart."""
    return tables["tie"].filter(
        pl.col("element_id").is_not_null() & pl.col("element_end").is_null()
    )


@rule(
    "geometry.datum_to_itself",
    table="tie",
    field="to_datum_id",
    severity="error",
    says="Measurement {tie_id} starts and ends at datum {from_datum_id}.",
    remedy="One of the two codes is wrong.",
    source=COMMON_PRACTICE,
)
def datum_to_itself(tables: Snapshot) -> pl.DataFrame:
    """A datum has no distance to itself."""
    start = pl.col("from_datum_id")
    return (
        tables["tie"]
        .filter((start == pl.col("to_datum_id")) | (start == pl.col("target_datum_id")))
        .with_columns(
            field=pl.when(start == pl.col("to_datum_id"))
            .then(pl.lit("to_datum_id"))
            .otherwise(pl.lit("target_datum_id"))
        )
    )


@rule(
    "geometry.two_deviations",
    table="tie",
    field="uncertainty_m",
    severity="error",
    says="Measurement {tie_id} has two standard deviations: {sd_m} m in sd_m and {uncertainty_m} m "
    "in the older field uncertainty_m.",
    remedy="Keep the one in sd_m, which the survey takes, and blank the other.",
    source=COMMON_PRACTICE,
)
def two_deviations(tables: Snapshot) -> pl.DataFrame:
    """Only one of them can be the accuracy of the measurement."""
    ties = tables["tie"]
    if not {"sd_m", "uncertainty_m"} <= set(ties.columns):
        return ties.clear()
    return ties.filter(pl.col("sd_m") != pl.col("uncertainty_m"))


@rule(
    "geometry.bearing_without_reference",
    table="tie",
    field="bearing_reference",
    severity="error",
    says="Measurement {tie_id} has a bearing of {bearing_deg} degrees, but the north used is not "
    "recorded.",
    remedy="Enter magnetic for a plain compass, true if the compass was set for declination, grid "
    "for the site grid.",
    source=COMMON_PRACTICE,
)
def bearing_without_reference(tables: Snapshot) -> pl.DataFrame:
    """Magnetic and true north can differ by twenty degrees or so."""
    return tables["tie"].filter(
        pl.col("bearing_deg").is_not_null() & pl.col("bearing_reference").is_null()
    )


def _sites_with_bearings(tables: Snapshot, *references: str) -> pl.DataFrame:
    """Sites with bearings from those norths, and how many."""
    bearings = tables["tie"].filter(
        pl.col("bearing_reference").is_in(references) & pl.col("bearing_deg").is_not_null()
    )
    counts = (
        look_up(bearings, "from_datum_id", tables, "datum", {"site_id": "site_id"})
        .group_by("site_id")
        .agg(pl.len().alias("bearings"))
    )
    return tables["site"].join(counts, on="site_id", maintain_order="left")


@rule(
    "geometry.no_declination",
    table="site",
    field="declination_deg",
    severity="error",
    says="Site {site_id} has magnetic bearings ({bearings}), but no declination.",
    remedy="Look up the declination for the place and day of the survey and enter it here, or "
    "with its day in the table declination; east is positive.",
    source="World Magnetic Model (NOAA and BGS) defines declination east positive",
)
def no_declination(tables: Snapshot) -> pl.DataFrame:
    """Magnetic north moves; without that day's value the bearings cannot be used."""
    known = [*_declinations(tables)]
    return _sites_with_bearings(tables, "magnetic").filter(~pl.col("site_id").is_in(known))


def _declinations(tables: Snapshot) -> Mapping[str, Declinations]:
    def read(tables: Snapshot) -> Mapping[str, Declinations]:
        names = ("site_id", "declination_deg")
        sites = tables["site"].select(*names, "visit_start", "visit_end").iter_rows()
        if "declination" not in tables.model.tables:
            # of an older version
            return declinations_of_sites(sites, ())
        dated = tables["declination"].select(*names, "valid_on").iter_rows()
        return declinations_of_sites(sites, dated)

    return tables.once("declinations of sites", read)


def _on_days(tables: Snapshot) -> pl.DataFrame:
    """Magnetic bearings with `degrees` and `years` as `Declinations.on` has them."""
    bearings = tables["tie"].filter(
        (pl.col("bearing_reference") == "magnetic") & pl.col("bearing_deg").is_not_null()
    )
    known = _declinations(tables)
    frame = look_up(bearings, "from_datum_id", tables, "datum", {"site_id": "site_id"})
    frame = frame.filter(pl.col("site_id").is_in([*known]))
    days = frame.select("site_id", "measured_on").unique(maintain_order=True)
    told = [known[site_id].on(day or "") for site_id, day in days.iter_rows()]
    days = days.with_columns(
        pl.Series(name, [one[at] for one in told], dtype=pl.Float64)
        for at, name in enumerate(("degrees", "years"))
    )
    keys = ["site_id", "measured_on"]
    return frame.join(days, on=keys, how="left", nulls_equal=True, maintain_order="left")


@rule(
    "geometry.declination_far",
    table="tie",
    field="measured_on",
    severity="note",
    says="Magnetic bearing {tie_id} was taken {years:.0f} years from the nearest recorded "
    "declination of site {site_id}.",
    remedy=DECLINATION_REMEDY,
    source=COMMON_PRACTICE,
)
def declination_far(tables: Snapshot) -> pl.DataFrame:
    """Declination changes by up to about 0.2 degrees per year."""
    return _on_days(tables).filter(pl.col("years").is_not_nan() & (pl.col("years") > FAR_YEARS))


@rule(
    "geometry.bearing_without_day",
    table="tie",
    field="measured_on",
    severity="error",
    says="Magnetic bearing {tie_id} has no date, and site {site_id} has declinations for several "
    "days.",
    remedy="Enter the date it was taken; the survey cannot use it without one.",
    source=COMMON_PRACTICE,
)
def bearing_without_day(tables: Snapshot) -> pl.DataFrame:
    """Which declination applies is not known."""
    return _on_days(tables).filter(pl.col("degrees").is_nan())


@rule(
    "geometry.no_grid_north",
    table="site",
    field="grid_north_deg",
    severity="error",
    says="Site {site_id} has bearings from magnetic or true north ({bearings}), but the direction "
    "of its grid is not recorded.",
    remedy="Measure the bearing of the site grid's y axis once, and enter it.",
    source=COMMON_PRACTICE,
)
def no_grid_north(tables: Snapshot) -> pl.DataFrame:
    """Compass bearings cannot be drawn on a grid of unknown direction."""
    return _sites_with_bearings(tables, "magnetic", "true").filter(
        pl.col("grid_north_deg").is_null()
    )


@rule(
    "geometry.datum_not_placed",
    table="datum",
    field="x_m",
    severity="warning",
    says="Datum {datum_id} has no coordinates, and no measurement leads to it.",
    remedy="Measure it from other datums, or enter its coordinates on the site grid.",
    source=COMMON_PRACTICE,
)
def datum_not_placed(tables: Snapshot) -> pl.DataFrame:
    """Nothing measured from it can be placed."""
    ties = tables["tie"]
    # a tape between two datums places either from the other
    between = ties.filter(pl.col("target_datum_id").is_not_null())
    reached = pl.concat([between["target_datum_id"], between["from_datum_id"]]).drop_nulls()
    return tables["datum"].filter(
        (pl.col("x_m").is_null() | pl.col("y_m").is_null())
        & ~pl.col("datum_id").is_in(reached.unique().to_list())
    )


@rule(
    "geometry.datum_unused",
    table="datum",
    field="datum_id",
    severity="note",
    says="Nothing was measured from or to datum {datum_id}.",
    remedy="Leave it if it was set for a later visit; otherwise look for measurements that were "
    "not entered.",
    source=COMMON_PRACTICE,
)
def datum_unused(tables: Snapshot) -> pl.DataFrame:
    """A page of the field book may be missing."""
    ties = tables["tie"]
    used = pl.concat(
        [ties[name] for name in ("from_datum_id", "to_datum_id", "target_datum_id")]
    ).drop_nulls()
    return tables["datum"].filter(~pl.col("datum_id").is_in(used.unique().to_list()))


@rule(
    "geometry.nothing_held",
    table="site",
    field="site_id",
    severity="warning",
    says="No datum of site {site_id} is held fixed, so its grid has no fixed point.",
    remedy="Set 'held' to yes for the datums whose coordinates define the grid.",
    source=COMMON_PRACTICE,
)
def nothing_held(tables: Snapshot) -> pl.DataFrame:
    """Distances show how points lie relative to each other, not where they are."""
    datums = tables["datum"]
    surveyed = with_any(tables["site"], datums, "site_id")
    return without_any(surveyed, datums.filter("held"), "site_id")


@rule(
    "geometry.held_without_coordinates",
    table="datum",
    field="held",
    severity="error",
    says="Datum {datum_id} is marked as held, but has no x and y.",
    remedy="Enter its coordinates on the site grid, or set 'held' to no.",
    source=COMMON_PRACTICE,
)
def held_without_coordinates(tables: Snapshot) -> pl.DataFrame:
    """Only known coordinates can be held."""
    return tables["datum"].filter(
        pl.col("held") & (pl.col("x_m").is_null() | pl.col("y_m").is_null())
    )


@rule(
    "geometry.measured_across_sites",
    table="tie",
    field="from_datum_id",
    severity="error",
    says="Measurement {tie_id} goes from datum {from_datum_id} of site {site_id} to {target} of "
    "site {target_site_id}.",
    remedy="One of the two codes is wrong.",
    source=COMMON_PRACTICE,
)
def measured_across_sites(tables: Snapshot) -> pl.DataFrame:
    """Each site has its own grid."""
    frame = look_up(tables["tie"], "from_datum_id", tables, "datum", {"site_id": "site_id"})
    others = {"element_id": "element", "sample_id": "sample", "target_datum_id": "datum"}
    for key, table in others.items():
        frame = look_up(frame, key, tables, table, {f"_{key}_site": "site_id"})
    return frame.with_columns(
        target=pl.coalesce(TARGETS),
        target_site_id=pl.coalesce(f"_{key}_site" for key in others),
    ).filter(pl.col("site_id") != pl.col("target_site_id"))


@rule(
    "geometry.too_few_distances",
    table="tie",
    field="distance_m",
    severity="warning",
    says="{target} has only {distances} tape distance(s), which do not fix it.",
    remedy="Measure from a third datum that is not in line with the others, or add a bearing or "
    "offset.",
    source="plane geometry: two circles meet in two points",
)
def too_few_distances(tables: Snapshot) -> pl.DataFrame:
    """With two tapes, the point may lie on either side of the line between the datums."""
    end = pl.format("{} end {}", "element_id", "element_end")
    target = pl.coalesce(
        end, pl.format("the hole of {}", "sample_id"), pl.format("datum {}", "target_datum_id")
    )
    ties = tables["tie"].with_columns(target=target).drop_nulls("target")
    other_kinds = ties.filter(pl.col("kind").is_in(["offset", "bearing", "coordinate"]))
    placed = tables["datum"].filter(pl.col("x_m").is_not_null() & pl.col("y_m").is_not_null())
    known = placed.select(pl.format("datum {}", "datum_id").alias("target"))
    return (
        ties.filter(pl.col("kind") == "distance")
        .group_by("target")
        .agg(pl.col(ROW).min(), pl.len().alias("distances"))
        .filter(pl.col("distances") < DISTANCES_FOR_A_POINT)
        .join(other_kinds, on="target", how="anti")
        .join(known, on="target", how="anti")
        .sort(ROW)
    )


@rule(
    "geometry.half_an_end",
    table="element",
    field="xa_m",
    severity="error",
    says="End {end} of {element_id} has only one of its two grid coordinates.",
    remedy="Enter both x and y, or neither.",
    source=COMMON_PRACTICE,
)
def half_an_end(tables: Snapshot) -> pl.DataFrame:
    """An incomplete position cannot be used."""
    frames = []
    for end in ("a", "b"):
        x, y = pl.col(f"x{end}_m"), pl.col(f"y{end}_m")
        lacks = pl.when(x.is_null()).then(pl.lit(f"x{end}_m")).otherwise(pl.lit(f"y{end}_m"))
        frames.append(
            tables["element"]
            .filter(x.is_null() != y.is_null())
            .with_columns(field=lacks, end=pl.lit(end.upper()))
        )
    return pl.concat(frames)


@rule(
    "geometry.ends_and_length_disagree",
    table="element",
    field="length_m",
    severity="warning",
    says="{element_id} is {length_m} m long, but its ends lie {apart_m:.2f} m apart on the grid.",
    remedy="Check the length first, then the measurements of both ends.",
    source="plane geometry (Pythagoras); the allowance is common practice, no source",
)
def ends_and_length_disagree(tables: Snapshot) -> pl.DataFrame:
    """Either the tape was misread or the ends were mixed up."""
    plan = sum(((pl.col(f"{axis}a_m") - pl.col(f"{axis}b_m")).pow(2) for axis in "xy"), pl.lit(0.0))
    rise = (pl.col("za_m") - pl.col("zb_m")).pow(2)
    allowed = pl.max_horizontal(
        pl.lit(ENDS_ALLOWANCE_M),
        pl.col("length_m") * ENDS_ALLOWANCE_SHARE,
        pl.col("position_uncertainty_m").fill_null(0) * 2,
    )
    level_or_known = pl.col("apart_m") - pl.col("length_m")
    # without heights the ends may be closer in plan than the wood is long, but never farther
    wrong = pl.when(rise.is_null()).then(level_or_known).otherwise(level_or_known.abs())
    return (
        tables["element"]
        .with_columns(apart_m=(plan + rise.fill_null(0)).sqrt())
        .filter(wrong > allowed)
    )


@rule(
    "geometry.position_without_uncertainty",
    table="element",
    field="position_uncertainty_m",
    severity="note",
    says="The ends of {element_id} have coordinates, but not their uncertainty.",
    remedy="Enter the radius that holds the true point 95 times in 100; 'treenail survey compute' "
    "computes it from the measurements.",
    source="JCGM 100:2008 (GUM), 0.1: a result is reported with an indication of its quality",
)
def position_without_uncertainty(tables: Snapshot) -> pl.DataFrame:
    """Whoever returns needs to know how far to search."""
    return tables["element"].filter(
        (pl.col("xa_m").is_not_null() | pl.col("xb_m").is_not_null())
        & pl.col("position_uncertainty_m").is_null()
    )
