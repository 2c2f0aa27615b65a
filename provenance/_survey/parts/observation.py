"""Holds the equations that tie a reading to coordinates, and how well readings are taken to hold.

The site grid is right-handed: x, y level, z up. Bearings run clockwise from the y axis, so a point
at bearing b and distance d lies at (d sin b, d cos b). Right of a baseline's direction is positive.
Common surveying geometry; its derivatives are checked against finite differences in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class Kind:
    """Codes of the scalar readings; one tie can hold two or three of them."""

    DISTANCE, LEVEL_DISTANCE, ALONG, ACROSS, BEARING, X, Y, HEIGHT = range(8)


KINDS = (
    "distance", "level distance", "distance along the baseline", "offset", "bearing", "x", "y",
    "height",
)  # fmt: skip
"""Names of the codes, in their order."""


@dataclass(frozen=True)
class Predicted:
    """What n readings should be: `value` (n,), and derivatives (n, 3) by each point they touch."""

    value: Floats
    by_point: Floats
    by_start: Floats
    by_end: Floats


def predict(kind: Ints, point: Floats, start: Floats, end: Floats) -> Predicted:
    """The readings that coordinates imply, in metres and degrees.

    `kind` (n,) holds codes of Kind; `point`, `start`, `end` (n, 3) the measured point, the datum
    at the tape's zero and the far datum of a baseline, in m. What a kind does not need may be NaN.
    Coordinates and heights are those of the grid, or differences from `end` where that is given.
    """
    n = len(kind)
    value = np.full(n, np.nan)
    by_point, by_start, by_end = (np.zeros((n, 3)) for _ in range(3))

    for code, axes in ((Kind.DISTANCE, 3), (Kind.LEVEL_DISTANCE, 2)):
        rows = np.flatnonzero(kind == code)
        if rows.size:
            ray = (point[rows] - start[rows])[:, :axes]
            length = np.sqrt(np.einsum("ij,ij->i", ray, ray))
            value[rows] = length
            # a point on top of its datum has no direction; any will do to move away from there
            unit = ray / np.maximum(length, 1e-9)[:, None]
            by_point[rows, :axes] = unit
            by_start[rows, :axes] = -unit

    rows = np.flatnonzero((kind == Kind.ALONG) | (kind == Kind.ACROSS))
    if rows.size:
        base = (end[rows] - start[rows])[:, :2]
        length = np.maximum(np.hypot(base[:, 0], base[:, 1]), 1e-9)[:, None]
        forward = base / length
        right = np.column_stack([forward[:, 1], -forward[:, 0]])
        ray = (point[rows] - start[rows])[:, :2]
        along = np.einsum("ij,ij->i", ray, forward)[:, None]
        across = np.einsum("ij,ij->i", ray, right)[:, None]
        is_along = (kind[rows] == Kind.ALONG)[:, None]
        value[rows] = np.where(is_along, along, across)[:, 0]
        direction = np.where(is_along, forward, right)
        # turning the baseline moves the foot by the offset, and the offset by the distance along
        turning = np.where(is_along, across, -along) * right / length
        by_point[rows, :2] = direction
        by_end[rows, :2] = turning
        by_start[rows, :2] = -direction - turning

    rows = np.flatnonzero(kind == Kind.BEARING)
    if rows.size:
        ray = (point[rows] - start[rows])[:, :2]
        square = np.maximum(np.einsum("ij,ij->i", ray, ray), 1e-12)
        value[rows] = np.degrees(np.arctan2(ray[:, 0], ray[:, 1]))
        slope = np.degrees(np.column_stack([ray[:, 1], -ray[:, 0]]) / square[:, None])
        by_point[rows, :2] = slope
        by_start[rows, :2] = -slope

    for code, axis in ((Kind.X, 0), (Kind.Y, 1), (Kind.HEIGHT, 2)):
        rows = np.flatnonzero(kind == code)
        is_difference = np.isfinite(end[rows, axis])
        value[rows] = point[rows, axis] - np.where(is_difference, end[rows, axis], 0.0)
        by_point[rows, axis] = 1.0
        by_end[rows, axis] = np.where(is_difference, -1.0, 0.0)
    return Predicted(value, by_point, by_start, by_end)


def misclosure(kind: Ints, reading: Floats, predicted: Floats) -> Floats:
    """Reading minus what was predicted, with bearings taken the short way round (n,)."""
    difference = reading - predicted
    turn = kind == Kind.BEARING
    difference[turn] = (difference[turn] + 180.0) % 360.0 - 180.0
    return difference


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
