"""Finds how much readings scatter against what was assumed, kind by kind and site by site.

The variance of unit weight, as in any text on survey adjustment. Control and detail are pooled,
because a net of few datums says little; kinds are not, because a good tape would hide a poor
compass. A misread tape must not count as scatter, so what lies far out is left aside.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from provenance._survey.parts.observation import ELLIPSE_95, Floats, Ints
from provenance._survey.parts.solve import Rows

GROUPS = (
    "tape distances", "offsets", "bearings", "coordinates", "heights", "coordinates of datums"
)  # fmt: skip
OWN_COORDINATES = -2
"""`tie` of a reading that is a datum's own recorded coordinate."""
_OF_DATUM = 5
_GROUP_OF_KIND = np.array([0, 0, 1, 1, 2, 3, 3, 4])

_PRIOR_DF = 4.0
"""How firmly the assumed standard deviations are believed: as if from so many spare readings."""
_FAR_OUT = 6.634896601021213
"""99 % point of chi-square with 1 degree of freedom (any table)."""
_KEPT_MEAN = 0.9248
"""Mean of a chi-square with 1 degree of freedom below its 99 % point."""
_MEDIAN = 0.454936423119572
"""Median of chi-square with 1 degree of freedom (any table)."""
_MANY = 5.0
"""With fewer spare readings a few blunders could make up half of them, and move the median."""
_ROUNDS = 12
_NOTABLE = 1.04
"""A smaller variance factor widens a range by less than 2 % and is left alone."""
_OUTSIDE = 0.03
"""Outside the range for known factors; 2 of the 5 in 100 pay for factors that are estimates."""


@dataclass(frozen=True)
class Scatter:
    """Variance factors by site (the last for points of no site) and by number of GROUPS.

    `measured` is what the readings say, NaN where none was checked; `df` how many spare readings
    say so; `taken` what ranges are computed with, never below 1.
    """

    measured: Floats
    df: Floats
    taken: Floats

    @classmethod
    def as_assumed(cls, sites: int) -> Scatter:
        """Nothing is known of any scatter."""
        shape = sites + 1, len(GROUPS)
        return cls(np.full(shape, np.nan), np.zeros(shape), np.ones(shape))

    def widened(self, rows: Rows, site: Ints) -> Rows:
        """Readings with standard deviations as these factors widen them; `site` is by reading."""
        return replace(rows, sd=rows.sd * self.factors(rows, site))

    def factors(self, rows: Rows, site: Ints) -> Floats:
        """By how much the standard deviation of each reading was widened (n,)."""
        factor: Floats = np.sqrt(self.taken[site, groups_of(rows)])
        return factor

    def stretch(self, site: Ints) -> Floats:
        """What covariances of points (n,) are multiplied by to hold with estimated factors.

        So that the usual 95 % factors give the range that the 97 % point of F(2, df) gives.
        """
        df = _PRIOR_DF + self.df.sum(axis=1)
        # closed form of the quantile of F with 2 and df degrees of freedom
        square = df * (_OUTSIDE ** (-2 / df) - 1)
        stretch: Floats = square[site] / ELLIPSE_95**2
        return stretch

    def unlike(self, other: Scatter) -> bool:
        """Whether the factors differ by more than 2 % anywhere."""
        return bool((np.abs(np.sqrt(self.taken / other.taken) - 1) > 0.02).any())


def groups_of(rows: Rows) -> Ints:
    """Numbers of GROUPS of readings (n,)."""
    own = rows.tie == OWN_COORDINATES
    return np.asarray(np.where(own, _OF_DATUM, _GROUP_OF_KIND[rows.kind]), dtype=np.int64)


def measured_scatter(site: Ints, group: Ints, square: Floats, share: Floats, sites: int) -> Scatter:
    """The scatter of readings (n,): `square` are standardised residuals squared, as assumed.

    `share` are redundancy numbers. A kind with few spare readings leans on its site, and the site
    on what was assumed.
    """
    n_groups = len(GROUPS)
    cell = site * n_groups + group
    size = (sites + 1) * n_groups
    shape = sites + 1, n_groups
    edge = np.maximum(_median_factor(cell, square, share, size), 0.25)
    for _ in range(_ROUNDS):
        kept = square < edge[cell] * _FAR_OUT
        df = np.bincount(cell[kept], share[kept], size).astype(np.float64)
        total = np.bincount(cell[kept], (share * square)[kept], size)
        factor = total / np.maximum(df * _KEPT_MEAN, 1e-9)
        of_site, site_df = total.reshape(shape).sum(1) / _KEPT_MEAN, df.reshape(shape).sum(1)
        leaning = np.repeat((_PRIOR_DF + of_site) / (_PRIOR_DF + site_df), n_groups)
        taken = (_PRIOR_DF * leaning + df * factor) / (_PRIOR_DF + df)
        edge = np.maximum(taken, 0.25)
    taken = np.where(taken < _NOTABLE, 1.0, taken)
    factor = np.where(df > 0, factor, np.nan)
    return Scatter(factor.reshape(shape), df.reshape(shape), taken.reshape(shape))


def _median_factor(cell: Ints, square: Floats, share: Floats, size: int) -> Floats:
    """A first factor of each cell from the weighted median; 1 where there are few readings."""
    order = np.lexsort((square, cell))
    weight = np.bincount(cell, share, size)
    count = np.bincount(cell, minlength=size)
    before = np.cumsum(weight) - weight
    at = np.searchsorted(np.cumsum(share[order]), before + weight / 2)
    many = np.flatnonzero((weight >= _MANY) & (count > 0))
    factor = np.ones(size)
    factor[many] = square[order][np.minimum(at[many], len(order) - 1)] / _MEDIAN
    return factor


def chance_of(df: float, factor: float) -> float:
    """Standard normal value of a variance factor, with Wilson and Hilferty's approximation.

    Their approximation to chi-square is good from 10 degrees of freedom upwards.
    """
    cube = 2 / (9 * df)
    return float((factor ** (1 / 3) - (1 - cube)) / np.sqrt(cube))
