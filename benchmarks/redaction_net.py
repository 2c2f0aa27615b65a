"""What the search for places costs for each character, beside one pattern of coordinates.

    python benchmarks/redaction_net.py

Prints processor time for plain words, notes full of numbers, and a file of ring widths, and the
ratio to searching the same texts with the pattern of the rule about coordinates in open texts.
"""

from __future__ import annotations

import random
import re
import statistics
import time
from collections.abc import Callable

from provenance._disclosure.places.frames import Point
from provenance._disclosure.places.net import PlaceNet
from provenance._disclosure.places.shapes import COORDINATES
from tests.disclosure.places.notations import harmless

ROUNDS = 5
WORDS = "beam of oak in the north wall with a mortise and traces of soot below its end"
PLACE = Point(37.48213, -108.51674, (26912,))


def words(count: int) -> list[str]:
    draw = random.Random(2)
    known = WORDS.split()
    return [" ".join(draw.choice(known) for _ in range(16)) for _ in range(count)]


def widths(count: int) -> list[str]:
    draw = random.Random(3)
    rows = (" ".join(f"{draw.randint(20, 450):5d}" for _ in range(10)) for _ in range(count))
    return [f"oak01 {1500 + number % 50 * 10} {row}" for number, row in enumerate(rows)]


def seconds(work: Callable[[], object]) -> float:
    started = time.process_time()
    work()
    return time.process_time() - started


def main() -> None:
    net = PlaceNet([PLACE])
    pattern = re.compile(COORDINATES)
    net.hits(["719566 4151255 and 500000 4000000"])  # grids are computed once for a package
    print("| texts | characters | µs a character | times the pattern |\n|---|---|---|---|")
    for name, texts in (
        ("words", words(3000)),
        ("notes full of numbers", harmless(3000)),
        ("ring widths, as a file", widths(3000)),
    ):
        count = sum(map(len, texts))
        is_file = name.endswith("file")

        def ours(texts: list[str] = texts, is_file: bool = is_file) -> object:
            return net.hits_in_file(texts) if is_file else net.hits(texts)

        def theirs(texts: list[str] = texts) -> object:
            return [pattern.findall(text) for text in texts]

        one = statistics.median(seconds(ours) for _ in range(ROUNDS))
        other = statistics.median(seconds(theirs) for _ in range(ROUNDS))
        print(f"| {name} | {count:,} | {one / count * 1e6:.2f} | {one / other:.0f} |")


if __name__ == "__main__":
    main()
