"""Rules about wood that cannot have been one tree although someone says so."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.links import codes_with
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._record.assumptions import assumptions_of
from provenance._record.same_trees import joined_pieces, same_trees
from provenance._record.snapshot import Snapshot

END_ERROR_CM = 1.0
"""By how much each end is drawn in where the record assumes nothing, as where trees are counted."""


@rule(
    "element.one_tree_overlaps",
    table="element",
    field="same_tree_element_id",
    severity="warning",
    says="{element_id} and {other_id} are recorded as one tree, but both pass {diameter_cm:.1f} "
    "cm of stem, which a stem has only once.",
    remedy="Check both sizes, and the evidence that they are one tree, here or in "
    "lab_result.same_tree_sample_id. A forked tree can have two such stems.",
    source=COMMON_PRACTICE,
)
def one_tree_overlaps(tables: Snapshot) -> pl.DataFrame:
    """Timbers from different heights of one stem share no diameter."""
    wood = _of_shared_trees(tables, "round")
    errors = pl.Series(_assumed(tables, wood, "end_error"), dtype=pl.Float64)
    wood = wood.with_columns(error_cm=errors.fill_null(END_ERROR_CM))
    readings = ((f"diameter_{end}1_cm", f"diameter_{end}2_cm") for end in "ab")
    # of an oval end the diameter of the circle with its area
    a, b = (
        pl.coalesce((pl.col(one) * pl.col(other)).sqrt(), one, other) for one, other in readings
    )
    passing = (
        wood.filter(a.is_not_null() & b.is_not_null())
        .select(
            "row",
            "tree",
            "element_id",
            diameter_cm=pl.min_horizontal(a, b) + pl.col("error_cm"),
            high=pl.max_horizontal(a, b) - pl.col("error_cm"),
        )
        .filter(pl.col("diameter_cm") < pl.col("high"))
        .sort("tree", "diameter_cm", "row")
    )
    # of the pieces that begin further up the stem, the one that reaches furthest down
    reach = pl.col("high").cum_max()
    furthest = pl.when(pl.col("high") == reach).then("element_id").forward_fill()
    return (
        passing.with_columns(
            reach=reach.shift(1).over("tree"), other_id=furthest.shift(1).over("tree")
        )
        .filter(pl.col("diameter_cm") < pl.col("reach"))
        .select("row", "element_id", "diameter_cm", "other_id")
        .sort("row")
    )


@rule(
    "element.one_tree_too_long",
    table="element",
    field="same_tree_element_id",
    severity="warning",
    says="{element_id} and the wood that is recorded as the same tree are {together_m:.1f} m long "
    "together, but the longest stem by the record's assumption is {longest_m} m.",
    remedy="Check the lengths, the evidence that the timbers are one tree, and the source of the "
    "assumption. A forked tree can yield more.",
    source=COMMON_PRACTICE,
)
def one_tree_too_long(tables: Snapshot) -> pl.DataFrame:
    """Whole-stem timbers of one tree lay one above the other in it."""
    wood = _of_shared_trees(tables, "round", "two_sided")
    longest = pl.Series(_assumed(tables, wood, "longest_stem"), dtype=pl.Float64)
    return (
        wood.with_columns(
            together_m=pl.col("length_m").sum().over("tree"), longest_m=longest.alias("longest_m")
        )
        .filter(pl.col("together_m") > pl.col("longest_m"))
        .unique("tree", keep="first", maintain_order=True)
        .select("row", "element_id", "together_m", "longest_m")
    )


def _of_shared_trees(tables: Snapshot, *sections: str) -> pl.DataFrame:
    """The wood with one of the sections that is recorded as one tree with other wood."""
    shapes = codes_with(tables, "element_shape", "section", *sections)
    joined = list(joined_pieces(tables))
    wood = (
        tables["element"]
        .filter(pl.col("shape").is_in(shapes) & pl.col("element_id").is_in(joined))
        .unique("element_id", keep="first", maintain_order=True)
    )
    trees = same_trees(tables) if joined else {}
    tree = pl.Series([trees[code] for code in wood["element_id"]], dtype=pl.String)
    return wood.with_columns(tree=tree).filter(pl.col("tree").is_duplicated())


def _assumed(tables: Snapshot, wood: pl.DataFrame, kind: str) -> list[float | None]:
    """The figure of a kind of assumption for each piece, by the species that the field recorded."""
    assumed = assumptions_of(tables)
    keys = wood.select(pl.col("species_field", "place_id").fill_null("")).iter_rows()
    found = (assumed.find(kind, species=species, place=place) for species, place in keys)
    return [one.figure if one else None for one in found]
