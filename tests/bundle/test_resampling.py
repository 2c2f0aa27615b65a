"""A second season goes on from the first bundle: nothing is lost, nothing is numbered twice."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from provenance._base.errors import UnusablePackage
from provenance._base.findings import Finding
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.pack import pack
from provenance._bundle.verify import verify_bundle
from provenance._catalogue.plugs import gather_plugs
from provenance._checks.check import check_package
from provenance._cli import treenail
from provenance._compare.compare import compare
from provenance._identity.locate import locate_plug
from provenance._identity.ranges import take_over
from provenance._identity.stamps import reserve_stamps
from provenance._lab.consign import consign_samples
from provenance._ledger.handover import record_events
from provenance._printing.papers.hole_facts import gather_cards
from provenance._record.origin import ORIGIN, read_origin
from provenance._record.package import Package, open_package
from tests.builders import PackageBuilder, a_package, left_alone, pack_bundle, unpack_bundle
from tests.bundle.test_descriptions import context_cache, issues  # noqa: F401 - a fixture
from tests.bundle.test_hostile import sealed_anew
from tests.bundle.test_pack import bytes_of

LATER = "2026-09-01T12:00:00Z"
AFTER = "2026-10-01T12:00:00Z"


def the_first_season(folder: Path) -> Package:
    """2024: one beam, sample 231, its plug, the parcel to the laboratory, a date."""
    reserved = {"sample_id": "231", "site_id": "HOLL", "crew": "north", "reserved_on": "2024-05-01"}
    package = a_package(folder).with_chain().with_bare_row("reservation", **reserved).package
    record_events(
        package,
        "collected",
        ["231"],
        happened_on="2024-06-04",
        recorded_on="2024-06-04T18:00:00Z",
        to_party_id="MB",
    )
    PackageBuilder(package).with_row("lab_result", consignment_id=None)
    return open_package(package.folder)


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bundle of 2024 as a zip; never to be changed."""
    folder = tmp_path_factory.mktemp("first")
    return pack_bundle(the_first_season(folder), folder / "bundle-2024.zip", zipped=True)


@pytest.fixture(scope="module")
def unpacked(first: Path) -> Iterator[Path]:
    """The package of the first season, unpacked; never to be changed."""
    with left_alone(unpack_bundle(first, first.parent / "unpacked").folder) as folder:
        yield folder


@pytest.fixture
def again(unpacked: Path, tmp_path: Path) -> Package:
    """A copy of the package of the first season, to go on with."""
    return open_package(shutil.copytree(unpacked, tmp_path / "holl"))


def the_second_season(package: Package) -> list[str]:
    """2026: two new samples, the old plug replaced, a parcel and its results; the new numbers."""
    take_over(package, why="the laptop of the first season is gone")
    numbers = [
        one.sample_id for one in reserve_stamps(package, 2, crew="north", reserved_on="2026-06-01")
    ]
    builder = PackageBuilder(package)
    builder.with_row("element", element_id="B1-020", recorded_on="2026-09-01")
    for number, wood in zip(numbers, ("B1-014", "B1-020"), strict=True):
        # the second core out of the old beam is a hole of its own, half a metre on
        builder.with_row(
            "sample",
            sample_id=number,
            element_id=wood,
            along_m="1.75",
            collected_on="2026-09-01",
        ).with_row(
            "plug",
            plug_id=f"P-{number}",
            sample_id=number,
            stamp=number,
            placed_on="2026-09-01",
        )
    builder.with_row("plug", plug_id="P-231-2", placed_on="2026-09-01", notes="old one worn away")
    plugs = package.table("plug")
    plugs.loc[plugs["plug_id"] == "P-231", ["status", "replaced_by_plug_id", "last_seen_on"]] = [
        "replaced",
        "P-231-2",
        "2026-09-01",
    ]
    package.write_table("plug", plugs)
    sites = package.table("site")
    sites["visit_end"], sites["permit_until"] = "2026-09-02", "2026-12-31"
    package.write_table("site", sites)
    record_events(
        package,
        "collected",
        numbers,
        happened_on="2026-09-01",
        recorded_on=LATER,
        to_party_id="MB",
    )
    parcel = consign_samples(
        package, numbers, to_party_id="LAB", packed_on="2026-09-10", recorded_on=AFTER
    )
    for event, day in (("handed_over", "2026-09-11"), ("received", "2026-09-14")):
        record_events(
            package,
            event,
            numbers,
            happened_on=day,
            recorded_on=AFTER,
            consignment_id=parcel.consignment_id,
            to_party_id="LAB",
        )
    for number in numbers:
        builder.with_row(
            "lab_result",
            result_id=f"R-{number}",
            sample_id=number,
            consignment_id=parcel.consignment_id,
            reported_on="2026-12-01",
        )
    return numbers


def severe(package: Package) -> list[Finding]:
    return [one for one in check_package(package) if one.severity != "note"]


def lineage_findings(package: Package) -> list[Finding]:
    return [one for one in check_package(package) if one.rule.startswith("lineage.")]


def tagmanifest_sum(bundle: Path) -> str:
    """The checksum as `sha256sum tagmanifest-sha256.txt` gives it."""
    return hashlib.sha256((bundle / "tagmanifest-sha256.txt").read_bytes()).hexdigest()


def facts_of(bundle: Path) -> dict:
    return json.loads((bundle / "data" / "bundle.json").read_text("utf-8"))


# -- the whole way -------------------------------------------------------------------------------


@pytest.mark.heavy
@pytest.mark.filterwarnings("ignore")  # the validator's libraries warn about themselves
def test_the_second_season_goes_on_from_the_first(
    first: Path,
    again: Package,
    tmp_path: Path,
    context_cache: Path,  # noqa: F811
) -> None:
    before = severe(again)
    numbers = the_second_season(again)
    assert set(numbers).isdisjoint({"231"})
    assert [one for one in severe(again) if one.message not in {b.message for b in before}] == []

    packed = pack(open_package(again.folder), tmp_path / "bundle-2026")
    assert verify_bundle(packed.path).sound
    assert packed.contents.left_out == ()

    shutil.unpack_archive(first, tmp_path / "as-zip")
    (old,) = (tmp_path / "as-zip").iterdir()
    (named,) = facts_of(packed.path)["revisionOf"]
    assert (
        named.items()
        >= {
            "name": "holl",
            "edition": "full",
            "recordDate": facts_of(old)["recordDate"],
            "tagmanifestSha256": tagmanifest_sum(old),
            "accession": "",
        }.items()
    )

    found = compare(first, packed.path)
    added = {one.table: len(one.added) for one in found.tables if len(one.added)}
    assert added == {
        "element": 1,
        "sample": 2,
        "plug": 3,
        "reservation": 2,
        "number_range": 1,
        "consignment": 1,
        "custody": 8,
        "lab_result": 2,
    }
    changed = {(one.table, *c) for one in found.tables for c in one.changes()}
    assert changed == {
        ("plug", "P-231", "status", "in_place", "replaced"),
        ("plug", "P-231", "replaced_by_plug_id", "", "P-231-2"),
        ("plug", "P-231", "last_seen_on", "", "2026-09-01"),
        ("site", "HOLL", "visit_end", "2024-06-14", "2026-09-02"),
        ("site", "HOLL", "permit_until", "2024-12-31", "2026-12-31"),
    }
    assert found.count("withdrawn") == 0
    assert found.ledger is not None
    assert (found.ledger.state, found.lineage, found.broken_numbers) == ("appended", "forward", ())

    assert issues(packed.path / "data", context_cache) == []
    readme = (packed.path / "data" / "README.txt").read_text("utf-8")
    assert "Earlier bundles of this record" in readme
    assert tagmanifest_sum(old) in readme.replace("\n  ", "")


def test_the_crate_says_it_in_the_words_of_prov(
    first: Path, again: Package, tmp_path: Path
) -> None:
    """PROV-O (W3C Recommendation, 2013): prov:wasRevisionOf; read with the rocrate library."""
    from rocrate.rocrate import ROCrate

    the_second_season(again)
    bundle = pack_bundle(again, tmp_path / "b")
    document = json.loads((bundle / "data" / "ro-crate-metadata.json").read_text("utf-8"))
    assert {"prov": "http://www.w3.org/ns/prov#"} in document["@context"]
    earlier = ROCrate(bundle / "data").root_dataset["prov:wasRevisionOf"]
    known = read_origin(again.folder)
    assert known is not None
    assert earlier["identifier"] == known.bundle.tagmanifest_sha256


def test_old_and_new_plug_are_both_found_and_the_new_one_is_the_one_to_look_for(
    again: Package,
) -> None:
    the_second_season(again)
    found = locate_plug(gather_plugs(again.folder), "231")
    assert [one.plug.plug_id for one in found.candidates][:2] == ["P-231-2", "P-231"]
    (card,) = gather_cards(again, "231")
    assert card.stamp == "231"
    assert "2026-09-01" in str(card)


# -- the same bytes ------------------------------------------------------------------------------


def test_a_package_that_was_not_changed_makes_the_same_bundle_again(
    first: Path, again: Package, tmp_path: Path
) -> None:
    pack_bundle(again, tmp_path / "bundle-2024.zip", zipped=True)
    assert (tmp_path / "bundle-2024.zip").read_bytes() == first.read_bytes()


def test_the_third_bundle_names_both_and_is_made_again_alike(
    again: Package, tmp_path: Path
) -> None:
    the_second_season(again)
    second = pack_bundle(again, tmp_path / "second")
    third_season = unpack_bundle(second, tmp_path / "third-season")
    assert bytes_of(pack_bundle(third_season, tmp_path / "second-again")) == bytes_of(second)
    PackageBuilder(third_season).with_row("element", element_id="B1-030")
    third = pack_bundle(third_season, tmp_path / "third")
    sums = [one["tagmanifestSha256"] for one in facts_of(third)["revisionOf"]]
    assert sums == [tagmanifest_sum(second), facts_of(second)["revisionOf"][0]["tagmanifestSha256"]]
    assert verify_bundle(third).sound


def test_the_public_edition_names_the_earlier_bundle_and_none_of_its_numbers(
    again: Package, tmp_path: Path
) -> None:
    the_second_season(again)
    again.write_table("reservation", again.table("reservation").iloc[1:])
    facts = facts_of(pack_bundle(open_package(again.folder), tmp_path / "p", edition=PUBLIC))
    known = read_origin(again.folder)
    assert known is not None
    assert facts["revisionOf"] == [known.bundle.in_public.as_dict()]
    assert "spentNumbers" not in facts
    assert verify_bundle(tmp_path / "p").sound


def test_a_change_that_leaves_every_size_alike_is_a_revision(
    again: Package, tmp_path: Path
) -> None:
    samples = again.table("sample")
    samples["length_mm"] = "89"
    again.write_table("sample", samples)
    assert facts_of(pack_bundle(again, tmp_path / "b"))["revisionOf"]


def test_a_package_that_never_was_a_bundle_has_no_earlier_one(tmp_path: Path) -> None:
    bundle = pack_bundle(the_first_season(tmp_path), tmp_path / "b")
    assert "revisionOf" not in facts_of(bundle)
    assert "Earlier bundles" not in (bundle / "data" / "README.txt").read_text("utf-8")


# -- numbers are for ever ------------------------------------------------------------------------


def test_numbers_given_out_once_are_never_reserved_again(again: Package) -> None:
    """Not even when somebody takes every row out that bears them."""
    for table in ("sample", "plug", "reservation"):
        again.write_table(table, again.table(table).iloc[0:0])
    take_over(again, why="the first laptop is gone")
    (reserved,) = reserve_stamps(again, 1, crew="south", reserved_on="2026-06-01", first=231)
    assert reserved.sample_id == "232"


def test_a_number_that_went_out_of_the_record_stays_spent_for_all_later_seasons(
    again: Package, tmp_path: Path
) -> None:
    for table in ("sample", "plug", "reservation", "lab_result"):
        again.write_table(table, again.table(table).iloc[0:0])
    second = pack_bundle(again, tmp_path / "second")
    assert facts_of(second)["spentNumbers"]["sample"] == ["231"]
    later = unpack_bundle(second, tmp_path / "later")
    assert lineage_findings(later) == []
    take_over(later, why="the first laptop is gone")
    (reserved,) = reserve_stamps(later, 1, crew="south", reserved_on="2028-06-01", first=231)
    assert reserved.sample_id == "232"
    PackageBuilder(later).with_row("sample")
    assert [one.rule for one in lineage_findings(later)] == ["lineage.number_used_again"]
    third = pack_bundle(later, tmp_path / "third")
    assert "sample" not in facts_of(third)["spentNumbers"]


def test_pack_ends_with_1_when_a_number_is_gone(again: Package, tmp_path: Path) -> None:
    again.write_table("plug", again.table("plug").iloc[0:0])
    arguments = ["pack", str(again.folder), "--out", str(tmp_path / "b")]
    assert CliRunner().invoke(treenail, arguments).exit_code == 1
    report = (tmp_path / "b" / "data" / "check" / "report.json").read_text("utf-8")
    assert "P-231 of 'plug' was in the full edition" in report


# -- the note of the origin ----------------------------------------------------------------------


def test_a_spoiled_note_of_the_origin_is_said_and_not_passed_over(
    again: Package, tmp_path: Path
) -> None:
    (again.folder / ORIGIN).write_text('{"bundle": 1}', encoding="utf-8")
    with pytest.raises(UnusablePackage, match=r"\.origin\.json cannot be read: .*unpack that"):
        pack_bundle(again, tmp_path / "b")
    take_over(again, why="the first laptop is gone")
    with pytest.raises(UnusablePackage, match="unpack that bundle again"):
        reserve_stamps(again, 1, crew="south", reserved_on="2026-06-01")
    assert not (tmp_path / "b").exists()
    (finding,) = lineage_findings(again)
    assert (finding.severity, finding.rule) == ("error", "lineage.note_unreadable")


def test_a_bundle_that_lies_about_its_lineage_is_not_unpacked(first: Path, tmp_path: Path) -> None:
    shutil.unpack_archive(first, tmp_path / "as-zip")
    (bundle,) = (tmp_path / "as-zip").iterdir()
    path = bundle / "data" / "bundle.json"
    path.write_text(json.dumps(facts_of(bundle) | {"revisionOf": [7]}), encoding="utf-8")
    sealed_anew(bundle)
    with pytest.raises(Exception, match="which bundles came before"):
        unpack_bundle(bundle, tmp_path / "back")
    assert not (tmp_path / "back").exists()


def test_the_numbers_of_a_large_bundle_are_kept_in_little_room(again: Package) -> None:
    """A line a number and no more: the note must not outgrow the tables."""
    note = (again.folder / ORIGIN).read_text("utf-8")
    frames = [again.table(one) for one in ("element", "sample", "plug", "lab_result")]
    rows = sum(len(pd.DataFrame(one)) for one in frames)
    assert note.count("\n") < 40 + 2 * rows + 10
