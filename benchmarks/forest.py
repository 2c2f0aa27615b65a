"""How often a change of the age at felling is found where there is none, and where there is one.

All forests are simulated with invented parameters: trees of one campaign are of one stand and alike
(30 % of the variance of their ages), campaigns are spread over 300 years, and the pith is rarer in
later wood. Three ways are compared on the same trees: ring counts of all of them, and trees with
pith alone, each with single trees exchanged (`scipy.stats.kendalltau`); and what `derive` does.

    python benchmarks/forest.py [RUNS]
"""

from __future__ import annotations

import sys

import numpy as np
from scipy.stats import kendalltau

from provenance._derive.dates.age_change import SURE, change_of

SPREAD, OF_STANDS = 30.0, 0.3
CASES = ((50, 5), (50, 8), (50, 15), (150, 15), (150, 30))
A_CENTURY = (0.0, -20.0, -60.0)


def simulated(
    random: np.random.Generator, trees: int, campaigns: int, a_century: float
) -> tuple[np.ndarray, ...]:
    """Year, age, rings in the sample, campaign, and whether the pith is there, tree by tree.

    As many trees as it takes for `trees` with pith; every campaign has one at least.
    """
    year_of = np.sort(random.uniform(1600, 1900, campaigns)).round()
    stand = random.normal(0, SPREAD * OF_STANDS**0.5, campaigns)
    share = random.dirichlet(np.full(campaigns, 2.0))
    at = np.concatenate([np.arange(campaigns), random.choice(campaigns, 20 * trees, p=share)])
    has_pith = random.random(len(at)) < 0.9 - 0.6 * (year_of[at] - 1600) / 300
    has_pith[:campaigns] = True
    last = np.flatnonzero(has_pith)[trees - 1] + 1
    at, has_pith = at[:last], has_pith[:last]
    age = 140 + stand[at] + random.normal(0, SPREAD * (1 - OF_STANDS) ** 0.5, last)
    age = np.clip(age + (year_of[at] - 1750) / 100 * a_century, 15, None).round()
    rings = np.where(has_pith, age, (age * random.uniform(0.4, 0.95, last)).round())
    return year_of[at], age, rings, at, has_pith


def main(runs: int) -> None:
    """Print one line a case."""
    print("| trees, campaigns | change | ring counts | pith alone | derive | in the range | wide |")
    print("|---|---|---|---|---|---|---|")
    for trees, campaigns in CASES:
        for a_century in A_CENTURY:
            random = np.random.default_rng(campaigns * 1000 + trees)
            found = []
            for _ in range(runs):
                year, age, rings, at, pith = simulated(random, trees, campaigns, a_century)
                ours = change_of("", year[pith], age[pith], at[pith])
                low = -np.inf if ours.low is None else ours.low
                high = np.inf if ours.high is None else ours.high
                found.append(
                    (
                        kendalltau(year, rings).pvalue <= SURE,
                        kendalltau(year[pith], age[pith]).pvalue <= SURE,
                        ours.chance is not None and ours.chance <= SURE,
                        low <= a_century <= high,
                        high - low,
                    )
                )
            *shares, wide = zip(*found, strict=True)
            said = " | ".join(f"{np.mean(one):.2f}" for one in shares)
            print(
                f"| {trees}, {campaigns} | {a_century:+.0f} | {said} | {np.median(wide):.0f} |",
                flush=True,
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
