"""Bounds of the number of trees, against hand cases, an exact solver and a graph library."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from provenance._derive.wood.trees import (
    Piece,
    likely_count,
    lower_bound,
    lower_bound_by_species,
    upper_bound,
)

GENERA = {"PIPO": ("Pinus", True), "PIED": ("Pinus", True), "PISP": ("Pinus", False)}
GENERA |= {"ABCO": ("Abies", True)}


def a_round(code, butt, top, length=4.0, **more):
    return Piece(code, code, "PIPO", length, 1.0, butt, top, **more)


def least(pieces) -> tuple[int, str]:
    found = lower_bound(pieces)
    assert found.trees <= upper_bound(pieces)
    if not found.parts and found.reason in ("overlap", "base", "present"):
        assert len(found.pieces) == found.trees
    return found.trees, found.reason


# -- worked by hand --------------------------------------------------------------------------------


def test_forty_poles_are_at_least_seven_trees_of_25_m_and_at_most_forty() -> None:
    """40 poles of 4 m are 160 m, and 160 / 25 = 6.4; without a longest stem they may be one."""
    poles = [a_round(f"P{k:02}", 12.0, 12.0) for k in range(40)]
    assert least(poles) == (1, "present")
    assert least([replace(one, longest_m=25.0) for one in poles]) == (7, "length")
    assert least([replace(one, longest_m=160.0) for one in poles]) == (1, "present")
    assert upper_bound(poles) == 40
    joined = [replace(one, tree="P00") if one.tree in ("P01", "P02") else one for one in poles]
    assert upper_bound(joined) == 38


def test_beams_of_one_size_pass_one_diameter_and_what_lies_above_does_not() -> None:
    beams = [a_round(f"B{k}", 24.0, 18.0) for k in range(5)]
    found = lower_bound(beams)
    assert (found.trees, found.reason, found.at_diameter_cm) == (5, "overlap", 19.0)
    assert found.pieces == ("B0", "B1", "B2", "B3", "B4")
    # drawn in by 1 cm each the ends of these two meet at 19 cm, in decimals that are not binary
    assert least([a_round("A", 24.1, 18.1), a_round("B", 20.1, 12.0)])[0] == 1
    assert least([a_round("A", 24.1, 18.1), a_round("B", 20.2, 12.0)])[0] == 2


def test_felling_periods_that_exclude_each_other_add_up() -> None:
    """Two pieces that fit one above the other, the pith 1788 below that of 1794: were they felled
    at one time they can be one tree, and an undated piece can be of either.
    """
    stack = [a_round("S1", 24.0, 18.0), a_round("S2", 18.0, 12.0), a_round("S3", 12.0, 8.0)]
    years = [(1849, 1850), (1849, 1862), None]
    one_time = [replace(one, felled=when) for one, when in zip(stack, years, strict=True)]
    assert least(one_time) == (1, "present")
    apart = [*one_time[:1], replace(stack[1], felled=(1851, 1862)), stack[2]]
    found = lower_bound(apart)
    assert (found.trees, found.reason) == (2, "periods")
    assert [part.years for part in found.parts] == [(1849, 1850), (1851, 1862)]


def test_split_lintels_and_sawn_jambs_count_by_the_share_of_their_log_alone() -> None:
    halves = [Piece(f"L{k}", f"L{k}", "PIPO", 2.0, 0.5, longest_m=4.0) for k in range(4)]
    jambs = [Piece(f"J{k}", f"J{k}", "PIPO", 2.0, 0.25, longest_m=4.0) for k in range(4)]
    planks = [Piece(f"K{k}", f"K{k}", "PIPO", 2.0, 0.0, longest_m=4.0) for k in range(9)]
    assert least(halves) == (1, "present")
    assert least([*halves, *jambs, *planks]) == (2, "length")  # 4 m of halves and 2 m of quarters
    bases = [replace(one, stem_base=True) for one in halves]
    assert least(bases) == (1, "present")
    assert least([replace(one, share=1.0) for one in bases]) == (4, "base")


def test_wood_of_unknown_species_or_genus_may_be_of_the_trees_beside_it() -> None:
    wood = {
        "PIPO": [a_round(f"A{k}", 24, 18) for k in range(3)],
        "PIED": [replace(a_round(f"B{k}", 14, 10), species="PIED") for k in range(2)],
        "PISP": [replace(a_round(f"C{k}", 24, 18), species="PISP") for k in range(4)],
        "ABCO": [replace(a_round("D0", 24, 18), species="ABCO")],
        "": [replace(a_round("E0", 24, 18), species="")],
    }
    for species, trees, reason in (
        (("PIPO", "PIED"), 5, "species_sum"),
        (("PIPO", "PIED", "PISP"), 7, "overlap"),
        (("PIED", "PISP"), 4, "overlap"),
        (("PIED", "ABCO"), 3, "species_sum"),
        (("PIPO", "PIED", "PISP", "ABCO", ""), 9, "overlap"),
        (("PIPO", "PIED", "ABCO", ""), 6, "species_sum"),
    ):
        pieces = [piece for one in species for piece in wood[one]]
        each, total = lower_bound_by_species(pieces, GENERA)
        assert (total.trees, total.reason) == (trees, reason), species
        assert {one: found.trees for one, found in each.items()} == {
            one: len(wood[one]) for one in sorted(species) if one
        }


def test_a_word_of_one_tree_counts_against_every_reason() -> None:
    """Both bounds are one, whatever sizes and years say against the word; the check names it."""
    pieces = [
        replace(
            a_round(f"E{k}", 24, 18, 20.0, felled=(1700 + k, 1700 + k), longest_m=10.0),
            tree="E0",
            stem_base=True,
            species=species,
        )
        for k, species in enumerate(("PIPO", "ABCO", "PIPO"))
    ]
    each, total = lower_bound_by_species(pieces, GENERA)
    assert (each, total.trees, upper_bound(pieces)) == ({}, 1, 1)


def test_pieces_that_cannot_be_told_apart_or_are_thicker_at_the_top_are_refused() -> None:
    with pytest.raises(ValueError, match="thicker"):
        lower_bound([a_round("A", 20, 24)])
    with pytest.raises(ValueError, match="code A"):
        lower_bound([a_round("A", 24, 20), a_round("A", 20, 18)])


def test_the_likely_count_and_its_range() -> None:
    """100 m at 5 m a tree are 20; sd of a product by JCGM 100, 5.1.6: relative parts in squares."""
    count, low, high = likely_count(100.0, 5.0, 0.15, 0.5)
    sd = 20 * math.sqrt(0.15**2 + 0.5**2 / 20)
    assert (count, low, high) == pytest.approx((20, 20 - 1.645 * sd, 20 + 1.645 * sd))


# -- laws ------------------------------------------------------------------------------------------

WHOLE = st.integers
PIECES = st.lists(
    st.builds(
        lambda tree, species, length, share, butt, less, years, base, longest: Piece(
            "",
            tree,
            species,
            float(length),
            share,
            float(butt),
            float(butt - less),
            years and (1700 + years[0], 1700 + years[0] + years[1]),
            base,
            0.5,
            longest,
        ),
        st.sampled_from(["T1", "T2", "", "", ""]),
        st.sampled_from(["PIPO", "PISP", "PIED", "ABCO", ""]),
        WHOLE(1, 9),
        st.sampled_from([1.0, 0.5, 0.25, 0.0]),
        WHOLE(10, 24),
        WHOLE(0, 8),
        st.none() | st.tuples(WHOLE(0, 60), WHOLE(0, 20)),
        st.booleans(),
        st.sampled_from([None, 10.0, 25.0]),
    ),
    max_size=14,
).map(
    lambda pieces: [
        replace(one, element_id=f"E{k:02}", tree=one.tree or f"E{k:02}")
        for k, one in enumerate(pieces)
    ]
)


def bounds_of(pieces) -> tuple[int, int]:
    _, total = lower_bound_by_species(pieces, GENERA)
    return total.trees, upper_bound(pieces)


@given(PIECES, st.randoms(use_true_random=False))
def test_more_wood_lowers_no_bound_and_its_order_does_not_matter(pieces, random) -> None:
    """A further piece of which nobody says that it is of a tree with others: its word can join."""
    at_least, at_most = bounds_of(pieces)
    assert at_least <= at_most
    mixed = random.sample(pieces, len(pieces))
    assert lower_bound_by_species(mixed, GENERA) == lower_bound_by_species(pieces, GENERA)
    alone = [one for one in pieces if one.tree == one.element_id]
    for gone in alone[:3]:
        fewer = bounds_of([one for one in pieces if one != gone])
        assert fewer[0] <= at_least, gone
        assert fewer[1] <= at_most, gone


@given(st.lists(st.tuples(WHOLE(5, 30), WHOLE(1, 12)), min_size=1, max_size=30))
def test_the_most_over_one_diameter_are_the_fewest_chains(ends) -> None:
    """Dilworth 1950: fewest chains of 'wholly above' that cover all, by networkx' matching."""
    pieces = [
        a_round(f"E{k}", float(low + wide), float(low), end_error_cm=0.0)
        for k, (low, wide) in enumerate(ends)
    ]
    graph = nx.Graph()
    graph.add_nodes_from(("upper", k) for k in range(len(ends)))
    for (j, lower), (k, upper) in itertools.permutations(enumerate(pieces), 2):
        if upper.butt_cm <= lower.top_cm:
            graph.add_edge(("upper", k), ("lower", j))
    tops = [("upper", k) for k in range(len(ends))]
    joined = nx.bipartite.hopcroft_karp_matching(graph, tops)
    assert lower_bound(pieces).trees == len(pieces) - len(joined) // 2


# -- known trees -----------------------------------------------------------------------------------


def exact_least(pieces, longest_m: float) -> int:
    """Fewest stems as bin packing with conflicts, by the solver HiGHS: in no stem two pieces that
    pass one diameter or were felled at different times, nor two bases, nor too much length.
    """

    def conflict(one: Piece, other: Piece) -> bool:
        overlap = (
            one.passes
            and other.passes
            and (max(one.passes[0], other.passes[0]) < min(one.passes[1], other.passes[1]))
        )
        at_once = not (one.felled and other.felled) or (
            max(one.felled[0], other.felled[0]) <= min(one.felled[1], other.felled[1])
        )
        bases = one.stem_base and other.stem_base and one.share == other.share == 1
        return bool(overlap or bases or not at_once)

    n = len(pieces)
    pairs = [(i, j) for i, j in itertools.combinations(range(n), 2)
             if conflict(pieces[i], pieces[j])]  # fmt: skip
    # x[i, s]: piece i lies in stem s, which is called by its first piece; y[s]: stem s is there
    at = lambda i, s: i * n + s  # noqa: E731
    rows, low, high = [], [], []

    def hold(cells, least, most):
        row = np.zeros(n * n + n)
        for column, value in cells:
            row[column] += value
        rows.append(row), low.append(least), high.append(most)

    for i in range(n):
        hold([(at(i, s), 1) for s in range(i + 1)], 1, 1)
    for s in range(n):
        for i, j in pairs:
            hold([(at(i, s), 1), (at(j, s), 1), (n * n + s, -1)], -np.inf, 0)
        used = [(at(i, s), one.length_m * one.share) for i, one in enumerate(pieces)]
        hold([*used, (n * n + s, -longest_m)], -np.inf, 1e-6)
        for i in range(n):
            hold([(at(i, s), 1), (n * n + s, -1)], -np.inf, 0)
    cost = np.r_[np.zeros(n * n), np.ones(n)]
    solved = milp(cost, constraints=LinearConstraint(np.array(rows), low, high),
                  integrality=np.ones(n * n + n), bounds=Bounds(0, 1))  # fmt: skip
    assert solved.status == 0, solved.message
    return round(solved.fun)


def cut_trees(random: np.random.Generator, trees: int, most: int) -> list[tuple[int, Piece]]:
    """Pieces of known trees: cones cut into lengths, some halved, read with an error, some dated,
    some not in the record. All figures are invented.
    """
    found: list[tuple[int, Piece]] = []
    for tree in range(trees):
        butt, taper, year = random.uniform(20, 36), random.uniform(0.8, 1.5), random.integers(4)
        felled = 1700 + 12 * int(year)
        low = 0.0
        while (top := butt - taper * (low + (length := random.uniform(2, 5)))) > 8:
            ends = butt - taper * low + random.normal(0, 0.37), top + random.normal(0, 0.37)
            years = (felled, felled + int(random.integers(10))) if random.random() < 0.6 else None
            halved = random.random() < 0.25
            for half in range(1 + halved):
                if random.random() < 0.8:
                    sizes = (None, None) if halved else (max(ends), min(ends))
                    share = 0.5 if halved else 1.0
                    piece = Piece("", "", "PIPO", length, share, *sizes, years,
                                  low == 0.0 and half == 0, 1.0, 25.0)  # fmt: skip
                    found.append((tree, piece))
            low += length
    kept = [found[k] for k in random.permutation(len(found))[:most]]
    return [(tree, replace(piece, element_id=f"E{k:02}", tree=f"E{k:02}"))
            for k, (tree, piece) in enumerate(kept)]  # fmt: skip


def test_bound_exact_count_and_truth_stand_in_order_where_trees_are_known() -> None:
    random = np.random.default_rng(12)
    seen = Counter()
    for _ in range(20):
        known = cut_trees(random, 3, 10)
        pieces = [piece for _, piece in known]
        found, truth = lower_bound(pieces), len({tree for tree, _ in known})
        exact = exact_least(pieces, 25.0)
        assert found.trees <= exact <= truth <= upper_bound(pieces)
        seen[found.reason] += 1
        seen["tight"] += found.trees == exact
    assert seen["tight"] >= 15, seen
    assert len(seen) > 2, seen
