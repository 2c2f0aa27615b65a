"""What a bundle says of itself, against the libraries and schemas of the standards it follows."""

from __future__ import annotations

import io
import json
import shutil
import socket
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from provenance._bundle.describe.citation import datacite_record, makers
from provenance._bundle.describe.crate import check_crate
from provenance._bundle.describe.editions import FULL, PUBLIC
from provenance._record.deposit_settings import DepositSettings, change_deposit
from provenance._record.origin import Ancestor
from provenance._record.package import Package, open_package
from tests.builders import a_package, pack_bundle


@pytest.fixture(autouse=True)
def no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever asks the network here fails the test."""

    def refuse(*_: Any, **__: Any) -> None:
        raise AssertionError("asked the network")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)


# -- RO-Crate ------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def context_cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The validator's cache with the JSON-LD context in it, which the rocrate library ships.

    With an empty cache the validator calls every crate invalid, sound or not.
    """
    import requests
    import rocrate
    from requests_cache import CachedSession
    from urllib3.response import HTTPResponse

    content = (Path(rocrate.__file__).parent / "data" / "ro-crate.jsonld").read_bytes()
    headers = {"Content-Type": "application/ld+json"}
    address = "https://w3id.org/ro/crate/1.3/context"
    answer = requests.Response()
    answer.status_code = 200
    answer.url = address
    answer.headers.update(headers)
    answer.request = requests.Request("GET", address).prepare()
    answer._content = content
    answer.raw = HTTPResponse(
        body=io.BytesIO(content), status=200, headers=headers, preload_content=False
    )
    cache = tmp_path_factory.mktemp("cache") / "http"
    with CachedSession(cache_name=str(cache), backend="sqlite", expire_after=-1) as session:
        session.cache.save_response(answer)
    return cache


@cache
def prepared_query(text: str, names: tuple[tuple[str, Any], ...], base: str | None) -> Any:
    """A query of the validator as rdflib prepares it: asked of each entity, it is parsed once."""
    from rdflib.plugins.sparql import prepareQuery

    return prepareQuery(text, dict(names), base)


def issues(crate: Path, cache: Path, severity: str = "REQUIRED") -> list[str]:
    """What the independent validator finds wrong among the things a crate MUST or SHOULD have."""
    from rdflib.plugins.sparql.processor import SPARQLProcessor
    from rocrate_validator import services
    from rocrate_validator.models import ValidationSettings

    real = SPARQLProcessor.query

    def query(self: Any, text: Any, bound: Any = None, names: Any = None, base: Any = None) -> Any:
        if isinstance(text, str):
            text = prepared_query(text, tuple((names or {}).items()), base)
        return real(self, text, bound, names, base)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(SPARQLProcessor, "query", query)
        result = services.validate(
            ValidationSettings(
                rocrate_uri=str(crate),
                profile_identifier="ro-crate-1.3",
                requirement_severity=severity,
                offline=True,
                # that a DOI leads to the bundle is for its registry
                skip_availability_check=True,
                cache_path=cache,
            )
        )
    return sorted({issue.message for issue in result.get_issues()})


@pytest.fixture
def whole_citation(tmp_path: Path) -> Package:
    """A package of which everything is known that a citation may say; nobody in it exists."""
    builder = a_package(tmp_path).with_bare_row(
        "party", party_id="MB", kind="person", name="Mara Birkwood (invented)",
        family_name="Birkwood", given_name="Mara", orcid="0000-0002-1825-0097",
        organisation_id="MUS", email="mb@example.org", may_be_named="true",
    )  # fmt: skip
    for key, name, more in (
        ("MUS", "Store of Old Wood (invented)", {}),
        ("FND", "Fund of Old Wood (invented)", {"roles": "funder", "award_number": "INV-7; 8"}),
    ):
        builder.with_bare_row(
            "party", party_id=key, kind="organisation", name=name,
            ror=f"https://ror.org/00x0x0x0{len(more)}", email=f"{key}@example.org", **more,
        )  # fmt: skip
    builder.with_row("site", repository_id="MUS", owner_id=None, permit_authority_id=None)
    for table in ("place", "element", "sample", "lab_result"):
        builder.with_row(table)
    settings = DepositSettings("10.5072/hr-1", "doi:10.5072/hr-2", "2031-01-01")
    return change_deposit(builder.package, settings)


@pytest.mark.heavy
@pytest.mark.filterwarnings("ignore")  # the validator's libraries warn about themselves
def test_the_independent_validator_has_no_complaint_and_no_advice_where_all_is_known(
    whole_citation: Package, tmp_path: Path, context_cache: Path
) -> None:
    """roc-validator, profile RO-Crate 1.3, without a network: what MUST be and what SHOULD be."""
    bundle = pack_bundle(whole_citation, tmp_path / "b")
    assert issues(bundle / "data", context_cache, "RECOMMENDED") == []


@pytest.mark.heavy
@pytest.mark.filterwarnings("ignore")
def test_the_independent_validator_finds_a_broken_crate_broken_for_the_right_reason(
    bundle: Path, context_cache: Path
) -> None:
    path = bundle / "data" / "ro-crate-metadata.json"
    crate = json.loads(path.read_text("utf-8"))
    for entity in crate["@graph"]:
        if entity["@id"] == "./":
            del entity["license"]
    path.write_text(json.dumps(crate), encoding="utf-8")
    (found,) = issues(bundle / "data", context_cache)
    assert "license" in found


def test_the_rocrate_library_reads_the_crate_back(bundle: Path) -> None:
    from rocrate.rocrate import ROCrate

    crate = ROCrate(bundle / "data")
    files = {p.relative_to(bundle / "data").as_posix() for p in (bundle / "data").rglob("*.*")}
    assert {entity.id for entity in crate.data_entities} == files - {"ro-crate-metadata.json"}
    assert crate.root_dataset["name"] == "holl"


def a_crate(bundle: Path) -> tuple[dict[str, Any], set[str]]:
    data = bundle / "data"
    files = {path.relative_to(data).as_posix() for path in data.rglob("*") if path.is_file()}
    return json.loads((data / "ro-crate-metadata.json").read_text("utf-8")), files


def test_a_crate_that_fits_its_files_is_sound(bundle: Path) -> None:
    assert check_crate(*a_crate(bundle)) == []


def test_a_file_that_the_crate_does_not_describe_is_named(bundle: Path) -> None:
    crate, files = a_crate(bundle)
    (finding,) = check_crate(crate, files | {"files/new.png"})
    assert (finding.rule, "files/new.png" in finding.message) == ("crate.file_undescribed", True)


def test_a_file_that_the_crate_describes_but_is_not_there_is_named(bundle: Path) -> None:
    crate, files = a_crate(bundle)
    (finding,) = check_crate(crate, files - {"files/photo-001.png"})
    assert (finding.rule, "photo-001" in finding.message) == ("crate.file_missing", True)


@pytest.mark.parametrize("name", ["name", "description", "datePublished", "license"])
def test_what_the_root_must_say_is_asked_for(bundle: Path, name: str) -> None:
    """RO-Crate 1.3, 'Direct properties of the Root Data Entity'."""
    crate, files = a_crate(bundle)
    for entity in crate["@graph"]:
        if entity["@id"] == "./":
            del entity[name]
    (finding,) = check_crate(crate, files)
    assert f"'{name}'" in finding.message


def test_names_with_blanks_and_other_scripts_are_addresses_in_the_crate(
    package: Package, tmp_path: Path
) -> None:
    (package.folder / "files" / "дверь 3.png").write_bytes(b"x")
    bundle = pack_bundle(package, tmp_path / "b")
    crate, files = a_crate(bundle)
    assert check_crate(crate, files) == []
    assert "files/%D0%B4%D0%B2%D0%B5%D1%80%D1%8C%203.png" in {e["@id"] for e in crate["@graph"]}


# -- Data Package --------------------------------------------------------------------------------


@pytest.mark.filterwarnings("ignore")  # the library warns about its own libraries
def test_the_data_package_library_finds_the_descriptor_and_tables_sound(bundle: Path) -> None:
    """frictionless, without a network, on a bundle whose rows are all sound."""
    import frictionless

    package = frictionless.Package(str(bundle / "data" / "datapackage.json"))
    names = [resource.name for resource in package.resources]
    assert {"site", "element", "sample", "plug", "custody"} <= set(names)
    report = package.validate()
    assert report.flatten(["type", "fieldName", "rowNumber", "note"]) == []
    assert report.valid


# -- DataCite ------------------------------------------------------------------------------------


def datacite_faults(record: dict[str, Any]) -> list[str]:
    """By the JSON Schema for DataCite 4.5 that the datacite library ships."""
    from datacite import schema45

    return [error.message for error in schema45.validator.iter_errors(record)]


def test_the_citation_is_valid_by_the_datacite_schema(bundle: Path) -> None:
    record = json.loads((bundle / "data" / "datacite.json").read_text("utf-8"))
    assert datacite_faults(record) == []
    assert datacite_faults({**record, "types": {}}) != []


def a_cited_package(tmp_path: Path, **party: str) -> Package:
    builder = a_package(tmp_path).with_bare_row("party", **party, party_id="MB", kind="person")
    builder.with_bare_row(
        "party", party_id="MUS", kind="organisation", name="Store of Old Wood (invented)",
        ror="https://ror.org/00x0x0x00",
    )  # fmt: skip
    builder.with_row("site", repository_id="MUS", owner_id=None, permit_authority_id=None)
    return builder.with_row("place").with_row("element").with_row("sample").package


def test_a_person_is_cited_only_if_they_agreed_to_be_named(tmp_path: Path) -> None:
    agreed = {"name": "Mara Birkwood (invented)", "may_be_named": "true", "organisation_id": "MUS"}
    record = datacite_record(
        a_cited_package(tmp_path / "1", **agreed), FULL, day="2024-06-14", formats=()
    )
    assert record["creators"] == [
        {
            "name": "Mara Birkwood (invented)",
            "nameType": "Personal",
            "affiliation": [
                {
                    "name": "Store of Old Wood (invented)",
                    "affiliationIdentifier": "https://ror.org/00x0x0x00",
                    "affiliationIdentifierScheme": "ROR",
                    "schemeUri": "https://ror.org",
                }
            ],
        }
    ]
    assert datacite_faults(record) == []
    refused = {**agreed, "may_be_named": "false"}
    record = datacite_record(
        a_cited_package(tmp_path / "2", **refused), FULL, day="2024-06-14", formats=()
    )
    assert [one["name"] for one in record["creators"]] == ["Store of Old Wood (invented)"]
    assert "Birkwood" not in json.dumps(record)


def test_the_keeper_is_the_publisher_with_its_identifier(tmp_path: Path) -> None:
    record = datacite_record(
        a_cited_package(tmp_path, name="Mara Birkwood (invented)", orcid="0000-0002-1825-0097"),
        FULL,
        day="2024-06-14",
        formats=("text/csv",),
    )
    assert record["publisher"]["name"] == "Store of Old Wood (invented)"
    assert record["publisher"]["publisherIdentifierScheme"] == "ROR"
    assert record["dates"] == [
        {"date": "2024-06-14", "dateType": "Updated"},
        {"date": "2024-06-14", "dateType": "Issued"},
        {"date": "2024-06-04", "dateType": "Collected"},
    ]
    assert datacite_faults(record) == []


def test_everything_that_is_known_is_cited_and_valid_by_the_datacite_schema(
    whole_citation: Package,
) -> None:
    record = datacite_record(whole_citation, FULL, day="2031-05-04", formats=())
    assert datacite_faults(record) == []
    (creator,) = record["creators"]
    assert [creator[name] for name in ("name", "familyName", "givenName")] == [
        "Birkwood, Mara", "Birkwood", "Mara",
    ]  # fmt: skip
    assert [one["awardNumber"] for one in record["fundingReferences"]] == ["INV-7", "8"]
    assert record["language"] == "en"
    assert record["descriptions"][0]["description"] == (
        "Tree-ring samples from buildings at 1 site: 1 timber recorded, 1 sample taken. "
        "Species: Pinus ponderosa. 1 sample is dated, with rings from 1702 to 1781. "
        "The samples were taken on 2024-06-04."
    )


def test_the_version_before_is_named_by_its_doi_or_else_by_its_accession_number(
    whole_citation: Package,
) -> None:
    """DataCite 4.5: a number that is no identifier of its list is a related item."""
    public = Ancestor(
        "holl-public", "public", "2024-06-14", "a" * 64, "2024.0002", doi="10.5072/hr-8"
    )
    before = Ancestor("holl", "full", "2024-06-14", "b" * 64, "2024.0001")
    known = {"edition": FULL, "day": "2031-05-04", "formats": ()}
    record = datacite_record(whole_citation, **known, earlier=(public, before))
    (item,) = record["relatedItems"]
    assert (item["relationType"], item["number"]) == ("IsNewVersionOf", "2024.0001")
    assert [one["relationType"] for one in record["relatedIdentifiers"]] == ["IsVariantFormOf"]
    assert datacite_faults(record) == []
    # the DOI that the package has is still that of the bundle before
    before = replace(before, doi="10.5072/hr-1")
    record = datacite_record(whole_citation, **known, earlier=(before,))
    assert "doi" not in record
    assert "relatedItems" not in record
    assert [one["relationType"] for one in record["relatedIdentifiers"]] == [
        "IsNewVersionOf",
        "IsVariantFormOf",
    ]


def test_coordinates_do_not_get_into_the_citation(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_row("site", latitude="12.3456", longitude="65.4321")
    record = json.dumps(datacite_record(builder.package, FULL, day="2024-06-14", formats=()))
    assert "12.34" not in record
    assert "65.43" not in record


def test_the_crew_lead_is_named_first_among_the_makers(tmp_path: Path) -> None:
    builder = a_package(tmp_path)
    for key, roles in (("AA", "recorder"), ("BB", "volunteer"), ("CC", "driller; recorder")):
        builder.with_bare_row("party", party_id=key, kind="person", name=key, roles=roles)
    package = builder.with_chain().package
    assert [one.party_id for one in makers(package)] == ["MB", "AA", "CC"]


def test_packing_asks_no_network(package: Package, tmp_path: Path) -> None:
    """The fixture of this module refuses every connection."""
    from provenance._bundle.verify import verify_bundle

    assert verify_bundle(pack_bundle(package, tmp_path / "b.zip", zipped=True)).sound


def test_an_unpacked_bundle_needs_nothing_of_the_installed_schemas(
    bundle: Path, tmp_path: Path
) -> None:
    shutil.copytree(bundle / "data", tmp_path / "elsewhere")
    assert open_package(tmp_path / "elsewhere").model.table("plug").primary_key == ("plug_id",)


def test_the_plain_readme_warns_of_the_report_and_of_changes_on_purpose(bundle: Path) -> None:
    """Personal data may be quoted in the full edition's report, and a checksum is no seal."""
    text = " ".join((bundle / "data" / "README.txt").read_text("utf-8").split())
    assert "the report in check/ may quote them" in text
    assert "tagmanifest-sha256.txt into your register" in text
    assert "Ed25519 (RFC 8032)" in text


# -- README.txt ----------------------------------------------------------------------------------


def in_one_line(bundle: Path) -> str:
    return " ".join((bundle / "data" / "README.txt").read_text("utf-8").split())


def a_kept_package(tmp_path: Path) -> Package:
    builder = a_package(tmp_path).with_bare_row(
        "party", party_id="MUS", kind="organisation", name="Store of Old Wood (invented)",
        email="store@example.org", may_be_named="true",
    )  # fmt: skip
    return builder.with_row("site", repository_id="MUS").package


def test_the_plain_readme_names_everything_at_the_top_of_the_bundle(bundle: Path) -> None:
    text = in_one_line(bundle)
    for path in (bundle / "data").iterdir():
        if path.name not in ("README.txt", "README.md", "mapping.example.yaml"):
            assert path.name in text, path.name


def test_the_public_readme_says_who_has_the_full_edition_and_how_to_ask(tmp_path: Path) -> None:
    text = in_one_line(pack_bundle(a_kept_package(tmp_path), tmp_path / "b", edition=PUBLIC))
    assert "The full edition is held by Store of Old Wood (invented). Ask in writing" in text


def test_the_full_readme_says_that_there_may_be_a_public_edition(tmp_path: Path) -> None:
    text = in_one_line(pack_bundle(a_kept_package(tmp_path), tmp_path / "b"))
    assert "to be kept by Store of Old Wood (invented), store@example.org." in text
    assert "There may be a public edition beside it" in text


def test_the_plain_readme_of_a_record_without_keeper_says_whom_to_ask(bundle: Path) -> None:
    assert "names no keeper (repository_id in tables/site.csv is blank)" in in_one_line(bundle)


# -- standards -----------------------------------------------------------------------------------


def test_the_crate_says_which_standard_a_file_follows(bundle: Path) -> None:
    crate, _ = a_crate(bundle)
    entities = {one["@id"]: one for one in crate["@graph"]}
    for path, standard in (
        ("datapackage.json", "https://datapackage.org/profiles/2.0/datapackage.json"),
        ("csv-metadata.json", "http://www.w3.org/ns/csvw"),
        ("darwin-core.zip", "http://rs.tdwg.org/dwc/text/"),
        ("schemas/sample.json", "https://datapackage.org/profiles/2.0/tableschema.json"),
    ):
        assert entities[path]["conformsTo"] == {"@id": standard}
        assert entities[standard]["name"]


@pytest.mark.heavy
@pytest.mark.filterwarnings("ignore")  # the validator's libraries warn about themselves
def test_the_independent_validator_finds_the_public_crate_sound(
    tmp_path: Path, context_cache: Path
) -> None:
    bundle = pack_bundle(a_kept_package(tmp_path), tmp_path / "b", edition=PUBLIC)
    assert issues(bundle / "data", context_cache) == []


def test_the_public_crate_names_only_who_agreed(tmp_path: Path) -> None:
    builder = a_package(tmp_path)
    for key, name, agreed in (
        ("MB", "Mara Birkwood (invented)", "true"),
        ("TQ", "Tam Quillet (invented)", "false"),
    ):
        builder.with_bare_row(
            "party", party_id=key, kind="person", name=name, roles="recorder", may_be_named=agreed
        )
    package = builder.with_row("site").package
    names = {
        edition.name: [
            one["name"]
            for one in a_crate(pack_bundle(package, tmp_path / edition.name, edition=edition))[0][
                "@graph"
            ]
            if one["@type"] == "Person"
        ]
        for edition in (FULL, PUBLIC)
    }
    assert names == {
        "full": ["Mara Birkwood (invented)", "Tam Quillet (invented)"],
        "public": ["Mara Birkwood (invented)"],
    }
