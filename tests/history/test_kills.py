"""Every act is recorded whole or not at all, and two processes at once lose none."""

from __future__ import annotations

import random
import shutil
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from provenance._history.deciding import (
    Deciding,
    accept,
    add,
    correct,
    decide,
    join,
    remove,
    rename,
    restore,
    settle,
    split,
    undo,
)
from provenance._history.history import open_history, proved
from provenance._intake.claims import Sameness
from provenance._ledger.custody import verify_chain
from provenance._ledger.handover import record_events
from provenance._record.package import Package, open_package
from tests.builders import a_package
from tests.forked import started
from tests.intake.forms import content_of
from tests.intake.test_any_order import hand_in, read

pytestmark = pytest.mark.heavy
NEW = Sameness(new=True)
DAY = {"happened_on": "2031-05-04", "recorded_on": "2031-05-04"}


def deciding(made: Callable[[Package], Deciding]) -> Callable[[Package], object]:
    return lambda package: decide(
        package, made(package), who="MB", why="seen", when="2031-05-04T12:00:00Z"
    )


def last_act(package: Package) -> str:
    return list(open_history(package).acts)[-1]


def second_source(package: Package) -> str:
    return package.tables.column("original", "original_id")[-1]


ACTS: dict[str, Callable[[Package], object]] = {
    "correct": deciding(lambda _: correct("sample", "202", {"rings_field": "99", "notes": ""})),
    "settle": deciding(lambda _: settle("sample", "201", "rings_field", "88")),
    "rename": deciding(lambda _: rename("sample", "202", "212")),
    "remove": deciding(lambda _: remove("sample", "202")),
    "restore": deciding(lambda _: restore("sample", "204")),
    "add": deciding(lambda _: add("sample", {"sample_id": "209", "site_id": "HOLL"})),
    "split": deciding(lambda one: split("sample", "201", [second_source(one)], "301")),
    "join": deciding(lambda _: join("sample", "202", "203")),
    "accept": deciding(lambda _: accept([("custody.none", "sample", "202", "", "nothing")])),
    "undo": deciding(lambda one: undo(last_act(one))),
    "import": lambda one: read(one, [one.folder.parent / "2-0.csv"], NEW),
    "hand over": lambda one: record_events(one, "collected", ["202"], to_party_id="MB", **DAY),
}


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """Two crews with one number, a row that was taken out, and a third sheet that waits."""
    package = a_package(tmp_path_factory.mktemp("acts")).with_row("party", party_id="MB").package
    for crew, rings in enumerate(("88", "140")):
        others = {f"20{2 + 2 * crew}": ("B1-2", "61", ""), "203": ("B1-2", "", "knot")}
        read(package, [hand_in(package, crew, 0, {"201": ("B1-1", rings, ""), **others})], NEW)
    hand_in(package, 2, 0, {"208": ("B1-1", "70", "")})
    ACTS["remove"](package)
    deciding(lambda _: restore("sample", "202"))(package)
    deciding(lambda _: remove("sample", "204"))(package)
    return package


def act(folder: Path, kind: str) -> None:
    ACTS[kind](open_package(folder))


def a_copy(package: Package, name: str) -> Path:
    there = package.folder.with_name(name)
    shutil.copytree(package.folder, there)
    return there


def seen(folder: Path) -> dict[str, bytes]:
    """What a reader finds: an act that was committed is finished by whoever opens it."""
    open_package(folder)
    return {name: data for name, data in content_of(folder).items() if name[0] != "."}


@pytest.mark.parametrize("kind", ACTS)
def test_a_kill_at_any_moment_leaves_the_whole_act_or_nothing(begun: Package, kind: str) -> None:
    untouched = seen(begun.folder)
    done = a_copy(begun, f"{kind} done")
    started_at = time.monotonic()
    act(done, kind)
    takes = time.monotonic() - started_at
    whole = seen(done)
    assert whole != untouched
    chance = random.Random(kind)
    for turn in range(1):
        folder = a_copy(begun, f"{kind} {turn}")
        process = started(act, folder, kind)
        time.sleep(chance.uniform(0, 1.2 * takes))
        process.kill()
        process.join()
        assert seen(folder) in (untouched, whole)
        if seen(folder) == untouched:
            # what was killed does not stand in the way
            act(folder, kind)
            assert seen(folder) == whole


def test_two_processes_at_once_lose_no_act(begun: Package) -> None:
    folder = a_copy(begun, "both")
    kinds = ("correct", "settle", "import", "hand over", "join")
    for process in [started(act, folder, kind) for kind in kinds]:
        process.join()
        assert process.exitcode == 0
    package = open_package(folder)
    history = proved(package, package.tables)
    before = proved(begun, begun.tables)
    new = [one for name, one in history.acts.items() if name not in before.acts]
    assert sorted(one.kind for one in new) == ["bind", "import", "settle", "settle"]
    assert package.tables.column("custody", "sample_id") == ["202"]
    assert verify_chain(package) == []
    # each came after the other, and what stands is what all come to
    assert open_history(package).acts == history.acts
