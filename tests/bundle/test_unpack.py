"""Unpacking gives the package back, byte for byte, and only from a bundle that is whole."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from provenance._base.errors import AlreadyThere, UnusableInput, UnusablePackage
from provenance._bundle.unpack import unpack
from provenance._bundle.verify import verify_bundle
from provenance._cli.bundling import unpack as unpack_command
from provenance._ledger.custody import append_events, verify_chain
from provenance._record.package import Package, open_package
from tests.builders import pack_bundle, unpack_bundle
from tests.bundle.conftest import LEDGER
from tests.bundle.test_hostile import sealed_anew
from tests.bundle.test_pack import bytes_of


@pytest.mark.parametrize("name", ["bundle", "bundle.zip"])
def test_a_package_comes_back_byte_for_byte(pristine: Path, tmp_path: Path, name: str) -> None:
    package = unpack_bundle(pristine / name, tmp_path / "back")
    before, after = bytes_of(pristine / "holl"), bytes_of(package.folder)
    before.pop(".lock")
    after.pop(".origin.json")  # unpack's own note of where the package came from
    assert after == before
    assert package.table("plug")["stamp"].tolist() == ["231"]


def test_packing_what_was_unpacked_makes_the_same_bundle(
    zip_bundle: Path, pristine: Path, tmp_path: Path
) -> None:
    package = unpack_bundle(zip_bundle, tmp_path / "back")
    pack_bundle(package, tmp_path / "again")
    assert bytes_of(tmp_path / "again") == bytes_of(pristine / "bundle")


def test_the_ledger_goes_on_in_an_unpacked_package(zip_bundle: Path, tmp_path: Path) -> None:
    package = unpack_bundle(zip_bundle, tmp_path / "back")
    append_events(package, LEDGER)
    assert verify_chain(package) == []
    assert verify_bundle(pack_bundle(package, tmp_path / "b")).sound


def test_a_damaged_bundle_is_not_unpacked_and_leaves_nothing(bundle: Path, tmp_path: Path) -> None:
    (bundle / "data" / "tables" / "plug.csv").write_text("changed", encoding="utf-8")
    with pytest.raises(UnusableInput, match=r"not sound: data/tables/plug\.csv is not what was"):
        unpack_bundle(bundle, tmp_path / "back")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bundle"]


def test_a_folder_that_is_there_already_is_not_unpacked_into(
    zip_bundle: Path, package: Package
) -> None:
    with pytest.raises(AlreadyThere):
        unpack_bundle(zip_bundle, package.folder)


def test_a_bundle_cannot_talk_unpack_into_leaving_tables_out(bundle: Path, tmp_path: Path) -> None:
    facts = json.loads((bundle / "data" / "bundle.json").read_text("utf-8"))
    facts["generated"] += ["tables", "datapackage.json", "schemas"]
    (bundle / "data" / "bundle.json").write_text(json.dumps(facts), encoding="utf-8")
    sealed_anew(bundle)
    crate = bundle / "data" / "ro-crate-metadata.json"
    assert crate.is_file()
    assert unpack_bundle(bundle, tmp_path / "back").table("plug")["stamp"].tolist() == ["231"]


def test_a_record_that_was_packed_with_faults_is_unpacked_and_they_are_told(
    package: Package, tmp_path: Path
) -> None:
    """The bytes are as packed: who is to mend the record must be able to get at it."""
    ledger = package.table("custody")
    ledger.loc[3, "to_party_id"] = "NOBODY"
    package.write_table("custody", ledger)
    unpacked = unpack(pack_bundle(package, tmp_path / "b"), tmp_path / "back")
    assert {one.rule for one in unpacked.verdict.findings} == {
        "structure.link_broken",
        "custody.chain_broken",
    }
    assert unpacked.package.table("custody").equals(ledger)


def test_a_ledger_that_was_cut_off_in_the_bundle_is_not_unpacked(
    bundle: Path, tmp_path: Path
) -> None:
    path = bundle / "data" / "tables" / "custody.csv"
    path.write_text("".join(path.read_text("utf-8").splitlines(True)[:-1]), encoding="utf-8")
    sealed_anew(bundle)
    with pytest.raises(UnusableInput, match="events were removed"):
        unpack_bundle(bundle, tmp_path / "back")


def test_unpack_says_of_faults_by_its_exit_code(package: Package, tmp_path: Path) -> None:
    sample = package.table("sample")
    sample["element_id"] = "B9-999"
    package.write_table("sample", sample)
    bundle = pack_bundle(package, tmp_path / "b")
    found = CliRunner().invoke(unpack_command, [str(bundle), "--out", str(tmp_path / "back")])
    assert found.exit_code == 1
    assert "unpacked" in found.output
    assert "treenail check" in found.output


def test_a_bundle_is_not_taken_for_a_package(bundle: Path) -> None:
    with pytest.raises(UnusablePackage, match="treenail unpack"):
        open_package(bundle)


def test_a_package_that_is_not_there_is_said_to_be_missing(tmp_path: Path) -> None:
    with pytest.raises(UnusablePackage, match="is not there"):
        open_package(tmp_path / "nowhere")


def test_a_zip_is_not_taken_for_a_package(zip_bundle: Path) -> None:
    with pytest.raises(UnusablePackage, match="treenail unpack"):
        open_package(zip_bundle)
