"""How fast the findings of a large record are right again after one cell was changed.

    python benchmarks/recheck.py [ELEMENTS] [--rounds N]

A record of that many elements (20,000 if left out) with two ties each, and for three in twenty a
sample, a plug, a result and a sealed event. Measures in one warm process, in turns: the whole check
and each of its phases, then `Checking.findings` after one cell of a column was changed on the disk,
and compares both reports. Prints processor seconds, how many rules were asked, and what part of the
whole check of the same run it takes.

    python benchmarks/recheck.py [ELEMENTS] --acts

The same, with every cell of the record stated by an act first (some 30 for each element, which
takes minutes), and a correction by `decide` besides.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import polars as pl
from checkers.whole import write_whole

from provenance._base.findings import Report
from provenance._checks.again import Checking
from provenance._checks.check import check_package
from provenance._checks.registry import package_rules
from provenance._checks.structure.structure import find_in_structure
from provenance._history.deciding import correct, decide
from provenance._history.entering import enter_hand_edits
from provenance._record.package import open_package

DATUMS = 40
EDITS = (
    *(("element", name, ("3.3", "3.4")) for name in ("length_m", "diameter_a1_cm")),
    ("element", "notes", ("seen again", "seen from the yard")),
    ("element", "place_id", ("P7", "P9")),
    ("sample", "element_id", ("E5", "E6")),
    ("sample", "length_mm", ("99", "98")),
    ("tie", "distance_m", ("4.4", "4.5")),
    ("plug", "stamp", ("77", "78")),
    ("lab_result", "outer_year", ("1899", "1898")),
)
"""Table, column, and values that are written there in turns."""


def write_record(folder: Path, n: int) -> None:
    """Write the record with n elements."""
    write_whole(folder, n, damaged=True)
    samples = 3 * n // 20
    for name in ("sample", "plug", "lab_result", "custody"):
        _change(folder, name, lambda frame: frame.head(samples))
    taken = pl.int_range(pl.len()) < samples
    said = pl.when(taken).then(pl.lit("true")).otherwise(pl.lit("false"))
    _change(folder, "element", lambda frame: frame.with_columns(sampled=said))
    rng = np.random.default_rng(7)
    datum = pl.int_range(DATUMS, eager=True)
    _change(
        folder,
        "datum",
        lambda frame: _filled(
            frame,
            datum_id=pl.select(pl.format("D{}", datum)).to_series(),
            site_id=pl.repeat("HOLL", DATUMS, eager=True),
            place_id=pl.repeat("P1", DATUMS, eager=True),
            kind=pl.repeat("nail", DATUMS, eager=True),
            x_m=(datum % 8).cast(pl.String),
            y_m=(datum // 8).cast(pl.String),
            z_m=pl.repeat("1", DATUMS, eager=True),
        ),
    )
    tie = pl.int_range(2 * n, eager=True)
    _change(
        folder,
        "tie",
        lambda frame: _filled(
            frame,
            tie_id=pl.select(pl.format("T{}", tie)).to_series(),
            kind=pl.repeat("distance", 2 * n, eager=True),
            from_datum_id=pl.select(
                pl.format("D{}", pl.Series(rng.integers(0, DATUMS, 2 * n)))
            ).to_series(),
            element_id=pl.select(pl.format("E{}", tie // 2 + 1)).to_series(),
            element_end=pl.Series(["a", "b"] * n),
            distance_m=pl.Series(np.round(rng.uniform(1, 9, 2 * n), 2)).cast(pl.String),
        ),
    )


def _filled(frame: pl.DataFrame, **columns: pl.Series) -> pl.DataFrame:
    height = len(next(iter(columns.values())))
    blank = pl.repeat(None, height, dtype=pl.String, eager=True)
    return pl.DataFrame({name: columns.get(name, blank) for name in frame.columns})


def _change(folder: Path, name: str, change: Callable[[pl.DataFrame], pl.DataFrame]) -> None:
    """Put another file in the place of a table, as every writer does."""
    path = folder / "tables" / f"{name}.csv"
    new = path.with_suffix(".new")
    change(pl.read_csv(path, infer_schema=False)).write_csv(new)
    new.rename(path)


def _phases(folder: Path) -> Iterator[tuple[str, float]]:
    """The phases of a whole check one by one, and what each took."""
    package = open_package(folder)
    tables = package.tables.with_faults()
    steps: dict[str, Callable[[], object]] = {
        "read": lambda: list(tables.each()),
        "structure": lambda: list(find_in_structure(package.model, tables.there())),
        "types": lambda: [tables[name] for name in package.model.tables],
        "rules": lambda: [one.find(tables) for one in package_rules()],
        "whole": lambda: check_package(open_package(folder)),
    }
    for name, step in steps.items():
        yield name, _seconds(step)[0]


def _seconds(step: Callable[[], object]) -> tuple[float, object]:
    started = time.process_time()
    found = step()
    return time.process_time() - started, found


def main() -> None:
    """Read the command line and measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("elements", nargs="?", type=int, default=20_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--acts", action="store_true", help="with a history")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "package"
        write_record(folder, given.elements)
        if given.acts:
            package = open_package(folder)
            with package.locked():
                enter_hand_edits(package)
        measure(folder, given.rounds, acts=given.acts)


def measure(folder: Path, rounds: int, *, acts: bool) -> None:
    """Print the table."""
    package = open_package(folder)
    check_package(package)
    checking = Checking(package)
    print("| | processor, s | rules asked | of the whole |\n|---|---|---|---|")
    taken: dict[str, list[float]] = {}
    for _ in range(rounds):
        for name, seconds in _phases(folder):
            taken.setdefault(name, []).append(seconds)
    whole = statistics.median(taken["whole"])

    def line(name: str, asked: object) -> None:
        seconds = statistics.median(taken[name])
        print(f"| {name} | {seconds:.3f} | {asked} | {seconds / whole:.2f} |")

    for name in list(taken):
        line(name, "")
    taken["again, first"] = [_seconds(checking.findings)[0]]
    line("again, first", len(package_rules()))
    for table, column, values in EDITS:
        name = f"{table}.{column}"
        for turn in range(rounds):
            value = pl.when(pl.int_range(pl.len()) == 11).then(pl.lit(values[turn % 2]))
            changed = value.otherwise(pl.col(column)).alias(column)
            _change(folder, table, lambda frame, changed=changed: frame.with_columns(changed))
            seconds, report = _seconds(checking.findings)
            taken.setdefault(name, []).append(seconds)
        assert isinstance(report, Report)
        if not report.found.equals(check_package(open_package(folder)).found):
            raise SystemExit(f"after {name} the findings are not those of a whole check")
        line(name, checking.asked)
    if acts:
        decide(package, correct("element", "E12", {"length_m": "3.7"}), who="MB")
        taken["a correction"] = [_seconds(checking.findings)[0]]
        line("a correction", checking.asked)


if __name__ == "__main__":
    main()
