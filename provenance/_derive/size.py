"""Sizes of pieces of wood: end diameters, taper, and volume by the three classic formulas.

Sources of the formulas: Huber (mid area times length), Smalian (mean of the end areas times length)
and Newton (the prismoidal rule, ends once and middle four times), as every handbook of forest
mensuration has them. The middle is not measured in buildings: it is taken halfway between the
ends, which makes Newton's rule exact for the frustum of a cone.
"""

from __future__ import annotations

import math
from typing import TypeVar

import polars as pl

from provenance._record.joined import standing_results
from provenance._record.package import Package
from provenance._record.snapshot import Snapshot
from provenance._record.tables import laid_out

Numbers = TypeVar("Numbers", float, pl.Expr)


def area_m2(diameter_cm: Numbers) -> Numbers:
    """Area of a circle by its diameter."""
    return math.pi / 4 * (diameter_cm / 100) ** 2


def huber_m3(mid_cm: Numbers, length_m: Numbers) -> Numbers:
    """Volume by Huber's formula: area in the middle times length."""
    return area_m2(mid_cm) * length_m


def smalian_m3(a_cm: Numbers, b_cm: Numbers, length_m: Numbers) -> Numbers:
    """Volume by Smalian's formula: mean of the end areas times length."""
    return (area_m2(a_cm) + area_m2(b_cm)) / 2 * length_m


def newton_m3(a_cm: Numbers, mid_cm: Numbers, b_cm: Numbers, length_m: Numbers) -> Numbers:
    """Volume by Newton's formula: ends once, middle four times, a sixth of it, times length."""
    areas = area_m2(a_cm) + 4 * area_m2(mid_cm) + area_m2(b_cm)
    return areas / 6 * length_m


def end_diameter_cm(first: str, second: str) -> pl.Expr:
    """Diameter of an end from two columns of caliper readings: of the circle with the ellipse's
    area; with one reading alone it is that reading, with none it is missing.
    """
    both = (pl.col(first) * pl.col(second)).sqrt()
    return pl.coalesce(both, first, second)


def derive_sizes(package: Package) -> pl.DataFrame:
    """One row a piece of wood with the columns of the derived table `size`.

    What was not measured is missing. `butt_cm` is the thicker end, `top_cm` the thinner; volumes
    are solid, bark and waste included, and squared wood is taken as round: an upper bound (common
    practice, no source).
    """
    tables = package.tables
    a, b, length = pl.col("diameter_a_cm"), pl.col("diameter_b_cm"), pl.col("length_m")
    # one measured end alone says nothing of butt and top
    both = a.is_not_null() & b.is_not_null()
    sized = (
        tables["element"]
        .join(_species_of_laboratory(tables), on="element_id", how="left", maintain_order="left")
        .with_columns(
            species=pl.coalesce("species", "species_field"),
            diameter_a_cm=end_diameter_cm("diameter_a1_cm", "diameter_a2_cm"),
            diameter_b_cm=end_diameter_cm("diameter_b1_cm", "diameter_b2_cm"),
        )
        .with_columns(
            butt_cm=pl.when(both).then(pl.max_horizontal(a, b)),
            top_cm=pl.when(both).then(pl.min_horizontal(a, b)),
            huber_m3=huber_m3((a + b) / 2, length),
            smalian_m3=smalian_m3(a, b, length),
            newton_m3=newton_m3(a, (a + b) / 2, b, length),
        )
        .with_columns(taper=(pl.col("butt_cm") - pl.col("top_cm")) / length)
    )
    return laid_out(sized, package.model.table("size"))


def _species_of_laboratory(tables: Snapshot) -> pl.DataFrame:
    """element_id and species, of the first result that stands and names one."""
    samples = tables["sample"].select("sample_id", "element_id")
    named = standing_results(tables).drop_nulls("species").select("sample_id", "species")
    return (
        named.join(samples, on="sample_id", maintain_order="left")
        .drop_nulls("element_id")
        .unique("element_id", keep="first")
        .select("element_id", "species")
    )
