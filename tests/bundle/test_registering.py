"""A DOI goes into tag files and the descriptions beside data/; nothing else of a bundle changes."""

from __future__ import annotations

import hashlib
import json
import shutil
import zipfile
from datetime import date
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml
from bagit import Bag
from click.testing import CliRunner
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from datacite import schema45
from lxml import etree

from provenance._base.errors import AlreadyThere, UnusableInput
from provenance._bundle.describe.lineage import identity_of
from provenance._bundle.registering import register_doi
from provenance._bundle.verify import verify_bundle
from provenance._cli import treenail
from provenance._ledger.ed25519 import Signer
from provenance._record import together
from provenance._record.package import open_package
from tests.builders import pack_bundle, unpack_bundle
from tests.bundle.deposit.conftest import PUBLISHED

DOI, TODAY = "10.5072/hr-1", date(2031, 6, 1)


def bytes_below(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def members(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name.partition("/")[2]: archive.read(name) for name in archive.namelist()}


def is_payload(name: str) -> bool:
    return name.startswith(("data/", "manifest-")) or name == "bagit.txt"


def test_folder_and_zip_get_the_same_tags_and_keep_their_payload(
    pristine: Path, tmp_path: Path
) -> None:
    """Valid for the bagit library (RFC 8493) and, by every list of checksums, for ourselves."""
    found = {}
    for name, read in (("bundle", bytes_below), ("bundle.zip", members)):
        before = read(pristine / name)
        done = register_doi(pristine / name, f"doi:{DOI}", today=TODAY, out=tmp_path / name)
        after = found[name] = read(done.path)
        assert {k: v for k, v in after.items() if is_payload(k)} == {
            k: v for k, v in before.items() if is_payload(k)
        }
        listed = after["tagmanifest-sha256.txt"]
        assert done.now == hashlib.sha256(listed).hexdigest() != done.before
        again = register_doi(done.path, DOI, today=date(2032, 1, 1))
        assert (again.now, read(done.path)) == (done.now, after), "twice is once"
    assert found["bundle"] == found["bundle.zip"]
    now, before = (verify_bundle(folder / "bundle.zip") for folder in (tmp_path, pristine))
    assert (now.word, now.findings) == (before.word, before.findings)
    Bag(str(tmp_path / "bundle")).validate()
    assert identity_of(tmp_path / "bundle").doi == DOI
    info = found["bundle"]["bag-info.txt"].decode()
    assert f"External-Identifier: holl\nExternal-Identifier: https://doi.org/{DOI}\n" in info


def test_every_description_beside_data_says_doi_day_and_relations_and_is_valid(
    bundle: Path,
) -> None:
    """DataCite 4.5 (JSON Schema of the datacite library, XSD of DataCite), CFF 1.2.0."""
    relations = {"new_version_of": ["10.5072/hr-0"], "variant_of": ["10.5072/hr-public"]}
    register_doi(bundle, DOI, today=TODAY, issued=date(2031, 5, 20), **relations)
    folder = bundle / "deposit"
    record = json.loads((folder / "datacite.json").read_text("utf-8"))
    packed = json.loads((bundle / "data" / "datacite.json").read_text("utf-8"))
    assert list(schema45.validator.iter_errors(record)) == []
    changed = {name for name in record if record[name] != packed.get(name)}
    assert changed == {"doi", "dates", "relatedIdentifiers"}
    assert {
        (one["relationType"], one["relatedIdentifier"]) for one in record["relatedIdentifiers"]
    } == {("IsNewVersionOf", "10.5072/hr-0"), ("IsVariantFormOf", "10.5072/hr-public")}
    xsd = etree.XMLSchema(etree.parse(PUBLISHED / "datacite-4.5" / "metadata.xsd"))
    xml = etree.parse(folder / "datacite.xml")
    xsd.assertValid(xml)
    assert xml.getroot().findtext("{*}identifier") == DOI
    cff = yaml.safe_load((folder / "CITATION.cff").read_text("utf-8"))
    jsonschema.validate(cff, json.loads((PUBLISHED / "cff-1.2.0.json").read_text("utf-8")))
    assert (cff["doi"], cff["date-released"]) == (DOI, "2031-05-20")
    page = json.loads((folder / "schema-org.jsonld").read_text("utf-8"))
    assert (page["@id"], page["datePublished"]) == (f"https://doi.org/{DOI}", "2031-05-20")
    assert f"https://doi.org/{DOI}" in (folder / "dublin-core.xml").read_text("utf-8")
    assert {path.name for path in folder.iterdir()} == {
        "datacite.json", "datacite.xml", "CITATION.cff", "schema-org.jsonld", "dublin-core.xml",
    }  # fmt: skip


def test_a_signed_statement_stays_valid(package: Any, tmp_path: Path) -> None:
    """It is about manifest-sha256.txt; a trusted signer's bundle is as sound as before."""
    key = Signer(Ed25519PrivateKey.from_private_bytes(bytes([1] * 32)))
    bundle = pack_bundle(package, tmp_path / "signed", keys=[key])
    pins = {key.key_id: "MB"}
    before = verify_bundle(bundle, pins=pins)
    register_doi(bundle, DOI, today=TODAY)
    after = verify_bundle(bundle, pins=pins)
    assert (after.word, after.ledger) == (before.word, before.ledger)
    assert after.findings == before.findings


def test_the_next_version_names_the_doi_of_the_one_before(bundle: Path, tmp_path: Path) -> None:
    register_doi(bundle, DOI, today=TODAY)
    package = unpack_bundle(bundle, tmp_path / "next")
    frame = package.table("sample")
    frame["notes"] = "a later season"
    package.write_table("sample", frame)
    later = pack_bundle(open_package(package.folder), tmp_path / "later")
    record = json.loads((later / "data" / "datacite.json").read_text("utf-8"))
    assert "doi" not in record
    assert record["relatedIdentifiers"] == [
        {
            "relatedIdentifier": DOI,
            "relatedIdentifierType": "DOI",
            "relationType": "IsNewVersionOf",
        }
    ]
    (before,) = json.loads((later / "data" / "bundle.json").read_text("utf-8"))["revisionOf"]
    assert before["doi"] == DOI


def test_a_kill_at_any_moment_leaves_a_bundle_with_all_or_nothing_of_the_doi(
    bundle: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder has many files to change; the call that comes next brings them to an end."""
    before = bytes_below(bundle)
    wanted = bytes_below(register_doi(bundle, DOI, today=TODAY, out=tmp_path / "whole").path)
    real = together.put_in_place
    # at the commit itself, and when some of the eight files are in place
    for moment in (0, 5):
        broken = Path(shutil.copytree(bundle, tmp_path / f"b{moment}"))
        left = [moment]

        def put(source: Path, target: Path, left: list[int] = left) -> None:
            if not left[0]:
                raise KeyboardInterrupt
            left[0] -= 1
            real(source, target)

        with monkeypatch.context() as patched:
            patched.setattr(together, "put_in_place", put)
            with pytest.raises(KeyboardInterrupt):
                register_doi(broken, DOI, today=TODAY)
        if moment == 0:
            assert bytes_below(broken) == before
        register_doi(broken, DOI, today=TODAY)
        assert bytes_below(broken) == wanted, moment


def test_what_cannot_be_is_refused_and_nothing_is_written(bundle: Path, tmp_path: Path) -> None:
    def refused(says: str, doi: str = DOI, place: Path = bundle, **options: Any) -> None:
        before = bytes_below(tmp_path)
        with pytest.raises(UnusableInput, match=says):
            register_doi(place, doi, today=TODAY, **options)
        assert {k: v for k, v in bytes_below(tmp_path).items() if not k.endswith(".lock")} == {
            k: v for k, v in before.items() if not k.endswith(".lock")
        }

    for text in ("hr-1", "10.5072", "10.5072/", "11.5072/x", "10.5072/a b", "10.5072/<x>\n"):
        refused("is not a DOI; write it as registered", text)
    refused("2031-06-02, is in the future", issued=date(2031, 6, 2))
    refused("before the newest entry of the record, 2031-05-04", issued=date(2031, 5, 3))
    with pytest.raises(AlreadyThere):
        register_doi(bundle, DOI, today=TODAY, out=bundle)
    register_doi(bundle, DOI, today=TODAY)
    refused("has the DOI 10.5072/hr-1 already", "10.5072/hr-2")
    done = register_doi(bundle, "10.5072/hr-2", today=TODAY, replacing=True)
    assert identity_of(bundle).doi == done.doi == "10.5072/hr-2"
    assert DOI not in (bundle / "bag-info.txt").read_text("utf-8")
    (bundle / "data" / "README.txt").write_text("another")
    refused(r"not as it was packed: data/README\.txt", "10.5072/hr-2")
    shutil.rmtree(bundle / "data")
    refused("not as it was packed", "10.5072/hr-2")


def test_the_command_says_what_the_bundle_is_known_by_now(bundle: Path) -> None:
    result = CliRunner().invoke(treenail, ["deposit", str(bundle), "--doi", f"doi:{DOI}"])
    # the record of the tests is of 2031
    assert "before the newest entry of the record, 2031-05-04" in str(result.exception)
    bad = CliRunner().invoke(treenail, ["deposit", str(bundle), "--doi", DOI, "--issued", "May"])
    assert (bad.exit_code, "write the day as 2026-03-01" in bad.output) == (2, True)
