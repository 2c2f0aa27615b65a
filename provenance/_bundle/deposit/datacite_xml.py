"""Writes the citation as XML by the DataCite Metadata Schema 4.5.

A repository that registers DOIs takes in either this or the JSON; the XML is made from that JSON.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from provenance._bundle.deposit.form import Form, as_text, of_citation
from provenance._bundle.deposit.xml_text import xml_document, xml_text
from provenance._bundle.describe.citation import KERNEL

if TYPE_CHECKING:
    from lxml.etree import _Element

NO_DOI_YET = "(:tba)"
"""DataCite's standard value for 'to be assigned' (schema documentation 4.5, appendix 3)."""

_INSTANCE = "http://www.w3.org/2001/XMLSchema-instance"
_PLACE_OF_SCHEMA = f"{KERNEL} http://schema.datacite.org/meta/kernel-4.5/metadata.xsd"

_LISTS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "alternateIdentifiers": ("alternateIdentifier", ("alternateIdentifierType",)),
    "titles": ("title", ("titleType",)),
    "subjects": ("subject", ("subjectScheme", "schemeUri", "valueUri")),
    "dates": ("date", ("dateType", "dateInformation")),
    "relatedIdentifiers": (
        "relatedIdentifier",
        (
            "relationType",
            "relatedMetadataScheme",
            "schemeUri",
            "schemeType",
            "resourceTypeGeneral",
            "relatedIdentifierType",
        ),
    ),
    "sizes": ("size", ()),
    "formats": ("format", ()),
    "rightsList": (
        "rights",
        ("rightsUri", "rightsIdentifierScheme", "rightsIdentifier", "schemeUri"),
    ),
    "descriptions": ("description", ("descriptionType",)),
}
"""List of the JSON → the XML element of one entry, which is also the JSON's name for its text, and
what are attributes of it."""

_ORDER = (
    *("alternateIdentifiers", "creators", "titles", "publisher", "publicationYear", "subjects"),
    *("contributors", "dates", "language", "types", "doi", "relatedIdentifiers", "sizes"),
    *("formats", "version", "rightsList", "descriptions", "geoLocations", "fundingReferences"),
    "relatedItems",
)
"""The schema takes them in any order (xs:all); this one stays, so that bundles compare."""


def datacite_xml(record: Mapping[str, Any]) -> str:
    """The citation `record` (see citation.datacite_record) as a DataCite XML document.

    XML wants an identifier where JSON does without: it says that the DOI is to be assigned.
    """
    from lxml import etree

    root = etree.Element(
        f"{{{KERNEL}}}resource",
        {f"{{{_INSTANCE}}}schemaLocation": _PLACE_OF_SCHEMA},
        nsmap={None: KERNEL, "xsi": _INSTANCE},  # type: ignore[dict-item]  # stubs know no default
    )
    fit = {"doi": NO_DOI_YET, **_fit_for_xml(record)}
    for name in _ORDER:
        if value := fit.get(name):
            _add_part(root, name, value)
    return xml_document(root)


def _add_part(root: _Element, name: str, value: Any) -> None:
    if name in _LISTS:
        child, attributes = _LISTS[name]
        group = _add(root, name)
        for one in value:
            entry = one if isinstance(one, dict) else {child: one}
            _add(group, child, entry[child], entry, attributes)
    elif name in ("creators", "contributors"):
        _add_people(_add(root, name), name.removesuffix("s"), value)
    elif name == "publisher":
        kept = ("publisherIdentifier", "publisherIdentifierScheme", "schemeUri")
        _add(root, name, value["name"], value, kept)
    elif name == "types":
        _add(root, "resourceType", value["resourceType"], value, ("resourceTypeGeneral",))
    elif name == "doi":
        _add(root, "identifier", value, {"identifierType": "DOI"}, ("identifierType",))
    elif name == "geoLocations":
        _add_places(_add(root, name), value)
    elif name == "fundingReferences":
        _add_funding(_add(root, name), value)
    elif name == "relatedItems":
        _add_items(_add(root, name), value)
    else:
        _add(root, name, value)


def _add_people(group: _Element, role: str, people: Iterable[Mapping[str, Any]]) -> None:
    for one in people:
        person = _add(group, role, None, one, ("contributorType",))
        _add(person, f"{role}Name", one["name"], one, ("nameType",))
        for part in ("givenName", "familyName"):
            if text := one.get(part):
                _add(person, part, text)
        for known in one.get("nameIdentifiers", ()):
            kept = ("nameIdentifierScheme", "schemeUri")
            _add(person, "nameIdentifier", known["nameIdentifier"], known, kept)
        for place in one.get("affiliation", ()):
            told = ("affiliationIdentifier", "affiliationIdentifierScheme", "schemeUri")
            _add(person, "affiliation", place["name"], place, told)


def _add_places(group: _Element, places: Iterable[Mapping[str, Any]]) -> None:
    for one in places:
        place = _add(group, "geoLocation")
        if words := one.get("geoLocationPlace"):
            _add(place, "geoLocationPlace", words)
        if box := one.get("geoLocationBox"):
            limits = _add(place, "geoLocationBox")
            for side in ("west", "east", "south", "north"):
                name = f"{side}Bound{'Latitude' if side in ('south', 'north') else 'Longitude'}"
                _add(limits, name, str(box[name]))


def _add_funding(group: _Element, funding: Iterable[Mapping[str, Any]]) -> None:
    for one in funding:
        reference = _add(group, "fundingReference")
        _add(reference, "funderName", one["funderName"])
        if known := one.get("funderIdentifier"):
            _add(reference, "funderIdentifier", known, one, ("funderIdentifierType",))
        if award := one.get("awardNumber"):
            _add(reference, "awardNumber", award)


def _add_items(group: _Element, items: Iterable[Mapping[str, Any]]) -> None:
    for one in items:
        item = _add(group, "relatedItem", None, one, ("relatedItemType", "relationType"))
        titles = _add(item, "titles")
        for title in one["titles"]:
            _add(titles, "title", title["title"])
        if year := one.get("publicationYear"):
            _add(item, "publicationYear", year)
        if number := one.get("number"):
            _add(item, "number", number, one, ("numberType",))


def _add(
    parent: _Element,
    name: str,
    text: str | None = None,
    entry: Mapping[str, Any] | None = None,
    attributes: Iterable[str] = (),
) -> _Element:
    """A new element below `parent`, with those of the entry's values that are attributes."""
    from lxml import etree

    element = etree.SubElement(parent, f"{{{KERNEL}}}{name}")
    element.text = text
    for one in attributes:
        if entry and entry.get(one):
            # JSON writes Uri what XML writes URI
            element.set(f"{one[:-3]}URI" if one.endswith("Uri") else one, entry[one])
    return element


def _fit_for_xml(value: Any) -> Any:
    if isinstance(value, str):
        return xml_text(value)
    if isinstance(value, Mapping):
        return {key: _fit_for_xml(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_fit_for_xml(one) for one in value]
    return value


FORM = Form(
    file_name="datacite.xml",
    title="Citation metadata (DataCite, XML)",
    order=20,
    write=as_text(lambda described: datacite_xml(described.record)),
    anew=of_citation(datacite_xml),
    standard=(KERNEL, "DataCite Metadata Schema 4"),
)
