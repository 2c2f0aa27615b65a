"""A desk that is killed between two cells or inside one keeps every cell that it answered for."""

from __future__ import annotations

import random
import re
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import httpx2
import pytest

from provenance._checks.check import check_package
from provenance._desk.desk import Desk
from provenance._desk.serving import serve
from provenance._history.history import open_history, proved
from provenance._record.package import open_package
from tests.builders import a_package
from tests.forked import started

pytestmark = pytest.mark.heavy
KILLS = 3
NUMBERS = [f"{number}" for number in range(231, 235)]
Cells = dict[str, str]


def serving(folder: Path, told: Path) -> None:
    """A desk in a process of its own; `told` gets the address that opens it."""
    tempfile.tempdir = str(told.parent)
    part = told.with_suffix(".part")

    def tell(said: str) -> None:
        part.write_text(said)
        part.replace(told)

    serve(Desk(folder, by="MB"), browser=False, tell=tell)


def sat_down(told: Path) -> httpx2.Client:
    """A client with what the browser is given when it opens the desk."""
    while not told.exists():
        time.sleep(0.01)
    found = re.search(r"(http://[^/]+)(/open\S+)", told.read_text())
    assert found
    client = httpx2.Client(base_url=found[1])
    client.get(found[2])
    act = re.search(r'name="act" content="([^"]+)"', client.get("/").text)
    assert act
    client.headers |= {"Origin": found[1], "X-Desk-Act": act[1]}
    return client


def edits(chance: random.Random, stands: Cells) -> Iterator[Cells]:
    """One cell after the other, and now and then a few that were pasted together."""
    for turn in range(10_000):
        some = chance.sample(NUMBERS, chance.choice((1, 1, 3)))
        yield dict.fromkeys(some, f"edit {turn} after {stands[some[0]]}"[:20].strip())


def test_a_kill_at_any_moment_keeps_what_was_answered_and_nothing_half(tmp_path: Path) -> None:
    builder = a_package(tmp_path / "work").with_chain()
    for number in NUMBERS[1:]:
        builder.with_row("sample", sample_id=number)
    folder = builder.package.folder
    stands = dict.fromkeys(NUMBERS, "")
    seed = random.randrange(1 << 32)
    chance, answered = random.Random(seed), 0
    for turn in range(KILLS):
        told = tmp_path / f"told-{turn}"
        process = started(serving, folder.parent, told)
        client = sat_down(told)
        kill = threading.Timer(chance.uniform(0, 0.6), process.kill)
        if not turn:  # the first kill may come before anything was answered
            kill.start()
        asked: Cells = {}
        try:
            for asked in edits(chance, stands):
                cells = [
                    {"key": key, "field": "notes", "before": stands[key], "after": text}
                    for key, text in asked.items()
                ]
                answer = client.post("/record/holl/tables/sample/cells", json=cells)
                assert answer.status_code == 200, answer.text
                stands |= asked
                answered += 1
                if not (kill.is_alive() or kill.finished.is_set()):
                    kill.start()
        except httpx2.TransportError:
            process.join()
        kill.join()
        package = open_package(folder)
        found = {row["sample_id"]: row["notes"] for row in package.tables.rows("sample")}
        assert found in (stands, stands | asked), f"seed {seed}, kill {turn}"
        stands = found
        # raises where an act is not what its name says, or the tables are not what the acts give
        proved(package, package.tables)
        open_history(package)
    assert answered >= KILLS - 1
    assert not [one for one in check_package(open_package(folder)) if "history" in one.rule]
