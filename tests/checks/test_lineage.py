"""Numbers that an older bundle gave out, as the check sees them in the package that goes on."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from provenance._base.findings import Finding
from provenance._checks.check import check_package
from provenance._ledger.custody import verify_chain
from provenance._ledger.handover import record_events
from provenance._record.origin import ORIGIN
from provenance._record.package import Package, open_package
from tests.builders import PackageBuilder, left_alone, pack_bundle, unpack_bundle
from tests.bundle.test_resampling import LATER, the_first_season


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bundle of the first season; never to be changed."""
    folder = tmp_path_factory.mktemp("first")
    return pack_bundle(the_first_season(folder), folder / "bundle")


@pytest.fixture(scope="module")
def unpacked(first: Path) -> Iterator[Path]:
    """The package of the first season, unpacked; never to be changed."""
    with left_alone(unpack_bundle(first, first.parent / "unpacked").folder) as folder:
        yield folder


@pytest.fixture
def again(unpacked: Path, tmp_path: Path) -> Package:
    """A copy of the package of the first season, to go on with."""
    return open_package(shutil.copytree(unpacked, tmp_path / "holl"))


def lineage_findings(package: Package) -> list[Finding]:
    return [one for one in check_package(package) if one.rule.startswith("lineage.")]


def test_a_package_as_it_was_unpacked_has_lost_nothing(again: Package) -> None:
    assert lineage_findings(again) == []


def test_a_new_number_is_no_lost_one(again: Package) -> None:
    PackageBuilder(again).with_row("sample", sample_id="232")
    assert lineage_findings(again) == []


@pytest.mark.parametrize(
    ("table", "key"),
    [
        ("element", "B1-014"),
        ("sample", "231"),
        ("plug", "P-231"),
        ("lab_result", "R-1"),
        ("reservation", "231"),
    ],
)
def test_a_number_that_vanished_is_an_error(again: Package, table: str, key: str) -> None:
    again.write_table(table, again.table(table).iloc[0:0])
    (finding,) = lineage_findings(again)
    assert (finding.severity, finding.rule, finding.table) == (
        "error",
        "lineage.number_gone",
        table,
    )
    assert finding.message.startswith(f"{key} of '{table}' was in the full edition of 20")
    assert finding.message.endswith("and is gone.")


def test_a_sample_that_is_another_piece_of_wood_is_an_error(again: Package) -> None:
    PackageBuilder(again).with_row("element", element_id="B1-020")
    samples = again.table("sample")
    samples["element_id"] = "B1-020"
    again.write_table("sample", samples)
    (finding,) = lineage_findings(again)
    assert (finding.rule, finding.row, finding.value) == ("lineage.number_moved", 2, "B1-020")
    assert "was of the timber B1-014" in finding.message


def test_a_dowel_whose_stamp_became_another_is_an_error(again: Package) -> None:
    plugs = again.table("plug")
    plugs["stamp"] = "237"
    again.write_table("plug", plugs)
    assert [one.rule for one in lineage_findings(again)] == ["lineage.stamp_moved"]


def test_a_ledger_begun_anew_is_an_error(again: Package) -> None:
    again.write_table("custody", again.table("custody").iloc[0:0])
    record_events(
        again,
        "collected",
        ["231"],
        happened_on="2024-06-05",
        recorded_on=LATER,
        to_party_id="MB",
    )
    assert verify_chain(again) == []
    assert [one.rule for one in lineage_findings(again)] == ["lineage.ledger_rewritten"]


def test_a_number_that_only_a_still_older_bundle_had_is_not_given_out_again(
    again: Package, tmp_path: Path
) -> None:
    for table in ("sample", "plug", "reservation", "lab_result"):
        again.write_table(table, again.table(table).iloc[0:0])
    later = unpack_bundle(pack_bundle(again, tmp_path / "second"), tmp_path / "later")
    assert lineage_findings(later) == []
    PackageBuilder(later).with_row("sample")
    assert [one.rule for one in lineage_findings(later)] == ["lineage.number_used_again"]


def test_a_note_that_cannot_be_read_is_told_once_and_the_rest_is_checked(again: Package) -> None:
    (again.folder / ORIGIN).write_text("{", encoding="utf-8")
    (finding,) = lineage_findings(again)
    assert (finding.severity, finding.rule) == ("error", "lineage.note_unreadable")
    assert ".origin.json cannot be read" in finding.message
