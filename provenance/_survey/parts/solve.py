"""Solves very many small least-squares problems at once, one for each measured point.

Gauss-Newton on the observation equations, in groups of points with the same number of readings.
Uncertain datums enter through the covariance of the readings taken from them, which for one point
gives the same as adjusting the datums together with it.

Sources: the method of least squares by variation of coordinates, as in any text on survey
adjustment; W. Baarda, A Testing Procedure for Use in Geodetic Networks, Netherlands Geodetic
Commission, Publications on Geodesy 2(5), 1968, for the standardised residual.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from provenance._survey.parts.datum_covariance import DatumCovariance
from provenance._survey.parts.observation import (
    NOTICED_BLUNDER,
    Floats,
    Ints,
    misclosure,
    predict,
)

Bools = npt.NDArray[np.bool_]

SOLVED, TOO_FEW, SOFT, NOT_CONVERGED = range(4)
"""What became of a point; SOFT is one that no reading holds in some direction."""

_MOST_ROUNDS = 60
_UNDAMPED_ROUNDS = 10
"""A point that still swings to and fro by then, as with a misread short tape, goes half as far."""
_STEP_M = 1e-7
_LONGEST_STEP_M = 25.0
_SOFT_SD_M = 30.0
"""A direction known no better than this is not known at all inside a building."""
_RIDGE = 1e-6
"""In 1/m²: keeps steps finite where nothing holds a point; what it converges to is the same."""
_LEAST_CHECK = 1e-4
"""A smaller share of a blunder never shows."""
_LEAST_REACH = 0.01
"""A reading that moves a point by less than this, each unit, does not place it over ground."""


@dataclass(frozen=True)
class Rows:
    """Scalar readings, sorted by point: each array has one value a reading.

    `point` number of the measured point, `kind` code of Kind, `start` and `end` datum numbers (-1
    for none), `reading` and `sd` in m or degrees, `tie` place in the table of ties (-1 when it
    comes from another table).
    """

    point: Ints
    kind: Ints
    start: Ints
    end: Ints
    reading: Floats
    sd: Floats
    tie: Ints

    def __len__(self) -> int:
        """The number of readings."""
        return len(self.point)

    def only(self, which: Bools | Ints) -> Rows:
        """Some of the readings, in the order given."""
        return Rows(*(getattr(self, one.name)[which] for one in fields(self)))

    @classmethod
    def joined(cls, *parts: Rows) -> Rows:
        """Several sets of readings as one, sorted by point (stable)."""
        whole = cls(*(np.concatenate([getattr(p, one.name) for p in parts]) for one in fields(cls)))
        return whole.only(np.argsort(whole.point, kind="stable"))


@dataclass(frozen=True)
class Solution:
    """Positions of n points and what their readings say about them.

    By point: `xyz` (n, 3) in m, `covariance` (n, 3, 3) in m² (both NaN where unknown),
    `chi_square`, `redundancy`, `status` (n,), `hidden_m` (how far over ground the worst blunder
    that stays just below notice moves the point, infinite where it would never be noticed:
    Baarda's external reliability), `log_evidence` (how likely these readings are, wherever the
    point is, but for a constant of their number). By reading: `residual` (reading minus fitted),
    `standard_residual` (Baarda's w), `check` (redundancy number, 0 to 1), `blunder` (size it would
    have if only this reading were wrong) and `blunder_sd` of that size, all NaN where the point is
    not solved.
    """

    xyz: Floats
    covariance: Floats
    chi_square: Floats
    redundancy: Ints
    status: Ints
    hidden_m: Floats
    log_evidence: Floats
    residual: Floats
    standard_residual: Floats
    check: Floats
    blunder: Floats
    blunder_sd: Floats

    @classmethod
    def blank(cls, points: int, readings: int) -> Solution:
        """Nothing is solved: NaN throughout, and every point TOO_FEW."""
        return cls(
            np.full((points, 3), np.nan),
            np.full((points, 3, 3), np.nan),
            np.full(points, np.nan),
            np.zeros(points, dtype=np.int64),
            np.full(points, TOO_FEW),
            np.full(points, np.nan),
            np.full(points, np.nan),
            *(np.full(readings, np.nan) for _ in BY_READING),
        )


BY_READING = ("residual", "standard_residual", "check", "blunder", "blunder_sd")
"""What a Solution has by reading, all else being by point."""


def solve_points(
    rows: Rows, datums: Floats, errors: DatumCovariance, begin: Floats, with_height: Bools
) -> Solution:
    """Solve every point from where `begin` (n, 3) puts it.

    `datums` (k, 3) are datum coordinates in m; `with_height` (n,) says whether the height is an
    unknown too. Points whose beginning is NaN in x are passed over as TOO_FEW.
    """
    n = len(begin)
    count = np.bincount(rows.point, minlength=n)
    first = np.concatenate([[0], np.cumsum(count)[:-1]]) if n else np.zeros(0, dtype=np.int64)
    unknowns = np.where(with_height, 3, 2)
    ready = (count >= unknowns) & np.isfinite(begin[:, 0])
    ready &= np.isfinite(begin[:, 2]) | ~with_height
    out = Solution.blank(n, len(rows))
    out.redundancy[:] = count - unknowns
    shapes = np.unique(np.column_stack([count[ready], unknowns[ready]]), axis=0)
    for m, d in shapes:
        points = np.flatnonzero(ready & (count == m) & (unknowns == d))
        at = first[points][:, None] + np.arange(m)
        _solve_group(rows, datums, errors, begin, points, at, int(d), out)
    return out


def _solve_group(
    rows: Rows,
    datums: Floats,
    errors: DatumCovariance,
    begin: Floats,
    points: Ints,
    at: Ints,
    d: int,
    out: Solution,
) -> None:
    """Solve points that all have `at.shape[1]` readings and `d` unknowns; fills `out`."""
    group = _Group(rows, datums, errors, at, d)
    x = begin[points].copy()
    if d == 2:
        x[:, 2] = np.nan
    status = np.full(len(points), NOT_CONVERGED)
    weights = group.weights(x)
    moving = np.arange(len(points))
    reweighted = errors.certain
    for round_ in range(_MOST_ROUNDS):
        derivative, gap = group.linearised(x[moving], moving)
        normal, right = _normal(derivative, gap, weights[moving])
        soft = np.zeros(len(moving), dtype=bool)
        if round_ == 0:
            soft = _is_soft(normal)
        normal += _RIDGE * np.eye(d)
        step = np.linalg.solve(normal, right[:, :, None])[:, :, 0]
        length = np.linalg.norm(step, axis=1)
        step *= np.minimum(1.0, _LONGEST_STEP_M / np.maximum(length, 1e-12))[:, None]
        step[soft] = 0.0
        step *= 1.0 if round_ < _UNDAMPED_ROUNDS else 0.5
        x[moving, :d] += step
        status[moving[soft]] = SOFT
        done = ~soft & (length < _STEP_M)
        status[moving[done]] = SOLVED
        moving = moving[~soft & ~done]
        if not moving.size and not reweighted:
            # datum errors were carried over at the first guess of the place; once more, there
            reweighted = True
            moving = np.flatnonzero(status == SOLVED)
            weights[moving] = group.weights(x[moving], moving)
            status[moving] = NOT_CONVERGED
        if not moving.size:
            break
    solved = np.flatnonzero(status == SOLVED)
    if solved.size:
        derivative, gap = group.linearised(x[solved], solved)
        status[solved[_is_soft(_normal(derivative, gap, weights[solved])[0])]] = SOFT
    out.status[points] = status
    solved = np.flatnonzero(status == SOLVED)
    if solved.size:
        _fill(group, x[solved], solved, weights[solved], points[solved], at[solved], out)


class _Group:
    """The readings of points that have the same number of them, ready to be linearised."""

    def __init__(
        self, rows: Rows, datums: Floats, errors: DatumCovariance, at: Ints, d: int
    ) -> None:
        self.rows, self.errors, self.at, self.d = rows, errors, at, d
        # one more datum that is nowhere, for readings that need none (number -1)
        self.datums = np.vstack([datums, np.full((1, 3), np.nan)])

    def _predicted(self, x: Floats, which: Ints) -> tuple[Ints, Floats, Floats, Floats, Floats]:
        at = self.at[which].ravel()
        rows = self.rows
        there = predict(
            rows.kind[at],
            np.repeat(x, self.at.shape[1], axis=0),
            self.datums[rows.start[at]],
            self.datums[rows.end[at]],
        )
        return at, there.value, there.by_point, there.by_start, there.by_end

    def linearised(self, x: Floats, which: Ints) -> tuple[Floats, Floats]:
        """Derivatives (n, m, d) and misclosures (n, m) at x."""
        at, value, by_point, _, _ = self._predicted(x, which)
        n, m = len(which), self.at.shape[1]
        gap = misclosure(self.rows.kind[at], self.rows.reading[at], value)
        return by_point.reshape(n, m, 3)[:, :, : self.d], gap.reshape(n, m)

    def covariance(self, x: Floats, which: Ints) -> Floats:
        """Covariance of the readings (n, m, m), with what the datums' errors add."""
        n, m = len(which), self.at.shape[1]
        total = np.zeros((n, m, m))
        diagonal = np.arange(m)
        total[:, diagonal, diagonal] = self.rows.sd[self.at[which]] ** 2
        if not self.errors.certain:
            at, _, _, by_start, by_end = self._predicted(x, which)
            total += self.errors.of_readings(
                self.rows.start[at].reshape(n, m),
                self.rows.end[at].reshape(n, m),
                by_start.reshape(n, m, 3),
                by_end.reshape(n, m, 3),
            )
        return total

    def weights(self, x: Floats, which: Ints | None = None) -> Floats:
        """Inverse of the covariance of the readings (n, m, m)."""
        which = np.arange(len(x)) if which is None else which
        covariance = self.covariance(x, which)
        if self.errors.certain:
            diagonal = np.arange(covariance.shape[1])
            covariance[:, diagonal, diagonal] = 1.0 / covariance[:, diagonal, diagonal]
            return covariance
        return np.asarray(np.linalg.inv(covariance), dtype=np.float64)


def _is_soft(normal: Floats) -> Bools:
    return np.asarray(np.linalg.eigvalsh(normal)[:, 0] < _SOFT_SD_M**-2)


def _normal(derivative: Floats, gap: Floats, weights: Floats) -> tuple[Floats, Floats]:
    weighted = np.matmul(weights, derivative)
    normal = np.matmul(derivative.transpose(0, 2, 1), weighted)
    right = np.einsum("nmd,nm->nd", weighted, gap)
    return normal, right


def hidden_shift(moves: Floats, shows: Floats, share: Floats) -> Floats:
    """How far over ground the worst blunder just too small to be noticed moves each point (n,), m.

    `moves` (n, 2 or 3, m) is what one unit of each reading moves the point; `shows` (n, m) is one
    over the variance of a blunder, `share` (n, m) the redundancy number of the reading. Infinite
    where a blunder would move the point and never show. Source: Baarda 1968, external reliability.
    """
    reach = np.hypot(moves[:, 0], moves[:, 1])
    checked = share > _LEAST_CHECK
    noticed = NOTICED_BLUNDER / np.sqrt(np.where(checked, shows, 1.0))
    unseen = np.where(reach > _LEAST_REACH, np.inf, 0.0)
    return np.asarray(np.where(checked, reach * noticed, unseen).max(axis=1), dtype=np.float64)


def _fill(
    group: _Group, x: Floats, which: Ints, weights: Floats, points: Ints, at: Ints, out: Solution
) -> None:
    d = group.d
    derivative, gap = group.linearised(x, which)
    normal, _ = _normal(derivative, gap, weights)
    cofactor = np.linalg.inv(normal)
    out.xyz[points] = x
    out.covariance[points[:, None, None], np.arange(d)[:, None], np.arange(d)] = cofactor
    pulled = np.einsum("nij,nj->ni", weights, gap)
    out.chi_square[points] = np.einsum("ni,ni->n", pulled, gap)
    out.residual[at] = gap
    # P Qvv P with Qvv = C - A Q A'; its diagonal tells how much of a blunder shows (Baarda 1968)
    weighted = np.matmul(weights, derivative)
    seen = weights - np.matmul(np.matmul(weighted, cofactor), weighted.transpose(0, 2, 1))
    shows = np.einsum("nii->ni", seen)
    share = shows / np.einsum("nii->ni", weights)
    out.check[at] = np.clip(share, 0.0, 1.0)
    checked = share > 1e-6
    out.hidden_m[points] = hidden_shift(
        np.matmul(cofactor, weighted.transpose(0, 2, 1)), shows, share
    )
    if group.errors.certain:
        spread = -np.log(np.einsum("nii->ni", weights)).sum(axis=1)
    else:
        spread = -np.linalg.slogdet(weights)[1]
    out.log_evidence[points] = -0.5 * (
        out.chi_square[points] + spread + np.linalg.slogdet(normal)[1]
    )
    out.blunder_sd[at] = np.where(checked, 1.0 / np.sqrt(np.where(checked, shows, 1.0)), np.nan)
    out.standard_residual[at] = np.where(checked, pulled * np.nan_to_num(out.blunder_sd[at]), 0.0)
    out.blunder[at] = pulled * out.blunder_sd[at] ** 2
