"""Estimates the least number of trees that can explain a set of pieces of wood.

A stem yields pieces one above the other: the butt of the upper one is about as thick as the top of
the lower one. Every piece is a node; 'can lie directly above' is an edge; the fewest stems are the
fewest paths that cover all nodes: pieces minus a maximum matching of lower to upper pieces
(minimum path cover of an acyclic graph; Fulkerson 1956, Dilworth's theorem, cited from memory).

Sorted by butt, the pieces that fit above one piece stand side by side, so the graph is convex and
the matching is found greedily in n log n steps (Glover 1967, convex bipartite graphs, from memory).

It is an estimate and a lower bound: equal sizes do not prove one stem.
"""

from __future__ import annotations

import heapq
from bisect import bisect_left, bisect_right
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Piece:
    """One piece of wood; `group` holds what two pieces of one stem must share (species, date)."""

    element_id: str
    butt_cm: float
    top_cm: float
    length_m: float
    group: Hashable = ""


@dataclass(frozen=True)
class StemRule:
    """How well the ends of neighbours must agree.

    The upper butt may be thicker than the lower top by `thicker_cm` (measuring error) and thinner
    by `thinner_cm` (measuring error and wood lost between the pieces).
    """

    thicker_cm: float = 1.0
    thinner_cm: float = 2.0


@dataclass(frozen=True)
class TreeCount:
    """The estimate: `stems` lists the element ids of each supposed stem, lowest piece first."""

    pieces: int
    stems: tuple[tuple[str, ...], ...]
    rule: StemRule

    @property
    def trees(self) -> int:
        """The least number of trees."""
        return len(self.stems)


def count_trees(pieces: Sequence[Piece], rule: StemRule | None = None) -> TreeCount:
    """The fewest stems that can hold all pieces; the same pieces in any order give the same stems.

    Raises ValueError when two pieces share a code or a top is thicker than its butt.
    """
    rule = rule or StemRule()
    codes = [piece.element_id for piece in pieces]
    if len(set(codes)) < len(codes):
        raise ValueError("two pieces have the same code")
    for piece in pieces:
        if piece.top_cm > piece.butt_cm:
            raise ValueError(f"{piece.element_id}: the top is thicker than the butt")
    groups: dict[Hashable, list[Piece]] = {}
    for piece in sorted(pieces, key=lambda one: (one.butt_cm, one.element_id)):
        groups.setdefault(piece.group, []).append(piece)
    stems: list[tuple[str, ...]] = []
    for group in groups.values():
        stems.extend(_stems(group, _matching(group, rule)))
    return TreeCount(len(pieces), tuple(sorted(stems)), rule)


def _matching(rising: Sequence[Piece], rule: StemRule) -> dict[int, int]:
    """Lower piece → upper piece, as many as can be; both by their place in `rising` butts."""
    butts = [piece.butt_cm for piece in rising]
    starts: dict[int, list[tuple[int, int]]] = {}
    for lower, piece in enumerate(rising):
        first = bisect_left(butts, piece.top_cm - rule.thinner_cm)
        behind = min(bisect_right(butts, piece.top_cm + rule.thicker_cm), lower)
        if first < behind:
            starts.setdefault(first, []).append((behind, lower))
    above: dict[int, int] = {}
    waiting: list[tuple[int, int]] = []
    for upper in range(len(rising)):
        for entry in starts.get(upper, ()):
            heapq.heappush(waiting, entry)
        while waiting and waiting[0][0] <= upper:
            heapq.heappop(waiting)
        if waiting:
            # of all that could take this piece, the one whose choice ends soonest takes it
            _, lower = heapq.heappop(waiting)
            above[lower] = upper
    return above


def _stems(rising: Sequence[Piece], above: Mapping[int, int]) -> list[tuple[str, ...]]:
    carried = set(above.values())
    stems = []
    for lowest in range(len(rising)):
        if lowest in carried:
            continue
        stem = [lowest]
        while stem[-1] in above:
            stem.append(above[stem[-1]])
        stems.append(tuple(rising[place].element_id for place in stem))
    return stems
