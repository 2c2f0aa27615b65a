"""Simulates known trees cut into known pieces to see whether the bounds of their number hold.

Run by hand: python benchmarks/trees.py [RUNS] (for a hundred trees; more for fewer, in step). All
figures of the forest are invented: 22 m tall and 34 cm thick at breast height on average, with a
root flare, in the form d = D ((H - h) / (H - 1.3))^p (Ormerod 1973, from memory). Trees are cut
into beams, poles and lintels; after a third of the cuts some wood is lost; four of five pieces are
in the record. Ends are read with an error of 0.37 cm.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from provenance._derive.wood.trees import Piece, likely_count, lower_bound, upper_bound

LONGEST_M = 25.0
"""No invented tree is useful over more."""
READ_SD_CM, LEAST_TOP_CM, RECORDED, FLARE = 0.37, 8.0, 0.8, 0.15
KINDS = ("round", "round", "round", "two_sided", "half", "boxed", "squared", "plank")
SHARE = {"half": 0.5, "squared": 0.25, "plank": 0.0}
SIDE_BY_SIDE = {"half": 2, "squared": 4, "plank": 6}


class Forest(NamedTuple):
    """How a case differs from the usual one."""

    dated: float = 0.0
    end_error_cm: float = 1.0
    longest_m: float = LONGEST_M
    read_sd_cm: float = READ_SD_CM
    beams_only: bool = False
    bases: float = 0.0


def diameter_cm(at_m: float, breast_cm: float, height_m: float, power: float) -> float:
    """Of the stem at a height, with the flare of its root."""
    plain = breast_cm * ((height_m - at_m) / (height_m - 1.3)) ** power
    return float(plain * (1 + FLARE * np.exp(-at_m / 0.5)))


def pieces_of(trees: int, forest: Forest, random: np.random.Generator) -> list[tuple[int, Piece]]:
    """The recorded pieces of so many trees, each with the number of its tree."""
    years = 1700 + 15 * random.integers(0, 6, trees)
    found: list[tuple[int, Piece]] = []
    for tree in range(trees):
        height, power = random.normal(22, 2.5), random.uniform(0.7, 1.0)
        breast, at = random.normal(34, 6), 0.3
        while True:
            length = 5.0 if forest.beams_only else float(random.choice([2.0, 3.0, 4.0, 5.0, 6.0]))
            if at + length > min(height - 2, LONGEST_M) or (
                diameter_cm(at + length, breast, height, power) < LEAST_TOP_CM
            ):
                break
            kind = "round" if forest.beams_only else str(random.choice(KINDS))
            for side in range(SIDE_BY_SIDE.get(kind, 1)):
                ends = (
                    diameter_cm(where, breast, height, power) + random.normal(0, forest.read_sd_cm)
                    for where in (at, at + length)
                )
                top, butt = sorted(ends)
                sized = kind in ("round", "two_sided")
                rings = int(random.choice([0, 0, 0, 5, 15]))
                felled = (int(years[tree]) - rings, int(years[tree]) + rings)
                piece = Piece(
                    "",
                    "",
                    "PISY",
                    length,
                    SHARE.get(kind, 1.0),
                    butt if sized else None,
                    top if sized else None,
                    felled if random.random() < forest.dated else None,
                    at == 0.3 and side == 0 and random.random() < forest.bases,
                    forest.end_error_cm,
                    forest.longest_m,
                )
                if random.random() < RECORDED:
                    code = f"E{len(found):05}"
                    found.append((tree, replace(piece, element_id=code, tree=code)))
            at += length + (random.uniform(0.2, 1.5) if random.random() < 0.35 else 0.0)
    return found


def tried(name: str, trees: int, forest: Forest, runs: int) -> None:
    """One line: how often the bounds hold, and how near they are to the truth."""
    random = np.random.default_rng([trees, len(name)])
    held, shares, above = 0, [], []
    for _ in range(runs):
        known = pieces_of(trees, forest, random)
        truth = len({tree for tree, _ in known})
        pieces = [piece for _, piece in known]
        least, most = lower_bound(pieces).trees, upper_bound(pieces)
        held += least <= truth <= most
        shares.append(least / truth)
        above.append(most / truth)
    print(
        f"| {name} | {trees} | {runs} | {held / runs:.2f} | {np.mean(shares):.2f} | "
        f"{np.mean(above):.1f} |"
    )


def likely(trees: int, spread: float, bias: float, runs: int) -> None:
    """How often the 90 % range of the likely count holds, by a source that is off by `bias`."""
    random = np.random.default_rng(trees)
    # planks have no known share, so that where they are there is no likely count
    forest = Forest(beams_only=True)
    learned = pieces_of(3000, forest, random)
    per_tree = np.bincount([tree for tree, _ in learned], [one.length_m for _, one in learned])
    between = float(per_tree.std() / per_tree.mean())
    held, wide = 0, []
    for _ in range(runs):
        known = pieces_of(trees, forest, random)
        truth = len({tree for tree, _ in known})
        said = float(per_tree.mean()) * (1 + bias + random.normal(0, spread * (bias == 0)))
        meters = sum(one.length_m for _, one in known)
        _, low, high = likely_count(meters, said, spread, between)
        held += low <= truth <= high
        wide.append((high - low) / truth)
    print(f"| {trees} | {spread:.0%} | {bias:.0%} | {held / runs:.2f} | {np.mean(wide):.2f} |")


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    print("| wood | trees | runs | bounds hold | lower / truth | upper / truth |")
    print("|---|---|---|---|---|---|")
    for trees, factor in ((10, 3.0), (30, 2.0), (100, 1.0), (500, 0.12)):
        for name, forest in (
            ("mixed, undated", Forest()),
            ("mixed, 60 % dated", Forest(dated=0.6)),
            ("round beams, undated", Forest(beams_only=True)),
        ):
            tried(name, trees, forest, max(1, round(runs * factor)))
    for name, forest in (
        ("mixed, 80 % of bases seen", Forest(bases=0.8)),
        ("beams, ends drawn in by 0.5 cm", Forest(beams_only=True, end_error_cm=0.5)),
        ("beams, ends not drawn in", Forest(beams_only=True, end_error_cm=0.0)),
        ("beams, errors three times as large", Forest(beams_only=True, read_sd_cm=3 * READ_SD_CM)),
        ("longest stem said to be 10 m", Forest(dated=0.6, longest_m=10.0)),
    ):
        tried(name, 100, forest, runs)
    print("\n| trees | spread | source off by | 90 % range holds | width / truth |")
    print("|---|---|---|---|---|")
    for trees in (10, 100):
        likely(trees, 0.15, 0.0, 3 * runs)
        likely(trees, 0.15, 0.3, 3 * runs)
    many = [one for _, one in pieces_of(2000, Forest(dated=1.0), np.random.default_rng(1))]
    many = [replace(one, element_id=f"{k}-{one.element_id}", tree=f"{k}-{one.tree}")
            for k in range(2) for one in many][:20_000]  # fmt: skip
    start = time.process_time()
    lower_bound(many)
    print(f"\n{len(many)} dated pieces: {time.process_time() - start:.1f} s of processor")


if __name__ == "__main__":
    main()
