"""Bounds how many trees stand behind pieces of wood, each with the pieces that prove it.

Counted are stems of the recorded wood. Several certificates each prove that there cannot be fewer:
a stem passes each of its diameters once (the most intervals over one point are the fewest chains
that cover them: Dilworth 1950), gives no more length than its longest, and has one base; and a tree
was felled once, so that counts of periods that exclude each other add up. Which pieces were
neighbors in a tree is never guessed. Pieces that are said to be of one tree count once.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

END_ERROR_CM = 1.0
"""By how much each end is drawn in where the record gives no figure: in simulations of the method
2.5 standard deviations of the reading of an end."""
MOST_CUTS = 30
"""Years at which periods may end; more of them make the bound little better and much slower."""
_MOST_DIGITS = 6


@dataclass(frozen=True)
class Piece:
    """One piece of wood.

    `share` is the least part of its log's section, 0 where nothing is known of it. `butt_cm` and
    `top_cm` are diameters of the stem, None where its outside is not there at both ends. `felled`
    are the first and the last year in which its tree can have been felled. A `species` of '' is not
    known. `longest_m` is the longest stem of such wood, None where nobody gave it. `like` is how
    many pieces the row stands for; each may be a tree, and only one is known to be.
    """

    element_id: str
    tree: str
    species: str = ""
    length_m: float = 0.0
    share: float = 0.0
    butt_cm: float | None = None
    top_cm: float | None = None
    felled: tuple[int, int] | None = None
    stem_base: bool = False
    end_error_cm: float = END_ERROR_CM
    longest_m: float | None = None
    like: int = 1

    @property
    def passes(self) -> tuple[float, float] | None:
        """The diameters of stem that it certainly passes, in cm; None where there are none."""
        if self.butt_cm is None or self.top_cm is None:
            return None
        # rounded, so that ends that meet in decimals also meet in binary numbers
        low = round(self.top_cm + self.end_error_cm, _MOST_DIGITS)
        high = round(self.butt_cm - self.end_error_cm, _MOST_DIGITS)
        return (low, high) if low < high else None


@dataclass(frozen=True)
class Certificate:
    """Why there cannot be fewer trees: the pieces named need `trees` by themselves.

    `reason` is a code of the vocabulary bound_reason. A sum has `parts`, those of felling periods
    with the years that they lie in.
    """

    trees: int
    reason: str
    pieces: tuple[str, ...]
    at_diameter_cm: float | None = None
    log_length_m: float | None = None
    parts: tuple[Certificate, ...] = ()
    years: tuple[int, int] | None = None


def lower_bound(pieces: Iterable[Piece]) -> Certificate:
    """The fewest trees that can have given the pieces, all taken to be of one species.

    Raises ValueError when two pieces share a code or a top is thicker than its butt.
    """
    return _lower(of_trees(pieces))


def lower_bound_by_species(
    pieces: Iterable[Piece], genera: Mapping[str, tuple[str, bool]]
) -> tuple[dict[str, Certificate], Certificate]:
    """The bound of each species, and that of all wood.

    `genera` has of each species its genus, and whether it tells more than that. What is not in
    there is of unknown species and has no part in the sum, nor has the smaller of wood of which
    only the genus is known and of the species in it: both can be the same trees. Of the sum and the
    bound of all pieces as one species the larger is taken.
    """
    known = of_trees(pieces)
    by_species: dict[str, list[Piece]] = defaultdict(list)
    for piece in known:
        if piece.species in genera:
            by_species[piece.species].append(piece)
    each = {species: _lower(by_species[species]) for species in sorted(by_species)}
    by_genus: dict[str, dict[bool, list[Certificate]]] = defaultdict(lambda: {True: [], False: []})
    for species, one in each.items():
        genus, told = genera[species]
        by_genus[genus][told].append(one)
    parts = [
        part
        for sides in by_genus.values()
        for part in max(sides[True], sides[False], key=lambda side: sum(one.trees for one in side))
    ]
    together = Certificate(sum(one.trees for one in parts), "species_sum", (), parts=tuple(parts))
    as_one = _lower(known)
    return each, as_one if as_one.trees >= together.trees else together


def upper_bound(pieces: Iterable[Piece]) -> int:
    """The most trees: every piece may be one, except those that are said to be of one tree."""
    known = list(pieces)
    return len({piece.tree for piece in known}) + sum(piece.like - 1 for piece in known)


def likely_count(
    log_length_m: float, per_tree_m: float, spread: float, between_trees: float = 0.0
) -> tuple[float, float, float]:
    """Trees and the ends of their 90 % range, by the recorded length that one tree yields.

    `spread` is the standard deviation of `per_tree_m` as a share of it, `between_trees` that of the
    length of single trees. The range is 1.645 standard deviations of a normal distribution.
    """
    count = log_length_m / per_tree_m
    sd = count * math.sqrt(spread**2 + between_trees**2 / max(count, 1.0))
    return count, max(0.0, count - 1.645 * sd), count + 1.645 * sd


def of_trees(pieces: Iterable[Piece]) -> list[Piece]:
    """The pieces by code, each with the species and the years of felling of its tree.

    Where those of one tree contradict each other they count for nothing. Raises ValueError as
    `lower_bound`.
    """
    known = sorted(pieces, key=lambda one: one.element_id)
    trees: dict[str, list[Piece]] = defaultdict(list)
    for before, piece in zip((None, *known), known, strict=False):
        if before is not None and before.element_id == piece.element_id:
            raise ValueError(f"two timbers have the code {piece.element_id}")
        if piece.butt_cm is not None and piece.butt_cm < (piece.top_cm or 0):
            raise ValueError(f"{piece.element_id}: the top is thicker than the butt")
        trees[piece.tree].append(piece)
    shared = {}
    for tree, own in trees.items():
        species = {piece.species for piece in own} - {""}
        years = [piece.felled for piece in own if piece.felled]
        first, last = max((y[0] for y in years), default=1), min((y[1] for y in years), default=0)
        felled = (first, last) if first <= last else None
        shared[tree] = (species.pop() if len(species) == 1 else "", felled)
    return [
        replace(piece, species=shared[piece.tree][0], felled=shared[piece.tree][1])
        for piece in known
    ]


def _lower(pieces: Sequence[Piece]) -> Certificate:
    at_once, apart = _felled_at_once(pieces), _by_periods(pieces)
    return apart if apart.trees > at_once.trees else at_once


def _felled_at_once(pieces: Sequence[Piece]) -> Certificate:
    """The best of the certificates that ask no dates."""
    present = Certificate(min(len(pieces), 1), "present", tuple(p.element_id for p in pieces[:1]))
    others = (_by_overlap(pieces), _by_base(pieces), _by_length(pieces))
    return max((present, *others), key=lambda one: one.trees)


def _by_overlap(pieces: Sequence[Piece]) -> Certificate:
    spans: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for piece in pieces:
        if piece.passes:
            spans[piece.tree].append(piece.passes)
    whole = [span for own in spans.values() for span in _united(own)]
    if not whole:
        return Certificate(0, "overlap", ())
    starts, ends = (np.sort(np.array(side)) for side in zip(*whole, strict=True))
    passing = np.searchsorted(starts, starts, "right") - np.searchsorted(ends, starts, "right")
    most = int(passing.argmax())
    at = float(starts[most])
    through = {p.tree: p.element_id for p in reversed(pieces) if _passes(p, at)}
    return Certificate(int(passing[most]), "overlap", tuple(sorted(through.values())), at)


def _passes(piece: Piece, at_cm: float) -> bool:
    return piece.passes is not None and piece.passes[0] <= at_cm < piece.passes[1]


def _united(spans: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Spans of one tree, those that overlap made one, so that it counts once at each diameter."""
    united: list[tuple[float, float]] = []
    for low, high in sorted(spans):
        if united and low <= united[-1][1]:
            united[-1] = (united[-1][0], max(united[-1][1], high))
        else:
            united.append((low, high))
    return united


def _by_base(pieces: Sequence[Piece]) -> Certificate:
    # what is only a part of its log may show the base of that log together with other parts
    based = {p.tree: p.element_id for p in reversed(pieces) if p.stem_base and p.share == 1.0}
    return Certificate(len(based), "base", tuple(sorted(based.values())))


def _by_length(pieces: Sequence[Piece]) -> Certificate:
    used = [piece for piece in pieces if piece.longest_m and piece.share * piece.length_m > 0]
    stems: dict[str, float] = defaultdict(float)
    for piece in used:
        stems[piece.tree] += piece.length_m * piece.share / (piece.longest_m or math.inf)
    need = sum(min(1.0, part) for part in stems.values())
    return Certificate(
        math.ceil(round(need, _MOST_DIGITS)),
        "length",
        tuple(piece.element_id for piece in used),
        log_length_m=sum(piece.length_m * piece.share for piece in used),
    )


def _by_periods(pieces: Sequence[Piece]) -> Certificate:
    """The best sum over periods of years that exclude each other.

    A tree counts only in a period that all its years of felling lie in.
    """
    dated = [(*piece.felled, piece) for piece in pieces if piece.felled]
    ends = sorted({last for _, last, _ in dated})
    if len(ends) > MOST_CUTS:
        ends = [ends[round(place)] for place in np.linspace(0, len(ends) - 1, MOST_CUTS)]
    cuts = [-math.inf, *ends]
    best: list[tuple[int, tuple[Certificate, ...]]] = [(0, ())]
    for behind in range(1, len(cuts)):
        found = best[-1]
        for before in range(behind):
            years = [one for one in dated if cuts[before] < one[0] and one[1] <= cuts[behind]]
            inside = [piece for _, _, piece in years]
            if best[before][0] + len(inside) > found[0]:
                part = _felled_at_once(inside)
                if best[before][0] + part.trees > found[0]:
                    when = (min(one[0] for one in years), max(one[1] for one in years))
                    parts = (*best[before][1], replace(part, years=when))
                    found = (best[before][0] + part.trees, parts)
        best.append(found)
    trees, parts = best[-1]
    named = tuple(sorted(code for part in parts for code in part.pieces))
    return Certificate(trees, "periods", named, parts=parts)
