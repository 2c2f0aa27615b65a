"""Says how a bundle is cited: who made the record, who keeps it, under which licence.

The shape is that of the DataCite Metadata Schema 4.5 as JSON. This file is made to be published, so
it names a person only who has agreed to be named, in every edition. The full edition's holds no
coordinates; the public edition's holds the ones that edition has, which are coarse.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from provenance._base.errors import UnusablePackage
from provenance._base.visible import visible
from provenance._bundle.describe.abstract import abstract, collected
from provenance._bundle.describe.editions import Edition
from provenance._bundle.describe.published_places import published_places
from provenance._record.cells import FALSE_WORDS, TRUE_WORDS
from provenance._record.deposit_settings import FULL_ID, PUBLIC_ID, embargo_of
from provenance._record.doi import doi_in
from provenance._record.origin import Ancestor
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
    """Somebody who made, keeps or paid for the record; `named` says whether in public too.

    `family_name` and `given_name` are '' where the record does not say them, for a name is never
    taken apart here. `employer` is the organization that a person belongs to.
    """

    party_id: str
    name: str
    is_person: bool
    orcid: str
    ror: str
    named: bool
    family_name: str = ""
    given_name: str = ""
    email: str = ""
    employer: Maker | None = None

    @property
    def cited_name(self) -> str:
        """The name as lists of references sort it: 'Birkwood, Mara'; as recorded without parts."""
        parts = (self.family_name, self.given_name)
        return ", ".join(parts) if all(parts) else self.name

    @property
    def address(self) -> str:
        """The address of its ORCID or ROR identifier, '' without one."""
        if self.is_person:
            return f"https://orcid.org/{self.orcid}" if self.orcid else ""
        return self.ror


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


def _maker(row: Row, parties: Mapping[str, Row], *, employed: bool = True) -> Maker:
    is_person = row["kind"] == "person"
    agreed = row["may_be_named"]
    employer = parties.get(row["organisation_id"]) if employed and is_person else None
    return Maker(
        party_id=row["party_id"],
        name=row["name"] or row["party_id"],
        is_person=is_person,
        orcid=row["orcid"],
        ror=row["ror"],
        named=agreed in TRUE_WORDS if is_person else agreed not in FALSE_WORDS,
        # records from before there were these columns
        family_name=row.get("family_name", "") if is_person else "",
        given_name=row.get("given_name", "") if is_person else "",
        email=row["email"],
        employer=_maker(employer, parties, employed=False) if employer else None,
    )


def keeper(package: Package) -> Maker | None:
    """The repository that the record is to be kept by, None where none is named yet."""
    parties = _parties(package)
    for key in package.tables.column("site", "repository_id"):
        if key in parties:
            return _maker(parties[key], parties)
    return None


def funders(package: Package) -> tuple[tuple[Maker, tuple[str, ...]], ...]:
    """Who paid for the work, each with the numbers of its grants."""
    parties = _parties(package)
    return tuple(
        (
            _maker(row, parties),
            tuple(filter(None, map(str.strip, row.get("award_number", "").split(";")))),
        )
        for row in parties.values()
        if "funder" in map(str.strip, row["roles"].split(";"))
    )


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
    earlier: Sequence[Ancestor] = (),
) -> dict[str, Any]:
    """The citation of a bundle in the shape of DataCite 4.5; `day` is the record's date.

    A DOI is in it where the package has one for this edition (deposit_settings); `registered` puts
    in what is known only later. `formats` are the media types inside, `sizes` say in words how much
    there is; `earlier` are the bundles that this one goes on from, newest first. Every text is
    legible: hidden characters are written out.
    Raises UnusablePackage when 'relatedIdentifiers' of the descriptor cannot be cited.
    """
    title = package.title
    record: dict[str, Any] = {
        "schemaVersion": KERNEL,
        "doi": own_doi(package, earlier),
        "types": {
            "resourceTypeGeneral": "Dataset",
            "resourceType": "Record of tree-ring samples from buildings",
        },
        "creators": _creators(package),
        "titles": [{"title": title}],
        "publisher": _publisher(package),
        "publicationYear": day[:4],
        "contributors": _contributors(package),
        "dates": _dates(package, edition, day),
        "language": package.model.language,
        "subjects": [{"subject": one} for one in SUBJECTS],
        "alternateIdentifiers": [
            {"alternateIdentifier": package.name, "alternateIdentifierType": "package name"}
        ],
        "relatedIdentifiers": _related(package, edition, earlier),
        "relatedItems": _related_items(package, edition, earlier),
        "sizes": list(sizes),
        "formats": list(formats),
        "version": str(package.descriptor.get("version", "1")),
        "rightsList": _rights(package, edition),
        "descriptions": [{"description": abstract(package), "descriptionType": "Abstract"}],
        "geoLocations": _geo_locations(package, edition),
        "fundingReferences": list(_funding(package)),
    }
    return {key: _legible(value) for key, value in record.items() if value}


def registered(
    record: Mapping[str, Any],
    doi: str,
    *,
    issued: str = "",
    relations: Sequence[tuple[str, str]] = (),
) -> dict[str, Any]:
    """The citation once more, with the DOI that the bundle has been given.

    `issued` is the day on which it was published, where that is known; `relations` are DataCite's
    relation types with the DOIs that they lead to.
    """
    more = [_to_doi(other, relation) for relation, other in relations]
    known = record.get("relatedIdentifiers", [])
    related = [*known, *(one for one in more if one not in known)]
    again = {**record, "doi": doi}
    if related:
        again["relatedIdentifiers"] = related
    if issued:
        again["publicationYear"] = issued[:4]
        others = [one for one in record["dates"] if one["dateType"] != "Issued"]
        again["dates"] = [*others, {"date": issued, "dateType": "Issued"}]
    # where a record of DataCite has it
    return {name: again[name] for name in dict.fromkeys(("schemaVersion", "doi", *again))}


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
            if maker.employer and maker.employer.named:
                creators.append(_agent(maker.employer))
            continue
        creators.append(_agent(maker))
    once = [one for place, one in enumerate(creators) if one not in creators[:place]]
    return once or [{"name": UNKNOWN}]


def _agent(maker: Maker) -> dict[str, Any]:
    agent: dict[str, Any] = {
        "name": maker.cited_name,
        "nameType": "Personal" if maker.is_person else "Organizational",
    }
    if maker.given_name:
        agent["givenName"] = maker.given_name
    if maker.family_name:
        agent["familyName"] = maker.family_name
    if identifier := _name_identifier(maker):
        agent["nameIdentifiers"] = [identifier]
    if maker.employer and maker.employer.named:
        affiliation = {"name": maker.employer.name}
        if maker.employer.ror:
            affiliation |= {
                "affiliationIdentifier": maker.employer.ror,
                "affiliationIdentifierScheme": "ROR",
                "schemeUri": "https://ror.org",
            }
        agent["affiliation"] = [affiliation]
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


def own_doi(package: Package, earlier: Sequence[Ancestor] = ()) -> str:
    """The DOI of this edition, '' while it has none or only that of an earlier bundle."""
    doi = doi_in(package.descriptor.get("id"))
    return "" if doi in (one.doi for one in earlier) else doi


def _to_doi(doi: str, relation: str) -> dict[str, str]:
    return {
        "relatedIdentifier": doi,
        "relatedIdentifierType": "DOI",
        "relationType": relation,
    }


def _before(edition: Edition, earlier: Sequence[Ancestor]) -> Ancestor | None:
    """The last bundle of the same edition, which this one is a new version of."""
    return next((one for one in earlier if one.edition == edition.name), None)


def _related(
    package: Package, edition: Edition, earlier: Sequence[Ancestor]
) -> list[dict[str, str]]:
    """The version before this one, the other edition, and what the descriptor names."""
    known = []
    before = _before(edition, earlier)
    if before and before.doi:
        known.append(_to_doi(before.doi, "IsNewVersionOf"))
    if other := doi_in(package.descriptor.get(FULL_ID if edition.is_public else PUBLIC_ID)):
        known.append(_to_doi(other, "IsVariantFormOf"))
    return known + _named_relations(package)


def _related_items(
    package: Package, edition: Edition, earlier: Sequence[Ancestor]
) -> list[dict[str, Any]]:
    """The version before this one by its accession number, where it has no DOI to go by."""
    before = _before(edition, earlier)
    if before is None or before.doi or not before.accession:
        return []
    return [
        {
            "relatedItemType": "Dataset",
            "relationType": "IsNewVersionOf",
            "titles": [{"title": f"{package.title}, {before.in_words}"}],
            "publicationYear": before.record_date[:4],
            "number": before.accession,
            "numberType": "Other",
        }
    ]


def _named_relations(package: Package) -> list[dict[str, str]]:
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


def _funding(package: Package) -> Iterator[dict[str, str]]:
    """Who paid, once for each grant (DataCite 4.5, property 19)."""
    for funder, awards in funders(package):
        if not funder.named:
            continue
        known = {"funderName": funder.cited_name}
        if funder.ror:
            known |= {"funderIdentifier": funder.ror, "funderIdentifierType": "ROR"}
        for award in awards or ("",):
            yield {**known, "awardNumber": award} if award else known


def _name_identifier(maker: Maker) -> dict[str, str] | None:
    if not maker.address:
        return None
    return {
        "nameIdentifier": maker.address,
        "nameIdentifierScheme": "ORCID" if maker.is_person else "ROR",
        "schemeUri": "https://orcid.org" if maker.is_person else "https://ror.org",
    }


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


def _dates(package: Package, edition: Edition, day: str) -> list[dict[str, str]]:
    """The record's date, when samples were taken, and until when the edition is kept back.

    Bundles bear no date of the clock, so the day of issue is the record's until `registered` says
    another.
    """
    dates = [{"date": day, "dateType": "Updated"}, {"date": day, "dateType": "Issued"}]
    if days := collected(package):
        span = days[0] if days[0] == days[1] else "/".join(days)
        dates.append({"date": span, "dateType": "Collected"})
    if edition.is_public and (until := embargo_of(package)):
        dates.append({"date": until, "dateType": "Available", "dateInformation": "end of embargo"})
    return dates


def _rights(package: Package, edition: Edition) -> list[dict[str, str]]:
    if edition.is_public:
        said, part = f"{edition.title}, {edition.store}", ""
        address = "info:eu-repo/semantics/openAccess"
        if until := embargo_of(package):
            said = f"{edition.title}, under embargo until {until}"
            address = "info:eu-repo/semantics/embargoedAccess"
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
