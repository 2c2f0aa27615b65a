"""A package folder from a stranger: nothing in it leads anywhere else, nothing is waited for."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from provenance._base.errors import TreenailError
from provenance._catalogue.stores.records import open_source, survey_place
from provenance._cli import treenail
from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.folders import files_below, is_plain_file, refuse_way_out
from provenance._gate.refusal import RefusedInput
from provenance._record.package import open_package
from tests.builders import a_package


def answer(*line: object) -> str:
    """What a command says, which must end as one that a person can mend."""
    done = CliRunner().invoke(treenail, [str(one) for one in line], standalone_mode=False)
    assert isinstance(done.exception, TreenailError), (line, done)
    return str(done.exception)


def test_a_link_or_a_pipe_where_the_package_is_read_or_written_is_refused(tmp_path: Path) -> None:
    bait = tmp_path / "bait"
    bait.mkdir()
    (bait / "party.csv").write_text("bait", encoding="utf-8")

    def to_bait(path: Path) -> None:
        path.symlink_to(bait, target_is_directory=True)

    ways: list[tuple[str, Callable[[Path], None], str]] = [
        ("tables", to_bait, "is a link"),
        ("files", to_bait, "is a link"),
        ("originals", to_bait, "is a link"),
        ("schemas", to_bait, "is a link"),
        (".lock", lambda path: path.symlink_to(bait / "party.csv"), "is a link"),
        (".origin.json", lambda path: path.symlink_to("/dev/zero"), "is a link"),
        ("datapackage.json", lambda path: path.symlink_to(bait / "party.csv"), "is a link"),
        ("tables/party.csv", lambda path: path.symlink_to(bait / "party.csv"), "is a link"),
        ("tables/party.csv", os.mkfifo, "device, pipe"),
        ("schemas/party.json", os.mkfifo, "device, pipe"),
    ]
    for number, (name, put, says) in enumerate(ways):
        folder = a_package(tmp_path / str(number)).with_row("party").package.folder
        if (folder / name).exists():
            (folder / name).rename(tmp_path / str(number) / "away")
        put(folder / name)
        assert says in answer("custody", "show", folder), name
        assert [one.name for one in bait.iterdir()] == ["party.csv"]
    assert (bait / "party.csv").read_text("utf-8") == "bait"


def test_what_else_a_person_keeps_beside_a_package_may_be_a_link(tmp_path: Path) -> None:
    folder = a_package(tmp_path).package.folder
    (folder / "notes").symlink_to(tmp_path)
    (tmp_path / "by another name").symlink_to(folder)
    assert open_package(tmp_path / "by another name").name == open_package(folder).name


def test_a_second_name_of_a_file_elsewhere_is_never_written_through(tmp_path: Path) -> None:
    """A hard link: each writer puts a new file in its place, and the lock is not emptied."""
    package = a_package(tmp_path).with_chain().package
    folder, kept = package.folder, {}
    for name in ("tables/act.csv", "tables/sample.csv", "datapackage.json", ".lock"):
        (folder / name).touch()
        twin = tmp_path / f"twin of {Path(name).name}"
        twin.hardlink_to(folder / name)
        if name == ".lock":
            twin.write_bytes(b"something that a person wrote")
        kept[twin] = twin.read_bytes()
    line = ["change", "correct", folder, "sample", "231", "rings_field=88", "--why=anew", "--by=MB"]
    done = CliRunner().invoke(treenail, [str(one) for one in line])
    assert done.exit_code == 0, done.output
    assert {twin: twin.read_bytes() for twin in kept} == kept


def test_a_file_that_a_row_names_is_read_only_inside(tmp_path: Path) -> None:
    folder = a_package(tmp_path).package.folder
    (tmp_path / "outside.png").write_bytes(b"x")
    (folder / "files" / "in.png").write_bytes(b"x")
    (folder / "files" / "link.png").symlink_to(tmp_path / "outside.png")
    (folder / "files" / "by").symlink_to(tmp_path, target_is_directory=True)
    os.mkfifo(folder / "files" / "pipe.png")
    paths = {
        "files/in.png": True, "files/link.png": False, "files/by/outside.png": False,
        "../outside.png": False, str(tmp_path / "outside.png"): False, "files/pipe.png": False,
        "files/../files/in.png": False, "files\\in.png": False, "files/in.png/x": False,
        "files/gone.png": False, "files": False, "": False, "files/\x00": False,
    }  # fmt: skip
    for path, there in paths.items():
        assert is_plain_file(folder, path) is there, path
    refuse_way_out(folder, "files/new/one.png")
    with pytest.raises(RefusedInput, match="which is not in it"):
        refuse_way_out(folder, "../x")
    assert files_below(folder / "files") == ["in.png"]
    copied = tmp_path / "copied"
    shutil.copytree(folder, copied, ignore=lambda where, names: ["link.png", "by", "pipe.png"])
    assert re.search("is a link|pipe", answer("merge", copied, folder))
    assert re.search("is a link|pipe", answer("attach", copied, folder / "files"))


def test_files_without_end_are_counted_only_so_far(tmp_path: Path) -> None:
    few = replace(DEFAULT_BUDGET, most_files=3, most_folders=2)
    for name in ("c.txt", "b", "c/d/e"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    assert files_below(tmp_path, few) == ["b", "c/d/e", "c.txt"]
    assert sorted(tmp_path.rglob("*"))[-1].name == "c.txt"
    (tmp_path / "f").touch()
    with pytest.raises(RefusedInput, match="3 files may be"):
        files_below(tmp_path, few)
    (tmp_path / "c" / "d" / "deeper").mkdir()
    with pytest.raises(RefusedInput, match="lies too deep"):
        files_below(tmp_path, replace(few, most_files=10))


def test_a_catalogue_goes_no_deeper_than_bundles_lie(tmp_path: Path) -> None:
    """As deep as a path can be, which would be more steps than Python takes."""
    folder = a_package(tmp_path / "shelf").package.folder
    deep = tmp_path / "shelf" / "deep"
    deep.joinpath(*["d"] * 500).mkdir(parents=True)
    survey = survey_place(tmp_path / "shelf")
    assert list(survey.signatures) == [folder]
    assert ["folders deep" in why for why in survey.unreadable.values()] == [True]
    away = tmp_path / "away"
    (folder / "tables").rename(away)
    (folder / "tables").symlink_to(away)
    with open_source(folder) as source:
        assert source.table("party") is None
