"""States how well readings are taken to hold, and the limits that tests are judged by."""

from __future__ import annotations

from dataclasses import dataclass

NORMAL_95 = 1.959963984540054
"""Two-sided 95 % of the normal distribution (any table)."""
ELLIPSE_95 = 2.447746830680816
"""Square root of 5.991, the 95 % point of chi-square with 2 degrees of freedom (any table)."""
ELLIPSOID_95 = 2.795483482915108
"""Square root of 7.815, the 95 % point of chi-square with 3 degrees of freedom (any table)."""
LARGEST_RESIDUAL = 3.290526731491926
"""Two-sided 99.9 % of the normal distribution: the usual limit of data snooping (Baarda 1968)."""
NOTICED_BLUNDER = 4.131
"""Shift of the normal distribution that is found with 80 % power at that limit (Baarda 1968)."""
RIVAL_CHI_SQUARE = 10.827566170662733
"""99.9 % point of chi-square with 1 degree of freedom: two places that fit closer are rivals."""


@dataclass(frozen=True)
class Precision:
    """One standard deviation of each kind of reading where the crew wrote none beside it.

    Common practice, no source: a steel or glass-fibre tape in a building, a hand compass, a
    folding rule for offsets, a levelled line for heights.
    """

    tape_sd_m: float = 0.005
    offset_sd_m: float = 0.02
    bearing_sd_deg: float = 1.0
    height_sd_m: float = 0.01
    coordinate_sd_m: float = 0.02
    datum_sd_m: float = 0.005
    recorded_height_sd_m: float = 0.03
    along_sd_m: float = 0.01
    clock_sd_h: float = 0.25
    radius_sd_m: float = 0.005
