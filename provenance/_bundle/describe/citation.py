"""Says how a bundle is cited: who made the record, who keeps it, under which licence.

The shape is that of the DataCite Metadata Schema 4.5 as JSON. This file is made to be published, so
it names a person only who has agreed to be named, in every edition. The full edition's holds no
coordinates; the public edition's holds the ones that edition has, which are coarse.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from provenance._base.errors import UnusablePackage
from provenance._base.visible import visible
from provenance._bundle.describe.editions import Edition
from provenance._bundle.describe.published_places import published_places
from provenance._record.package import DESCRIPTOR, Package
from provenance._record.snapshot import Row

KERNEL = "http://datacite.org/schema/kernel-4"
UNKNOWN = "(:unkn)"
"""DataCite's standard value for 'not known' (schema documentation 4.5, appendix 3)."""
UNAVAILABLE = "(:unav)"

_LICENCE_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9.+-]*")

SUBJECTS = ("dendrochronology", "building archaeology", "tree-ring dating")

MAKER_ROLES = ("crew_lead", "recorder", "driller")
"""Roles that make somebody an author of the record, the first named first."""


@dataclass(frozen=True)
class Maker:
    """Somebody who made or keeps the record; `named` says whether in public too."""

    party_id: str
    name: str
    is_person: bool
    orcid: str
    ror: str
    organisation: str
    named: bool


def makers(package: Package) -> tuple[Maker, ...]:
    """Who made the record: crew leads of the sites first, then recorders and drillers.

    Where nobody bears such a role, the people who took samples or recorded elements.
    """
    parties = _parties(package)
    order = dict.fromkeys(package.tables.column("site", "crew_lead_id"))
    for role in MAKER_ROLES:
        for key, row in parties.items():
            if role in [one.strip() for one in row["roles"].split(";")]:
                order[key] = None
    if not any(key in parties for key in order):
        order |= dict.fromkeys(package.tables.column("sample", "collected_by"))
        order |= dict.fromkeys(package.tables.column("element", "recorded_by"))
    return tuple(_maker(parties[key], parties) for key in order if key in parties)


def _parties(package: Package) -> dict[str, Row]:
    return {row["party_id"]: row for row in package.tables.rows("party")}


def _maker(row: Row, parties: Mapping[str, Row]) -> Maker:
    is_person = row["kind"] == "person"
    employer = parties.get(row["organisation_id"])
    return Maker(
        party_id=row["party_id"],
        name=row["name"] or row["party_id"],
        is_person=is_person,
        orcid=row["orcid"],
        ror=row["ror"],
        organisation=employer["name"] if employer else "",
        named=not is_person or row["may_be_named"] == "true",
    )


def keeper(package: Package) -> Maker | None:
    """The repository that the record is to be kept by, None where none is named yet."""
    parties = _parties(package)
    for key in package.tables.column("site", "repository_id"):
        if key in parties:
            return _maker(parties[key], parties)
    return None


def licences(package: Package) -> tuple[str, ...]:
    """The licences that the sites' public parts are under, as written."""
    return tuple(dict.fromkeys(one for one in package.tables.column("site", "rights") if one))


def licence_address(licence: str) -> str:
    """An address for a licence: itself if it is one, else its page in the SPDX list.

    >>> licence_address("CC-BY-4.0")
    'https://spdx.org/licenses/CC-BY-4.0'
    """
    from urllib.parse import quote

    if licence.startswith(("https://", "http://")):
        return licence
    return f"https://spdx.org/licenses/{quote(licence)}"


def datacite_record(
    package: Package,
    edition: Edition,
    *,
    day: str,
    formats: tuple[str, ...],
    sizes: tuple[str, ...] = (),
) -> dict[str, Any]:
    """The citation of a bundle in the shape of DataCite 4.5; `day` is the record's date.

    There is no DOI in it: the repository assigns one. `formats` are the media types inside, `sizes`
    say in words how much there is. Every text is legible: hidden characters are written out.
    Raises UnusablePackage when 'relatedIdentifiers' of the descriptor cannot be cited.
    """
    title = package.title
    record: dict[str, Any] = {
        "schemaVersion": KERNEL,
        "types": {
            "resourceTypeGeneral": "Dataset",
            "resourceType": "Record of tree-ring samples from buildings",
        },
        "creators": _creators(package),
        "titles": [{"title": title}],
        "publisher": _publisher(package),
        "publicationYear": day[:4],
        "contributors": _contributors(package),
        "dates": [{"date": day, "dateType": "Updated"}, *_dates(package)],
        "subjects": [{"subject": one} for one in SUBJECTS],
        "alternateIdentifiers": [
            {"alternateIdentifier": package.name, "alternateIdentifierType": "package name"}
        ],
        "relatedIdentifiers": _related(package),
        "sizes": list(sizes),
        "formats": list(formats),
        "version": str(package.descriptor.get("version", "1")),
        "rightsList": _rights(package, edition),
        "descriptions": [
            {
                "description": str(package.descriptor.get("description") or title),
                "descriptionType": "Abstract",
            }
        ],
        "geoLocations": _geo_locations(package, edition),
    }
    return {key: _legible(value) for key, value in record.items() if value}


def _legible(value: Any) -> Any:
    if isinstance(value, str):
        return visible(value)
    if isinstance(value, list):
        return [_legible(one) for one in value]
    if isinstance(value, dict):
        return {key: _legible(one) for key, one in value.items()}
    return value


def _creators(package: Package) -> list[dict[str, Any]]:
    creators: list[dict[str, Any]] = []
    for maker in makers(package):
        if not maker.named:
            # a person who has not agreed is stood for by the organisation, or not at all
            if maker.organisation:
                creators.append({"name": maker.organisation, "nameType": "Organizational"})
            continue
        creators.append(_agent(maker))
    once = [one for place, one in enumerate(creators) if one not in creators[:place]]
    return once or [{"name": UNKNOWN}]


def _agent(maker: Maker) -> dict[str, Any]:
    agent: dict[str, Any] = {
        "name": maker.name,
        "nameType": "Personal" if maker.is_person else "Organizational",
    }
    if maker.is_person and maker.organisation:
        agent["affiliation"] = [{"name": maker.organisation}]
    if identifier := _name_identifier(maker):
        agent["nameIdentifiers"] = [identifier]
    return agent


def _contributors(package: Package) -> list[dict[str, Any]]:
    """Who took the samples, of those who may be named, and who keeps the record."""
    parties = _parties(package)
    collected_by = dict.fromkeys(package.tables.column("sample", "collected_by"))
    collectors = [_maker(parties[key], parties) for key in collected_by if key in parties]
    contributors = [
        {**_agent(one), "contributorType": "DataCollector"} for one in collectors if one.named
    ]
    repository = keeper(package)
    if repository is not None and repository.named:
        contributors.append({**_agent(repository), "contributorType": "HostingInstitution"})
    return contributors


def _related(package: Package) -> list[dict[str, str]]:
    """What the descriptor says the record is related to, as DataCite writes it."""
    related = package.descriptor.get("relatedIdentifiers") or []
    wanted = ("relatedIdentifier", "relatedIdentifierType", "relationType")
    for one in related if isinstance(related, list) else [related]:
        if not isinstance(one, dict) or not all(isinstance(one.get(key), str) for key in wanted):
            raise UnusablePackage(
                f"{package.folder / DESCRIPTOR}: 'relatedIdentifiers' holds {str(one)[:80]!r}; "
                f"write a list of objects with {', '.join(wanted)} (DataCite 4.5), or remove it"
            )
    return list(related)


def _geo_locations(package: Package, edition: Edition) -> list[dict[str, Any]]:
    locations: list[dict[str, Any]] = []
    for place in published_places(package, edition):
        location: dict[str, Any] = {"geoLocationPlace": place.words} if place.words else {}
        if place.box:
            location["geoLocationBox"] = {
                "westBoundLongitude": place.box.west,
                "eastBoundLongitude": place.box.east,
                "southBoundLatitude": place.box.south,
                "northBoundLatitude": place.box.north,
            }
        if location:
            locations.append(location)
    return locations


def _name_identifier(maker: Maker) -> dict[str, str] | None:
    if maker.is_person and maker.orcid:
        return {
            "nameIdentifier": f"https://orcid.org/{maker.orcid}",
            "nameIdentifierScheme": "ORCID",
            "schemeUri": "https://orcid.org",
        }
    if not maker.is_person and maker.ror:
        return {
            "nameIdentifier": maker.ror,
            "nameIdentifierScheme": "ROR",
            "schemeUri": "https://ror.org",
        }
    return None


def _publisher(package: Package) -> dict[str, str]:
    repository = keeper(package)
    if repository is None or not repository.named:
        return {"name": UNAVAILABLE}
    publisher = {"name": repository.name}
    if repository.ror:
        publisher |= {
            "publisherIdentifier": repository.ror,
            "publisherIdentifierScheme": "ROR",
            "schemeUri": "https://ror.org",
        }
    return publisher


def _dates(package: Package) -> list[dict[str, str]]:
    """When samples were taken, from the first whole day to the last."""
    days = sorted(
        {one for one in package.tables.column("sample", "collected_on") if len(one) == 10}
    )
    if not days:
        return []
    span = days[0] if days[0] == days[-1] else f"{days[0]}/{days[-1]}"
    return [{"date": span, "dateType": "Collected"}]


def _rights(package: Package, edition: Edition) -> list[dict[str, str]]:
    if edition.is_public:
        said, part = f"{edition.title}, {edition.store}", ""
        address = "info:eu-repo/semantics/openAccess"
    else:
        said = f"{edition.title}, {edition.store}: it holds locations and personal data"
        part, address = "Public part: ", "info:eu-repo/semantics/restrictedAccess"
    rights = [{"rights": said, "rightsUri": address}]
    for licence in licences(package):
        one = {"rights": f"{part}{licence}"}
        if licence.startswith(("https://", "http://")):
            one["rightsUri"] = licence
        elif _LICENCE_CODE.fullmatch(licence):
            one |= {
                "rightsUri": licence_address(licence),
                "rightsIdentifier": licence,
                "rightsIdentifierScheme": "SPDX",
                "schemeUri": "https://spdx.org/licenses/",
            }
        rights.append(one)
    return rights
