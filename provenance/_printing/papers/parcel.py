"""Gathers what is known of a parcel: who, what for, and the samples that were packed into it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from provenance._base.languages import _, ngettext
from provenance._identity.payload import compose_inside, parcel_code
from provenance._model.spoken import spoken
from provenance._printing.labels.facts import SampleFacts, gather_facts, joined, rows_by_key
from provenance._record.measured import shown
from provenance._record.package import Package
from provenance._record.snapshot import Row


@dataclass(frozen=True)
class Correspondent:
    """Who sends or receives a parcel; '' where nothing is recorded."""

    party_id: str
    name: str = ""
    postal_address: str = ""
    email: str = ""

    @property
    def in_words(self) -> str:
        """Name and postal address on one line."""
        return joined(", ", self.name or self.party_id, self.postal_address)


@dataclass(frozen=True)
class ParcelItem:
    """One sample of a parcel, with what the receiver can compare."""

    facts: SampleFacts
    check: str
    length: str
    pieces: str
    condition: str


@dataclass(frozen=True)
class Parcel:
    """A consignment with its content, as the tables and the ledger have it."""

    consignment_id: str
    sender: Correspondent
    receiver: Correspondent
    purpose: str
    packed_on: str
    sent_on: str
    due_on: str
    carrier: str
    seal_number: str
    questions: str
    recorded_count: str
    items: tuple[ParcelItem, ...]

    @property
    def code_text(self) -> str:
        """The text of its code, '' for a parcel that none can say; of several sites the first."""
        code = parcel_code(self.consignment_id)
        sites = [item.facts.site_id for item in self.items if item.facts.site_id]
        return compose_inside(sites[0], code) if code and sites else ""

    @property
    def count_in_words(self) -> str:
        """'12 samples: 10 core, 2 cross-section'."""
        kinds = Counter(item.facts.kind or _("kind not recorded") for item in self.items)
        parts = ", ".join(f"{number} {kind.lower()}" for kind, number in kinds.most_common())
        total = len(self.items)
        said = ngettext("{n} sample: {parts}", "{n} samples: {parts}", total)
        return said.format(n=total, parts=parts)


def gather_parcel(package: Package, consignment_id: str) -> Parcel:
    """The parcel of that code with the samples that the ledger says were packed into it.

    Raises TreenailError when there is no such parcel or nothing was packed.
    """
    from provenance._ledger.handover import samples_of_parcel

    packed = samples_of_parcel(package, consignment_id)
    row = rows_by_key(package, "consignment")[consignment_id]
    samples = rows_by_key(package, "sample")
    parties = rows_by_key(package, "party")
    conditions = spoken(package.model).vocabularies["sample_condition"]
    facts = {one.sample_id: one for one in gather_facts(package, failed_too=True)}
    items = []
    for number in packed:
        # if the ledger names a sample that the table lacks, list it, so that it is looked for
        one = facts.get(number) or SampleFacts("", number, kind=_("not in the record"))
        sample = samples.get(number, {})
        condition = sample.get("condition", "")
        items.append(
            ParcelItem(
                facts=one,
                check=one.check if number in facts else "",
                length=shown(package.tables, "sample", "length_mm", sample.get("length_mm")),
                pieces=sample.get("pieces", ""),
                condition=conditions.label(condition) if condition else "",
            )
        )
    purposes = spoken(package.model).vocabularies["consignment_purpose"]
    return Parcel(
        consignment_id=consignment_id,
        sender=_correspondent(parties, row["from_party_id"]),
        receiver=_correspondent(parties, row["to_party_id"]),
        purpose=purposes.label(row["purpose"]) if row["purpose"] else "",
        packed_on=row["packed_on"],
        sent_on=row["sent_on"],
        due_on=row["due_on"],
        carrier=row["carrier"],
        seal_number=row["seal_number"],
        questions=row["questions"],
        recorded_count=row["sample_count"],
        items=tuple(items),
    )


def _correspondent(parties: Mapping[str, Row], party_id: str) -> Correspondent:
    told = parties.get(party_id, {})
    return Correspondent(
        party_id, *(told.get(one, "") for one in ("name", "postal_address", "email"))
    )
