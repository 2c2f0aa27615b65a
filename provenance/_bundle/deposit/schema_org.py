"""Describes a bundle as a schema.org Dataset in JSON-LD, which search engines for data read.

Source: the vocabulary of schema.org, type Dataset and what its properties expect.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from provenance._base.visible import visible
from provenance._bundle.deposit.form import Described, Form, as_text
from provenance._bundle.describe.abstract import dated_rings
from provenance._bundle.describe.citation import UNAVAILABLE, UNKNOWN
from provenance._bundle.describe.published_places import PublishedPlace, published_places
from provenance._gate.documents import json_from
from provenance._record.deposit_settings import embargo_of
from provenance._record.doi import doi_address
from provenance._record.package import Package, as_json

CONTEXT = "https://schema.org/"
MEASURED = ("element", "sample", "lab_result")
SAMPLE_DATING = "dendrochronology"


def dataset_json_ld(described: Described) -> dict[str, Any]:
    """The JSON-LD of a bundle, to stand in its index.html.

    Addresses of the tables are relative to the page at the top of data/. People are named as in
    the citation, places as `published_places` has them.
    """
    package, edition, record = described.package, described.edition, described.record
    under_embargo = embargo_of(package)
    dataset: dict[str, Any] = {
        "@context": CONTEXT,
        "@type": "Dataset",
        "name": record["titles"][0]["title"],
        "description": record["descriptions"][0]["description"],
        "creator": [_agent(one) for one in record["creators"] if one["name"] != UNKNOWN],
        "contributor": [_agent(one) for one in record.get("contributors", ())],
        "publisher": _publisher(record),
        "funding": [_grant(one) for one in record.get("fundingReferences", ())],
        "license": [
            one["rightsUri"]
            for one in record["rightsList"]
            if one.get("rightsUri", "").startswith("http")
        ],
        "conditionsOfAccess": f"{record['rightsList'][0]['rights']}. {edition.notice}",
        # the full edition lies in a restricted store, whatever it costs to see it there
        "isAccessibleForFree": True if edition.is_public and not under_embargo else None,
        "inLanguage": record["language"],
        "version": record["version"],
        "dateModified": described.day,
        "keywords": [one["subject"] for one in record["subjects"]],
        "measurementTechnique": SAMPLE_DATING,
        "temporalCoverage": years_covered(package),
        "spatialCoverage": [_place(one) for one in published_places(package, edition)],
        "variableMeasured": list(_variables(package)),
        "distribution": list(_tables(package)),
    }
    known = {name: value for name, value in dataset.items() if value not in (None, [], "")}
    return _identified(known, record)


def _identified(dataset: Mapping[str, Any], record: Mapping[str, Any]) -> dict[str, Any]:
    """The dataset with the identifiers and the day of issue that the citation has."""
    identifiers = [
        {
            "@type": "PropertyValue",
            "propertyID": one["alternateIdentifierType"],
            "value": one["alternateIdentifier"],
        }
        for one in record["alternateIdentifiers"]
    ]
    known: dict[str, Any] = {}
    if doi := record.get("doi"):
        known = {"@id": doi_address(doi), "url": doi_address(doi)}
        about = {"propertyID": "DOI", "value": doi, "url": doi_address(doi)}
        identifiers.insert(0, {"@type": "PropertyValue", **about})
    known["identifier"] = identifiers[0] if len(identifiers) == 1 else identifiers
    if issued := [one["date"] for one in record["dates"] if one["dateType"] == "Issued"]:
        known["datePublished"] = issued[0]
    first = {name: dataset[name] for name in ("@context", "@type") if name in dataset}
    return {**first, **known, **{name: one for name, one in dataset.items() if name not in known}}


def _anew(packed: bytes, record: Mapping[str, Any]) -> bytes:
    return as_json(_identified(json_from(packed, FORM.file_name), record)).encode("utf-8")


def years_covered(package: Package) -> str:
    """From the first to the last year of all dated rings, as an ISO 8601 interval; '' if none.

    Years are astronomical (0000 is 1 BC), of four digits.
    """
    dated = dated_rings(package)
    return f"{_year(dated.first)}/{_year(dated.last)}" if dated else ""


def _year(year: int) -> str:
    return f"-{-year:04d}" if year < 0 else f"{year:04d}"


def _agent(agent: dict[str, Any]) -> dict[str, Any]:
    person = agent.get("nameType") == "Personal"
    described: dict[str, Any] = {
        "@type": "Person" if person else "Organization",
        "name": agent["name"],
    }
    for name in ("givenName", "familyName"):
        if part := agent.get(name):
            described[name] = part
    for identifier in agent.get("nameIdentifiers", ()):
        described["@id"] = identifier["nameIdentifier"]
    if affiliations := agent.get("affiliation"):
        described["affiliation"] = [
            {"@type": "Organization", "name": one["name"]}
            | ({"@id": one["affiliationIdentifier"]} if "affiliationIdentifier" in one else {})
            for one in affiliations
        ]
    return described


def _grant(funding: Mapping[str, str]) -> dict[str, Any]:
    funder = {"@type": "Organization", "name": funding["funderName"]}
    if identifier := funding.get("funderIdentifier"):
        funder["@id"] = identifier
    grant: dict[str, Any] = {"@type": "Grant", "funder": funder}
    if award := funding.get("awardNumber"):
        grant["identifier"] = award
    return grant


def _publisher(record: Mapping[str, Any]) -> dict[str, Any] | None:
    publisher = record["publisher"]
    if publisher["name"] == UNAVAILABLE:
        return None
    described = {"@type": "Organization", "name": publisher["name"]}
    if identifier := publisher.get("publisherIdentifier"):
        described["@id"] = identifier
    return described


def _place(place: PublishedPlace) -> dict[str, Any]:
    described: dict[str, Any] = {"@type": "Place"}
    if place.name:
        described["name"] = visible(place.name)
    address = {"addressRegion": visible(place.region), "addressCountry": visible(place.country)}
    if known := {name: text for name, text in address.items() if text}:
        described["address"] = {"@type": "PostalAddress", **known}
    if box := place.box:
        # schema.org: the lower corner, then the upper, each latitude before longitude
        described["geo"] = {
            "@type": "GeoShape",
            "box": f"{box.south} {box.west} {box.north} {box.east}",
        }
    return described


def _variables(package: Package) -> Iterator[dict[str, Any]]:
    """What was measured, estimated or reported of wood and samples, in open fields with numbers.

    Tapes and coordinates are how places were found, and no result; so those tables are left out.
    Fields of one title and unit are one variable, wherever they stand.
    """
    seen = set()
    for table, one in package.model.every_field():
        if table.name not in MEASURED or one.type not in ("number", "integer"):
            continue
        if one.obtained not in ("measured", "estimated", "reported") or one.sensitivity != "open":
            continue
        if (one.title, one.unit) in seen:
            continue
        seen.add((one.title, one.unit))
        variable: dict[str, Any] = {
            "@type": "PropertyValue",
            "name": visible(one.title),
            "description": visible(f"{table.title}: {one.description}"),
            "alternateName": f"{table.name}.{one.name}",
        }
        if one.unit:
            variable["unitText"] = visible(one.unit)
        if one.rdf_type:
            variable["propertyID"] = one.rdf_type
        yield variable


def _tables(package: Package) -> Iterator[dict[str, Any]]:
    for table in package.model.tables.values():
        yield {
            "@type": "DataDownload",
            "name": visible(table.title),
            "description": visible(table.description),
            "contentUrl": f"tables/{table.name}.csv",
            "encodingFormat": "text/csv",
        }


FORM = Form(
    file_name="schema-org.jsonld",
    title="The record as a schema.org Dataset (JSON-LD)",
    order=50,
    write=as_text(lambda described: as_json(dataset_json_ld(described))),
    anew=_anew,
    standard=("https://www.w3.org/TR/json-ld11/", "JSON-LD 1.1"),
    readme=("schema-org.jsonld", "the same for search engines (schema.org)"),
)
