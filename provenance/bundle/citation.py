"""Says how a bundle is cited: who made the record, who keeps it, under which licence.

The shape is that of the DataCite Metadata Schema 4.5 as JSON. This file is made to be published, so
it names a person only who has agreed to be named, in every edition, and holds no coordinates.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from provenance.bundle.editions import Edition
from provenance.package import Package

KERNEL = "http://datacite.org/schema/kernel-4"
UNKNOWN = "(:unkn)"
"""DataCite's standard value for 'not known' (schema documentation 4.5, appendix 3)."""
UNAVAILABLE = "(:unav)"

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
    parties = {row["party_id"]: row for row in package.table("party").to_dict("records")}
    order: dict[str, None] = dict.fromkeys(package.table("site")["crew_lead_id"])
    for role in MAKER_ROLES:
        for key, row in parties.items():
            if role in [one.strip() for one in str(row.get("roles", "")).split(";")]:
                order[key] = None
    if not any(key in parties for key in order):
        order |= dict.fromkeys(package.table("sample")["collected_by"])
        order |= dict.fromkeys(package.table("element")["recorded_by"])
    return tuple(_maker(parties[key], parties) for key in order if key in parties)


def _maker(row: Mapping[Any, Any], parties: Mapping[Any, Mapping[Any, Any]]) -> Maker:
    is_person = row.get("kind") == "person"
    employer = parties.get(row.get("organisation_id") or "", {})
    return Maker(
        party_id=str(row["party_id"]),
        name=str(row.get("name") or row["party_id"]),
        is_person=is_person,
        orcid=str(row.get("orcid") or ""),
        ror=str(row.get("ror") or ""),
        organisation=str(employer.get("name") or ""),
        named=not is_person or row.get("may_be_named") == "true",
    )


def keeper(package: Package) -> Maker | None:
    """The repository that the record is to be kept by, None where none is named yet."""
    parties = {row["party_id"]: row for row in package.table("party").to_dict("records")}
    for key in package.table("site")["repository_id"]:
        if key in parties:
            return _maker(parties[key], parties)
    return None


def licences(package: Package) -> tuple[str, ...]:
    """The licences that the sites' public parts are under, as written."""
    return tuple(dict.fromkeys(one for one in package.table("site")["rights"] if one))


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
    package: Package, edition: Edition, *, day: str, formats: tuple[str, ...]
) -> dict[str, Any]:
    """The citation of a bundle in the shape of DataCite 4.5; `day` is the record's date.

    There is no DOI in it: the repository assigns one. `formats` are the media types inside.
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
        "dates": [{"date": day, "dateType": "Updated"}, *_dates(package)],
        "subjects": [
            {"subject": "dendrochronology"},
            {"subject": "building archaeology"},
            {"subject": "tree-ring dating"},
        ],
        "alternateIdentifiers": [
            {"alternateIdentifier": package.name, "alternateIdentifierType": "package name"}
        ],
        "relatedIdentifiers": list(package.descriptor.get("relatedIdentifiers", [])),
        "formats": list(formats),
        "version": str(package.descriptor.get("version", "1")),
        "rightsList": _rights(package, edition),
        "descriptions": [
            {
                "description": str(package.descriptor.get("description") or title),
                "descriptionType": "Abstract",
            }
        ],
    }
    return {key: value for key, value in record.items() if value}


def _creators(package: Package) -> list[dict[str, Any]]:
    creators: list[dict[str, Any]] = []
    for maker in makers(package):
        if not maker.named:
            # a person who has not agreed is stood for by the organisation, or not at all
            if maker.organisation:
                creators.append({"name": maker.organisation, "nameType": "Organizational"})
            continue
        creator: dict[str, Any] = {
            "name": maker.name,
            "nameType": "Personal" if maker.is_person else "Organizational",
        }
        if maker.is_person and maker.organisation:
            creator["affiliation"] = [{"name": maker.organisation}]
        if identifier := _name_identifier(maker):
            creator["nameIdentifiers"] = [identifier]
        creators.append(creator)
    once = [one for place, one in enumerate(creators) if one not in creators[:place]]
    return once or [{"name": UNKNOWN}]


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
    days = sorted(one for one in package.table("sample")["collected_on"].unique() if len(one) == 10)
    if not days:
        return []
    span = days[0] if days[0] == days[-1] else f"{days[0]}/{days[-1]}"
    return [{"date": span, "dateType": "Collected"}]


def _rights(package: Package, edition: Edition) -> list[dict[str, str]]:
    rights = [
        {
            "rights": f"{edition.title}, {edition.store}: it holds locations and personal data",
            "rightsUri": "info:eu-repo/semantics/restrictedAccess",
        }
    ]
    for licence in licences(package):
        if licence.startswith(("https://", "http://")):
            rights.append({"rights": f"Public part: {licence}", "rightsUri": licence})
        else:
            rights.append(
                {
                    "rights": f"Public part: {licence}",
                    "rightsUri": licence_address(licence),
                    "rightsIdentifier": licence,
                    "rightsIdentifierScheme": "SPDX",
                    "schemeUri": "https://spdx.org/licenses/",
                }
            )
    return rights
