"""Measures how long a cell takes until it is saved, in a small record and in a large one.

Run by hand: python benchmarks/desk.py [ELEMENTS]. Each act is forced to the disk. Beside the act at
the desk stand the same acts by `decide`, which opens the record and writes its tables each time,
and what the disk alone takes for a line.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

from benchmarks.finding_aid import many_records
from provenance._history.deciding import correct, decide, rename
from provenance._history.edits import Change
from provenance._history.entering import enter_hand_edits
from provenance._intake.working import Working
from provenance._record.package import Package

TIMES = 40


def cell(working: Working, key: str, field: str, after: str, table: str = "element") -> Change:
    row = working.row(table, key) or {}
    return Change(table, key, field, row.get(field, ""), after)


def one_line(path: Path) -> None:
    with open(path, "ab") as stream:
        stream.write(b"x" * 400 + b"\n")
        stream.flush()
        os.fsync(stream.fileno())


def measured(act: Callable[[int], object], times: int) -> tuple[list[float], float]:
    """Milliseconds of each, and of the processor in the middle."""
    took, used = [], []
    for number in range(times):
        start, busy = time.perf_counter(), time.thread_time()
        act(number)
        took.append(1000 * (time.perf_counter() - start))
        used.append(1000 * (time.thread_time() - busy))
    return took, statistics.median(used)


def told(label: str, act: Callable[[int], object], times: int = TIMES) -> float:
    took, used = measured(act, times)
    middle, most = statistics.median(took), max(took)
    print(f"  {label:44} {middle:8.1f} ms, at most {most:8.1f}; processor {used:8.1f}")
    return middle


def a_record(folder: Path, elements: int) -> Package:
    folder.mkdir()
    package = many_records(folder, elements)
    with package.locked():
        enter_hand_edits(package)
    return package


def at_the_desk(folder: Path, elements: int) -> dict[str, float]:
    """What acts take in a record of so many timbers; prints each, returns those to compare."""
    print(f"{elements:,} timbers")
    package = a_record(folder, elements)
    keys = [row["element_id"] for row in package.tables.rows("element")]
    found: dict[str, float] = {}

    def by_command(number: int) -> None:
        decide(package, correct("element", keys[number], {"notes": f"a{number}"}), who="MB")

    found["decide"] = told("a cell by decide", by_command, 4)
    found["line"] = told("one line to the disk, nothing else", lambda _: one_line(folder / "x"))
    opened: list[Working] = []
    told("open to work on", lambda _: opened.append(Working(package, quiet=3600)), 1)
    with opened[0] as working:

        def save(number: int) -> None:
            key = keys[number * 7 % len(keys)]
            text = f"{1 + number % 20} ft {number % 11} {1 + number % 2}/4 in"
            assert working.change([cell(working, key, "length_m", text)], who="MB").done

        def new(number: int) -> None:
            key = f"NEW-{number}"
            cells = {"element_id": key, "place_id": "H00-R1", "function": "post"}
            made = [cell(working, key, name, text) for name, text in cells.items()]
            assert working.change(made, who="MB").done

        def new_sample(number: int) -> None:
            key = str(900_000 + number)
            made = [
                cell(working, key, "sample_id", key, "sample"),
                cell(working, key, "element_id", keys[number], "sample"),
            ]
            assert working.change(made, who="MB").done

        def paste(number: int) -> None:
            made = [cell(working, key, "notes", f"p{number}") for key in keys[:100]]
            assert working.change(made, who="MB").done

        found["cell"] = told("a cell at the desk", save)
        told("a new row", new)
        told("a new sample", new_sample)
        told("100 cells pasted", paste, 5)
        told("undo", lambda _: working.undo("last", who="MB"), 5)
        told(
            "a row called otherwise",
            lambda n: working.decide(rename("element", keys[-1 - n], f"R-{n}"), who="MB"),
            5,
        )
        told("all rows of the table", lambda _: working.rows("element"), 3)
        told("the tables written", lambda _: working.write_tables(), 1)
        save(1000)
        # as the timer does it, so that others go on meanwhile
        writer = threading.Thread(target=working._write)
        writer.start()
        told("a cell while the tables are written", lambda n: save(2000 + n), 10)
        writer.join()
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("elements", type=int, nargs="?", default=20_000)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        small = at_the_desk(Path(scratch) / "small", 120)
        large = at_the_desk(Path(scratch) / "large", options.elements)
    print(f"decide / desk: small {small['decide'] / small['cell']:.0f}, ", end="")
    print(f"large {large['decide'] / large['cell']:.0f}")
    print(f"large / small at the desk: {large['cell'] / small['cell']:.1f}")
    print(f"desk / one line to the disk, large: {large['cell'] / large['line']:.1f}")


if __name__ == "__main__":
    main()
