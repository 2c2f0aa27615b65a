"""Whatever a stranger hands in, the program answers: exit code 0, 1 or 2, and nothing else."""

from __future__ import annotations

import json
import os
import resource
import signal
import sys
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path

import pytest

from tests.forked import forking
from tests.fuzz.mutations import Seeded
from tests.fuzz.room import Room
from tests.fuzz.seeding import write_seeds
from tests.fuzz.targets import TARGETS, Seeds, try_once

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="asks /proc for open folders")

ROUNDS = 5
MOST_SECONDS = 10
MOST_BYTES = 1 << 30
"""Of memory that is in use; what is merely spoken for (RLIMIT_AS) may be four times as much."""


def _try_all(folder: Path, rounds: int, tell: Path) -> None:
    """Try every target so often, in a process with little memory, and write down what came."""
    # what is imported for the first time would be written beside the program
    sys.dont_write_bytecode = True
    resource.setrlimit(resource.RLIMIT_AS, (4 * MOST_BYTES, 4 * MOST_BYTES))
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    os.fsync = lambda handle: None  # type: ignore[assignment]
    warnings.simplefilter("ignore")
    seeds, room = Seeds(folder / "seeds"), Room(folder / "room")
    codes: Counter[int] = Counter()
    longest, failed = 0.0, []
    for seed in range(rounds):
        for name in TARGETS:
            begun = time.process_time()
            # a hang ends the process, and which it was has been written down
            tell.write_text(json.dumps({"at": [name, seed], "failed": failed}), encoding="utf-8")
            signal.alarm(20 * MOST_SECONDS)
            try:
                codes.update(try_once(name, Seeded(seed), seeds, room))
            except Exception as error:
                failed.append([name, seed, *traceback.format_exception(error)[-3:]])
            longest = max(longest, time.process_time() - begun)
    signal.alarm(0)
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss << 10
    said = {"codes": codes, "longest": longest, "most": most, "failed": failed}
    tell.write_text(json.dumps(said), encoding="utf-8")


def test_whatever_is_damaged_the_answer_is_a_sentence(tmp_path: Path) -> None:
    """Seeds are fixed; `tests/fuzz/guided.py` goes on from here by coverage, by hand.

    No access outside what was given or named for output, no hang, no more than so much memory.
    """
    write_seeds(tmp_path / "seeds")
    tell = tmp_path / "told.json"
    process = forking().Process(target=_try_all, args=(tmp_path, ROUNDS, tell))
    process.start()
    process.join()
    told = json.loads(tell.read_text("utf-8"))
    assert process.exitcode == 0, told
    assert told["failed"] == []
    assert set(told["codes"]) <= {"0", "1", "2"}
    # some must get in, else nothing behind the gate was tried
    assert all(told["codes"].get(code, 0) >= ROUNDS for code in ("0", "1", "2"))
    assert told["most"] < MOST_BYTES
    assert told["longest"] < MOST_SECONDS


def _trespass(folder: Path, tell: Path) -> None:
    """Do on purpose what must be noted, and write down what was."""
    room = Room(folder)
    noted = []
    with room.fresh():
        link = room.given / "link"
        link.symlink_to(room.outside, target_is_directory=True)
        for work, given_is_kept in (
            (lambda: (link / "kept").read_bytes(), False),
            (lambda: (room.given / "x").write_bytes(b""), True),
            (lambda: (room.given / "x").rename(room.written / "x"), False),
            (lambda: (room.written / "x").rename(room.given / "y"), True),
        ):
            try:
                with room.watched(given_is_kept=given_is_kept):
                    work()
                noted.append("nothing")
            except AssertionError as error:
                noted.append(str(error))
    tell.write_text(json.dumps(noted), encoding="utf-8")


def test_the_watch_notes_what_leads_out(tmp_path: Path) -> None:
    """Without this a trespass could go unnoticed."""
    tell = tmp_path / "told.json"
    process = forking().Process(target=_trespass, args=(tmp_path / "room", tell))
    process.start()
    process.join()
    noted = json.loads(tell.read_text("utf-8"))
    ends = ["OUT/kept", "given/x", "nothing", "given/y"]
    assert [end in said for end, said in zip(ends, noted, strict=True)] == [True] * 4, noted
