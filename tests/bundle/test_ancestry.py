"""A bundle tells enough of those before it to be judged where none of them is at hand."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._bag.bag import tags_in, write_bag
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.verify import verify_bundle
from provenance._checks.check import check_package
from provenance._history.deciding import correct, decide
from provenance._ledger.custody import append_events
from provenance._record.given_out import GivenOut, given_out, numbers_digest, read_lineage
from provenance._record.given_out import lineage_bytes
from provenance._record.origin import ORIGIN
from provenance._record.package import open_package
from tests.builders import PackageBuilder, left_alone, pack_bundle, unpack_bundle
from tests.bundle.test_anchored import put_ledger
from tests.bundle.test_hostile import sealed_anew
from tests.bundle.test_pack import bytes_of


@pytest.fixture(scope="module")
def seasons(pristine: Path, tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    """The package of a second season, and the bundles 'second' and 'third' made of it."""
    folder = tmp_path_factory.mktemp("seasons")
    package = unpack_bundle(pristine / "bundle.zip", folder / "package")
    PackageBuilder(package).with_row("element", element_id="B1-015")
    events = pd.DataFrame([{"event": "stored", "happened_on": "2025-01-07", "sample_id": "231"}])
    append_events(package, events)
    second = pack_bundle(package, folder / "second")
    package = unpack_bundle(second, folder / "again")
    append_events(package, events.assign(happened_on="2025-02-07"))
    pack_bundle(package, folder / "third")
    with left_alone(folder):
        yield folder


def lineage_rows(bundle: Path) -> list[dict[str, str]]:
    with open(bundle / "data" / "lineage.csv", encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def rules_of(bundle: Path) -> set[str]:
    return {one.rule for one in verify_bundle(bundle).findings if one.severity == "error"}


def test_each_bundle_tells_of_all_before_it(seasons: Path, pristine: Path) -> None:
    rows = {(one["table"], one["key"]): one for one in lineage_rows(seasons / "third")}
    assert rows["sample", "231"]["bundles"] == "1-2"
    assert rows["element", "B1-015"] == {
        "table": "element", "key": "B1-015", "owner": "HOLL", "bundles": "2", "gone": "",
    }  # fmt: skip
    facts = json.loads((seasons / "third" / "data" / "bundle.json").read_text("utf-8"))
    newest, oldest = facts["revisionOf"]
    last = json.loads((seasons / "second" / "data" / "bundle.json").read_text("utf-8"))["lastSeal"]
    assert (newest["heads"], newest["events"]) == ([last], oldest["events"] + 1)
    info = (seasons / "second" / "bag-info.txt").read_text("utf-8")
    assert f"Custody-Ledger: {newest['events']} {last}\n" in info
    # nothing is told by a first bundle, and the sound ones are sound
    assert "lineage.csv" not in last
    assert rules_of(seasons / "third") == set()
    report = check_package(open_package(seasons / "third" / "data"))
    assert [one for one in report if one.rule.startswith("lineage.")] == []


def test_an_unchanged_package_makes_the_same_bundle_once_more(
    seasons: Path, tmp_path: Path
) -> None:
    package = unpack_bundle(seasons / "third", tmp_path / "package")
    assert bytes_of(pack_bundle(package, tmp_path / "b")) == bytes_of(seasons / "third")


def test_what_was_moved_cut_or_rewritten_shows_in_the_bundle_alone(
    seasons: Path, tmp_path: Path
) -> None:
    """Every checksum, the last seal and the bag's own tags are made to fit, as a forger does."""

    def on_other_wood(bundle: Path) -> None:
        path = bundle / "data" / "tables" / "sample.csv"
        path.write_text(path.read_text("utf-8").replace("B1-014", "B1-015"), encoding="utf-8")

    def cut(bundle: Path) -> None:
        rows = [dict(row) for row in open_package(bundle / "data").tables.rows("custody")]
        put_ledger(bundle, rows[:-2])

    def ancestry_rewritten(bundle: Path) -> None:
        path = bundle / "data" / "lineage.csv"
        text = path.read_text("utf-8").replace("sample,231,B1-014", "sample,231,B1-015")
        path.write_text(text, encoding="utf-8")
        on_other_wood(bundle)

    def gone(bundle: Path) -> None:
        path = bundle / "data" / "tables" / "element.csv"
        lines = path.read_text("utf-8").splitlines(keepends=True)
        path.write_text("".join(lines[:-1]), encoding="utf-8")

    for forge, rule in (
        (on_other_wood, "lineage.number_moved"),
        (cut, "lineage.ledger_rewritten"),
        (ancestry_rewritten, "lineage.numbers_rewritten"),
        (gone, "lineage.number_gone"),
    ):
        package = unpack_bundle(seasons / "third", tmp_path / forge.__name__ / "package")
        bundle = pack_bundle(package, tmp_path / forge.__name__ / "bundle")
        tags = tags_in((bundle / "bag-info.txt").read_text("utf-8"))
        forge(bundle)
        if forge is cut:
            for path in bundle.glob("*manifest-*.txt"):
                path.unlink()
            write_bag(bundle, tags)
            assert "custody.end_differs" in rules_of(bundle), "a cut tail shows by the bag's tag"
        sealed_anew(bundle)
        assert rule in rules_of(bundle), forge.__name__
        report = check_package(open_package(bundle / "data"))
        assert rule in {one.rule for one in report}, forge.__name__


def test_a_public_edition_tells_no_numbers_and_no_seals(seasons: Path, tmp_path: Path) -> None:
    package = unpack_bundle(seasons / "third", tmp_path / "package")
    decide(package, correct("site", "HOLL", {"name": "Hollin Reach, again (invented)"}), who="IV")
    public = pack_bundle(open_package(package.folder), tmp_path / "public", edition=PUBLIC)
    assert not (public / "data" / "lineage.csv").exists()
    facts = json.loads((public / "data" / "bundle.json").read_text("utf-8"))
    assert len(facts["revisionOf"]) == 3
    for one in facts["revisionOf"]:
        assert set(one) == {"name", "edition", "recordDate", "tagmanifestSha256", "accession"}
    assert "Custody-Ledger" not in (public / "bag-info.txt").read_text("utf-8")


def test_a_package_that_an_older_version_unpacked_goes_on(seasons: Path, tmp_path: Path) -> None:
    package = unpack_bundle(seasons / "second", tmp_path / "package")
    note = package.folder / ORIGIN
    origin = json.loads(note.read_text("utf-8"))
    del origin["given"]
    plain = ("name", "edition", "recordDate", "tagmanifestSha256", "accession")
    for one in (origin["bundle"], *origin["earlier"]):
        for name in set(one) - set(plain):
            del one[name]
    note.write_text(json.dumps(origin), encoding="utf-8")
    PackageBuilder(package).with_row("element", element_id="B1-016")
    bundle = pack_bundle(package, tmp_path / "bundle")
    assert rules_of(bundle) == set()
    (sample,) = [one for one in lineage_rows(bundle) if one["table"] == "sample"]
    assert (sample["owner"], sample["bundles"]) == ("B1-014", "2")


_KEYS = st.sampled_from(["1", "2", "a,b", 'q"'])
# a lone CR does not survive in a table either
_OWNERS = st.text(st.characters(exclude_characters="\r", exclude_categories=["Cs"]), max_size=3)
_NUMBERS = st.dictionaries(
    st.sampled_from(["sample", "plug"]), st.dictionaries(_KEYS, _OWNERS), max_size=2
)


@settings(max_examples=60, deadline=None)
@given(st.lists(_NUMBERS, min_size=1, max_size=4), st.integers(0, 4))
def test_what_the_numbers_of_any_bundle_stood_for_is_told_exactly(history, merged):  # type: ignore[no-untyped-def]
    """Also where two copies of a record are joined, which count their bundles differently."""
    bundles = [f"bag {n}" for n in range(len(history))]
    ones, others = GivenOut(), GivenOut()
    for place, (bundle, numbers) in enumerate(zip(bundles, history, strict=True)):
        if place < merged:
            ones = ones.with_bundle(bundle, numbers, {})
        else:
            others = others.with_bundle(bundle, numbers, {})
    ones = given_out(ones.lines(bundles[::-1]), bundles[::-1])
    told = read_lineage(lineage_bytes(ones.joined(others), bundles), bundles)
    for bundle, numbers in zip(bundles, history, strict=True):
        filled = {table: keys for table, keys in numbers.items() if keys}
        assert told.numbers_in(bundle) == filled
        assert numbers_digest(told.numbers_in(bundle)) == numbers_digest(filled)
