"""The least number of trees, against brute force and an independent graph library."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import maximum_bipartite_matching

from provenance._derive.trees import Piece, StemRule, count_trees


def a_piece(code, butt, top, length=3.0, group="PIPO"):
    return Piece(code, butt, top, length, group)


def fits_above(lower: Piece, upper: Piece, rule: StemRule) -> bool:
    """Whether `upper` can have grown directly above `lower` in one stem.

    A stem does not get thicker upwards, so the upper butt must not be thicker than the lower one;
    equal butts are put in the order of their codes, which keeps the graph free of circles.
    """
    if lower.group != upper.group or lower.element_id == upper.element_id:
        return False
    if (upper.butt_cm, upper.element_id) >= (lower.butt_cm, lower.element_id):
        return False
    difference = upper.butt_cm - lower.top_cm
    return -rule.thinner_cm <= difference <= rule.thicker_cm


def test_two_pieces_that_fit_end_to_end_can_be_one_tree() -> None:
    count = count_trees([a_piece("A", 30, 24), a_piece("B", 23.5, 18)])
    assert count.stems == (("A", "B"),)


def test_pieces_of_equal_size_are_as_many_trees() -> None:
    assert count_trees([a_piece(c, 30, 24) for c in "ABC"]).trees == 3


def test_species_or_dates_that_differ_are_two_trees() -> None:
    count = count_trees([a_piece("A", 30, 24), a_piece("B", 23.5, 18, group="QUSP")])
    assert count.trees == 2


def test_poles_without_taper_never_make_a_circle() -> None:
    poles = [a_piece(code, 10, 10) for code in "ABCDE"]
    assert count_trees(poles).trees == 1
    assert len(count_trees(poles).stems[0]) == 5


def test_a_wider_tolerance_never_needs_more_trees() -> None:
    random = np.random.default_rng(3)
    butts = random.uniform(12, 35, 200)
    pieces = [a_piece(f"E{i}", b, b * 0.8) for i, b in enumerate(butts)]
    counts = [count_trees(pieces, StemRule(t, 2 * t)).trees for t in (0.1, 0.5, 1, 2, 4)]
    assert counts == sorted(counts, reverse=True)


PIECES = st.lists(
    st.tuples(st.integers(8, 20), st.integers(0, 5), st.sampled_from("xy")), max_size=7
).map(
    lambda sizes: [
        Piece(f"E{i}", float(butt), float(butt - less), 3.0, group)
        for i, (butt, less, group) in enumerate(sizes)
    ]
)


def fewest_by_brute_force(pieces, rule) -> int:
    """Try every choice of one upper piece (or none) for each piece."""
    choices = [[None, *(u for u in pieces if fits_above(p, u, rule))] for p in pieces]
    best = len(pieces)
    for chosen in itertools.product(*choices):
        uppers = [upper for upper in chosen if upper is not None]
        if len(set(uppers)) == len(uppers):
            best = min(best, len(pieces) - len(uppers))
    return best


@settings(max_examples=150)
@given(PIECES)
def test_small_sets_agree_with_brute_force(pieces) -> None:
    rule = StemRule()
    assert count_trees(pieces, rule).trees == fewest_by_brute_force(pieces, rule)


@given(PIECES)
def test_every_piece_is_in_one_stem_and_neighbours_fit(pieces) -> None:
    count = count_trees(pieces)
    by_code = {piece.element_id: piece for piece in pieces}
    assert sorted(itertools.chain(*count.stems)) == sorted(by_code)
    for stem in count.stems:
        for lower, upper in itertools.pairwise(stem):
            assert fits_above(by_code[lower], by_code[upper], count.rule)


@given(PIECES, st.randoms())
def test_the_order_of_the_pieces_does_not_matter(pieces, random) -> None:
    shuffled = list(pieces)
    random.shuffle(shuffled)
    assert count_trees(shuffled) == count_trees(pieces)


@pytest.mark.parametrize("seed", range(4))
def test_large_sets_agree_with_an_independent_matching(seed) -> None:
    """scipy.sparse.csgraph.maximum_bipartite_matching (Hopcroft-Karp) on the same graph."""
    random = np.random.default_rng(seed)
    butts = np.round(random.uniform(8, 35, 600), 1)
    tops = np.round(butts * random.uniform(0.6, 1.0, 600), 1)
    pieces = [
        a_piece(f"E{i:03}", float(b), float(t))
        for i, (b, t) in enumerate(zip(butts, tops, strict=True))
    ]
    rule = StemRule()
    edges = [
        (i, j)
        for i, lower in enumerate(pieces)
        for j, upper in enumerate(pieces)
        if fits_above(lower, upper, rule)
    ]
    rows, columns = zip(*edges, strict=True)
    graph = csr_matrix((np.ones(len(edges)), (rows, columns)), shape=(600, 600))
    matched = (maximum_bipartite_matching(graph, perm_type="column") >= 0).sum()
    assert count_trees(pieces, rule).trees == 600 - matched


def test_sizes_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="thicker"):
        count_trees([a_piece("A", 20, 24)])
    with pytest.raises(ValueError, match="same code"):
        count_trees([a_piece("A", 24, 20), a_piece("A", 20, 18)])
