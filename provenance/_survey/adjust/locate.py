"""Chooses where each point is among the places that its readings allow, and solves it there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np

from provenance._survey.adjust.approximate import direct_places, mirror_places
from provenance._survey.parts.datum_covariance import DatumCovariance
from provenance._survey.parts.observation import RIVAL_CHI_SQUARE, Floats, Kind, misclosure, predict
from provenance._survey.parts.solve import (
    BY_READING,
    SOLVED,
    TOO_FEW,
    Bools,
    Rows,
    Solution,
    solve_points,
)

Prefer = Callable[[int, Floats, Floats], int | None]
"""Told a point and two places (3,) where it may be, answers 0 or 1, or None when it cannot tell."""

_SAME_PLACE_M = 0.02
_HOPELESS = 30.0
"""Residuals this many times those at the other place cannot be made up by adjusting."""
_BLURRED_HEIGHT_M = 0.15
"""A height from tapes alone that is known no better than this is given up, tapes taken as level."""


@dataclass(frozen=True)
class Located:
    """Where n points are.

    `rows` are the readings as used (tapes that had to be taken as level are LEVEL_DISTANCE),
    `rival` (n, 3) is the other place of a point that may as well be there (NaN for most), `level`
    (n,) tells whose tapes were taken as level, `sharpness` (n,) how squarely the best tapes cross
    (NaN with fewer than two, 0 when they do not meet).
    """

    rows: Rows
    solution: Solution
    rival: Floats
    level: Bools
    sharpness: Floats


def locate_points(
    rows: Rows, datums: Floats, errors: DatumCovariance, hints: Floats, prefer: Prefer | None = None
) -> Located:
    """Solve points from every place they may be at and keep the one that fits.

    `rows` are sorted by point; readings from a datum without coordinates must not be among them.
    `hints` (n, 3) are coordinates known from elsewhere, used to begin where the readings give no
    place in closed form (NaN where there are none).
    """
    n = len(hints)
    has_height = np.zeros(n, dtype=bool)
    has_height[rows.point[rows.kind == Kind.HEIGHT]] = True
    flat = np.isnan(np.append(datums[:, 2], np.nan)[rows.start])
    spatial = (rows.kind == Kind.DISTANCE) & ~flat
    in_space = ~has_height & (np.bincount(rows.point[spatial], minlength=n) >= 3)
    located = _locate(rows, datums, errors, hints, has_height, in_space, prefer)

    lost = in_space & (located.solution.status != SOLVED)
    blurred = in_space & (located.solution.covariance[:, 2, 2] > _BLURRED_HEIGHT_M**2)
    if not (lost | blurred).any():
        return located
    in_space &= ~(lost | blurred)
    return _locate(rows, datums, errors, hints, has_height, in_space, prefer)


def _locate(
    rows: Rows,
    datums: Floats,
    errors: DatumCovariance,
    hints: Floats,
    has_height: Bools,
    in_space: Bools,
    prefer: Prefer | None,
) -> Located:
    n = len(hints)
    with_height = has_height | in_space
    flat = np.isnan(np.append(datums[:, 2], np.nan)[rows.start])
    taken_level = (rows.kind == Kind.DISTANCE) & (flat | ~with_height[rows.point])
    rows = replace(rows, kind=np.where(taken_level, Kind.LEVEL_DISTANCE, rows.kind))
    level = np.zeros(n, dtype=bool)
    level[rows.point[rows.kind == Kind.LEVEL_DISTANCE]] = True

    heights = _mean_heights(rows, n)
    one, two, sharpness = mirror_places(rows, datums, heights, in_space)
    direct = np.column_stack([direct_places(rows, datums, n), heights])
    direct[in_space, 2] = one[in_space, 2]
    unknown = np.isnan(one[:, 0]) & np.isnan(direct[:, 0])
    direct[unknown] = hints[unknown]
    direct[unknown & has_height, 2] = heights[unknown & has_height]

    _drop_hopeless(rows, datums, one, two)
    begins = [direct, one, two]
    best: Solution | None = None
    rival = np.full((n, 3), np.nan)
    for begin in begins:
        ready = np.isfinite(begin[:, 0])
        if not ready.any() and best is not None:
            continue
        found = solve_points(rows, datums, errors, begin, with_height)
        if best is None:
            best = found
            continue
        best = _better(best, found, rival, prefer, rows)
    assert best is not None
    return Located(rows, best, rival, level, sharpness)


def _drop_hopeless(rows: Rows, datums: Floats, one: Floats, two: Floats) -> None:
    """Blank the mirrored place of points whose other readings rule it out at first sight."""
    nowhere = np.vstack([datums, np.full((1, 3), np.nan)])
    worst = []
    for place in (one, two):
        there = predict(rows.kind, place[rows.point], nowhere[rows.start], nowhere[rows.end])
        off = np.abs(misclosure(rows.kind, rows.reading, there.value)) / rows.sd
        largest = np.zeros(len(place))
        np.maximum.at(largest, rows.point, np.nan_to_num(off))
        worst.append(largest)
    for mine, other, place in ((worst[0], worst[1], one), (worst[1], worst[0], two)):
        place[mine > _HOPELESS * np.maximum(other, 3.0)] = np.nan


def _mean_heights(rows: Rows, n: int) -> Floats:
    at = rows.kind == Kind.HEIGHT
    count = np.bincount(rows.point[at], minlength=n)
    total = np.bincount(rows.point[at], weights=rows.reading[at], minlength=n)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _better(
    best: Solution, other: Solution, rival: Floats, prefer: Prefer | None, rows: Rows
) -> Solution:
    """The better of two solutions point by point; `rival` is filled where neither can be told."""
    both = (best.status == SOLVED) & (other.status == SOLVED)
    only_other = (other.status == SOLVED) & (best.status != SOLVED)
    # of two failures the one that says more beats too few readings to begin from
    only_other |= (best.status == TOO_FEW) & (other.status != TOO_FEW)
    apart = np.zeros(len(both))
    apart[both] = np.sqrt(np.nansum((best.xyz[both] - other.xyz[both]) ** 2, axis=1))
    with np.errstate(invalid="ignore"):
        swap = only_other | (both & (other.chi_square < best.chi_square))
        close = np.abs(best.chi_square - other.chi_square) < RIVAL_CHI_SQUARE
    for point in np.flatnonzero(both & close & (apart > _SAME_PLACE_M)):
        choice = prefer(int(point), best.xyz[point], other.xyz[point]) if prefer else None
        if choice is None:
            rival[point] = best.xyz[point] if swap[point] else other.xyz[point]
        else:
            swap[point] = choice == 1
            rival[point] = np.nan
    # whatever rivalled the place that is given up now fits as badly as that one
    rival[both & swap & ~close] = np.nan
    if not swap.any():
        return best
    by_row = swap[rows.point]
    merged = {}
    for one in fields(Solution):
        ours, theirs = getattr(best, one.name), getattr(other, one.name)
        which = by_row if one.name in BY_READING else swap
        shape = which.reshape(-1, *(1,) * (ours.ndim - 1))
        merged[one.name] = np.where(shape, theirs, ours)
    return Solution(**merged)
