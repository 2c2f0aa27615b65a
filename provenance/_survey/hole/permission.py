"""Says what the record holds about permission to drill at a place, and whom to ask."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from provenance._base.languages import N_, _
from provenance._ledger.holdings import Holding
from provenance._model.spoken import spoken
from provenance._record.agreements import Agreement, agreements_at
from provenance._record.package import Package
from provenance._record.snapshot import Row, Snapshot

GIVES_NONE = N_("Only with new permission, and this record gives none.")


@dataclass(frozen=True)
class Contact:
    """A person or organisation to ask, what for, and the addresses on record."""

    party_id: str
    name: str
    asked_about: str
    addresses: tuple[str, ...]


@dataclass(frozen=True)
class Permission:
    """The answer to 'may I drill here again' by what is on record.

    `answer` is the short one, `on_record` what it rests on; both leave the decision to owner,
    authority and licensed people. `contacts` are those to ask; `way_in` is how to get there.
    """

    answer: str
    on_record: tuple[str, ...]
    contacts: tuple[Contact, ...]
    way_in: str


def permission_on_record(
    package: Package, site: Row, wood: Row, sample: Row, holding: Holding | None
) -> Permission:
    """What is on record for the site and wood of a sample; `holding` is where the sample is now.

    Nothing here depends on the day it is asked: dates are told, and the reader judges them.
    """
    parties = parties_of(package)
    agreed = agreements_at(package.tables, site["site_id"], wood["place_id"])
    owner, authority = (
        party_words(package, site[one]) for one in ("owner_id", "permit_authority_id")
    )
    asked = [_("the owner, {name}").format(name=owner) if owner else _("the owner (not recorded)")]
    asked.append(
        _("the authority that gave the permit, {name}").format(name=authority)
        if authority
        else _("the authority in charge (not recorded)")
    )
    asked += [_("a structural engineer")] if wood["load_bearing"] != "no" else []
    refused = (
        _("The owner refused the sampling.") + " " if site["owner_consent"] == "refused" else ""
    )
    lines = [
        _permit(site, authority),
        _consent(package, site, owner),
        *(_agreement(package, one) for one in agreed),
        _("A permit and a consent are for the work they were given for; a new hole is new work."),
    ]
    if sample["authority"]:
        lines.append(_("Authority for this sample: {words}").format(words=sample["authority"]))
    roles = [
        (site["owner_id"], _("permission of the owner")),
        *((one.given_by, _("their agreement")) for one in agreed),
        (site["permit_authority_id"], _("permits")),
        (site["repository_id"], _("this record and what it keeps")),
        (holding.answerable if holding else "", _("the sample")),
        (site["crew_lead_id"], _("the field work")),
    ]
    first = _("Ask first: {whom}.")
    return Permission(
        f"{refused}{_(GIVES_NONE)} {first.format(whom='; '.join(asked))}",
        tuple(lines),
        _contacts(parties, roles),
        site["access_notes"],
    )


def parties_of(package: Package) -> dict[str, Row]:
    """The people and organisations by their code; of two rows with one code the first counts."""

    def read(tables: Snapshot) -> dict[str, Row]:
        return {row["party_id"]: row for row in reversed(tables.rows("party"))}

    return package.tables.once("parties by code", read)


def party_words(package: Package, party_id: str) -> str:
    """Name and code of a person or organisation, or the code alone."""
    row = parties_of(package).get(party_id)
    return f"{row['name']} ({party_id})" if row and row["name"] else party_id


def _permit(site: Row, authority: str) -> str:
    number, start, end = (site[f"permit_{one}"] for one in ("number", "from", "until"))
    if not (number or authority or start or end):
        return _("No permit is on record.")
    said = _("Permit on record: {number}").format(number=number or _("number not recorded"))
    said += _(", given by {name}").format(name=authority) if authority else ""
    said += _(", valid from {date}").format(date=start) if start else ""
    said += _(" until {date}").format(date=end) if end else _(", its end not recorded")
    return f"{said}."


def _consent(package: Package, site: Row, owner: str) -> str:
    said = _("Owner: {name}.").format(name=owner or _("not recorded")) + " "
    consent = site["owner_consent"]
    if not consent:
        return said + _("Whether the owner agreed to the sampling is not recorded.")
    label = spoken(package.model).vocabularies["consent"].label(consent).lower()
    on = _(" on {date}").format(date=site["consent_on"]) if site["consent_on"] else ""
    agreed = _("Consent to the sampling: {state}.").format(state=f"{label}{on}")
    return said + agreed


def _agreement(package: Package, one: Agreement) -> str:
    lists = spoken(package.model).vocabularies

    def labels(name: str, codes: Iterable[str]) -> str:
        return ", ".join(lists[name].label(code).lower() for code in codes)

    by = _(" by {name}").format(name=party_words(package, one.given_by)) if one.given_by else ""
    status = lists["agreement_status"].label(one.status).lower() if one.status else _("no status")
    return _(
        "Agreement {code}: {status}, {dates}. Agreed to: {scope}. Conditions: {conditions}."
    ).format(
        code=one.code,
        status=status + by,
        dates=one.dates or _("not dated"),
        scope=labels("agreement_scope", one.scope) or _("not recorded"),
        conditions=labels("agreement_condition", one.conditions) or _("none recorded"),
    )


def _contacts(parties: dict[str, Row], roles: Sequence[tuple[str, str]]) -> tuple[Contact, ...]:
    """One contact for each party, whatever it is asked about, in the order of `roles`."""
    asked: dict[str, list[str]] = {}
    for party_id, about in roles:
        if party_id:
            asked.setdefault(party_id, []).append(about)
    found = []
    for party_id, roles_of in asked.items():
        row = parties.get(party_id)
        columns = ("email", "postal_address") if row else ()
        addresses = tuple(row[one] for one in columns if row and row[one])
        name = row["name"] if row and row["name"] else party_id
        found.append(Contact(party_id, name, ", ".join(roles_of), addresses))
    return tuple(found)
