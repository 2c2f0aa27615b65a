"""How often phases of felling are found, and how often a stated one is true, on invented buildings.

python benchmarks/phases.py [runs]

A building has two to four campaigns, 8 to 70 years apart, of 3 to 12 trees each. One tree in ten is
reused, 15 to 120 years older, and one in ten a later repair. Each tree has a date of one kind:
cutting, near-cutting (up to four rings are gone, and the record assumes five at most), a range by a
sapwood estimate of 9 to 41 rings, or only a last ring. A phase is true where a campaign lies within
two years of it. All these figures are invented.
"""

from __future__ import annotations

import sys

import numpy as np

from provenance._derive.dates.phases import PhaseRule, Years, decisive, find_phases, most_met

KINDS = ("cutting", "near", "range", "open")
DATES = {
    "good dates": (0.5, 0.15, 0.15, 0.2),
    "poor": (0.2, 0.1, 0.35, 0.35),
    "ranges only": (0.0, 0.0, 0.8, 0.2),
}
RULES = {
    "window 3, 3 trees, 2 narrow": PhaseRule(),
    "window 1": PhaseRule(window_years=1),
    "window 5": PhaseRule(window_years=5),
    "no narrow needed": PhaseRule(narrow=0),
    "2 trees": PhaseRule(least=2),
}
NEAR_RINGS = 5
SAPWOOD = (9, 41)


def a_date(year: int, kind: str, chance: np.random.Generator) -> Years | None:
    """What a sample of a tree felled in `year` says; None where a side stays open."""
    if kind == "open":
        return None
    if kind == "cutting":
        return year, year + 1
    if kind == "near":
        last = year - int(chance.integers(0, 5))
        return last, last + NEAR_RINGS
    boundary = year - int(chance.integers(SAPWOOD[0], SAPWOOD[1] + 1))
    # some of the sapwood may be there
    last = boundary + int(chance.integers(0, year - boundary + 1) * (chance.random() < 0.4))
    return max(last, boundary + SAPWOOD[0]), boundary + SAPWOOD[1]


def a_building(
    shares: tuple[float, ...], chance: np.random.Generator
) -> tuple[list[int], list[tuple[int, Years]]]:
    """Years of the campaigns, and for each dated tree its campaign (-1 for others) and years."""
    steps = chance.integers(8, 71, chance.integers(2, 5))
    campaigns = [int(one) for one in 1500 + np.cumsum(steps)]
    trees = []
    for number, year in enumerate(campaigns):
        for _ in range(int(chance.integers(3, 13))):
            lot = chance.random()
            of, felled = number, year
            if lot < 0.1:
                of, felled = -1, year - int(chance.integers(15, 121))
            elif lot < 0.2:
                of, felled = -1, year + int(chance.integers(10, 81))
            if date := a_date(felled, KINDS[chance.choice(4, p=shares)], chance):
                trees.append((of, date))
    return campaigns, trees


def rates(rule: PhaseRule, shares: tuple[float, ...], runs: int) -> tuple[float, float, float]:
    """Share of campaigns with two dated trees or more found, of phases true, and phases each."""
    chance = np.random.default_rng(1)
    found = of = true = stated = 0
    for _ in range(runs):
        campaigns, trees = a_building(shares, chance)
        phases = find_phases([years for _, years in trees], rule)
        for number, year in enumerate(campaigns):
            if sum(campaign == number for campaign, _ in trees) >= rule.least:
                of += 1
                found += any(one.first - 2 <= year <= one.last + 2 for one in phases)
        stated += len(phases)
        true += sum(
            any(one.first - 2 <= year <= one.last + 2 for year in campaigns) for one in phases
        )
    return found / of, true / max(stated, 1), stated / runs


def of_ranges(runs: int) -> tuple[float, float]:
    """How often the years that most ranges of one campaign meet, or one fewer, hold it; median
    number of years.
    """
    chance = np.random.default_rng(2)
    held, widths = 0, []
    for _ in range(runs):
        number = int(chance.integers(3, 13))
        dates = [a_date(1700, "range", chance) for _ in range(number)]
        first, last = most_met([one for one in dates if one])
        held += first <= 1700 <= last
        widths.append(last - first + 1)
    return held / runs, float(np.median(widths))


def of_lone_pieces(runs: int) -> tuple[float, float]:
    """Phases of which any one tree is decisive, and how many of these are true all the same."""
    chance = np.random.default_rng(3)
    rest_on_one = true = stated = 0
    for _ in range(runs):
        campaigns, trees = a_building(DATES["good dates"], chance)
        felled = [years for _, years in trees]
        phases = find_phases(felled, PhaseRule())
        for phase, needed in zip(phases, decisive(felled, phases, PhaseRule()), strict=True):
            stated += 1
            if needed:
                rest_on_one += 1
                true += any(phase.first - 2 <= year <= phase.last + 2 for year in campaigns)
    return rest_on_one / stated, true / max(rest_on_one, 1)


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    print(f"{'found / true (phases a building)':30}" + "".join(f"{one:>22}" for one in DATES))
    for name, rule in RULES.items():
        cells = [rates(rule, shares, runs) for shares in DATES.values()]
        print(f"{name:30}" + "".join(f"{a:10.2f} / {b:.2f} ({c:.1f})" for a, b, c in cells))
    held, width = of_ranges(runs)
    print(f"ranges of one campaign: years held it in {held:.3f}, {width:.0f} years in the median")
    share, true = of_lone_pieces(runs)
    print(f"phases that rest on single trees: {share:.2f} of all; {true:.2f} of them true")


if __name__ == "__main__":
    main()
