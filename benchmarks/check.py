"""How fast `treenail check` finds what is wrong with the structure of large tables.

    python benchmarks/check.py [ROWS …] [--reference-up-to ROWS] [--rounds N]

ROWS is n: five linked tables of the real schemas with 4 n rows in all (see checkers/record.py);
1000 and 100000 if left out. Compares the structure layer with the reference library (frictionless),
plain pandas and DuckDB, each in a process of its own, in turns, over sound and over damaged tables,
findings included. Prints seconds, processor seconds and peak memory of whole processes, and ratios
of one run. Ours makes every finding with its sentence, remedy and key; pandas and DuckDB only name
row, field and kind.

    python benchmarks/check.py --whole [ROWS …]

The whole check instead, every trade rule and the seals of the ledger included, over n elements,
samples, plugs, results and custody events each (see checkers/whole.py).
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

ITSELF = (sys.executable, __file__)
ENGINES = ("ours", "pandas", "duckdb", "reference")


def run(engine: str, folder: Path) -> dict[str, float]:
    """Check once in this process; seconds without imports, and the number of findings."""
    from checkers.opened import open_record

    if engine == "whole":
        from provenance._checks.check import check_package
        from provenance._record.package import open_package

        started = time.perf_counter()
        count = len(check_package(open_package(folder)))
        return {"inside": time.perf_counter() - started, "findings": count}
    package = open_record(folder)
    model = package.model
    if engine == "ours":
        from provenance._checks.structure.structure import check_structure

        started = time.perf_counter()
        count = len(check_structure(package))
    elif engine == "reference":
        from tests.checks.reference import reference_errors

        started = time.perf_counter()
        count = len(reference_errors(folder, model, "exact"))
    else:
        from checkers import duckdb_checker, pandas_checker

        check = {"pandas": pandas_checker, "duckdb": duckdb_checker}[engine].check
        started = time.perf_counter()
        count = len(check(folder, model))
    return {"inside": time.perf_counter() - started, "findings": count}


def run_apart(engine: str, folder: Path) -> dict[str, float]:
    """Check in a process of its own; adds its seconds, processor seconds and peak memory."""
    started = time.perf_counter()
    with tempfile.TemporaryFile("w+") as answer:
        child = subprocess.Popen([*ITSELF, "--run", engine, str(folder)], stdout=answer)
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode:
            raise SystemExit(f"{engine} ended with {child.returncode}")
        seconds = time.perf_counter() - started
        answer.seek(0)
        measured: dict[str, float] = json.load(answer)
    measured["seconds"] = seconds
    measured["processor"] = used.ru_utime + used.ru_stime
    measured["megabytes"] = used.ru_maxrss / 1024
    return measured


def compare(n: int, *, damaged: bool, rounds: int, reference: bool) -> None:
    """Run every engine in turns over one set of tables, and print medians and ratios."""
    # not loaded where it would be measured
    import statistics

    engines = [one for one in ENGINES if reference or one != "reference"]
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        # in a process of its own: a child's peak memory is at least what its parent had
        subprocess.run([*ITSELF, "--write", str(n), str(int(damaged)), scratch], check=True)
        written = sum(one.stat().st_size for one in (folder / "tables").iterdir())
        runs: dict[str, list[dict[str, float]]] = {one: [] for one in engines}
        for turn in range(rounds):
            for one in engines:
                if one != "reference" or turn == 0 or n <= 10_000:
                    runs[one].append(run_apart(one, folder))
    print(
        f"\n{'damaged' if damaged else 'sound'}, n = {n:,} ({4 * n:,} rows, {written / 1e6:.1f} MB)"
    )
    print("| engine | inside, s | process, s | processor, s | MB | findings | ratio of processor |")
    print("|---|---|---|---|---|---|---|")

    def median(one: str, what: str) -> float:
        return statistics.median(measured[what] for measured in runs[one])

    slowest = median(engines[-1], "processor")
    for one in engines:
        print(
            f"| {one} | {median(one, 'inside'):.3f} | {median(one, 'seconds'):.2f} | "
            f"{median(one, 'processor'):.2f} | {median(one, 'megabytes'):.0f} | "
            f"{median(one, 'findings'):.0f} | {slowest / median(one, 'processor'):.1f} |"
        )


def measure_whole(n: int) -> None:
    """Run the whole check once over n rows a table and print a line."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "package"
        subprocess.run([*ITSELF, "--write-whole", str(n), str(folder)], check=True)
        one = run_apart("whole", folder)
    print(
        f"| {n:,} | {one['inside']:.2f} | {one['processor']:.2f} | {one['megabytes']:.0f} | "
        f"{one['findings']:.0f} |"
    )


def main() -> None:
    """Read the command line and compare."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", nargs="*", type=int, default=[1_000, 100_000])
    parser.add_argument("--reference-up-to", type=int, default=100_000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--run", nargs=2, metavar=("ENGINE", "FOLDER"), help=argparse.SUPPRESS)
    parser.add_argument("--whole", action="store_true", help="the whole check, ours alone")
    parser.add_argument("--write", nargs=3, help=argparse.SUPPRESS)
    parser.add_argument("--write-whole", nargs=2, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.write_whole:
        from checkers.whole import write_whole

        write_whole(Path(given.write_whole[1]), int(given.write_whole[0]), damaged=False)
        return
    if given.write:
        from checkers.record import write_record

        n, damaged, folder = given.write
        write_record(Path(folder), int(n), damaged=damaged == "1")
        return
    if given.run:
        print(json.dumps(run(given.run[0], Path(given.run[1]))))
        return
    if given.whole:
        print("| n | seconds | processor, s | MB | findings |")
        print("|---|---|---|---|---|")
        for n in given.rows:
            measure_whole(n)
        return
    for needed in ("duckdb", "frictionless"):
        if importlib.util.find_spec(needed) is None:
            raise SystemExit(f"{needed} is needed: pip install -e .[dev]")
    for n in given.rows:
        for damaged in (False, True):
            compare(
                n,
                damaged=damaged,
                rounds=given.rounds,
                reference=n <= given.reference_up_to,
            )


if __name__ == "__main__":
    main()
