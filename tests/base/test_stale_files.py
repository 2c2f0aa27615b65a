"""Leftovers of killed processes do not stay, and what is at work is let be."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from provenance._base.disk import building_folder, clear_stale, writing

pytestmark = pytest.mark.usefixtures("real_disk")

BUILD = """
import sys, time
from pathlib import Path
from provenance._base.disk import building_folder
with building_folder(Path(sys.argv[1])) as folder:
    (folder / "half.txt").write_text("half")
    print("building", flush=True)
    time.sleep(60)
"""


def aged(path: Path) -> None:
    """Make it look as if it had been left an hour ago."""
    os.utime(path, (time.time() - 3_600, time.time() - 3_600))


@pytest.fixture
def builder(tmp_path: Path):
    process = subprocess.Popen(
        [sys.executable, "-c", BUILD, tmp_path / "bundle"], stdout=subprocess.PIPE
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"building\n"
    yield process
    process.kill()
    process.wait()
    process.stdout.close()


def leftovers(folder: Path) -> list[Path]:
    return [path for path in folder.iterdir() if path.name.endswith(".part")]


def test_what_a_killed_process_left_is_removed_by_the_next(tmp_path: Path, builder) -> None:
    builder.send_signal(signal.SIGKILL)
    builder.wait()
    (left,) = leftovers(tmp_path)
    aged(left)
    with building_folder(tmp_path / "bundle") as folder:
        (folder / "whole.txt").write_text("whole")
    assert [path.name for path in tmp_path.iterdir()] == ["bundle"]
    assert [path.name for path in (tmp_path / "bundle").iterdir()] == ["whole.txt"]


def test_what_a_process_is_at_work_on_is_let_be_however_old(tmp_path: Path, builder) -> None:
    (at_work,) = leftovers(tmp_path)
    aged(at_work)
    assert clear_stale(tmp_path / "bundle") == []
    assert (at_work / "new" / "half.txt").exists()


def test_what_is_young_or_of_another_name_is_let_be(tmp_path: Path) -> None:
    young = tmp_path / ".bundle.0123456789ab.part"
    other = tmp_path / ".bundle-2.0123456789ab.part"
    for path in (young, other):
        path.write_text("half")
    aged(other)
    assert clear_stale(tmp_path / "bundle") == []
    aged(young)
    assert clear_stale(tmp_path / "bundle") == [young]
    assert leftovers(tmp_path) == [other]


def test_a_file_being_written_is_held(tmp_path: Path) -> None:
    with writing(tmp_path / "bundle.zip") as stream:
        stream.write(b"half")
        (at_work,) = leftovers(tmp_path)
        aged(at_work)
        assert clear_stale(tmp_path / "bundle.zip") == []
    assert [path.name for path in tmp_path.iterdir()] == ["bundle.zip"]
