"""Hours of work on the recorded wood, by rates that a person brought with their sources.

A quantity has a low and a high value with a standard deviation each, and a range of 90 % goes from
1.645 standard deviations below the one to as many above the other, the quantile of the normal
distribution (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1). Uncertainty is carried on
to first order (JCGM 100:2008, 5.1.2): errors of a piece's own readings add up in squares, what all
pieces share adds up as it is, and a figure that was assumed is the same for all of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import polars as pl

from provenance._record.assumptions import Assumption, Assumptions, assumptions_of
from provenance._record.joined import codes_in
from provenance._record.package import Package
from provenance._record.snapshot import Snapshot
from provenance._record.tables import laid_out, polars_type

NINETY = 1.645
_ENDS = ("end_a_treatment", "end_b_treatment")
HAULED = ("m3_km", "t_km")
_BASE = {"m3_km": "m3_log", "t_km": "m3_log"}
"""Rate → the quantity of each piece that it is made from."""


@dataclass(frozen=True)
class Estimate:
    """A quantity between `low` and `high`, each with its variance.

    `likely` is the quantity where more than its limits is known.
    """

    low: float
    high: float
    low_variance: float = 0.0
    high_variance: float = 0.0
    likely: float | None = None

    def times(self, figure: float, spread: float | None) -> Estimate:
        """This, multiplied by an assumed figure with its standard deviation."""
        spread = spread or 0.0
        return Estimate(
            self.low * figure,
            self.high * figure,
            self.low_variance * figure**2 + (self.low * spread) ** 2,
            self.high_variance * figure**2 + (self.high * spread) ** 2,
            None if self.likely is None else self.likely * figure,
        )

    @property
    def limits(self) -> tuple[float, float]:
        """The 90 % range, which does not go below 0."""
        return (
            max(0.0, self.low - NINETY * math.sqrt(self.low_variance)),
            self.high + NINETY * math.sqrt(self.high_variance),
        )


def derive_labor(
    package: Package, wood: pl.DataFrame, faces: pl.DataFrame, tree_bounds: pl.DataFrame
) -> pl.DataFrame:
    """The derived table `labor` of the pieces that `wood_in_phases` gives.

    `faces` has element_id, worked_m2 (flat faces) and cut_m2 (both ends), each with `_sd_` and
    `_bias_`; `tree_bounds` is the derived table tree_bound. Without a rate there is no row, and
    neither is there one for hauling without a distance, nor for mass without a density. Wood that
    came from an older building was not hauled from the forest.
    """
    tables = package.tables
    assumed = assumptions_of(tables)
    kinds = package.model.vocabularies.get("assumption_kind")
    per = {one.code: one.attributes.get("per", "") for one in kinds.terms} if kinds else {}
    rates = {row.kind: per.get(row.kind, "") for row in assumed.rows if per.get(row.kind)}
    sites = {row["place_id"]: row["site_id"] for row in tables.rows("place")}
    rows = [
        *_by_trees(assumed, rates, tree_bounds, set(wood["building_id"].drop_nulls())),
        *_by_pieces(assumed, rates, wood, faces, tables),
    ]
    order = ("place_id", "phase_id", "function", "assumption_id", "distance_assumption_id")
    rows.sort(key=lambda row: [row.get(name) or "" for name in order])
    for number, row in enumerate(rows, start=1):
        row |= {"labor_id": str(number), "site_id": sites.get(row["place_id"])}
    table = package.model.table("labor")
    schema = {one.name: polars_type(one) for one in table.fields}
    return laid_out(pl.DataFrame(rows, schema), table)


def _row(
    scope: Mapping[str, Any], rate: Assumption, quantity: Estimate, **more: object
) -> dict[str, Any]:
    hours = quantity.times(rate.figure, rate.spread)
    low, high = quantity.limits
    hours_low, hours_high = hours.limits
    return {
        **scope,
        "assumption_id": rate.assumption_id,
        "quantity": quantity.likely,
        "quantity_low": low,
        "quantity_high": high,
        "hours": hours.likely,
        "hours_low": hours_low,
        "hours_high": hours_high,
        **more,
    }


# -- trees -----------------------------------------------------------------------------------------


def _by_trees(
    assumed: Assumptions, rates: Mapping[str, str], bounds: pl.DataFrame, buildings: set[str]
) -> Iterator[dict[str, Any]]:
    """Work per tree, for whole buildings and their phases.

    Where one rate holds for all species the count of all wood is taken, which is the better bound;
    else each species has its own row.
    """
    kinds = [kind for kind, what in rates.items() if what == "tree"]
    counts: dict[tuple[str, str | None], dict[str, dict[str, dict[str, Any]]]] = {}
    for row in bounds.iter_rows(named=True):
        if row["place_id"] in buildings:
            scope = counts.setdefault((row["place_id"], row["phase_id"]), {})
            scope.setdefault(row["species"] or "", {})[row["bound"]] = row
    for (place, phase), of_species in counts.items():
        named = [one for one in of_species if one]
        for species, count in of_species.items():
            for rate in assumed.rates(*kinds, species=species, place=place):
                same = [rate in assumed.rates(*kinds, species=one, place=place) for one in named]
                # all wood together where no species has a rate of its own, else each by itself
                if all(same) != (species == "") or not {"lower", "upper"} <= set(count):
                    continue
                likely = count.get("likely")
                quantity = Estimate(
                    count["lower"]["trees"],
                    count["upper"]["trees"],
                    likely=likely["trees"] if likely else None,
                )
                pieces = count["upper"]["piece_count"]
                scope_of = {"place_id": place, "phase_id": phase}
                yield _row(scope_of, rate, quantity, piece_count=pieces, counted_count=pieces)


# -- pieces ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Key:
    """The figures that work on some pieces is counted by."""

    rate: Assumption
    per: str
    distance: Assumption | None = None
    density: Assumption | None = None


def _by_pieces(
    assumed: Assumptions,
    rates: Mapping[str, str],
    wood: pl.DataFrame,
    faces: pl.DataFrame,
    tables: Snapshot,
) -> Iterator[dict[str, Any]]:
    """Work per piece, meter, volume, cut, hewn face and haul."""
    kinds = [kind for kind, what in rates.items() if what != "tree"]
    wood = wood.drop_nulls("building_id").with_columns(pl.col("function").fill_null("unknown"))
    keys: list[_Key] = []
    held: list[tuple[str | None, str | None, int]] = []
    for species, place in wood.select("species", "place_id").unique().sort(pl.all()).iter_rows():
        for key in _keys(assumed, kinds, rates, species or "", place or ""):
            if key not in keys:
                keys.append(key)
            held.append((species, place, keys.index(key)))
    if not held:
        return
    which = pl.DataFrame(
        held, {"species": pl.String, "place_id": pl.String, "key": pl.Int64}, orient="row"
    )
    of_key = quantities_of_pieces(wood, faces, tables).join(
        which, on=["species", "place_id"], nulls_equal=True, maintain_order="left"
    )
    like = pl.col("like")
    for number, key in enumerate(keys):
        some = of_key.filter(key=number)
        if key.distance:
            some = some.filter(pl.col("origin").ne_missing("salvaged"))
        base = _BASE.get(key.per, key.per)
        summed = [
            like.sum().alias("piece_count"),
            like.filter(pl.col(f"{base}_low").is_not_null()).sum().alias("counted_count"),
            *((pl.col(f"{base}_{end}") * like).sum() for end in ("low", "high")),
            # one reading stands for all like pieces, so its error is that of each of them
            *(((pl.col(f"{base}_{end}_sd") * like) ** 2).sum() for end in ("low", "high")),
            *((pl.col(f"{base}_{end}_bias") * like).sum() for end in ("low", "high")),
        ]
        for level in ((), ("function",), ("phase_id",), ("phase_id", "function")):
            by = ["building_id", *level]
            groups = some.drop_nulls("phase_id") if "phase_id" in level else some
            for row in (
                groups.group_by(by, maintain_order=True).agg(summed).sort(by).iter_rows(named=True)
            ):
                if row["counted_count"]:
                    yield _of_pieces(row, base, key)


def _keys(
    assumed: Assumptions, kinds: Iterable[str], rates: Mapping[str, str], species: str, place: str
) -> Iterator[_Key]:
    distance = assumed.find("haul_distance", species=species, place=place)
    density = assumed.find("density", species=species, place=place)
    for rate in assumed.rates(*kinds, species=species, place=place):
        key = _Key(rate, rates[rate.kind])
        if key.per in HAULED:
            key = replace(key, distance=distance)
        if key.per == "t_km":
            key = replace(key, density=density)
        if (distance or key.per not in HAULED) and (density or key.per != "t_km"):
            yield key


def _of_pieces(row: Mapping[str, Any], base: str, key: _Key) -> dict[str, Any]:
    low, high = row[f"{base}_low"], row[f"{base}_high"]
    low_variance, high_variance = (
        row[f"{base}_{end}_sd"] + row[f"{base}_{end}_bias"] ** 2 for end in ("low", "high")
    )
    likely = low if math.isclose(low, high) else None
    quantity = Estimate(low, high, low_variance, high_variance, likely)
    if key.density:
        # kilograms to tonnes
        spread = key.density.spread
        per_kg = None if spread is None else spread / 1000
        quantity = quantity.times(key.density.figure / 1000, per_kg)
    if key.distance:
        quantity = quantity.times(key.distance.figure, key.distance.spread)
    scope = {
        "place_id": row["building_id"],
        "phase_id": row.get("phase_id"),
        "function": row.get("function"),
    }
    return _row(
        scope,
        key.rate,
        quantity,
        distance_assumption_id=key.distance.assumption_id if key.distance else None,
        density_assumption_id=key.density.assumption_id if key.density else None,
        piece_count=row["piece_count"],
        counted_count=row["counted_count"],
    )


def quantities_of_pieces(wood: pl.DataFrame, faces: pl.DataFrame, tables: Snapshot) -> pl.DataFrame:
    """The wood with what rates count, each as NAME_low, NAME_high, with `_sd` and `_bias` of each.

    Names: piece, m, m3 (in place), m3_log (in place to log), cut_m2 (ends that certainly were cut,
    in place, to all that may have been, of the log), hewn_m2 (faces that certainly were hewn to
    those that may have been). Null where what it needs was not measured. `_sd` is of the piece's
    own, `_bias` of what all pieces share.
    """
    elements = tables["element"].select("element_id", "tool_marks", *_ENDS)
    frame = (
        wood.drop("tool_marks", *_ENDS, strict=False)
        .join(elements, on="element_id", how="left", maintain_order="left")
        .join(faces, on="element_id", how="left", maintain_order="left")
    )
    of_log = pl.col("log_m3") / pl.col("volume_m3")
    known: dict[str, tuple[str, pl.Expr]] = {
        "m3_low": ("volume{}_m3", pl.lit(1.0)),
        "m3_high": ("volume{}_m3", pl.lit(1.0)),
        "m3_log_low": ("volume{}_m3", pl.lit(1.0)),
        "m3_log_high": ("log{}_m3", pl.lit(1.0)),
        "cut_m2_low": ("cut{}_m2", _cut(tables, ["yes"])),
        "cut_m2_high": ("cut{}_m2", _cut(tables, ["yes", "perhaps"]) * of_log),
        "hewn_m2_low": ("worked{}_m2", _hewn(tables, ["yes"])),
        "hewn_m2_high": ("worked{}_m2", _hewn(tables, ["yes", "perhaps"])),
    }
    measured = [
        (pl.col(measure.format(kind)) * share).alias(f"{name}{kind}")
        for name, (measure, share) in known.items()
        for kind in ("", "_sd", "_bias")
    ]
    exact = [
        value.alias(f"{name}_{end}{kind}")
        for name, amount in (("piece", pl.lit(1.0)), ("m", pl.col("length_m")))
        for end in ("low", "high")
        for kind, value in (("", amount), ("_sd", pl.lit(0.0)), ("_bias", pl.lit(0.0)))
    ]
    return frame.with_columns(*measured, *exact)


def _cut(tables: Snapshot, words: list[str]) -> pl.Expr:
    """The share of the area of both ends that was cut, where the treatment says one of `words`.

    Areas go with the square of the diameter. What nobody noted was perhaps cut.
    """
    treatments = tables.model.vocabularies["end_treatment"].terms
    said = {one.code: one.attributes.get("cut", "perhaps") for one in treatments}
    squares = {end: pl.col(f"diameter_{end}_cm") ** 2 for end in "ab"}
    parts = [
        pl.when(
            pl.col(f"end_{end}_treatment")
            .replace_strict(said, default="perhaps", return_dtype=pl.String)
            .is_in(words)
        )
        .then(square)
        .otherwise(0.0)
        for end, square in squares.items()
    ]
    return (parts[0] + parts[1]) / (squares["a"] + squares["b"])


def _hewn(tables: Snapshot, words: list[str]) -> pl.Expr:
    """1 where the shape says one of `words` of hewn faces, else 0; null where it says nothing.

    Where the shape leaves it open, marks of axes and adzes alone say yes, others alone say no.
    """
    lists = tables.model.vocabularies
    said = {one.code: one.attributes.get("hewn") for one in lists["element_shape"].terms}
    word = pl.col("shape").replace_strict(said, default=None, return_dtype=pl.String)
    faces = {one.code: one.attributes.get("faces") for one in lists["tool_mark"].terms}
    marks = codes_in("tool_marks").list
    hewn, other = (
        marks.set_intersection([code for code, made in faces.items() if made in kinds]).list.len()
        for kinds in (("hewn",), ("sawn", "split"))
    )
    told = (
        pl.when((word == "perhaps") & (hewn > 0) & (other == 0))
        .then(pl.lit("yes"))
        .when((word == "perhaps") & (hewn == 0) & (other > 0))
        .then(pl.lit("no"))
        .otherwise(word)
    )
    return told.is_in(words).cast(pl.Float64)


# -- totals ----------------------------------------------------------------------------------------


def total_hours(labor: pl.DataFrame, assumed: Assumptions) -> pl.DataFrame:
    """Hours of each building and phase, all uses together; rates of one work are not added.

    Columns: place_id, phase_id, work_count, hours_low, hours_high. Rows of one rate kind, for
    species of which each has its own figure, are added; of several kinds of rates of one work the
    lowest and the highest count. Adding ends makes the range wider than 90 %.
    """
    said = {row.assumption_id: (row.activity, row.kind) for row in assumed.rows}
    frame = labor.filter(pl.col("function").is_null()).with_columns(
        work=pl.col("assumption_id").replace_strict(
            {key: work for key, (work, _) in said.items()}, default="", return_dtype=pl.String
        ),
        kind=pl.col("assumption_id").replace_strict(
            {key: kind for key, (_, kind) in said.items()}, default="", return_dtype=pl.String
        ),
    )
    scope = ["place_id", "phase_id"]
    return (
        frame.group_by(*scope, "work", "kind")
        .agg(pl.col("hours_low").sum(), pl.col("hours_high").sum())
        .group_by(*scope, "work")
        .agg(pl.col("hours_low").min(), pl.col("hours_high").max())
        .group_by(scope)
        .agg(pl.len().alias("work_count"), pl.col("hours_low").sum(), pl.col("hours_high").sum())
        .sort(scope)
    )
