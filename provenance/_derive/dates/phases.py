"""Finds phases of felling: years in which many trees of one place can have been felled.

A phase is a hint of a felling campaign, never a date of construction. The rule is our own; how
often it finds invented phases, and how often what it finds is true, is in benchmarks/phases.py.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl

from provenance._base.errors import UnusableInput
from provenance._derive.dates.felling import table_of
from provenance._model.felling import Basis
from provenance._model.felling_together import FellingClass
from provenance._record.joined import places_around
from provenance._record.package import Package

Years = tuple[int, int]
"""Earliest and latest year of a felling, both included."""


@dataclass(frozen=True)
class PhaseRule:
    """What makes a phase: at least `least` trees that can have been felled within `window_years`,
    `narrow` of them dated to `narrow_years` from the earliest to the latest year.
    """

    window_years: int = 3
    least: int = 3
    narrow: int = 2
    narrow_years: int = 10

    def __post_init__(self) -> None:
        """Refuse what no phase can fulfil."""
        if self.window_years < 1 or self.least < 1 or min(self.narrow, self.narrow_years) < 0:
            raise UnusableInput(f"no phase can be found by such a rule: {self}")

    def __str__(self) -> str:
        """The rule in words, as it stands beside every result."""
        return rule_in_words(self.columns)

    @property
    def columns(self) -> dict[str, int]:
        """The rule as columns of the tables `phase` and `phase_place`."""
        return {
            "window_years": self.window_years,
            "least_pieces": self.least,
            "least_narrow": self.narrow,
            "narrow_years": self.narrow_years,
        }


def rule_in_words(rule: Mapping[str, Any]) -> str:
    """The rule that stands in a row of the table `phase` or `phase_place`."""

    def counted(count: int, of: str) -> str:
        return f"{count} {of}" if count == 1 else f"{count} {of}s"

    return (
        f"at least {counted(rule['least_pieces'], 'tree')} that can have been felled within "
        f"{counted(rule['window_years'], 'year')}, {rule['least_narrow']} of them dated to within "
        f"{counted(rule['narrow_years'], 'year')}"
    )


def stored_rule(phase_places: pl.DataFrame | None) -> PhaseRule:
    """The rule that stands beside the rows of the table `phase_place`; the usual one without."""
    if phase_places is None or phase_places.is_empty():
        return PhaseRule()
    names = list(PhaseRule().columns)
    said = phase_places.select(names).row(0)
    return PhaseRule() if None in said else PhaseRule(*said)


@dataclass(frozen=True)
class Found:
    """A phase: years of its window that every member meets, and its members' places in a list."""

    first: int
    last: int
    members: tuple[int, ...]


def find_phases(felled: Sequence[Years], rule: PhaseRule) -> list[Found]:
    """The phases of trees felled in those years, the clearest first.

    Of all windows the one that most narrow intervals meet is taken; where several are alike, the
    one that most intervals meet, then the narrower intervals, then the most years in common, then
    the earliest. Its trees are taken out, and the next is looked for. A tree is in one phase at
    most, and the order of the trees makes no difference.
    """
    return list(_phases_in_turn(felled, range(len(felled)), rule))


def _phases_in_turn(
    felled: Sequence[Years], among: Iterable[int], rule: PhaseRule
) -> Iterator[Found]:
    left = np.array(list(among), dtype=np.int64)
    years = np.array(felled, dtype=np.int64).reshape(-1, 2)
    while (start := _best_window(years[left], rule)) is not None:
        met = (years[left, 0] < start + rule.window_years) & (years[left, 1] >= start)
        members = left[met]
        yield Found(*_years_shown(years[members], start, rule), tuple(map(int, members)))
        left = left[~met]


def _years_shown(members: np.ndarray[Any, Any], start: int, rule: PhaseRule) -> Years:
    """The years of a window in which narrowly dated trees can have been felled, and as many more
    as it takes that every member meets them. Where all members have more years in common than the
    window, all of these: no part of them is better than another.
    """
    narrow = members[members[:, 1] - members[:, 0] <= rule.narrow_years]
    tree = narrow if len(narrow) else members
    first = min(max(start, tree[:, 0].min()), members[:, 1].min())
    last = max(min(start + rule.window_years - 1, tree[:, 1].max()), members[:, 0].max())
    common_first, common_last = members[:, 0].max(), members[:, 1].min()
    if common_first <= common_last:
        first, last = min(first, common_first), max(last, common_last)
    return int(first), int(last)


def _best_window(years: np.ndarray[Any, Any], rule: PhaseRule) -> int | None:
    """First year of the best window of the rule; None where none fulfils it."""
    if not len(years):
        return None
    from_year, to_year, window = years[:, 0], years[:, 1], rule.window_years
    starts = np.arange(from_year.min() - window + 1, to_year.max() + 1)

    def summed(first: np.ndarray[Any, Any], weights: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
        """What all intervals weigh that begin by `first` and have not ended, at each start."""
        steps = np.zeros(len(starts) + 1, dtype=np.int64)
        np.add.at(steps, first - starts[0], weights)
        np.add.at(steps, to_year + 1 - starts[0], -weights)
        return steps.cumsum()[:-1]

    one, width = np.ones_like(from_year), to_year - from_year
    first = from_year - window + 1
    count, narrow = summed(first, one), summed(first, (width <= rule.narrow_years).astype(np.int64))
    fit = np.flatnonzero((count >= rule.least) & (narrow >= rule.narrow))
    if not len(fit):
        return None
    so_far = np.concatenate([[0], summed(from_year, one).cumsum()])
    common = so_far[np.minimum(np.arange(len(starts)) + window, len(starts))] - so_far[:-1]
    keys = (starts, -common, summed(first, width), -count, -narrow)
    return int(starts[fit[np.lexsort([key[fit] for key in keys])[0]]])


def found_again(phase: Found, among: Iterable[Found], without: int | None = None) -> int:
    """How many members of a phase stand together in another search; 0 where it is not found.

    It is found where at least half of its trees are together, not counting the one that the search
    went `without`.
    """
    wanted = set(phase.members) - {without}
    for one in among:
        together = len(wanted & set(one.members))
        if 2 * together >= len(wanted):
            return together
    return 0


def decisive(felled: Sequence[Years], phases: Sequence[Found], rule: PhaseRule) -> list[set[int]]:
    """Of each of the phases that `find_phases` found, in that order, the members without any one of
    which it would not be found.
    """
    found = []
    left = set(range(len(felled)))
    for phase in phases:
        # without a tree of this phase the ones before it would be found all the same, since their
        # windows do not meet it, and those that do only get fewer trees
        stands: dict[Years, bool] = {}  # of trees with the same years each weighs the same
        for gone in phase.members:
            if felled[gone] not in stands:
                again = _phases_in_turn(felled, left - {gone}, rule)
                stands[felled[gone]] = found_again(phase, again, gone) > 0
        found.append({one for one in phase.members if not stands[felled[one]]})
        left -= set(phase.members)
    return found


def most_met(felled: Sequence[Years]) -> Years:
    """First and last of the years that the most intervals allow, or one fewer than the most.

    In benchmarks/phases.py they hold the year of felling in more than 99 of 100 where all are
    ranges of one campaign.
    """
    steps: Counter[int] = Counter()
    for first, last in felled:
        steps[first] += 1
        steps[last + 1] -= 1
    turns, met = sorted(steps), 0
    allowed = {turn: (met := met + steps[turn]) for turn in turns}
    enough = [turn for turn in turns if allowed[turn] >= max(max(allowed.values()) - 1, 1)]
    return enough[0], turns[turns.index(enough[-1]) + 1] - 1


@dataclass(frozen=True)
class _Tree:
    """What the wood of one tree in a place says."""

    years: Years | None
    """None where a side is open."""
    felling_class: str
    by_assumption: bool
    pieces: tuple[str, ...]


def derive_phases(
    package: Package, fellings: pl.DataFrame, rule: PhaseRule
) -> dict[str, pl.DataFrame]:
    """The tables `phase`, `phase_piece` and `phase_place`, from the rows of the table `felling`.

    Every place of the record has its own, from all wood in it and in what lies in it, also where a
    part has the same as the whole, so that nobody needs to look elsewhere. Trees are counted, not
    pieces. Only trees of which both the earliest and the latest year of felling are known make a
    phase; `phase_place` counts the others.
    """
    inside: dict[str, list[dict[str, Any]]] = defaultdict(list)
    around = places_around(package.tables)
    for felled in fellings.sort("element_id").iter_rows(named=True):
        if felled["felled_from_year"] is not None or felled["felled_to_year"] is not None:
            for one in around.get(felled["place_id"] or "", ()):
                inside[one].append(felled)
    rows: dict[str, list[dict[str, object]]] = {
        name: [] for name in ("phase", "phase_piece", "phase_place")
    }
    for place in package.tables.rows("place"):
        if place["place_id"] in inside:
            trees = _trees(inside.pop(place["place_id"]))
            here: dict[str, object] = {
                "place_id": place["place_id"],
                "site_id": place["site_id"] or None,
            }
            of_place = list(_phases_of(here, trees, rule))
            for phase, pieces in of_place:
                rows["phase"].append(phase)
                rows["phase_piece"] += pieces
            rows["phase_place"].append(here | _together(trees, len(of_place), rule))
    return {name: table_of(package, name, some) for name, some in rows.items()}


def _trees(rows: Sequence[Mapping[str, Any]]) -> list[_Tree]:
    of: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
    for row in rows:
        of[row["tree_id"]].append(row)
    trees = []
    for pieces in of.values():
        one = pieces[0]  # all pieces of a tree have its years
        first, last = one["felled_from_year"], one["felled_to_year"]
        trees.append(
            _Tree(
                None if first is None or last is None else (first, last),
                one["felling_class"],
                one["felled_by"] == Basis.NEAR_CUTTING,
                tuple(piece["element_id"] for piece in pieces),
            )
        )
    return trees


def _phases_of(
    here: Mapping[str, object], trees: Sequence[_Tree], rule: PhaseRule
) -> Iterable[tuple[dict[str, object], list[dict[str, object]]]]:
    closed = [one for one in trees if one.years is not None]
    felled = [one.years for one in closed if one.years is not None]
    found = find_phases(felled, rule)
    if not found:
        return
    narrower, wider = (
        find_phases(felled, replace(rule, window_years=years))
        for years in (1, rule.window_years + 2)
    )
    needed_of = zip(found, decisive(felled, found, rule), strict=True)
    for phase, needed in sorted(needed_of, key=lambda one: one[0].first):
        members = [closed[one] for one in phase.members]
        widths = [felled[one][1] - felled[one][0] for one in phase.members]
        key = f"{here['place_id']}-{phase.first}"
        row = {
            "phase_id": key,
            **here,
            "first_year": phase.first,
            "last_year": phase.last,
            "piece_count": sum(len(one.pieces) for one in members),
            "tree_count": len(members),
            "narrow_count": sum(width <= rule.narrow_years for width in widths),
            "near_count": sum(one.by_assumption for one in members),
            "decisive_count": len(needed),
            "narrower_count": found_again(phase, narrower),
            "wider_count": found_again(phase, wider),
            **rule.columns,
        }
        yield (
            row,
            [
                {
                    "phase_id": key,
                    "element_id": piece,
                    "decisive": "yes" if one in needed else "no",
                }
                for one in phase.members
                for piece in closed[one].pieces
            ],
        )


def _together(trees: Sequence[_Tree], phase_count: int, rule: PhaseRule) -> dict[str, object]:
    """What stands in `phase_place` beside the place."""
    classes = Counter(one.felling_class for one in trees)
    row: dict[str, object] = {
        "dated_tree_count": len(trees),
        "cutting_tree_count": classes[FellingClass.CUTTING],
        "near_tree_count": classes[FellingClass.NEAR],
        "range_tree_count": classes[FellingClass.RANGE],
        "open_tree_count": sum(one.years is None for one in trees),
        "phase_count": phase_count,
        **rule.columns,
    }
    closed = [one for one in trees if one.years is not None]
    felled = [one.years for one in closed if one.years is not None]
    if phase_count or not felled:
        return row
    alone = replace(rule, least=1, narrow=0)
    most = max(find_phases(felled, alone), key=lambda one: len(one.members)).members
    kinds = Counter(closed[one].felling_class for one in most)
    first, last = most_met(felled)
    return row | {
        "agreeing_count": len(most),
        "agreeing_cutting_count": kinds[FellingClass.CUTTING],
        "met_from_year": first,
        "met_to_year": last,
    }
