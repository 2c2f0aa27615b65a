"""The citation as DataCite XML: what the reference library makes of it, valid by the schema."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from datacite import schema45
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from provenance._bundle.deposit.datacite_xml import NO_DOI_YET, datacite_xml
from provenance._bundle.deposit.xml_text import xml_text
from provenance._bundle.describe.citation import KERNEL
from tests.bundle.deposit.conftest import PUBLISHED
from tests.bundle.deposit.test_citation_forms import a_record

SCHEMA = etree.XMLSchema(etree.parse(PUBLISHED / "datacite-4.5" / "metadata.xsd"))


def canonical(document: bytes) -> bytes:
    """Canonical XML 1.0 without the blanks of the indentation."""
    tree = etree.fromstring(document, etree.XMLParser(remove_blank_text=True))
    written = io.BytesIO()
    tree.getroottree().write_c14n(written)
    return written.getvalue()


def by_the_library(record: dict[str, Any]) -> bytes:
    data = {key: value for key, value in record.items() if key != "schemaVersion"}
    return schema45.tostring({"doi": NO_DOI_YET, **data}).encode()


def agrees(record: dict[str, Any]) -> None:
    ours = datacite_xml(record).encode()
    assert canonical(ours) == canonical(by_the_library(record))
    SCHEMA.assertValid(etree.fromstring(ours))


# -- records as citation.datacite_record makes them ----------------------------------------------

# what XML does not know is written out before, so that the library can take it in
TEXTS = st.text(min_size=1, max_size=30).map(xml_text).filter(str.strip)
ADDRESSES = st.sampled_from(["https://orcid.org", "https://ror.org/04wxnsj81", "info:x/y"])
DEGREES = st.floats(-80, 80).map(lambda degree: round(degree, 3))


def entries(needed: dict[str, Any], optional: dict[str, Any] | None = None) -> Any:
    return st.fixed_dictionaries(needed, optional=optional or {})


def lists(one: Any, least: int = 0) -> Any:
    return st.lists(one, min_size=least, max_size=3)


AGENT = {"name": TEXTS}
AGENT_MORE = {
    "nameType": st.sampled_from(["Personal", "Organizational"]),
    "givenName": TEXTS,
    "familyName": TEXTS,
    "affiliation": lists(
        entries(
            {"name": TEXTS},
            {
                "affiliationIdentifier": TEXTS,
                "affiliationIdentifierScheme": TEXTS,
                "schemeUri": ADDRESSES,
            },
        )
    ),
    "nameIdentifiers": lists(
        entries({"nameIdentifier": TEXTS, "nameIdentifierScheme": TEXTS}, {"schemeUri": ADDRESSES})
    ),
}
BOXES = entries(
    {
        f"{side}Bound{axis}": DEGREES
        for side, axis in (
            ("west", "Longitude"),
            ("east", "Longitude"),
            ("south", "Latitude"),
            ("north", "Latitude"),
        )
    }
)
RECORDS = entries(
    {
        "schemaVersion": st.just(KERNEL),
        "types": entries({"resourceTypeGeneral": st.just("Dataset"), "resourceType": TEXTS}),
        "creators": lists(entries(AGENT, AGENT_MORE), 1),
        "titles": lists(entries({"title": TEXTS}), 1),
        "publisher": entries(
            {"name": TEXTS},
            {
                "publisherIdentifier": TEXTS,
                "publisherIdentifierScheme": TEXTS,
                "schemeUri": ADDRESSES,
            },
        ),
        "publicationYear": st.integers(1000, 2999).map(str),
    },
    {
        "contributors": lists(
            entries(
                AGENT
                | {"contributorType": st.sampled_from(["DataCollector", "HostingInstitution"])},
                AGENT_MORE,
            )
        ),
        "dates": lists(
            entries(
                {"date": TEXTS, "dateType": st.sampled_from(["Updated", "Issued", "Available"])},
                {"dateInformation": TEXTS},
            )
        ),
        "doi": st.just("10.5072/hr-1"),
        "language": st.sampled_from(["en", "es"]),
        "fundingReferences": lists(
            entries(
                {"funderName": TEXTS},
                {
                    "funderIdentifier": TEXTS,
                    "funderIdentifierType": st.just("ROR"),
                    "awardNumber": TEXTS,
                },
                # the schema asks for the type wherever there is an identifier
            ).filter(lambda one: ("funderIdentifier" in one) == ("funderIdentifierType" in one))
        ),
        "relatedItems": lists(
            entries(
                {
                    "relatedItemType": st.just("Dataset"),
                    "relationType": st.just("IsNewVersionOf"),
                    "titles": lists(entries({"title": TEXTS}), 1),
                },
                {
                    "publicationYear": st.just("2024"),
                    "number": TEXTS,
                    "numberType": st.just("Other"),
                },
            )
        ),
        "subjects": lists(entries({"subject": TEXTS})),
        "alternateIdentifiers": lists(
            entries({"alternateIdentifier": TEXTS, "alternateIdentifierType": TEXTS})
        ),
        "relatedIdentifiers": lists(
            entries(
                {
                    "relatedIdentifier": TEXTS,
                    "relatedIdentifierType": st.sampled_from(["DOI", "URL"]),
                    "relationType": st.sampled_from(["IsSupplementTo", "Cites"]),
                },
                {
                    "relatedMetadataScheme": TEXTS,
                    "schemeUri": ADDRESSES,
                    "schemeType": TEXTS,
                    "resourceTypeGeneral": st.sampled_from(["Dataset", "Text"]),
                },
            )
        ),
        "sizes": lists(TEXTS),
        "formats": lists(TEXTS),
        "version": TEXTS,
        "rightsList": lists(
            entries(
                {"rights": TEXTS},
                {
                    "rightsUri": ADDRESSES,
                    "rightsIdentifier": TEXTS,
                    "rightsIdentifierScheme": TEXTS,
                    "schemeUri": ADDRESSES,
                },
            )
        ),
        "descriptions": lists(
            entries({"description": TEXTS, "descriptionType": st.just("Abstract")})
        ),
        "geoLocations": lists(entries({}, {"geoLocationPlace": TEXTS, "geoLocationBox": BOXES})),
    },
)


@settings(max_examples=60, deadline=None)
@given(RECORDS)
def test_a_record_gives_the_xml_of_the_reference_library(record: dict[str, Any]) -> None:
    """datacite (PyPI, Revised BSD), which follows DataCite Metadata Schema 4.5."""
    agrees(record)


def test_both_editions_give_the_xml_of_the_reference_library(full: Path, public: Path) -> None:
    for folder in (full, public):
        record = json.loads((folder / "datacite.json").read_text("utf-8"))
        # what the generated records above can hold is what a citation holds
        agrees(record)
        written = (folder / "datacite.xml").read_text("utf-8")
        assert written == datacite_xml(record)
        assert canonical(written.encode()) == canonical(by_the_library(record))


def test_nothing_of_a_full_record_is_left_out() -> None:
    agrees(a_record())


@pytest.mark.parametrize("left_out", ["publisher", "creators", "titles", "types"])
def test_a_record_without_what_datacite_demands_is_no_valid_xml(left_out: str) -> None:
    """The schema would notice a part that was not written."""
    record = a_record()
    del record[left_out]
    assert not SCHEMA.validate(etree.fromstring(datacite_xml(record).encode()))
