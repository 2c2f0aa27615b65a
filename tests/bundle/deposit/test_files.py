"""All descriptions together: the same bytes each time, nobody named who did not agree."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml
from dwca.read import DwCAReader
from lxml import etree

from provenance._bundle.describe.deposit_names import DEPOSIT_TITLES
from provenance._bundle.describe.editions import FULL, PUBLIC, Edition
from provenance._bundle.describe.published_places import published_places
from provenance._bundle.pack import pack_bundle
from provenance._bundle.unpack import unpack_bundle
from provenance._bundle.verify import verify_bundle
from provenance._record.package import Package
from tests.builders import a_package
from tests.bundle.deposit.conftest import PUBLISHED, described


@pytest.fixture(scope="module")
def record_schemas() -> dict[str, Any]:
    """The published schemas of DataCite's XML and of the Citation File Format."""
    return {
        "datacite": etree.XMLSchema(etree.parse(PUBLISHED / "datacite-4.5" / "metadata.xsd")),
        "cff": json.loads((PUBLISHED / "cff-1.2.0.json").read_text("utf-8")),
    }


def contents_of(folder: Path) -> dict[str, bytes]:
    """Every file, and every member of the archive, by name."""
    found = {path.name: path.read_bytes() for path in folder.iterdir()}
    with zipfile.ZipFile(folder / "darwin-core.zip") as archive:
        found |= {name: archive.read(name) for name in archive.namelist()}
    return found


def test_the_same_package_makes_the_same_bytes(package: Package, tmp_path: Path) -> None:
    one, other = (contents_of(described(package, tmp_path / name)) for name in ("1", "2"))
    assert one == other
    assert set(DEPOSIT_TITLES) <= set(one)


def test_an_unpacked_bundle_is_packed_to_the_same_descriptions(
    package: Package, tmp_path: Path
) -> None:
    first = pack_bundle(package, tmp_path / "1")
    again = pack_bundle(unpack_bundle(first, tmp_path / "unpacked"), tmp_path / "2")
    assert not [name for name in DEPOSIT_TITLES if (tmp_path / "unpacked" / name).exists()]
    for name in DEPOSIT_TITLES:
        assert (again / "data" / name).read_bytes() == (first / "data" / name).read_bytes()
    assert verify_bundle(again).sound


@pytest.mark.parametrize("edition", [FULL, PUBLIC], ids=lambda one: one.name)
def test_nobody_is_named_who_did_not_agree_and_no_way_is_told(
    edition: Edition, tmp_path: Path
) -> None:
    builder = a_package(tmp_path).with_chain().with_row("lab_result", reported_by="OWN")
    frame = builder.package.table("site")
    frame["access_notes"] = "behind the byre"
    frame["permit_number"] = "PERMIT-77"
    builder.package.write_table("site", frame)
    for name, content in contents_of(described(builder.package, tmp_path / "out", edition)).items():
        text = content.decode("utf-8", "replace")
        for secret in ("Birkwood", "Reedham", "behind the byre", "PERMIT-77"):
            assert secret not in text, (name, secret)


@pytest.mark.parametrize("radius", ["", "25", "500", "nonsense"])
def test_a_position_that_is_not_made_coarse_is_not_published(tmp_path: Path, radius: str) -> None:
    package = (
        a_package(tmp_path)
        .with_row("site", latitude="12.3456", longitude="65.4321", coordinate_uncertainty_m=radius)
        .package
    )
    for edition in (FULL, PUBLIC):
        assert [one.box for one in published_places(package, edition)] == [None]


@pytest.mark.parametrize(
    ("latitude", "longitude", "west", "east"),
    [("0", "179.99", 179.9002, -179.9202), ("89.99", "10", -180.0, 180.0)],
)
def test_boxes_reach_over_the_180th_meridian_and_round_a_pole(
    tmp_path: Path, latitude: str, longitude: str, west: float, east: float
) -> None:
    """RFC 7946, sections 5.2 and 5.3."""
    package = (
        a_package(tmp_path)
        .with_row("site", latitude=latitude, longitude=longitude, coordinate_uncertainty_m="10000")
        .package
    )
    ((box),) = (one.box for one in published_places(package, PUBLIC))
    assert box is not None
    assert (box.west, box.east) == pytest.approx((west, east), abs=1e-3)


def test_hostile_text_in_the_record_breaks_no_description(
    tmp_path: Path, record_schemas: dict[str, Any]
) -> None:
    nasty = "</title>]]><!--\x0b\u202e\x1b[31m &amp; \"x\", 'y'\r\n- z: {a}"
    builder = a_package(tmp_path)
    builder.with_bare_row(
        "party", party_id="MB", kind="person", name=nasty, may_be_named="true", orcid="x\x0by"
    )
    builder.with_bare_row("party", party_id="MUS", kind="organisation", name=nasty, ror=nasty)
    builder.with_row(
        "site", name=nasty, public_name=nasty, region=nasty, rights=nasty, repository_id="MUS"
    )
    builder.with_row("place").with_row("element").with_row("sample", notes=nasty)
    builder.with_row("lab_result", notation=nasty, reference_chronology=nasty)
    package = builder.package.with_descriptor({"title": nasty, "description": nasty})
    for edition in (FULL, PUBLIC):
        folder = described(package, tmp_path / edition.name, edition)
        record_schemas["datacite"].assertValid(etree.parse(folder / "datacite.xml"))
        jsonschema.validate(
            yaml.safe_load((folder / "CITATION.cff").read_text("utf-8")), record_schemas["cff"]
        )
        for name in ("datacite.json", "schema-org.jsonld", "csv-metadata.json"):
            json.loads((folder / name).read_text("utf-8"))
        etree.parse(folder / "dublin-core.xml")
        with DwCAReader(str(folder / "darwin-core.zip")) as archive:
            assert len(list(archive)) == 1
        for name, content in contents_of(folder).items():
            if not name.endswith(".zip"):
                assert b"\x0b" not in content
                assert b"\x1b" not in content
