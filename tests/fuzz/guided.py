"""Damages packages, bundles and field files guided by coverage, for developers, by hand.

    pip install "treenail[fuzz]"        (atheris, 131 MB; CPython on Linux)
    for name in json table zip office; do
        nice python -m tests.fuzz.guided $name -runs=40000 -max_len=64 -len_control=0
    done
    for name in verify unpack accession compare locate catalogue package merge import data; do
        nice python -m tests.fuzz.guided $name -runs=4000 -max_len=64 -len_control=0
    done

is 200,000 tries. The first word is one of READERS below or of TARGETS in targets.py; what follows
is libFuzzer's: a folder to keep its corpus in, -seed, -runs. A crash ends it; the file that it
leaves is tried again by naming that in place of the folder. Prints how many were tried, the longest
and the most memory; /dev/shm/fuzz-* is to be removed afterwards.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import atheris

LONGEST_SECONDS = 10.0
MOST_MB = 1_000

with atheris.instrument_imports(include=["provenance", "zipfile", "bagit"]):
    from provenance._base.errors import TreenailError
    from provenance._bundle.verify import verify_bundle
    from provenance._gate.documents import json_from
    from provenance._intake.files.readers import open_received
    from provenance._record.reading import read_table_bytes
    from tests.fuzz.mutations import (
        Choices,
        Given,
        mutated_bytes,
        mutated_csv,
        mutated_json,
        mutated_tree,
        pick,
        zipped,
    )
    from tests.fuzz.room import Room
    from tests.fuzz.seeding import write_seeds
    from tests.fuzz.targets import TARGETS, Seeds, office_file, try_once


class Tried:
    """What was tried, and what came of it."""

    def __init__(self) -> None:
        self.count = 0
        self.codes: Counter[int] = Counter()
        self.longest = 0.0
        self.begun = time.monotonic()

    def __str__(self) -> str:
        codes = ", ".join(f"exit {code}: {n}" for code, n in sorted(self.codes.items()))
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10
        return (
            f"{self.count} tried in {time.monotonic() - self.begun:.0f} s ({codes}); "
            f"longest {self.longest:.2f} s; peak memory {most} MB"
        )


def main() -> None:
    """Run one target until libFuzzer has enough."""
    name = sys.argv.pop(1)
    warnings.simplefilter("ignore")
    folder = Path(tempfile.mkdtemp(prefix="fuzz-", dir="/dev/shm"))
    seeds = Seeds(folder / "seeds")
    write_seeds(seeds.folder)
    room = Room(folder / "room")
    tried = Tried()

    def once(data: bytes) -> None:
        begun = time.process_time()
        tried.count += 1
        if name in TARGETS:
            tried.codes.update(try_once(name, Given(data), seeds, room))
        else:
            _read(name, data, seeds, room)
        took = time.process_time() - begun
        tried.longest = max(tried.longest, took)
        assert took < LONGEST_SECONDS, f"it took {took:.1f} s"
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10
        assert most < MOST_MB, f"it took {most} MB"
        if tried.count % 500 == 0:
            print(f"{name}: {tried}", flush=True)

    atheris.Setup(sys.argv, once)
    atheris.Fuzz()


def _read(name: str, data: bytes, seeds: Seeds, room: Room) -> None:
    """Bytes as they are, and something sound damaged by them, given to one reader."""
    choices = Given(data)
    sound = _sound(name, choices, seeds)
    for given in (data, mutated_bytes(choices, sound)):
        with suppress(TreenailError):
            READERS[name](given, room)


def _sound(name: str, choices: Choices, seeds: Seeds) -> bytes:
    if name == "zip":
        tags = {"bagit.txt", "bag-info.txt", "manifest-sha256.txt", "data/datapackage.json"}
        small = {path: one for path, one in seeds.bundle.items() if path in tags}
        return zipped(choices, mutated_tree(choices, small, specials=False), "b/")
    if name == "office":
        return office_file(choices, seeds.forms[pick(choices, ("timbers.xlsx", "timbers.ods"))])
    path = "datapackage.json" if name == "json" else "tables/element.csv"
    sound = seeds.package[path]
    assert isinstance(sound, bytes)
    return mutated_csv(choices, sound) if name == "table" else mutated_json(choices, sound)


def _read_zip(data: bytes, room: Room) -> None:
    path = room.folder / "bundle.zip"
    path.write_bytes(data)
    verify_bundle(path)


def _read_office(data: bytes, room: Room) -> None:
    path = room.folder / "timbers"
    path.write_bytes(data)
    received = open_received(path)
    try:
        for sheet in received.sheet_names:
            received.sheet(sheet).facts()
            for _ in received.sheet(sheet).rows():
                pass
    finally:
        received.close()


READERS: dict[str, Callable[[bytes, Room], object]] = {
    "json": lambda data, _: json_from(data, "document"),
    "table": lambda data, _: read_table_bytes(data),
    "zip": _read_zip,
    "office": _read_office,
}


if __name__ == "__main__":
    main()
