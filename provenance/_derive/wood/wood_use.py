"""Counts wood by building, phase, species, use, shape, origin and decoration."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from provenance._record.joined import codes_in, outermost_places, places_around
from provenance._record.package import Package
from provenance._record.snapshot import Snapshot
from provenance._record.tables import laid_out

ALIKE = (
    *("site_id", "building_id", "phase_id"),
    *("species", "function", "shape", "origin", "decoration"),
)
"""What the pieces of one row of `wood_use` share."""
_WORKED = ("shape", "origin", "decoration")


def wood_in_phases(
    tables: Snapshot, sizes: pl.DataFrame, phases: pl.DataFrame, phase_pieces: pl.DataFrame
) -> pl.DataFrame:
    """Every piece of wood with its size, building, phase of the building, and how it was worked.

    `like` is how many pieces a row stands for.

    `sizes`, `phases` and `phase_pieces` are the derived tables size, phase and phase_piece. Phases
    of storeys, rooms and parts do not count: the same wood may be in one of those, too.
    """
    buildings = outermost_places(tables)
    of_buildings = phases.filter(pl.col("place_id").is_in(set(buildings.values())))
    phase_of = (
        phase_pieces.join(of_buildings, on="phase_id", how="semi")
        .unique("element_id", keep="first", maintain_order=True)
        .select("element_id", "phase_id")
    )
    elements = tables["element"]
    # an older package has no column for some of it
    worked = [
        pl.col(name) if name in elements.columns else pl.lit(None, pl.String).alias(name)
        for name in _WORKED
    ]
    decorated = codes_in("decoration").list.unique().list.sort().list.join(";")
    return (
        sizes.drop("site_id", *_WORKED, strict=False)
        .join(
            elements.select("element_id", "site_id", *worked, like_pieces(elements)).with_columns(
                decorated
            ),
            on="element_id",
            how="left",
            maintain_order="left",
        )
        .join(phase_of, on="element_id", how="left", maintain_order="left")
        .with_columns(
            building_id=pl.col("place_id").replace_strict(
                buildings, default=None, return_dtype=pl.String
            )
        )
    )


def like_pieces(elements: pl.DataFrame) -> pl.Expr:
    """How many pieces a row of `element` stands for; 1 where nothing is said or can be."""
    known = "like_count" in elements.columns  # an older package has no such column
    return (pl.col("like_count").fill_null(1) if known else pl.lit(1)).cast(pl.Int64).alias("like")


def derive_wood_use(package: Package, wood: pl.DataFrame, trees: Mapping[str, str]) -> pl.DataFrame:
    """The derived table `wood_use` of the pieces that `wood_in_phases` gives.

    `trees` maps a piece to its tree, by what was said of pieces of one tree; a piece that it lacks
    is a tree of its own.
    """
    counted = (
        wood.with_columns(tree=pl.col("element_id").replace(trees))
        .group_by(ALIKE, maintain_order=True)
        .agg(
            piece_count=pl.col("like").sum(),
            trees_most=pl.col("tree").n_unique() + (pl.col("like") - 1).sum(),
            length_count=_known_count("length_m"),
            total_length_m=_known_sum("length_m"),
            volume_count=_known_count("volume_m3"),
            total_volume_m3=_known_sum("volume_m3"),
            # one reading stands for all like pieces, so its error is that of each of them
            own=((pl.col("volume_sd_m3") * pl.col("like")) ** 2).sum(),
            shared=(pl.col("volume_bias_m3") * pl.col("like")).sum(),
        )
        .with_columns(
            total_volume_sd_m3=pl.when(pl.col("volume_count") > 0).then(
                (pl.col("own") + pl.col("shared") ** 2).sqrt()
            )
        )
        .sort(ALIKE)
        .rename({"building_id": "place_id"})
    )
    numbered = counted.with_columns(use_id=pl.int_range(1, pl.len() + 1).cast(pl.String))
    return laid_out(numbered, package.model.table("wood_use"))


def _known_sum(column: str) -> pl.Expr:
    """The sum of what is known; null where nothing is, which is not 0."""
    return pl.when(pl.col(column).count() > 0).then((pl.col(column) * pl.col("like")).sum())


def _known_count(column: str) -> pl.Expr:
    return pl.col("like").filter(pl.col(column).is_not_null()).sum()


def derive_architecture(package: Package, phases: pl.DataFrame) -> pl.DataFrame:
    """The derived table `architecture`: how places are built, beside the nearest phases.

    A place with several phases has a row for each; one of which nothing is said about how it is
    built has none.
    """
    tables = package.tables
    years: dict[str, list[dict[str, object]]] = {}
    for row in phases.sort("first_year", "phase_id").iter_rows(named=True):
        dated = {name: row[name] for name in ("phase_id", "first_year", "last_year")}
        years.setdefault(row["place_id"], []).append(dated)
    around = places_around(tables)
    said = ("construction", "bonding", "roof_type", "floor_type")
    rows = []
    for place in tables.rows("place"):
        if not any(place[name] for name in said):
            continue
        dated_places = [years[one] for one in around[place["place_id"]] if one in years]
        built = {name: place[name] or None for name in ("place_id", "site_id", *said)}
        rows += [{**built, **dated} for dated in (dated_places[0] if dated_places else [{}])]
    rows = [{**row, "architecture_id": str(number)} for number, row in enumerate(rows, start=1)]
    table = package.model.table("architecture")
    return laid_out(pl.DataFrame(rows, infer_schema_length=None), table)
