"""Notes beside round wood with little taper, and how much stem was left above it."""

from __future__ import annotations

import polars as pl

from provenance._record.assumptions import assumptions_of
from provenance._record.package import Package

LEAST_PIECES = 20
"""Fewer round pieces of a species do not tell what is little taper for it."""
LOWEST_SHARE = 0.10


def note_tapers(package: Package, sizes: pl.DataFrame) -> pl.DataFrame:
    """The derived table `size` with `low_taper` and `stem_left_m`; as it was in an older package.

    Little taper alone does not tell that a tree gave several pieces: without a flare at the root it
    is no more frequent in such trees. The stem above a piece goes from its thinner end to the
    thinnest useful top, which the record assumes with a source (`least_top`), at the median taper
    of round wood of its species in the record.
    """
    if not {"section", "low_taper", "stem_left_m"} <= set(package.model.table("size").names):
        return sizes
    elements = package.tables["element"]
    based = elements.filter(pl.col("stem_base") == "yes")["element_id"]
    rounds = pl.col("section") == "round"
    taper = pl.when(rounds).then("taper")
    enough = taper.count().over("species") >= LEAST_PIECES
    # of equal tapers all rank last, so that poles without any are not all in the lowest tenth
    low = taper.rank("max").over("species") <= LOWEST_SHARE * taper.count().over("species")
    unbased = ~pl.col("element_id").is_in(based.implode())
    median = taper.median().over("species")
    assumed = assumptions_of(package.tables)
    tops = {
        (species, place): one.figure
        for species, place in sizes.select("species", "place_id")
        .unique()
        .drop_nulls("species")
        .iter_rows()
        if (one := assumed.find("least_top", species=species, place=place or ""))
    }
    least = pl.Series(
        [tops.get(key) for key in sizes.select("species", "place_id").iter_rows()], dtype=pl.Float64
    )
    left = ((pl.col("top_cm") - least) / median).clip(lower_bound=0)
    known = rounds & pl.col("species").is_not_null() & enough
    return sizes.with_columns(
        low_taper=pl.when(known & low & unbased).then(pl.lit("yes")),
        stem_left_m=pl.when(known & (median > 0) & pl.col("top_cm").is_not_null()).then(left),
    )
