"""The commands pack, verify and unpack, as a person runs them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from provenance._cli import treenail
from provenance._record.package import Package


def run(*arguments: object) -> Result:
    return CliRunner().invoke(treenail, [str(one) for one in arguments])


def test_pack_verify_and_unpack_go_round(pristine: Path, package: Package, tmp_path: Path) -> None:
    packed = run("pack", package.folder, "--zip")
    assert f"packed {tmp_path / 'holl-bundle.zip'}" in packed.stdout
    verified = run("verify", tmp_path / "holl-bundle.zip")
    assert verified.exit_code == 0
    assert "holl-bundle.zip: files and record sound, custody ledger sealed" in verified.stdout
    unpacked = run("unpack", tmp_path / "holl-bundle.zip", "--out", tmp_path / "back")
    assert unpacked.exit_code == 0
    assert "\nnot anchored: every file is as it was packed" in unpacked.stdout
    assert (tmp_path / "back" / "tables" / "plug.csv").read_bytes() == (
        pristine / "holl" / "tables" / "plug.csv"
    ).read_bytes()


def test_pack_ends_with_1_and_still_packs_when_something_was_found(
    package: Package, tmp_path: Path
) -> None:
    (package.folder / "files" / "photo-001.png").unlink()
    packed = run("pack", package.folder, "--out", tmp_path / "b")
    assert packed.exit_code == 1
    assert "row F-1 of 'file' names it: files/photo-001.png" in packed.stderr
    assert (tmp_path / "b" / "bagit.txt").is_file()


def test_a_record_with_errors_is_packed_with_its_report(package: Package, tmp_path: Path) -> None:
    frame = package.table("sample")
    frame["element_id"] = "B9-999"
    package.write_table("sample", frame)
    packed = run("pack", package.folder, "--out", tmp_path / "b")
    assert packed.exit_code == 1
    assert "data/check/report.html" in packed.stderr
    assert "B9-999" in (tmp_path / "b" / "data" / "check" / "report.json").read_text("utf-8")


def test_verify_ends_with_1_and_names_the_file_that_differs(bundle: Path) -> None:
    (bundle / "data" / "tables" / "plug.csv").write_bytes(b"changed")
    verified = run("verify", bundle)
    assert verified.exit_code == 1
    assert "NOT SOUND" in verified.stdout
    assert "data/tables/plug.csv is not what was packed" in verified.stdout


def test_verify_speaks_json(bundle: Path) -> None:
    verified = run("verify", bundle, "--format", "json", "--fast")
    assert json.loads(verified.stdout)["sound"] is True
    assert json.loads(verified.stdout)["depth"] == "fast"


@pytest.mark.parametrize("command", ["verify", "unpack"])
def test_nothing_there_is_one_sentence(tmp_path: Path, command: str) -> None:
    result = run(
        command, tmp_path / "nowhere", *(["--out", tmp_path / "o"] * (command == "unpack"))
    )
    assert "is not there" in str(result.exception)
