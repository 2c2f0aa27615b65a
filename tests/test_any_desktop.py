"""Every command runs where the modules and calls that Windows lacks are not there."""

from __future__ import annotations

import filecmp
import json
import os
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from provenance._base.locks import LOCK
from provenance._bundle.pack import pack
from provenance._record.package import open_package

DEMO = Path(__file__).parents[1] / "demo_package"

HIDDEN = """
import os, sys
for name in ("fcntl", "resource", "pwd", "grp", "termios"):
    sys.modules[name] = None
# the Python documentation names these 'Availability: Unix'
for name in ("pread", "pwrite", "fork", "sched_getaffinity", "O_DIRECTORY", "O_NOFOLLOW", "sync"):
    delattr(os, name)
"""

RUN = (
    HIDDEN
    + """
import json
from provenance._cli import treenail
codes = []
for arguments in json.loads(sys.argv[1]):
    print("$", *arguments, flush=True)
    try:
        codes.append(treenail.main(arguments, standalone_mode=False) or 0)
    except SystemExit as end:
        codes.append(end.code or 0)
print(json.dumps(codes))
"""
)

HOLD = (
    HIDDEN
    + """
import time
from pathlib import Path
from provenance._base.locks import locked
done = Path(sys.argv[1]) / "done"
with locked(done.parent):
    print("after the other" if done.exists() else "first", flush=True)
    time.sleep(float(sys.argv[2]))
    done.touch()
"""
)

ASK_AT_ONCE = (
    HIDDEN
    + """
from pathlib import Path
from provenance._base import locks
from provenance._base.errors import TreenailError
locks.ASK_AFTER_SECONDS = 0.1
try:
    with locks.locked(Path(sys.argv[1])):
        print("held")
except TreenailError as error:
    print(error)
"""
)


def hidden(script: str, *arguments: object, cwd: Path | None = None) -> str:
    """What a script prints where the modules are hidden; it must end well."""
    with tempfile.TemporaryDirectory() as data:  # whose locks are of another kind there
        done = subprocess.run(
            [sys.executable, "-c", script, *map(str, arguments)],
            capture_output=True,
            text=True,
            cwd=cwd,
            env={**os.environ, "PYTHONPATH": str(DEMO.parent), "XDG_DATA_HOME": data},
        )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def same_files(one: Path, other: Path) -> bool:
    """Whether two folders hold the same files with the same bytes."""
    paths = [sorted(p.relative_to(f) for f in [at] for p in at.rglob("*")) for at in (one, other)]
    files = [path for path in paths[0] if (one / path).is_file()]
    return paths[0] == paths[1] and filecmp.cmpfiles(one, other, files, shallow=False)[0] == files


@pytest.mark.heavy
def test_the_work_goes_the_whole_way_and_makes_the_same_bundle(tmp_path: Path) -> None:
    moves = {
        'new hollin --title "Hollin Reach (invented)"': 0,
        "import hollin demo/field/site_people_places.xlsx "
        "--mapping demo/mappings/site_people_places.yaml": 0,
        "import hollin demo/field/room_block.xlsx --mapping demo/mappings/room_block.yaml": 0,
        # two papers of six: what they leave open is for the check to say
        "check hollin --format json --out check.json": 1,
        "print labels hollin --out labels.pdf": 0,
        "pack hollin": 1,
        "pack hollin --zip": 1,
        "verify hollin-bundle": 0,
        "verify hollin-bundle.zip": 0,
        "unpack hollin-bundle.zip --out again": 0,
        "locate hollin-bundle.zip 3?1": 0,
        'accession hollin-bundle.zip --store store --pattern "{year}.{serial}" '
        '--depositor "Mara Birkwood (invented)"': 0,
        "catalogue store": 0,
        "audit store": 0,
    }
    shutil.copytree(DEMO, tmp_path / "demo")
    said = hidden(RUN, json.dumps([shlex.split(one) for one in moves]), cwd=tmp_path)
    assert json.loads(said.splitlines()[-1]) == list(moves.values()), said
    assert len(open_package(tmp_path / "again").table("sample")) > 0
    assert not list(tmp_path.rglob("*.part"))
    pack(open_package(tmp_path / "hollin"), tmp_path / "here")
    assert same_files(tmp_path / "here", tmp_path / "hollin-bundle")


def test_what_goes_into_a_file_is_utf_8_whatever_the_code_page(tmp_path: Path) -> None:
    """Windows has cp1252 in the west of Europe (Python documentation, 'UTF-8 mode')."""
    done = subprocess.run(
        [sys.executable, "-c", "from provenance._cli import main; main()", "new", "\u6881"],
        capture_output=True,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(DEMO.parent), "PYTHONIOENCODING": "cp1252"},
    )
    assert done.returncode == 0, done.stderr
    assert "started \u6881 for" in done.stdout.decode("utf-8")


def test_a_mark_left_by_a_killed_process_does_not_block(tmp_path: Path) -> None:
    holder = subprocess.Popen([sys.executable, "-c", HOLD, tmp_path, "60"], stdout=subprocess.PIPE)
    assert holder.stdout is not None
    assert holder.stdout.readline() == b"first\n"
    holder.send_signal(signal.SIGKILL)
    holder.wait()
    holder.stdout.close()
    assert (tmp_path / LOCK).exists()
    assert hidden(HOLD, tmp_path, 0) == "first\n"


def test_a_second_writer_waits_for_the_mark_of_the_first(tmp_path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, tmp_path, "1"], stdout=subprocess.PIPE
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"first\n"
        assert hidden(HOLD, tmp_path, 0) == "after the other\n"


@pytest.mark.parametrize("mark", ["", "4711\nanother-machine.invalid\n"])
def test_a_mark_that_nobody_can_ask_after_is_named_with_a_remedy(tmp_path: Path, mark: str) -> None:
    lock = tmp_path / LOCK
    lock.write_text(mark)
    os.utime(lock, (time.time() - 3_600, time.time() - 3_600))
    said = hidden(ASK_AT_ONCE, tmp_path)
    assert f"remove {lock} and do it again" in said
    assert (mark.split()[1:] or ["recorded no PID"])[0] in said
    lock.unlink()
    assert hidden(ASK_AT_ONCE, tmp_path) == "held\n"
