"""The audit against `sha256sum`, its growth with the number of bundles, and kill -9 by the dozen.

python benchmarks/audit.py [--bundles 1000] [--minutes 1] [--megabytes 200] [--kills 50]
                           [--record BUNDLE]

Growth is measured with small bundles, of which as many are examined as are begun in `--minutes`;
throughput with large ones, in which nearly all is bytes to hash. `--record` examines copies of one
bundle (the demonstration's, say), whose tables are filled. The cache is warm. Processor
seconds stand beside wall seconds, because a machine is seldom quiet; they leave out what worker
processes use.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from provenance._bag.bag import write_bag
from provenance._bag.hashing import ALGORITHMS
from provenance._bag.zipping import write_zip
from provenance._bundle.pack import pack
from provenance._catalogue.audit.audit import Audit, audit_place
from provenance._catalogue.build import update_catalogue
from provenance._catalogue.query import Wanted, find_in_catalogue
from provenance._catalogue.stores.spread import HERE, Crew, assembled
from provenance._record.new import new_package

UNHARMED = ("sound", "faulty", "unchecked")
"""An empty record has faults; what matters here is that its bytes are as they were packed."""


def a_bundle(folder: Path) -> Path:
    """A real bundle of an empty record, to be multiplied."""
    package = new_package(folder / "w", "blank", created=datetime(2031, 5, 4, tzinfo=UTC))
    site = {"site_id": "S1", "name": "Bench (invented)", "kind": "mixed", "country": "ZZ"}
    frame = package.table("site")
    frame.loc[2] = dict.fromkeys(frame.columns, "") | site
    package.write_table("site", frame)
    return pack(package, folder / "bundle").path


def multiply(bundle: Path, place: Path, count: int) -> None:
    """Bundles that are each one of its own: a small file differs; all others are hard links."""
    facts = (bundle / "bag-info.txt").read_text("utf-8")
    oxum = re.search(r"Payload-Oxum: (\d+)\.(\d+)", facts)
    assert oxum
    manifests = {name: (bundle / f"manifest-{name}.txt").read_text("utf-8") for name in ALGORITHMS}
    for number in range(count):
        target = place / f"{number // 100:03}" / f"bundle-{number:05}"
        shutil.copytree(bundle, target, copy_function=os.link, ignore=_tag_files)
        (target / "data" / "files").mkdir(exist_ok=True)
        content = f"{number}\n".encode()
        (target / "data" / "files" / "number.txt").write_bytes(content)
        tags = {"bagit.txt": (bundle / "bagit.txt").read_text("utf-8")}
        sizes = f"Payload-Oxum: {int(oxum[1]) + len(content)}.{int(oxum[2]) + 1}"
        tags["bag-info.txt"] = facts.replace(oxum[0], sizes)
        for name, text in manifests.items():
            digest = hashlib.new(name, content).hexdigest()
            tags[f"manifest-{name}.txt"] = f"{text}{digest}  data/files/number.txt\n"
        for name in ALGORITHMS:
            lines = [f"{hashlib.new(name, tags[t].encode()).hexdigest()}  {t}\n" for t in tags]
            (target / f"tagmanifest-{name}.txt").write_text("".join(lines))
        for tag, text in tags.items():
            (target / tag).write_text(text)


def _tag_files(folder: str, names: list[str]) -> set[str]:
    return {name for name in names if name.endswith(".txt") and not folder.count("/data")}


class Clock:
    """Wall and processor seconds since it was made."""

    def __init__(self) -> None:
        self.wall, self.processor = time.perf_counter(), self._used()

    @staticmethod
    def _used() -> float:
        times = os.times()
        return times.user + times.system

    def __str__(self) -> str:
        wall, processor = self.read()
        return f"{wall:8.2f} s, {processor:8.2f} s of processor"

    def read(self) -> tuple[float, float]:
        return time.perf_counter() - self.wall, self._used() - self.processor


def measure_growth(folder: Path, bundle: Path, most: int, minutes: float) -> None:
    for count in (max(most // 100, 10), most // 10, most):
        place = folder / f"of-{count}"
        multiply(bundle, place, count)
        index = folder / f"{count}.sqlite"
        print(f"\n{count} bundles of {sum(1 for p in bundle.rglob('*') if p.is_file()) + 1} files")
        clock = Clock()
        update_catalogue(place, index)
        wall, used = clock.read()
        each = f"{wall / count * 1e3:.1f} ms a bundle, {used / count * 1e3:.1f} of processor"
        print(f"  building the catalogue     {clock}; {each}", flush=True)
        clock = Clock()
        assert not update_catalogue(place, index).read
        print(f"  looking again, no change   {clock}", flush=True)
        clock = Clock()
        found = find_in_catalogue(index, "bundles", Wanted(site="S1"))
        assert len(found) == count
        print(f"  a query, all bundles out   {clock}", flush=True)
        nothing = Clock()
        audit_place(place, index, minutes=0)
        print(f"  audit that examines none   {nothing}", flush=True)
        idle = nothing.read()
        clock = Clock()
        audit = audit_place(place, index, minutes=minutes)
        wall, used = (one - other for one, other in zip(clock.read(), idle, strict=True))
        wrong = [one for one in audit.standing if one["standing"] not in UNHARMED]
        assert not wrong, wrong[0]
        each = (
            f"{wall / audit.examined * 1e3:.0f} ms, {used / audit.examined * 1e3:.0f} of processor"
        )
        print(f"  {audit.examined} examined, each in {each}", flush=True)
        shutil.rmtree(place)


def measure_record(folder: Path, bundle: Path, copies: int = 40) -> None:
    """Examine a bundle whose tables are filled, in one process and in two."""
    place = folder / "filled"
    for number in range(copies):
        shutil.copytree(bundle, place / f"bundle-{number:02}", copy_function=os.link)
    files = [path for path in bundle.rglob("*") if path.is_file()]
    size = sum(path.stat().st_size for path in files) / 1e6
    print(f"\n{copies} copies of {bundle.name}: {len(files)} files, {size:.1f} MB")
    with assembled(Crew(2)) as two:
        for label, crew in (("1 process", HERE), ("2 workers", two)):
            index = folder / "filled.sqlite"
            index.unlink(missing_ok=True)
            audit_place(place, index, minutes=0)
            clock = Clock()
            audit = audit_place(place, index, crew=crew)
            assert all(one["standing"] != "damaged" for one in audit.standing), audit.standing[0]
            wall, used = clock.read()
            each = f"{wall / copies * 1e3:.0f} ms, {used / copies * 1e3:.0f} of processor here"
            print(f"  {label:26} {audit.examined} examined, each in {each}", flush=True)


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
    zips = folder / "zips"
    zips.mkdir()
    for one in sorted(place.iterdir()):
        with open(zips / f"{one.name}.zip", "wb") as stream:
            write_zip(one, stream, base_name=one.name, day="2031-05-04")
    names = [str(path) for path in sorted(place.rglob("*")) if path.is_file()]
    total = sum(os.path.getsize(name) for name in names) / 1e6

    def sums(program: str, processes: int) -> Callable[[], object]:
        command = ["xargs", "-0", "-n", "16", "-P", str(processes), program]
        listing = "\0".join(names).encode()
        return lambda: subprocess.run(command, input=listing, stdout=subprocess.DEVNULL, check=True)

    def audit(where: Path, crew: Crew, large: int) -> Callable[[], object]:
        def work() -> None:
            index = folder / "throughput.sqlite"
            index.unlink(missing_ok=True)
            done = audit_place(where, index, crew=crew, large_bytes=large)
            assert all(one["standing"] in UNHARMED for one in done.standing), done.standing[0]

        return work

    with assembled(Crew(2)) as two:
        whole, shared = 10**12, int(total * 1e6 / 8)
        ways = {
            "sha256sum, 1 process": sums("sha256sum", 1),
            "sha256sum, 2 processes": sums("sha256sum", 2),
            "sha512sum, 1 process": sums("sha512sum", 1),
            "audit of folders, 1 process": audit(place, HERE, whole),
            "audit of folders, 2 workers": audit(place, two, whole),
            "audit of folders, 2 workers, by file": audit(place, two, shared),
            "audit of zips, 1 process": audit(zips, HERE, whole),
            "audit of zips, 2 workers, by file": audit(zips, two, shared),
        }
        times: dict[str, list[float]] = {label: [] for label in ways}
        for _ in range(3):  # in turns, so that a busy moment meets all of them
            for label, work in ways.items():
                start = time.perf_counter()
                work()
                times[label].append(time.perf_counter() - start)
    first = min(times["sha256sum, 1 process"])
    print(f"\n{len(names)} files, {total:.0f} MB; best of 3 in turns; an audit makes two checksums")
    for label, took in times.items():
        best = min(took)
        print(f"  {label:40} {total / best:6.0f} MB/s  {first / best:5.2f} of the first")


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
                "from provenance._cli import main; main()",
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
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--megabytes", type=int, default=200)
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--record", type=Path)
    chosen = parser.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start")
    with tempfile.TemporaryDirectory() as scratch:
        bundle = a_bundle(Path(scratch))
        if chosen.bundles:
            measure_growth(Path(scratch), bundle, chosen.bundles, chosen.minutes)
        if chosen.record:
            measure_record(Path(scratch), chosen.record)
        if chosen.megabytes:
            measure_throughput(Path(scratch), bundle, chosen.megabytes)
        if chosen.kills:
            kill_again_and_again(Path(scratch), bundle, chosen.kills)


if __name__ == "__main__":
    main()
