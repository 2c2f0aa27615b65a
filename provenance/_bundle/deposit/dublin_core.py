"""Writes the citation in Dublin Core: the fifteen elements, in the wrapper of OAI-PMH.

Sources: DCMI Metadata Element Set 1.1 (ISO 15836-1); the oai_dc format of OAI-PMH 2.0, section 3.4.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from provenance._bundle.deposit.form import Form, as_text, of_citation
from provenance._bundle.deposit.xml_text import xml_document, xml_text
from provenance._record.doi import doi_address, doi_in

OAI_DC = "http://www.openarchives.org/OAI/2.0/oai_dc/"
DC = "http://purl.org/dc/elements/1.1/"
DATASET = "Dataset"
"""The word of the DCMI Type Vocabulary."""


def dublin_core(record: Mapping[str, Any]) -> str:
    """The citation `record` (see citation.datacite_record) as an oai_dc document."""
    from lxml import etree

    root = etree.Element(f"{{{OAI_DC}}}dc", nsmap={"oai_dc": OAI_DC, "dc": DC})
    for name, text in _elements(record):
        etree.SubElement(root, f"{{{DC}}}{name}").text = xml_text(text)
    return xml_document(root)


def _elements(record: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for title in record["titles"]:
        yield "title", title["title"]
    for creator in record["creators"]:
        yield "creator", creator["name"]
    for subject in record["subjects"]:
        yield "subject", subject["subject"]
    for description in record["descriptions"]:
        yield "description", description["description"]
    yield "publisher", record["publisher"]["name"]
    for name in dict.fromkeys(one["name"] for one in record.get("contributors", ())):
        yield "contributor", name
    # the oldest tools take the first date for that of the record, so it stands first
    for date in dict.fromkeys(one["date"] for one in record["dates"]):
        yield "date", date
    if language := record.get("language"):
        yield "language", language
    yield "type", DATASET
    for media_type in record.get("formats", ()):
        yield "format", media_type
    for size in record.get("sizes", ()):
        yield "format", size
    if doi := record.get("doi"):
        yield "identifier", doi_address(doi)
    for identifier in record["alternateIdentifiers"]:
        yield "identifier", identifier["alternateIdentifier"]
    for related in record.get("relatedIdentifiers", ()):
        is_doi = related["relatedIdentifierType"] == "DOI" and doi_in(related["relatedIdentifier"])
        yield "relation", doi_address(is_doi) if is_doi else related["relatedIdentifier"]
    for item in record.get("relatedItems", ()):
        yield "relation", item["titles"][0]["title"]
    for location in record.get("geoLocations", ()):
        if place := location.get("geoLocationPlace"):
            yield "coverage", place
        if box := location.get("geoLocationBox"):
            yield "coverage", _box_in_words(box)
    for right in record["rightsList"]:
        yield "rights", right["rights"]
        if (address := right.get("rightsUri", "")).startswith("http"):
            yield "rights", address


def _box_in_words(box: Mapping[str, float]) -> str:
    """A box as the DCMI Box Encoding Scheme writes it."""
    limits = (
        ("northlimit", "northBoundLatitude"),
        ("eastlimit", "eastBoundLongitude"),
        ("southlimit", "southBoundLatitude"),
        ("westlimit", "westBoundLongitude"),
    )
    return "; ".join(f"{short}={box[name]}" for short, name in limits)


FORM = Form(
    file_name="dublin-core.xml",
    title="Citation metadata (Dublin Core, as in OAI-PMH)",
    order=30,
    write=as_text(lambda described: dublin_core(described.record)),
    anew=of_citation(dublin_core),
    standard=(OAI_DC, "Dublin Core in OAI-PMH"),
    readme=("dublin-core.xml", "the same for library catalogues (Dublin Core, as in OAI-PMH)"),
)
