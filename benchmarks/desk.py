"""Measures how long a cell takes until it is saved, in a small record and in a large one.

Run by hand: python benchmarks/desk.py [ELEMENTS]. Each act is forced to the disk. Beside the act at
the desk stand the same acts by `decide`, which opens the record and writes its tables each time,
and what the disk alone takes for a line. Then the desk is served, and its pages and acts are asked
through HTTP; with Chromium and Playwright there, the sheet is opened in it and scrolled.

    python benchmarks/desk.py --http FOLDER RECORD

The pages alone, of a record that lies in FOLDER.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import socket
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import uvicorn

from benchmarks.finding_aid import many_records
from provenance._desk.app import desk_app
from provenance._desk.desk import Desk
from provenance._desk.guard import Access
from provenance._history.deciding import correct, decide, rename
from provenance._history.edits import Change
from provenance._history.entering import enter_hand_edits
from provenance._intake.working import Working
from provenance._record.package import Package, open_package

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


class Browsing:
    """Asks a desk through HTTP, as a browser does, in the process of the desk."""

    def __init__(self, folder: Path) -> None:
        self.desk = Desk(folder, by="MB")
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.access = Access(self.listening.getsockname()[1])
        config = uvicorn.Config(desk_app(self.desk, self.access), log_level="warning")
        self.server = uvicorn.Server(config)
        self.desk.stop = lambda: setattr(self.server, "should_exit", True)
        self.thread = threading.Thread(
            target=self.server.run, kwargs={"sockets": [self.listening]}, daemon=True
        )
        self.thread.start()
        self.host = f"127.0.0.1:{self.access.port}"

    def asked(self, path: str, value: object = None) -> bytes:
        """The answer to GET, or to POST of a value."""
        head = {"Cookie": f"{self.access.cookie}={self.access.session}"}
        body = None
        if value is not None:
            head |= {"Origin": f"http://{self.host}", "X-Desk-Act": self.access.act}
            head |= {"Content-Type": "application/json", "Accept": "application/json"}
            body = json.dumps(value)
        connection = HTTPConnection(self.host)
        connection.request("GET" if value is None else "POST", path, body, head)
        answer = connection.getresponse()
        text = answer.read()
        if answer.status != 200:
            raise SystemExit(f"{path}: {answer.status} {text[:400]!r}")
        connection.close()
        return text

    def told(self, label: str, path: str, times: int = 5, value: object = None) -> list[float]:
        """Ask some times; prints milliseconds until answered, and of the processor, which it
        returns."""
        took, used, size = [], [], 0
        for number in range(times):
            sent = value(number) if callable(value) else value
            start, busy = time.perf_counter(), time.process_time()
            size = len(self.asked(path, sent))
            took.append(1000 * (time.perf_counter() - start))
            used.append(1000 * (time.process_time() - busy))
        first, middle = (took[0], used[0]), (statistics.median(took), statistics.median(used))
        print(
            f"  {label:44} {middle[0]:8.1f} ms, first {first[0]:8.1f}; "
            f"processor {middle[1]:8.1f}, first {first[1]:8.1f}; {size / 1000:9,.0f} kB",
            flush=True,
        )
        return used


def through_http(folder: Path, name: str) -> dict[str, float]:
    """What pages and acts of a record take; prints each, returns those to compare."""
    at = f"/record/{name}"
    package = open_package(folder / name)
    keys = package.tables.column("element", "element_id")
    found: dict[str, float] = {}
    browsing = Browsing(folder)
    asked = browsing.told
    asked("first page", "/", 3)
    asked("overview", at, 3)
    found["check"] = asked("what is open of the overview", f"{at}/open", 3)[0]
    asked("timbers", f"{at}/timbers")
    asked("a timber", f"{at}/timbers/{keys[len(keys) // 2]}")
    asked("all tables", f"{at}/tables")
    asked("findings", f"{at}/findings", 3)
    record = browsing.desk.open_record(folder / name)
    # a person opens the sheet, and others go on while its history is read
    asked("sheet", f"{at}/tables/element", 1)
    reading = time.process_time(), time.perf_counter()
    meanwhile = []
    while record._working is None:
        start = time.perf_counter()
        browsing.asked(f"{at}/timbers/{keys[7]}")
        meanwhile.append(1000 * (time.perf_counter() - start))
        time.sleep(0.05)
    print(
        f"  history read in {time.perf_counter() - reading[1]:.1f} s, processor "
        f"{time.process_time() - reading[0]:.1f} s; {len(meanwhile)} pages of a timber meanwhile, "
        f"{statistics.median(meanwhile):.0f} ms, at most {max(meanwhile):.0f}"
    )
    asked("rows", f"{at}/tables/element/rows")
    asked("findings of the table", f"{at}/tables/element/findings", 3)
    was = dict(zip(keys, package.tables.column("element", "notes"), strict=True))

    def typed(number: int) -> list[dict[str, str]]:
        key = keys[number * 7 % len(keys)]
        before, was[key] = was[key], f"h{number} {time.time()}"
        return [{"key": key, "field": "notes", "before": before, "after": was[key]}]

    asked("a cell saved", f"{at}/tables/element/cells", TIMES, typed)
    for path, label in (
        (f"{at}/tables/element/findings", "findings of the table"),
        (f"{at}/timbers/{keys[11]}", "a timber"),
        (f"{at}/timbers", "timbers"),
        (f"{at}/tables/element/rows?key={keys[11]}", "one row"),
        (f"{at}/tables/element/rows", "rows"),
        (at, "overview"),
        (f"{at}/open", "what is open of the overview"),
    ):
        used = []
        for number in range(3):
            browsing.asked(f"{at}/tables/element/cells", typed(100 + number))
            start, busy = time.perf_counter(), time.process_time()
            browsing.asked(path)
            took = 1000 * (time.perf_counter() - start)
            used.append((1000 * (time.process_time() - busy), took))
        busy, took = statistics.median(used)
        print(f"  after a cell: {label:30} {took:8.1f} ms; processor {busy:8.1f}", flush=True)
        found[f"after {label}"] = busy
    record.package  # noqa: B018  (writes what waits)
    busy = time.process_time()
    streams = [HTTPConnection(browsing.host) for _ in range(3)]
    head = {"Cookie": f"{browsing.access.cookie}={browsing.access.session}"}
    for one in streams:
        one.request("GET", f"{at}/events", headers=head)
    time.sleep(5)
    share = (time.process_time() - busy) / 5
    print(f"  three pages that listen take {share:.1%} of a processor")
    for one in streams:
        one.close()
    columns = json.loads(browsing.asked(f"{at}/tables/element/rows?key="))["columns"]
    # the column of the key stands apart
    column = [one["name"] for one in columns].index("position_note") - 1
    in_chromium(browsing, f"http://{browsing.host}{at}/tables/element", column)
    browsing.desk.stop()
    browsing.thread.join()
    start = time.perf_counter()
    browsing.desk.close()
    print(f"  closed in {time.perf_counter() - start:.1f} s")
    return found


def in_chromium(browsing: Browsing, address: str, column: int) -> None:
    """The sheet as a person has it; left out without Chromium or Playwright."""
    chromium = shutil.which("chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        chromium = None
    if chromium is None:
        print("  no Chromium here: the grid is left out")
        return
    from benchmarks.grid import measured as swept

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium, args=["--no-sandbox", "--disable-gpu"]
        )
        context = browser.new_context(viewport={"width": 1280, "height": 900})
        cookie: Any = {"name": browsing.access.cookie, "value": browsing.access.session}
        context.add_cookies([cookie | {"url": f"http://{browsing.host}"}])
        opened = [swept(context.new_page(), address, column) for _ in range(3)]
        for name in opened[0]:
            print(f"  {name:44} {statistics.median(one[name] for one in opened):8.3f}")
        browser.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("elements", type=int, nargs="?", default=20_000)
    parser.add_argument("--http", nargs=2, metavar=("FOLDER", "RECORD"))
    options = parser.parse_args()
    if options.http:
        through_http(Path(options.http[0]).resolve(), options.http[1])
        return
    with tempfile.TemporaryDirectory() as scratch:
        small = at_the_desk(Path(scratch) / "small", 120)
        large = at_the_desk(Path(scratch) / "large", options.elements)
        print(f"through HTTP, {options.elements:,} timbers")
        pages = through_http(Path(scratch) / "large", "many")
    print(f"decide / desk: small {small['decide'] / small['cell']:.0f}, ", end="")
    print(f"large {large['decide'] / large['cell']:.0f}")
    print(f"large / small at the desk: {large['cell'] / small['cell']:.1f}")
    again = pages["after findings of the table"]
    print(f"findings after a cell / at first: {again / pages['check']:.2f}")
    print(f"desk / one line to the disk, large: {large['cell'] / large['line']:.1f}")


if __name__ == "__main__":
    main()
