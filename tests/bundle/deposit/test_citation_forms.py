"""The citation as DataCite XML, Dublin Core and CITATION.cff, against their published schemas."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from rdflib.namespace import DC

from provenance._base.errors import UnusablePackage
from provenance._base.visible import visible
from provenance._bundle.deposit.citation_file import NOBODY_NAMED, citation_file
from provenance._bundle.deposit.datacite_xml import datacite_xml
from provenance._bundle.deposit.dublin_core import dublin_core
from provenance._bundle.deposit.xml_text import xml_text
from provenance._bundle.describe.citation import datacite_record
from provenance._bundle.describe.editions import FULL, PUBLIC
from provenance._record.package import Package
from tests.builders import a_package
from tests.bundle.deposit.conftest import PUBLISHED

DAY = "2024-06-14"
KERNEL = "{http://datacite.org/schema/kernel-4}"


@pytest.fixture(scope="module")
def kernel() -> etree.XMLSchema:
    """DataCite Metadata Schema 4.5, the XSD as DataCite publishes it."""
    return etree.XMLSchema(etree.parse(PUBLISHED / "datacite-4.5" / "metadata.xsd"))


@pytest.fixture(scope="module")
def cff_schema() -> Any:
    """Citation File Format 1.2.0, the JSON Schema as its makers publish it."""
    return json.loads((PUBLISHED / "cff-1.2.0.json").read_text("utf-8"))


def a_record(**changes: Any) -> dict[str, Any]:
    """A sound citation with everything in it."""
    record: dict[str, Any] = {
        "schemaVersion": "http://datacite.org/schema/kernel-4",
        "doi": "10.5072/hr-1",
        "language": "en",
        "fundingReferences": [
            {
                "funderName": "Fund of Old Wood (invented)",
                "funderIdentifier": "https://ror.org/00x0x0x00",
                "funderIdentifierType": "ROR",
                "awardNumber": "INV-7",
            }
        ],
        "relatedItems": [
            {
                "relatedItemType": "Dataset",
                "relationType": "IsNewVersionOf",
                "titles": [{"title": "Hollin Reach (invented), accession 2023.0001"}],
                "publicationYear": "2023",
                "number": "2023.0001",
                "numberType": "Other",
            }
        ],
        "types": {"resourceTypeGeneral": "Dataset", "resourceType": "Record"},
        "creators": [
            {
                "name": "Birkwood, Mara",
                "nameType": "Personal",
                "givenName": "Mara",
                "familyName": "Birkwood",
                "affiliation": [
                    {
                        "name": "Store of Old Wood (invented)",
                        "affiliationIdentifier": "https://ror.org/00x0x0x00",
                        "affiliationIdentifierScheme": "ROR",
                        "schemeUri": "https://ror.org",
                    }
                ],
                "nameIdentifiers": [
                    {
                        "nameIdentifier": "https://orcid.org/0000-0002-1825-0097",
                        "nameIdentifierScheme": "ORCID",
                        "schemeUri": "https://orcid.org",
                    }
                ],
            },
            {"name": "Store of Old Wood (invented)", "nameType": "Organizational"},
        ],
        "titles": [{"title": "Hollin Reach (invented)"}],
        "publisher": {"name": "Store of Old Wood (invented)"},
        "publicationYear": "2024",
        "contributors": [{"name": "Ann Sedge (invented)", "contributorType": "DataCollector"}],
        "dates": [
            {"date": DAY, "dateType": "Updated"},
            {"date": "2024-07-01", "dateType": "Issued"},
        ],
        "subjects": [{"subject": "dendrochronology"}],
        "alternateIdentifiers": [
            {"alternateIdentifier": "holl", "alternateIdentifierType": "package name"}
        ],
        "relatedIdentifiers": [
            {
                "relatedIdentifier": "10.5072/example",
                "relatedIdentifierType": "DOI",
                "relationType": "IsSupplementTo",
            }
        ],
        "sizes": ["1 sample"],
        "formats": ["text/csv"],
        "version": "1",
        "rightsList": [
            {"rights": "Public edition", "rightsUri": "info:eu-repo/semantics/openAccess"},
            {
                "rights": "CC-BY-4.0",
                "rightsUri": "https://spdx.org/licenses/CC-BY-4.0",
                "rightsIdentifier": "CC-BY-4.0",
                "rightsIdentifierScheme": "SPDX",
            },
        ],
        "descriptions": [{"description": "Invented.", "descriptionType": "Abstract"}],
        "geoLocations": [
            {
                "geoLocationPlace": "Site 7, ZZ",
                "geoLocationBox": {
                    "westBoundLongitude": -123.2,
                    "eastBoundLongitude": -122.9,
                    "southBoundLatitude": -48.2,
                    "northBoundLatitude": -47.9,
                },
            }
        ],
    }
    return record | changes


def parsed(text: str) -> etree._Element:
    return etree.fromstring(text.encode())


# -- DataCite XML --------------------------------------------------------------------------------


def test_the_citation_is_valid_by_the_xml_schema_of_datacite(
    full: Path, public: Path, kernel: etree.XMLSchema
) -> None:
    for folder in (full, public):
        kernel.assertValid(etree.parse(folder / "datacite.xml"))
    kernel.assertValid(parsed(datacite_xml(a_record())))


def test_the_schema_refuses_what_is_no_citation(kernel: etree.XMLSchema) -> None:
    assert not kernel.validate(parsed(datacite_xml(a_record(titles=[]))))
    assert not kernel.validate(
        parsed(datacite_xml(a_record(dates=[{"date": DAY, "dateType": "Begun"}])))
    )


def test_xml_and_json_say_the_same(full: Path) -> None:
    record = json.loads((full / "datacite.json").read_text("utf-8"))
    root = etree.parse(full / "datacite.xml").getroot()
    assert [one.text for one in root.iter(f"{KERNEL}creatorName")] == [
        one["name"] for one in record["creators"]
    ]
    assert root.findtext(f"{KERNEL}publisher") == record["publisher"]["name"]
    assert [one.text for one in root.iter(f"{KERNEL}size")] == record["sizes"]
    assert root.findtext(f"{KERNEL}identifier") == "(:tba)"


def test_who_took_samples_and_who_keeps_the_record_are_contributors(tmp_path: Path) -> None:
    builder = a_package(tmp_path)
    for key, agreed in (("MB", "true"), ("TQ", "false")):
        builder.with_bare_row(
            "party", party_id=key, kind="person", name=f"{key} (invented)", may_be_named=agreed
        )
    builder.with_bare_row("party", party_id="MUS", kind="organisation", name="Store (invented)")
    builder.with_row("site", repository_id="MUS").with_row("place").with_row("element")
    builder.with_row("sample").with_row("sample", sample_id="232", collected_by="TQ")
    record = datacite_record(builder.package, FULL, day=DAY, formats=())
    assert [(one["name"], one["contributorType"]) for one in record["contributors"]] == [
        ("MB (invented)", "DataCollector"),
        ("Store (invented)", "HostingInstitution"),
    ]


def test_the_public_edition_is_open_and_the_full_one_is_not(coarse: Package) -> None:
    access = {
        edition.name: datacite_record(coarse, edition, day=DAY, formats=())["rightsList"]
        for edition in (FULL, PUBLIC)
    }
    assert access["full"][0]["rightsUri"] == "info:eu-repo/semantics/restrictedAccess"
    assert access["public"][0]["rightsUri"] == "info:eu-repo/semantics/openAccess"
    assert access["public"][1]["rights"] == "CC-BY-4.0"


def test_words_that_are_no_code_get_no_address_in_a_list_of_licences(coarse: Package) -> None:
    frame = coarse.table("site")
    frame["rights"] = "ask the keeper"
    coarse.write_table("site", frame)
    record = datacite_record(coarse, PUBLIC, day=DAY, formats=())
    assert record["rightsList"][1] == {"rights": "ask the keeper"}
    assert "licen" not in citation_file(record)


def test_relations_that_cannot_be_cited_are_refused_by_name(package: Package) -> None:
    changed = package.with_descriptor({"relatedIdentifiers": [{"relatedIdentifier": 7}]})
    with pytest.raises(UnusablePackage, match=r"'relatedIdentifiers' holds .*relationType"):
        datacite_record(changed, FULL, day=DAY, formats=())


# -- Dublin Core ---------------------------------------------------------------------------------


def test_every_element_is_one_of_the_fifteen_of_dublin_core(full: Path, public: Path) -> None:
    """DCMI Metadata Element Set 1.1 as rdflib lists it; its namespace is closed."""
    for folder in (full, public):
        root = etree.parse(folder / "dublin-core.xml").getroot()
        assert root.tag == "{http://www.openarchives.org/OAI/2.0/oai_dc/}dc"
        names = [etree.QName(one) for one in root]
        assert {one.namespace for one in names} == {str(DC)}
        for name in names:
            assert str(DC[name.localname]) == f"{name.namespace}{name.localname}"
        assert {"title", "creator", "publisher", "date", "type", "rights", "identifier"} <= {
            one.localname for one in names
        }
    with pytest.raises(AttributeError):
        DC.maker  # noqa: B018 - what is no element is refused by the list


def test_a_place_made_coarse_stands_in_dublin_core_as_a_box() -> None:
    texts = [one.text for one in parsed(dublin_core(a_record()))]
    assert "northlimit=-47.9; eastlimit=-122.9; southlimit=-48.2; westlimit=-123.2" in texts


# -- CITATION.cff --------------------------------------------------------------------------------


def test_the_citation_file_is_valid_by_the_schema_of_the_format(
    full: Path, public: Path, cff_schema: Any
) -> None:
    for text in (
        (full / "CITATION.cff").read_text("utf-8"),
        (public / "CITATION.cff").read_text("utf-8"),
        citation_file(a_record()),
    ):
        jsonschema.validate(yaml.safe_load(text), cff_schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(
            {**yaml.safe_load(citation_file(a_record())), "authors": []}, cff_schema
        )


def test_a_name_is_cut_at_a_comma_and_nowhere_else() -> None:
    first, store = a_record()["creators"]
    told_apart = {
        "name": "Ann van der Sedge (invented)",
        "nameType": "Personal",
        "familyName": "van der Sedge",
        "givenName": "Ann",
    }
    two_words = {"name": "Mara Birkwood (invented)", "nameType": "Personal"}
    half = {**two_words, "familyName": "Birkwood"}
    del first["familyName"], first["givenName"]
    creators = [first, store, told_apart, two_words, half]
    written = yaml.safe_load(citation_file(a_record(creators=creators)))["authors"]
    assert written == [
        {
            "family-names": "Birkwood",
            "given-names": "Mara",
            "affiliation": "Store of Old Wood (invented)",
            "orcid": "https://orcid.org/0000-0002-1825-0097",
        },
        {"name": "Store of Old Wood (invented)"},
        {"family-names": "van der Sedge", "given-names": "Ann"},
        {"family-names": "Mara Birkwood (invented)"},
        {"family-names": "Mara Birkwood (invented)"},
    ]


def test_doi_day_of_issue_and_related_editions_stand_in_every_form_that_has_them(
    cff_schema: Any,
) -> None:
    cff = yaml.safe_load(citation_file(a_record()))
    jsonschema.validate(cff, cff_schema)
    assert (cff["doi"], cff["date-released"]) == ("10.5072/hr-1", "2024-07-01")
    root = parsed(dublin_core(a_record()))
    told = {(etree.QName(one).localname, one.text) for one in root}
    assert {
        ("identifier", "https://doi.org/10.5072/hr-1"),
        ("language", "en"),
        ("relation", "https://doi.org/10.5072/example"),
        ("relation", "Hollin Reach (invented), accession 2023.0001"),
    } <= told


def test_a_record_whose_makers_may_not_be_named_has_a_valid_citation_file(
    tmp_path: Path, cff_schema: Any
) -> None:
    builder = a_package(tmp_path).with_bare_row(
        "party", party_id="MB", kind="person", name="Mara Birkwood (invented)"
    )
    package = builder.with_row("site").package
    written = citation_file(datacite_record(package, FULL, day=DAY, formats=()))
    assert "Birkwood" not in written
    assert yaml.safe_load(written)["authors"] == [{"name": NOBODY_NAMED}]
    jsonschema.validate(yaml.safe_load(written), cff_schema)


@pytest.mark.parametrize(
    "code", ["CC0-1.0", "CC-BY-4.0", "CC-BY-NC-SA-3.0", "CC-BY-ND-1.0", "ODbL-1.0", "PDDL-1.0"]
)
def test_a_licence_for_data_is_in_the_list_of_the_format(code: str, cff_schema: Any) -> None:
    record = a_record(
        rightsList=[
            {"rights": code, "rightsUri": f"https://spdx.org/licenses/{code}",
             "rightsIdentifier": code}
        ]
    )  # fmt: skip
    written = yaml.safe_load(citation_file(record))
    assert written["license"] == code
    jsonschema.validate(written, cff_schema)


def test_another_licence_is_named_by_its_address(cff_schema: Any) -> None:
    record = a_record(rightsList=[{"rights": "ours", "rightsUri": "https://example.org/licence"}])
    written = yaml.safe_load(citation_file(record))
    assert written["license-url"] == "https://example.org/licence"
    jsonschema.validate(written, cff_schema)


# -- whatever the text ---------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(st.text(min_size=1, max_size=40).filter(str.strip))
def test_any_text_makes_valid_files_and_is_read_back(text: str) -> None:
    record = a_record(
        titles=[{"title": text}],
        creators=[{"name": text, "nameType": "Organizational"}],
        descriptions=[{"description": text, "descriptionType": "Abstract"}],
    )
    xml = parsed(datacite_xml(record))
    assert xml.findtext(f".//{KERNEL}title") == xml_text(text)
    dublin = parsed(dublin_core(record))
    assert dublin.findtext(f"{{{DC}}}description") == xml_text(text)
    # a citation's texts are legible already, as datacite_record makes them
    legible = visible(text)
    record = a_record(
        titles=[{"title": legible}], creators=[{"name": legible, "nameType": "Organizational"}]
    )
    cff = yaml.safe_load(citation_file(record))
    assert (cff["title"], cff["authors"]) == (legible, [{"name": legible}])


@pytest.mark.parametrize("text", ["\x00", "\x0b", "\ufffe", "\uffff", "\ud800", "\x1b[2J"])
def test_what_xml_does_not_know_is_written_out(text: str, kernel: etree.XMLSchema) -> None:
    """XML 1.0 (fifth edition), production 2."""
    written = datacite_xml(a_record(titles=[{"title": f"beam {text}"}]))
    title = parsed(written).findtext(f".//{KERNEL}title")
    assert title is not None
    assert f"U+{ord(text[0]):04X}" in title
    kernel.assertValid(parsed(written))
