"""Several files are put in place together or not at all, whatever stops the program."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import textwrap

import pytest

import provenance._record.together as together
from provenance._base.errors import TreenailError
from provenance._record.package import open_package
from provenance._record.together import finish_writing, is_unfinished, writing_together
from tests.builders import a_package

pytestmark = pytest.mark.usefixtures("real_disk")


@pytest.fixture
def folder(tmp_path):
    for name in ("one", "two"):
        (tmp_path / name).write_text("old")
    return tmp_path


def texts(folder):
    return {name: (folder / name).read_text() for name in ("one", "two")}


def leftovers(folder):
    return [path for path in folder.iterdir() if path.name.startswith(".together")]


def test_files_are_put_in_place_together(folder) -> None:
    with writing_together(folder) as staging:
        staging.write("one", b"new")
        staging.write("deeper/three", b"new")
        assert texts(folder) == {"one": "old", "two": "old"}
    assert (folder / "one").read_text() == "new"
    assert (folder / "deeper" / "three").read_text() == "new"
    assert not leftovers(folder)


def test_an_error_while_writing_leaves_all_as_it_was(folder) -> None:
    def write_until_it_fails(staging) -> None:
        staging.write("one", b"new")
        raise RuntimeError

    with pytest.raises(RuntimeError), writing_together(folder) as staging:
        write_until_it_fails(staging)
    assert texts(folder) == {"one": "old", "two": "old"}
    assert not leftovers(folder)


@pytest.mark.parametrize("path", ["/etc/x", "../x", "a/../../x", "..\\x"])
def test_a_path_that_leaves_the_folder_is_refused(folder, path) -> None:
    with pytest.raises(ValueError, match="cannot be written"), writing_together(folder) as staging:
        staging.write(path, b"")


def killed(folder, moment: int) -> None:
    """Run a write of two files in a process that ends, without any clean-up, at its nth step."""
    code = f"""
    import os, sys
    from pathlib import Path
    import provenance._record.together as together
    steps = 0
    def counted(real):
        def call(*args, **more):
            global steps
            steps += 1
            if steps == {moment}:
                os._exit(9)
            return real(*args, **more)
        return call
    for name in ("fsync", "rename", "replace"):
        setattr(os, name, counted(getattr(os, name)))
    with together.writing_together(Path(sys.argv[1])) as staging:
        staging.write("one", b"new")
        staging.write("two", b"new")
    print(steps)
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code), str(folder)], capture_output=True, text=True
    )
    assert done.returncode in (0, 9), done.stderr
    return done.returncode == 0


@pytest.mark.heavy
def test_a_kill_at_any_moment_leaves_both_files_old_or_both_new(folder) -> None:
    """The process ends at every call that touches the disk's order, one after the other."""
    seen = set()
    for moment in range(1, 30):
        for name in ("one", "two"):
            (folder / name).write_text("old")
        ended_well = killed(folder, moment)
        finish_writing(folder)
        assert not leftovers(folder)
        now = tuple(texts(folder).values())
        assert now in (("old", "old"), ("new", "new")), moment
        seen.add(now)
        if ended_well:
            break
    else:
        pytest.fail("the write never ended")
    assert len(seen) == 2


def test_opening_a_package_finishes_what_was_committed(tmp_path) -> None:
    package = a_package(tmp_path).with_row("party").package
    path = package.table_path("party")
    before = path.read_bytes()
    staging = package.folder / ".together.0123456789ab.part"
    staging.mkdir()
    (staging / "0").write_bytes(before.replace(b"Mara", b"Nora"))
    assert not is_unfinished(package.folder)
    assert "Mara" in open_package(package.folder).table("party")["name"][2]
    (staging / together.COMMIT).write_text(json.dumps(["tables/party.csv"]))
    assert "Nora" in open_package(package.folder).table("party")["name"][2]
    assert not leftovers(package.folder)


def test_a_list_that_points_outside_is_not_trusted(tmp_path) -> None:
    package = a_package(tmp_path).package
    staging = package.folder / ".together.0123456789ab.part"
    staging.mkdir()
    (staging / "0").write_bytes(b"x")
    (staging / together.COMMIT).write_text(json.dumps(["../taken"]))
    with pytest.raises(TreenailError, match=r"\.\./taken"):
        open_package(package.folder)
    assert not (tmp_path / "taken").exists()


def test_what_cannot_be_finished_is_said_and_kept(folder, monkeypatch) -> None:
    real = os.replace

    def broken(source, target):
        if target.name != together.COMMIT:
            raise OSError("disk full")
        real(source, target)

    monkeypatch.setattr(os, "replace", broken)
    with pytest.raises(OSError, match="disk full"), writing_together(folder) as staging:
        staging.write("one", b"new")
    with pytest.raises(TreenailError, match="disk full"):
        finish_writing(folder)
    monkeypatch.undo()
    finish_writing(folder)
    assert texts(folder)["one"] == "new"
