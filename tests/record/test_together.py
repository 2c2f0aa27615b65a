"""Several files are put in place together or not at all, whatever stops the program."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import textwrap

import pytest
from click.testing import CliRunner

import provenance._record.together as together
from provenance._base.errors import TreenailError
from provenance._cli.merging import finish
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


def left_half_way(folder, paths, content=b"x"):
    """A write that was stopped after its commit, as anybody can make one: without our seal."""
    staging = folder / ".together.0123456789ab.part"
    staging.mkdir()
    (staging / "0").write_bytes(content)
    (staging / together.COMMIT).write_text(json.dumps({"paths": paths, "seal": "0" * 64}))
    return staging


def test_opening_a_package_finishes_what_was_committed(tmp_path, monkeypatch) -> None:
    package = a_package(tmp_path).with_row("party").package
    changed = package.table_path("party").read_bytes().replace(b"Mara", b"Nora")

    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(together, "_move_into_place", stopped)
    with pytest.raises(KeyboardInterrupt), writing_together(package.folder) as staging:
        staging.write("tables/party.csv", changed)
    monkeypatch.undo()
    assert is_unfinished(package.folder)
    assert "Nora" in open_package(package.folder).table("party")["name"][2]
    assert not leftovers(package.folder)


def test_what_somebody_else_left_half_way_is_finished_only_when_a_person_says_so(tmp_path) -> None:
    """A folder from a stranger is not changed by reading it; a broken laptop's can be saved."""
    package = a_package(tmp_path).with_row("party").package
    before = package.table_path("party").read_bytes()
    staging = left_half_way(package.folder, ["tables/party.csv"], before.replace(b"Mara", b"Nora"))
    for old_form in (False, True):
        if old_form:  # as the list was before it had a seal
            (staging / together.COMMIT).write_text('["tables/party.csv"]')
        with pytest.raises(TreenailError, match=r"not begun by.*'treenail change finish"):
            open_package(package.folder)
        assert package.table_path("party").read_bytes() == before
        assert is_unfinished(package.folder)
    done = CliRunner().invoke(finish, [str(package.folder)])
    assert done.output == "put in place: tables/party.csv\n"
    assert "Nora" in open_package(package.folder).table("party")["name"][2]
    assert not leftovers(package.folder)
    assert "nothing was left" in CliRunner().invoke(finish, [str(package.folder)]).output


def test_a_list_that_leads_out_is_finished_by_nobody(tmp_path) -> None:
    """As seen: a link in the folder and a commit through it; and every other way out."""
    outside = tmp_path / "outside"
    outside.mkdir()
    ways = {
        "../outside/taken": None,
        "/etc/taken": None,
        "tables/../../outside/taken": None,
        "by/taken": "folder",
        "tables/by": "file",
        "tables/0/../x": None,
        "": None,
    }
    for number, (path, link) in enumerate(ways.items()):
        package = a_package(tmp_path / str(number)).package
        if link == "folder":
            (package.folder / "by").symlink_to(outside, target_is_directory=True)
        elif link == "file":
            (package.folder / "tables" / "by").symlink_to(outside / "taken")
        left_half_way(package.folder, [path])
        for of_anybody in (False, True):
            with pytest.raises(TreenailError):
                finish_writing(package.folder, of_anybody=of_anybody)
        with pytest.raises(TreenailError):
            open_package(package.folder)
        assert not list(outside.iterdir()), path
    # what is to be put in place, and the staging folder itself, are looked at too
    for what in ("0", together.COMMIT, "."):
        package = a_package(tmp_path / f"staged {what}").package
        staging = left_half_way(package.folder, ["tables/taken"])
        moved = outside / "moved"
        (staging / what).rename(moved)
        (staging / what).symlink_to(moved)
        with pytest.raises(TreenailError, match="is a link"):
            finish_writing(package.folder, of_anybody=True)
        assert not (package.folder / "tables" / "taken").exists()
        shutil.rmtree(outside)
        outside.mkdir()


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
