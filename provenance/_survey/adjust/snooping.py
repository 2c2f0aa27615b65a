"""Finds readings that do not fit the others, one at a time.

Source: W. Baarda, A Testing Procedure for Use in Geodetic Networks, Netherlands Geodetic
Commission, Publications on Geodesy 2(5), 1968 (data snooping). Which reading is named is decided
by how much better the rest fits without it: leaving out reading i lowers chi-square by w_i squared.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from provenance._survey.parts.observation import (
    LARGEST_RESIDUAL,
    RIVAL_CHI_SQUARE,
    Floats,
    Ints,
    Kind,
)

FOOT_M, INCH_M = 0.3048, 0.0254
"""International foot and inch, exact (NIST Special Publication 811)."""

_USUAL_SLIPS = (
    (FOOT_M, "1 ft"),
    (10 * FOOT_M, "10 ft"),
    (INCH_M, "1 in"),
    (1.0, "1 m"),
    (0.1, "10 cm"),
    (10.0, "10 m"),
)
# common practice, no source: the units a tape is misread by


@dataclass(frozen=True)
class Misfit:
    """Readings of one point of which one is wrong: a single one where it can be told.

    `rows` are numbers of readings, `size` what each would be wrong by (reading minus truth, in its
    unit), `w` their standardised residuals, `sd` the standard deviation of each size. `left_out`
    says whether the point was computed again without it.
    """

    point: int
    rows: tuple[int, ...]
    size: tuple[float, ...]
    w: tuple[float, ...]
    sd: tuple[float, ...]
    left_out: bool

    @classmethod
    def of(
        cls, point: int, rows: Ints, size: Floats, w: Floats, sd: Floats, left_out: bool
    ) -> Misfit:
        """The misfit of some readings; `size`, `w` and `sd` are those of all readings."""
        size_, w_, sd_ = (tuple(map(float, values[rows])) for values in (size, w, sd))
        return cls(point, tuple(map(int, rows)), size_, w_, sd_, left_out)


def doubted_readings(w: Floats, rows: Ints) -> Ints:
    """Of a point's readings those that may be the wrong one, the worst first; none if all fit."""
    size = np.nan_to_num(np.abs(w[rows]), nan=0.0)
    largest = size.max(initial=0.0)
    if largest <= LARGEST_RESIDUAL:
        return rows[:0]
    doubted = np.flatnonzero(largest**2 - size**2 < RIVAL_CHI_SQUARE)
    return rows[doubted[np.argsort(-size[doubted], kind="stable")]]


def blunder_hint(kind: int, reading: float, size: float, sd: float) -> str:
    """A usual slip that would explain a blunder, as a clause, or ''.

    `reading`, `size` (reading minus truth) and `sd` (of the size) are in m, for bearings in deg.

    >>> blunder_hint(0, 5.21, -0.306, 0.006)
    'that is 1 ft'
    >>> blunder_hint(0, 12.57, -0.182, 0.006)
    'the tape may have shown 12.75 m'
    """
    near = 2.5 * max(sd, 1e-4)
    if kind == Kind.BEARING:
        if abs(abs(size) - 180.0) < near:
            return "the bearing may have been read at the wrong end of the needle"
        return ""
    if kind not in (Kind.DISTANCE, Kind.LEVEL_DISTANCE, Kind.ALONG, Kind.ACROSS):
        return ""
    for slip, name in _USUAL_SLIPS:
        # a slip as small as the readings scatter explains nothing
        if slip > 3 * sd and abs(abs(size) - slip) < near:
            return f"that is {name}"
    digits = f"{reading:.2f}"
    for at in range(len(digits) - 1):
        one, two = digits[at], digits[at + 1]
        swapped = digits[:at] + two + one + digits[at + 2 :]
        if one == two or not (one + two).isdigit():
            continue
        if abs(float(swapped) - (reading - size)) < near:
            return f"the tape may have shown {swapped} m"
    if kind == Kind.ACROSS and abs(size - 2 * reading) < near:
        return "the offset may be on the other side of the baseline"
    return ""
