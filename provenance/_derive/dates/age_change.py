"""Says whether trees were felled younger or older as time went on, and how sure that is.

Only trees with evidence of the pith and two years of felling count; 'at least' ages would show a
change wherever the share of trees with pith changes. Trees of one campaign are alike, so whole
campaigns are exchanged, never single trees. Below 50 trees or 5 campaigns nothing is said: the test
would find next to nothing (benchmarks/forest.py has both kinds of error).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

LEAST_TREES, LEAST_CAMPAIGNS = 50, 5
DRAWS, SEED, SURE = 999, 1, 0.05
_HALVINGS = 24
Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class AgeChange:
    """What can be said for one species; all but the counts is None where there are too few.

    `tau` is Kendall's tau-b of age on the year of the campaign. `chance` is how often campaigns in
    any other order of years come to as much. `a_century` is the change of age in years for 100
    years, `low` and `high` the changes that campaigns in any order do not speak against at 5 %
    (None where they bound nothing).
    """

    species: str
    trees: int
    campaigns: int
    tau: float | None = None
    chance: float | None = None
    a_century: float | None = None
    low: float | None = None
    high: float | None = None

    @property
    def in_words(self) -> str:
        """One sentence, for the figure and the terminal."""
        of = (
            f"{self.species}, {self.trees} {'tree' if self.trees == 1 else 'trees'} with pith from "
            f"{self.campaigns} {'campaign' if self.campaigns == 1 else 'campaigns'}"
        )
        if self.tau is None or self.chance is None or self.a_century is None:
            return (
                f"{of}: too few to say whether the age at felling changed; it takes {LEAST_TREES} "
                f"trees from {LEAST_CAMPAIGNS} campaigns."
            )
        between = " to ".join(
            "no limit" if one is None else f"{one:+.0f}" for one in (self.low, self.high)
        )
        found = (
            f"later campaigns felled {'younger' if self.tau < 0 else 'older'} trees"
            if self.chance <= SURE
            else "no change of the age at felling that could not be chance"
        )
        return (
            f"{of}: {found} (Kendall's tau {self.tau:+.2f}; campaigns in any other order come to "
            f"as much in {self.chance:.1%} of {DRAWS + 1} draws; {self.a_century:+.0f} years in a "
            f"century, 95 % range {between})."
        )


def age_changes(ages: pl.DataFrame) -> list[AgeChange]:
    """The change for each species in the derived table `tree_age`, most trees first.

    A campaign is a phase, else the trees of one site with the same years of felling; its year is
    the median. Of a range of ages or years the middle counts.
    """
    told = ages.drop_nulls(["felled_from_year", "felled_to_year", "age_to_years"]).with_columns(
        species=pl.col("species").fill_null("species not known"),
        year=(pl.col("felled_from_year") + pl.col("felled_to_year")) / 2,
        # rings to the pith that were estimated are part of the age
        age=(pl.col("felled_from_year") - pl.col("pith_from_year") + 1 + pl.col("age_to_years"))
        / 2,
    )
    campaign = pl.coalesce("phase_id", pl.format("{} {}", pl.col("site_id").fill_null(""), "year"))
    told = told.with_columns(campaign=campaign)
    by_size = told.group_by("species").len().sort("len", "species", descending=[True, False])
    return [
        change_of(name, of["year"].to_numpy(), of["age"].to_numpy(), of["campaign"].to_numpy())
        for name in by_size["species"]
        for of in [told.filter(species=name)]
    ]


def change_of(
    species: str, years: Numbers, ages: Numbers, campaigns: NDArray[np.generic]
) -> AgeChange:
    """The change for one species; one year, age and campaign a tree."""
    names, at = np.unique(campaigns, return_inverse=True)
    if len(ages) < LEAST_TREES or len(names) < LEAST_CAMPAIGNS:
        return AgeChange(species, len(ages), len(names))
    order = np.argsort(at, kind="stable")
    starts = np.searchsorted(at[order], np.arange(len(names)))
    year = np.array([np.median(years[at == one]) for one in range(len(names))])
    age, of_tree = ages[order], year[at[order]]
    one, other = np.triu_indices(len(names), 1)
    random = np.random.default_rng(SEED)
    rows = np.array([year, *(random.permutation(year) for _ in range(DRAWS))], dtype=np.float32)
    # for each two campaigns which is the later one: in truth, and in each other order
    later = np.sign(rows[:, one] - rows[:, other])

    def older(slope: float) -> Numbers:
        """For each two campaigns in how many more pairs the tree of the first is the older one."""
        rest = age - slope * of_tree
        signs = np.sign(np.round(np.subtract.outer(rest, rest), 9))
        by_campaign = np.add.reduceat(np.add.reduceat(signs, starts, axis=0), starts, axis=1)
        return np.asarray(by_campaign[one, other], dtype=np.float32)

    def chance(slope: float) -> float:
        scores = np.abs(later @ older(slope))
        return float((scores >= scores[0] - 0.5).mean())

    apart = np.diff(np.unique(year))
    steepest = float((np.ptp(age) + 1) / apart.min()) if len(apart) else 0.0
    slope = _turn(-steepest, steepest, lambda at: float(later[0] @ older(at)) > 0)
    low = high = None
    if chance(-steepest) <= SURE:
        low = 100 * _turn(-steepest, slope, lambda at: chance(at) <= SURE)
    if chance(steepest) <= SURE:
        high = 100 * _turn(slope, steepest, lambda at: chance(at) > SURE)
    tau = _tau_b(float(later[0] @ older(0.0)), of_tree, age)
    trees, found = len(ages), chance(0.0)
    return AgeChange(species, trees, len(names), tau, found, 100 * slope, low, high)


def _turn(low: float, high: float, holds: Callable[[float], bool]) -> float:
    """Where something stops to hold that holds at the lower end and not at the higher one."""
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return (low + high) / 2


def _tau_b(score: float, years: Numbers, ages: Numbers) -> float:
    """Kendall's tau-b from its score; 0 where all years or all ages are the same.

    Source: M. G. Kendall, Rank Correlation Methods (from memory); scipy.stats.kendalltau.
    """

    def unlike(of: Numbers) -> float:
        counts = np.unique(of, return_counts=True)[1]
        return float(len(of) * (len(of) - 1) - (counts * (counts - 1)).sum()) / 2

    pairs = unlike(years) * unlike(ages)
    return float(score / pairs**0.5) if pairs else 0.0
