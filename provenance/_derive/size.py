"""Sizes of pieces of wood: end diameters, taper, and volume by the three classic formulas.

Sources of the formulas: Huber (mid area times length), Smalian (mean of the end areas times length)
and Newton (the prismoidal rule, ends once and middle four times), as every handbook of forest
mensuration has them. The middle is not measured in buildings: it is taken halfway between the
ends, which makes Newton's rule exact for the frustum of a cone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from provenance._derive.dating import live_results

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

    from provenance._record.package import Package

    Numbers = float | np.ndarray | pd.Series

__all__ = ["derive_sizes", "end_diameter_cm", "huber_m3", "newton_m3", "smalian_m3"]

SIZE_COLUMNS = (
    "element_id",
    "place_id",
    "function",
    "species",
    "length_m",
    "diameter_a_cm",
    "diameter_b_cm",
    "butt_cm",
    "top_cm",
    "taper",
    "huber_m3",
    "smalian_m3",
    "newton_m3",
)


def area_m2(diameter_cm: Numbers) -> Numbers:
    """Area of a circle by its diameter."""
    import math

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


def end_diameter_cm(first: pd.Series, second: pd.Series) -> pd.Series:
    """Diameter of an end from two caliper readings: of the circle with the ellipse's area.

    With one reading alone it is that reading; with none it is missing.
    """
    both = (first * second) ** 0.5
    return both.fillna(first).fillna(second).astype("Float64")


def derive_sizes(package: Package) -> pd.DataFrame:
    """One row a piece of wood with the columns SIZE_COLUMNS; missing where not measured.

    `butt_cm` is the thicker end, `top_cm` the thinner; volumes are solid, bark and waste included,
    and squared wood is taken as round: an upper bound (common practice, no source).
    """
    frame = package.typed("element")
    a = end_diameter_cm(frame["diameter_a1_cm"], frame["diameter_a2_cm"])
    b = end_diameter_cm(frame["diameter_b1_cm"], frame["diameter_b2_cm"])
    length = frame["length_m"]
    middle = (a + b) / 2
    sizes = frame[["element_id", "place_id", "function"]].copy()
    sizes["species"] = _best_species(package, frame)
    sizes["length_m"] = length
    sizes["diameter_a_cm"] = a
    sizes["diameter_b_cm"] = b
    # one measured end alone says nothing of butt and top
    sizes["butt_cm"] = a.where(a >= b, b).where(a.notna() & b.notna())
    sizes["top_cm"] = b.where(a >= b, a).where(a.notna() & b.notna())
    sizes["taper"] = (sizes["butt_cm"] - sizes["top_cm"]) / length
    sizes["huber_m3"] = huber_m3(middle, length)
    sizes["smalian_m3"] = smalian_m3(a, b, length)
    sizes["newton_m3"] = newton_m3(a, middle, b, length)
    return sizes[list(SIZE_COLUMNS)].reset_index(drop=True)


def _best_species(package: Package, elements: pd.DataFrame) -> pd.Series:
    """The laboratory's species of an element where there is one, else the field's."""
    live = live_results(package)
    live = live[live["species"].notna()]
    samples = package.table("sample")[["sample_id", "element_id"]]
    found = live.merge(samples, on="sample_id").drop_duplicates("element_id")
    named = found.set_index("element_id")["species"]
    of_laboratory = elements["element_id"].map(named).astype("str")
    return of_laboratory.where(of_laboratory.notna(), elements["species_field"])
