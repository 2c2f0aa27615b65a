"""All descriptions together: the same bytes each time, nobody named who did not agree."""

from __future__ import annotations

import json
import pkgutil
import sys
import types
import zipfile
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml
from dwca.read import DwCAReader
from lxml import etree

from provenance._base.errors import UnusablePackage
from provenance._bundle import deposit
from provenance._bundle.deposit import csvw
from provenance._bundle.deposit.files import deposit_forms
from provenance._bundle.deposit.form import Form, as_text
from provenance._bundle.describe.editions import FULL, PUBLIC, Edition
from provenance._bundle.describe.published_places import published_places
from provenance._bundle.verify import verify_bundle
from provenance._record.package import Package
from tests.builders import a_package, pack_bundle, unpack_bundle
from tests.bundle.deposit.conftest import PUBLISHED, described

NAMES = [one.file_name for one in deposit_forms()]


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
    assert set(NAMES) <= set(one)


def test_an_unpacked_bundle_is_packed_to_the_same_descriptions(
    package: Package, tmp_path: Path
) -> None:
    first = pack_bundle(package, tmp_path / "1")
    again = pack_bundle(unpack_bundle(first, tmp_path / "unpacked"), tmp_path / "2")
    assert not [name for name in NAMES if (tmp_path / "unpacked" / name).exists()]
    for name in NAMES:
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


def test_a_form_is_one_module(
    package: Package, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Found, written, titled, tied to its standard, listed in the README, left out again."""
    line = ("words.txt", "the title alone, for the smallest of tools")
    form = Form(
        file_name="words.txt",
        title="The title alone",
        order=99,
        write=as_text(lambda described: described.record["titles"][0]["title"]),
        standard=("https://example.org/words", "Words 1"),
        readme=line,
    )
    module = types.ModuleType("provenance._bundle.deposit.words")
    module.FORM = form  # type: ignore[attr-defined]
    in_folder = pkgutil.iter_modules

    def with_one_more(path: list[str]) -> list[pkgutil.ModuleInfo]:
        more = [pkgutil.ModuleInfo(None, "words", False)] if path == deposit.__path__ else []
        return [*in_folder(path), *more]

    monkeypatch.setitem(sys.modules, module.__name__, module)
    monkeypatch.setattr(pkgutil, "iter_modules", with_one_more)
    deposit_forms.cache_clear()
    try:
        assert deposit_forms()[-1] == form
        bundle = pack_bundle(package, tmp_path / "bundle")
        unpacked = unpack_bundle(bundle, tmp_path / "unpacked")
        assert verify_bundle(bundle).sound
    finally:
        deposit_forms.cache_clear()
    assert (bundle / "data" / "words.txt").read_text("utf-8") == package.title
    assert not (unpacked.folder / "words.txt").exists()
    crate = (bundle / "data" / "ro-crate-metadata.json").read_text("utf-8")
    assert "The title alone" in crate
    assert "https://example.org/words" in crate
    assert ": ".join(line) in (bundle / "data" / "README.txt").read_text("utf-8")


def test_two_forms_of_one_name_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(csvw, "AGAIN", csvw.FORM, raising=False)
    deposit_forms.cache_clear()
    try:
        with pytest.raises(ValueError, match="two forms have the same file_name"):
            deposit_forms()
    finally:
        deposit_forms.cache_clear()


@pytest.mark.parametrize("name", ["index.html", "pages/x.html", *NAMES])
def test_nothing_of_a_package_may_stand_where_pack_writes_its_own(
    package: Package, tmp_path: Path, name: str
) -> None:
    path = package.folder / name
    path.parent.mkdir(exist_ok=True)
    path.write_text("the package's own")
    for edition in (FULL, PUBLIC):
        with pytest.raises(UnusablePackage, match="stands where the bundle has a file of its own"):
            pack_bundle(package, tmp_path / "out", edition=edition)
