"""The audit against `sha256sum`, its growth with the number of bundles, and kill -9 by the dozen.

python benchmarks/audit.py [--bundles 1000] [--megabytes 200] [--kills 50]

Growth is measured with small bundles, throughput with large ones; the cache is warm.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from provenance.bundle.bag import write_bag
from provenance.bundle.pack import pack_bundle
from provenance.catalogue.audit import Audit, audit_place
from provenance.catalogue.spread import Crew
from provenance.new import new_package


def a_bundle(folder: Path) -> Path:
    """A real bundle of an empty record, to be multiplied."""
    package = new_package(folder / "w", "blank", created=datetime(2031, 5, 4, tzinfo=UTC))
    site = {"site_id": "S1", "name": "Bench (invented)", "kind": "mixed", "country": "ZZ"}
    frame = package.table("site")
    frame.loc[2] = dict.fromkeys(frame.columns, "") | site
    package.write_table("site", frame)
    return pack_bundle(package, folder / "bundle")


def multiply(bundle: Path, place: Path, count: int) -> None:
    """Copies that are each a bundle of its own: their tag files differ."""
    for number in range(count):
        target = place / f"{number // 100:03}" / f"bundle-{number:05}"
        shutil.copytree(bundle, target)
        (target / "data" / "files").mkdir(exist_ok=True)
        (target / "data" / "files" / "number.txt").write_text(f"{number}\n")
        for tag in target.glob("*.txt"):
            tag.unlink()
        write_bag(target, {"Bagging-Date": "2031-05-04"})


def measure_growth(folder: Path, bundle: Path, most: int) -> None:
    points = []
    for count in (most // 10, most // 3, most):
        place = folder / f"of-{count}"
        multiply(bundle, place, count)
        index = folder / f"{count}.sqlite"
        start = time.perf_counter()
        audit = audit_place(place, index)
        seconds = time.perf_counter() - start
        refused = sum(one["standing"] not in ("sound", "faulty") for one in audit.standing)
        assert not refused, audit.standing[0]
        points.append((count, seconds))
        print(f"  {count:6} bundles {seconds:8.2f} s  {seconds / count * 1e3:6.1f} ms a bundle")
    (few, short), (many, long) = points[0], points[-1]
    exponent = math.log(long / short) / math.log(many / few)
    print(f"  seconds grow as bundles to the power {exponent:.2f}")


def measure_throughput(folder: Path, bundle: Path, megabytes: int) -> None:
    place = folder / "large"
    for number in range(4):
        target = place / f"bundle-{number}"
        shutil.copytree(bundle, target)
        files = target / "data" / "files"
        files.mkdir(exist_ok=True)
        for photo in range(max(megabytes // 4 // 8, 1)):
            (files / f"photo-{photo}.tif").write_bytes(os.urandom(8 << 20))
        for tag in target.glob("*.txt"):
            tag.unlink()
        write_bag(target, {"Bagging-Date": "2031-05-04"})
    names = [str(path) for path in sorted(place.rglob("*")) if path.is_file()]
    total = sum(os.path.getsize(name) for name in names) / 1e6
    script = ["xargs", "-0", "-n", "16"]
    listing = "\0".join(names).encode()
    seconds = {}
    for processes in (1, 2):
        start = time.perf_counter()
        subprocess.run(
            [*script, "-P", str(processes), "sha256sum"],
            input=listing,
            stdout=subprocess.DEVNULL,
            check=True,
        )
        seconds[f"sha256sum, {processes} process(es), one checksum"] = time.perf_counter() - start
    for workers in (1, 2):
        index = folder / f"large-{workers}.sqlite"
        start = time.perf_counter()
        audit_place(place, index, crew=Crew(workers))
        label = f"audit, {workers} process(es), two checksums and the record"
        seconds[label] = time.perf_counter() - start
    first = next(iter(seconds.values()))
    print(f"\n{len(names)} files, {total:.0f} MB")
    for label, one in seconds.items():
        print(f"  {label:52} {total / one:7.0f} MB/s  {first / one:5.2f} of the first")


def told(audit: Audit) -> str:
    """What an audit says, without dates and durations."""
    left_out = {"examined_at", "sound_at", "seconds", "run_id", "identity"}
    rows = [
        {name: value for name, value in one.items() if name not in left_out}
        for one in audit.standing
    ]
    return json.dumps(rows, sort_keys=True)


def kill_again_and_again(folder: Path, bundle: Path, kills: int) -> None:
    """Kill catalogue and audit at random moments; nothing may be lost, doubled or called sound."""
    place = folder / "killed"
    multiply(bundle, place, 60)
    damaged = place / "000" / "bundle-00007" / "data" / "files" / "number.txt"
    damaged.write_text("decayed\n")
    expected = told(audit_place(place, folder / "never.sqlite"))
    chance = random.Random(1)
    index = folder / "often.sqlite"
    met = rounds = 0
    while met < kills:
        work = ("catalogue", "audit")[rounds % 2]
        rounds += 1
        process = subprocess.Popen(
            [
                sys.executable,
                "-c",
                "from provenance.cli import main; main()",
                work,
                str(place),
                "--index",
                str(index),
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(chance.uniform(0.2, 3.0))
        process.send_signal(signal.SIGKILL)
        met += process.wait() == -signal.SIGKILL
        if not (index.exists() and index.stat().st_size):
            continue
        with sqlite3.connect(index) as database:
            assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            tables = {row[0] for row in database.execute("SELECT name FROM sqlite_schema")}
            if "examination" in tables:
                wrong = database.execute(
                    "SELECT count(*) FROM examination WHERE path LIKE '%bundle-00007' "
                    "AND outcome IN ('sound', 'changed')"
                ).fetchone()[0]
                twice = database.execute(
                    "SELECT count(*) FROM (SELECT 1 FROM examination GROUP BY path, run_id "
                    "HAVING count(*) > 1)"
                ).fetchone()[0]
                assert (wrong, twice) == (0, 0)
    after = told(audit_place(place, index))
    with sqlite3.connect(index) as database:
        runs = database.execute(
            "SELECT count(*), sum(outcome = 'finished') FROM run WHERE kind = 'audit'"
        ).fetchone()
    print(f"\n{met} kills in {rounds} starts; audits begun {runs[0]}, finished {runs[1]}")
    print(f"  what the audit says is as if it had never been killed: {after == expected}")
    assert after == expected


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bundles", type=int, default=1000)
    parser.add_argument("--megabytes", type=int, default=200)
    parser.add_argument("--kills", type=int, default=50)
    chosen = parser.parse_args()
    print(f"{os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as scratch:
        bundle = a_bundle(Path(scratch))
        if chosen.bundles:
            measure_growth(Path(scratch), bundle, chosen.bundles)
        if chosen.megabytes:
            measure_throughput(Path(scratch), bundle, chosen.megabytes)
        if chosen.kills:
            kill_again_and_again(Path(scratch), bundle, chosen.kills)


if __name__ == "__main__":
    main()
