"""Weighs which readings of a point may be wrong, and where the point would lie if they were.

For each hypothesis - none is wrong, this one is, these two are - the point is solved with the
variance of what is wrong widened. Its weight is how rarely readings are wrong times how likely the
readings are then, wherever the point lies: a mixture of normal distributions in closed form.
Sources: W. Baarda, A Testing Procedure for Use in Geodetic Networks, Netherlands Geodetic
Commission, Publications on Geodesy 2(5), 1968, for the standardised residual; Bayes' rule.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from provenance._survey.adjust.locate import locate_points
from provenance._survey.parts.datum_covariance import DatumCovariance
from provenance._survey.parts.observation import (
    Floats,
    Ints,
    Kind,
    misclosure,
    predict,
)
from provenance._survey.parts.solve import SOLVED, Bools, Rows, Solution, solve_points

BY_WOOD = -3
"""`tie` of a reading that is the place of a hole by its distance from end A, clock and size."""
SURE = 0.95
"""A hypothesis as likely as this is taken as found."""
DISMISSED = 0.02
"""A place less likely than this is not listed."""

_WRONG_SHARE = 0.01
"""Common practice, no source: one reading in a hundred is misread."""
_USUAL_BLUNDER = np.array([0.5, 0.5, 0.5, 0.5, 20.0, 0.5, 0.5, 0.5])
"""Standard deviation of a blunder by codes of Kind, m or degrees; a larger one counts as seen."""
_FIRST_LOOK = 2.0
"""Points whose standardised residuals all stay below this are not weighed."""
_LARGE_M = 1.0
"""A blunder larger than this may have led the point so far astray that it is located anew."""
_SAME_PLACE_M = 0.02
_CHECKED = 1e-3
"""Share of a blunder that shows: with less nothing is told of a reading."""


@dataclass(frozen=True)
class Alternative:
    """A place (3,) where a point may be, with its covariance (3, 3), and how likely that is.

    `wrong` are numbers of readings that would be wrong then, `size` by how much each (reading minus
    truth, in its unit).
    """

    xyz: Floats
    covariance: Floats
    share: float
    wrong: tuple[int, ...] = ()
    size: tuple[float, ...] = ()


@dataclass(frozen=True)
class Doubt:
    """A point whose readings do not fit: the likeliest place first.

    `left_out` says that it could be told which reading is wrong, and that the point was computed
    without it; there is one alternative then. `w` is the largest standardised residual and
    `size_sd` what the size of each reading's blunder may be off by, by its number.
    """

    point: int
    left_out: bool
    w: float
    alternatives: tuple[Alternative, ...]
    size_sd: dict[int, float]


@dataclass(frozen=True)
class Weighed:
    """Hypotheses about some points, sorted by point, the likeliest of each first.

    `wrong` (h, 2) are the first readings of units that would be wrong, -1 for none.
    """

    point: Ints
    wrong: Ints
    share: Floats
    xyz: Floats
    covariance: Floats


def units_of(rows: Rows) -> Ints:
    """The first reading of what is right or wrong together (n,): the place by the wood is one."""
    unit = np.arange(len(rows))
    at = np.flatnonzero(rows.tie == BY_WOOD)
    points, first = np.unique(rows.point[at], return_index=True)
    if at.size:
        unit[at] = at[first][np.searchsorted(points, rows.point[at])]
    return unit


def blunder_spread(kind: Ints, blunder: Floats) -> Floats:
    """How large a blunder is taken to be: the usual size, or the one that it would have here."""
    most = np.where(kind == Kind.BEARING, 180.0, np.inf)
    size = np.minimum(np.nan_to_num(np.abs(blunder)), most)
    return np.asarray(np.maximum(_USUAL_BLUNDER[kind], size), dtype=np.float64)


def single_shares(kind: Ints, w: Floats, blunder: Floats, blunder_sd: Floats) -> Floats:
    """Of m readings, how likely each alone is wrong, and none of them as the last value (m + 1,).

    For equations that are straight enough: no other solution is needed than that of them all.
    """
    ratio = (blunder_spread(kind, blunder) / blunder_sd) ** 2
    gain = 0.5 * (w**2 * ratio / (1 + ratio) - np.log1p(ratio)) + _prior(1)
    gain = np.append(np.where(np.isfinite(gain), gain, -np.inf), 0.0)
    weight = np.exp(gain - gain.max())
    return np.asarray(weight / weight.sum(), dtype=np.float64)


def _prior(wrong: Ints | int) -> Floats:
    return np.asarray(wrong * np.log(_WRONG_SHARE / (1 - _WRONG_SHARE)), dtype=np.float64)


def doubted_points(rows: Rows, solution: Solution) -> Ints:
    """Points that have a residual worth a look."""
    with np.errstate(invalid="ignore"):
        at = np.abs(solution.standard_residual) > _FIRST_LOOK
    points = np.unique(rows.point[at])
    return np.asarray(points[solution.redundancy[points] > 0], dtype=np.int64)


def weigh(
    rows: Rows, datums: Floats, errors: DatumCovariance, solution: Solution, points: Ints
) -> Weighed:
    """Weigh the hypotheses about `points`, which `solution` solved from all of `rows`."""
    first = np.searchsorted(rows.point, np.arange(len(solution.xyz) + 1))
    unit = units_of(rows)
    wide = _widened(rows, solution, unit)
    # of a reading that nothing checks no other reading says whether it is wrong
    checked = np.zeros(len(rows))
    np.maximum.at(checked, unit, np.nan_to_num(solution.check))
    heads = np.flatnonzero((checked > _CHECKED) & np.isin(rows.point, points))
    singles = rows.point[heads], np.column_stack([heads, np.full(len(heads), -1)])
    case = rows, wide, unit, first, datums, errors, solution
    alone = _solved(*case, *singles)
    least = np.full(len(solution.xyz), np.inf)
    np.minimum.at(least, singles[0], np.nan_to_num(alone.chi_square, nan=np.inf))
    spare = solution.redundancy[points] - 1
    unexplained = points[(spare > 0) & (least[points] > _chi_square_999(np.maximum(spare, 1)))]
    pairs = _pairs(heads, rows.point[heads], unexplained)
    both = _solved(*case, rows.point[pairs[:, 0]], pairs)

    point = np.concatenate([points, singles[0], rows.point[pairs[:, 0]]])
    none = np.full((len(points), 2), -1)
    wrong = np.concatenate([none, singles[1], pairs])
    evidence = np.concatenate(
        [solution.log_evidence[points], alone.log_evidence, both.log_evidence]
    )
    log = np.nan_to_num(evidence + _prior((wrong >= 0).sum(axis=1)), nan=-np.inf)
    best = np.full(len(solution.xyz), -np.inf)
    np.maximum.at(best, point, log)
    share = np.exp(log - best[point])
    share /= np.bincount(point, share, len(solution.xyz))[point]
    order = np.lexsort((-share, point))
    xyz = np.concatenate([solution.xyz[points], alone.xyz, both.xyz])
    covariance = np.concatenate([solution.covariance[points], alone.covariance, both.covariance])
    return Weighed(point[order], wrong[order], share[order], xyz[order], covariance[order])


def _widened(rows: Rows, solution: Solution, unit: Ints) -> Floats:
    """Standard deviations of readings if they are wrong (n,)."""
    spread = blunder_spread(rows.kind, solution.blunder)
    largest = np.zeros(len(rows))
    np.maximum.at(largest, unit, spread)  # of a unit all readings go by its worst
    return np.asarray(np.hypot(rows.sd, largest[unit]), dtype=np.float64)


def _chi_square_999(df: Ints) -> Floats:
    """99.9 % point of chi-square, Wilson and Hilferty's approximation."""
    cube = 2 / (9 * df)
    return np.asarray(df * (1 - cube + 3.09 * np.sqrt(cube)) ** 3, dtype=np.float64)


def _pairs(heads: Ints, point: Ints, points: Ints) -> Ints:
    first, last = (np.searchsorted(point, points, side) for side in ("left", "right"))
    found = [
        pair
        for one, other in zip(first, last, strict=True)
        for pair in combinations(heads[one:other], 2)
    ]
    return np.array(found, dtype=np.int64).reshape(-1, 2)


def _solved(
    rows: Rows,
    wide: Floats,
    unit: Ints,
    first: Ints,
    datums: Floats,
    errors: DatumCovariance,
    solution: Solution,
    point: Ints,
    wrong: Ints,
) -> Solution:
    """Each hypothesis (h,) as a point of its own, with what is wrong in it (h, 2) widened."""
    count = first[point + 1] - first[point]
    number = np.repeat(np.arange(len(point)), count)
    at = np.arange(len(number)) - np.repeat(np.cumsum(count) - count, count) + first[point][number]
    is_wrong = (unit[at][:, None] == wrong[number]).any(axis=1)
    mine = replace(rows.only(at), point=number)
    begin = solution.xyz[point].copy()
    far = np.zeros(len(point), dtype=bool)
    size = np.nan_to_num(np.abs(solution.blunder[at]))
    far[number[is_wrong & (size > _LARGE_M) & (mine.kind != Kind.BEARING)]] = True
    if far.any():
        place = np.cumsum(far) - 1
        rest = far[number] & ~is_wrong & (mine.tie != BY_WOOD)
        others = replace(mine.only(rest), point=place[number[rest]])
        anew = locate_points(others, datums, errors, begin[far]).solution
        good = (anew.status == SOLVED) & (np.isfinite(anew.xyz[:, 2]) == np.isfinite(begin[far, 2]))
        begin[np.flatnonzero(far)[good]] = anew.xyz[good]
    widened = replace(mine, sd=np.where(is_wrong, wide[at], mine.sd))
    return solve_points(widened, datums, errors, begin, np.isfinite(begin[:, 2]))


def without(
    rows: Rows, datums: Floats, errors: DatumCovariance, used: Bools, points: Ints, begin: Floats
) -> tuple[Solution, Ints, Ints]:
    """Points solved from the readings that are used, from where `begin` (n, 3) puts them.

    Also which readings these are, in the order of the solution's, and whose (numbers of `points`).
    """
    number = np.full(max(int(rows.point.max(initial=-1)), int(points.max(initial=-1))) + 1, -1)
    number[points] = np.arange(len(points))
    at = np.flatnonzero(used & (number[rows.point] >= 0))
    of = number[rows.point[at]]
    order = np.argsort(of, kind="stable")
    at, of = at[order], of[order]
    mine = replace(rows.only(at), point=of)
    return solve_points(mine, datums, errors, begin, np.isfinite(begin[:, 2])), at, of


def alternatives_of(
    weighed: Weighed, which: Ints, rows: Rows, datums: Floats
) -> tuple[Alternative, ...]:
    """Hypotheses (numbers of `weighed`, of one point) as places, those that coincide as one."""
    found: list[Alternative] = []
    for one in map(int, which):
        heads = weighed.wrong[one][weighed.wrong[one] >= 0]
        xyz, share = weighed.xyz[one], float(weighed.share[one])
        apart = [float(np.sqrt(np.nansum((other.xyz - xyz) ** 2))) for other in found]
        if min(apart, default=np.inf) < _SAME_PLACE_M:
            at = int(np.argmin(apart))
            found[at] = replace(found[at], share=found[at].share + share)
            continue
        size = misread_by(rows, heads, np.repeat(xyz[None], len(heads), axis=0), datums)
        wrong = tuple(map(int, heads)), tuple(map(float, size))
        found.append(Alternative(xyz, weighed.covariance[one], share, *wrong))
    return tuple(sorted(found, key=lambda one: -one.share))


def misread_by(rows: Rows, at: Ints, xyz: Floats, datums: Floats) -> Floats:
    """By how much readings are wrong (n,) if their points lie at `xyz` (n, 3).

    Of the place by the wood it is how far the point lies from there.
    """
    places = np.vstack([datums, np.full((1, 3), np.nan)])
    there = predict(rows.kind[at], xyz, places[rows.start[at]], places[rows.end[at]])
    size = misclosure(rows.kind[at], rows.reading[at], there.value)
    by_wood = rows.tie[at] == BY_WOOD
    off = xyz[by_wood] - places[rows.end[at][by_wood]]
    size[by_wood] = np.sqrt(np.nansum(off**2, axis=1))
    return size


def largest_residuals(rows: Rows, solution: Solution) -> Floats:
    """The largest standardised residual of each point (n,)."""
    largest = np.zeros(len(solution.xyz))
    np.maximum.at(largest, rows.point, np.nan_to_num(np.abs(solution.standard_residual)))
    return largest
