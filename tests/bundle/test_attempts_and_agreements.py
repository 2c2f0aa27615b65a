"""A hole that gave nothing stays a hole and counts as no sample; what a community asks is shown."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

from provenance._base.errors import TreenailError
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.review.deciding import decide_field
from provenance._catalogue.entry import read_entry
from provenance._cli import treenail
from provenance._identity.selection import samples_of_package
from provenance._lab.consign import consign_samples
from provenance._ledger.handover import record_events
from provenance._ledger.holdings import holdings_frame
from provenance._printing.labels.facts import gather_facts
from provenance._printing.papers.hole_facts import gather_cards
from provenance._record.package import Package, open_package
from tests.builders import a_package, pack_bundle

NOTICE = "Our houses are lived in. Please do not come without asking us."
NOTHING = "Attempted core, no sample: rot"


@pytest.fixture(scope="module")
def holl(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """Sample 231, attempt 232 that met rot, and an agreement with conditions and a notice."""
    builder = a_package(tmp_path_factory.mktemp("agreed")).with_chain()
    builder.with_row(
        "sample", sample_id="232", attempt="no_sample", failure_cause="rot", pieces=0,
        condition=None, along_m=2.25,
    )  # fmt: skip
    builder.with_row("plug", plug_id="P-232", sample_id="232", stamp="232")
    builder.with_bare_row(
        "agreement", agreement_id="AG-1", site_id="HOLL", agreement_status="given",
        scope="core", given_by_party_id="OWN", agreed_on="2024-05-01",
        conditions="review_before_release; acknowledge", access_notice=NOTICE,
    )  # fmt: skip
    return builder.package


def test_the_full_bundle_shows_hole_and_notice_and_counts_one_sample(
    holl: Package, tmp_path: Path
) -> None:
    data = pack_bundle(holl, tmp_path / "b") / "data"
    readme = " ".join((data / "README.txt").read_text("utf-8").split())
    assert f"NOTICE OF THE COMMUNITY: {NOTICE}" in readme
    index = (data / "index.html").read_text("utf-8")
    assert f"Notice of the community.</strong> {NOTICE}" in index
    assert "1 sample" in index
    assert "2 samples" not in index
    relocate = (data / "pages" / "relocate" / "232.html").read_text("utf-8")
    for said in (NOTICE, NOTHING, "Agreement AG-1: given by Odo Reedham", "review before release"):
        assert said in relocate, said
    assert NOTHING.lower() in (data / "pages" / "element" / "B1-014.html").read_text("utf-8")
    assert f"Sample 232: {NOTHING.lower()}" in (data / "pages/sample/232.html").read_text("utf-8")
    sizes = json.loads((data / "datacite.json").read_text("utf-8"))["sizes"]
    assert "1 sample" in sizes
    samples = list(read_entry(tmp_path / "b").samples)
    assert len(samples) == 1
    with zipfile.ZipFile(data / "darwin-core.zip") as archive:
        lines = [line for name in archive.namelist() for line in archive.read(name).splitlines()]
    begun = {line.decode().partition(",")[0].strip('"') for line in lines}
    assert "231" in begun
    assert "232" not in begun


def test_labels_and_parcels_are_for_samples_and_cards_for_holes(holl: Package) -> None:
    assert [one.sample_id for one in gather_facts(holl)] == ["231"]
    with pytest.raises(TreenailError, match="nothing to put a label on"):
        gather_facts(holl, "232")
    assert list(holdings_frame(holl)["sample_id"]) == ["231"]
    cards = {one.facts.sample_id: one for one in gather_cards(holl)}
    assert dict(cards["232"].taken)["taken"].startswith(NOTHING.lower())
    assert dict(cards["231"].taken)["taken"].startswith("core, 98")
    assert samples_of_package(holl.tables, "all") == ["231"]
    assert samples_of_package(holl.tables, "231-232") == ["231", "232"]
    with pytest.raises(TreenailError, match="gave no sample: 232"):
        consign_samples(
            holl,
            ["231", "232"],
            to_party_id="LAB",
            packed_on="2024-06-15",
            recorded_on="2024-06-15",
        )
    with pytest.raises(TreenailError, match="gave no sample: 232"):
        record_events(
            holl, "collected", ["232"], happened_on="2024-06-04", recorded_on="2024-06-04",
            to_party_id="MB",
        )  # fmt: skip


def test_the_public_edition_shows_a_notice_when_it_is_released(
    holl: Package, tmp_path: Path
) -> None:
    arguments = ["pack", str(holl.folder), "--edition", "public", "--out", str(tmp_path / "b")]
    packed = CliRunner().invoke(treenail, arguments)
    assert "AG-1 of site HOLL asks to read everything before it is public" in packed.stderr
    assert NOTICE not in (tmp_path / "b" / "data" / "README.txt").read_text("utf-8")
    who = {"by": "Ansa Reviewer (invented)", "reason": "the community wants it shown"}
    decide_field(holl, "agreement.access_notice", "release", **who)
    again = pack_bundle(open_package(holl.folder), tmp_path / "again", edition=PUBLIC) / "data"
    assert NOTICE in " ".join((again / "README.txt").read_text("utf-8").split())
    assert NOTICE in (again / "index.html").read_text("utf-8")
