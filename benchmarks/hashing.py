"""How near pack and verify come to what hashlib reaches on all cores.

    python benchmarks/hashing.py [MEGABYTES] [FOLDER]

Writes files of random bytes in three shapes (many small, some of middling size, one large) into
FOLDER (a temporary one if left out) and prints throughputs and ratios of one run, the cache warm.
The limit is hashlib over the same files, sha256 and sha512, a thread a core, with nothing else
done; 'in memory' is hashlib without any reading. 'pack' and 'verify' are the whole making and
checking of the bag around the files: hashing, manifests, comparison.
"""

from __future__ import annotations

import hashlib
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from provenance._bag.bag import write_bag
from provenance._bag.bag_check import judge_bag
from provenance._bag.hashing import ALGORITHMS, count_cores

PIECE = 1 << 20
ROUNDS = 5


def write_files(folder: Path, count: int, byte_count: int) -> list[str]:
    folder.mkdir(parents=True)
    block = os.urandom(min(byte_count, PIECE))
    for number in range(count):
        with open(folder / f"{number:06}.bin", "wb") as stream:
            left = byte_count
            while left > 0:
                stream.write(block[:left])
                left -= len(block)
    return sorted(path.name for path in folder.iterdir())


def hash_in_memory(total: int, threads: int) -> None:
    """The limit: hash `total` bytes of one buffer by both algorithms, shared out evenly."""
    block = os.urandom(PIECE)

    def work(algorithm: str, pieces: int) -> None:
        digest = hashlib.new(algorithm)
        for _ in range(pieces):
            digest.update(block)

    pieces = max(total // PIECE // threads, 1)
    with ThreadPoolExecutor(threads) as pool:
        jobs = [(name, pieces) for _ in range(threads) for name in ALGORITHMS]
        list(pool.map(lambda job: work(*job), jobs))


def hash_with_hashlib(folder: Path, names: list[str], threads: int) -> None:
    """The same files by hashlib alone: read, both algorithms, a thread a core."""

    def work(name: str) -> None:
        digests = [hashlib.new(algorithm) for algorithm in ALGORITHMS]
        with open(folder / name, "rb") as stream:
            while piece := stream.read(PIECE):
                for digest in digests:
                    digest.update(piece)

    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(work, names))


def seconds(call: Callable[[], object]) -> float:
    started = time.perf_counter()
    call()
    return time.perf_counter() - started


def main() -> None:
    megabytes = int(sys.argv[1]) if len(sys.argv) > 1 else 512
    cores = count_cores()
    total = megabytes * 1_000_000
    shapes = {
        "many small (20 kB)": (total // 10 // 20_000, 20_000),
        "middling (8 MB)": (max(total // 8_000_000, 1), 8_000_000),
        "one large": (1, total),
    }
    print(f"{cores} cores; MB/s, medians of {ROUNDS} in turns; sha256 and sha512 of every byte")
    print(f"{'files':20}{'in memory':>10}{'hashlib':>9}{'pack':>7}{'verify':>8}", end="")
    print(f"{'pack/hashlib':>14}{'verify/hashlib':>16}")
    with tempfile.TemporaryDirectory(dir=sys.argv[2] if len(sys.argv) > 2 else None) as scratch:
        for place, (shape, (count, byte_count)) in enumerate(shapes.items()):
            measure(shape, Path(scratch) / str(place), count, byte_count, cores)


def measure(shape: str, bag: Path, count: int, byte_count: int, cores: int) -> None:
    """One line: a bag of `count` files of `byte_count` bytes."""
    names = [f"data/{name}" for name in write_files(bag / "data", count, byte_count)]
    size = count * byte_count
    write_bag(bag, {})
    ways: dict[str, Callable[[], object]] = {
        "in memory": lambda: hash_in_memory(size, cores),
        "hashlib": lambda: hash_with_hashlib(bag, names, cores),
        "pack": lambda: write_bag(bag, {}),
        "verify": lambda: judge_bag(bag),
    }
    times: dict[str, list[float]] = {way: [] for way in ways}
    for _ in range(ROUNDS):  # in turns, so that a busy moment meets all of them
        for way, call in ways.items():
            for old in bag.glob("tagmanifest-*.txt") if way == "pack" else ():
                old.unlink()
            times[way].append(seconds(call))
    rate = {way: size / statistics.median(took) / 1e6 for way, took in times.items()}
    print(f"{shape:20}{rate['in memory']:10.0f}{rate['hashlib']:9.0f}{rate['pack']:7.0f}", end="")
    print(f"{rate['verify']:8.0f}", end="")
    print(f"{rate['pack'] / rate['hashlib']:14.0%}{rate['verify'] / rate['hashlib']:16.0%}")


if __name__ == "__main__":
    main()
