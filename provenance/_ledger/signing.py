"""Tests the signatures of custody events, and says who signed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from provenance._base.findings import Finding
from provenance._ledger.custody import TABLE
from provenance._ledger.ed25519 import SignaturesNotTested as SignaturesNotTested
from provenance._ledger.ed25519 import Signer, is_signed, key_id_of
from provenance._ledger.keys import KeyRefused, PartyKey, keys_of, short
from provenance._ledger.seals import BODY, KEY_ID, OLD_SIGNER, SEAL, SIGNATURE, Event, to_sign
from provenance._record.joined import keys_now
from provenance._record.reading import FIRST_ROW

if TYPE_CHECKING:
    from provenance._record.snapshot import Snapshot

FALSE, UNKNOWN = "custody.signature_false", "custody.signer_unknown"
OUT_OF_TIME, BY_ANOTHER = "custody.signed_out_of_time", "custody.signed_by_another"
REMEDIES: Mapping[str, tuple[str, str]] = {
    FALSE: ("error", "Ask the signer; restore the ledger from an older copy or bundle."),
    UNKNOWN: (
        "warning",
        "Ask whose key it is; that party enters it with 'treenail custody keys PACKAGE --enter'.",
    ),
    OUT_OF_TIME: ("warning", "Ask the signer; anyone can sign with a key that was lost or stolen."),
    BY_ANOTHER: (
        "warning",
        "Ask both; if the wrong one is named, record a correction of this event.",
    ),
}
"""Rule → how bad it is, and what to do."""


def signer_of(event: Event, tables: Snapshot) -> PartyKey | None:
    """The key whose signature an event bears; None where it is not signed, or not by that key.

    Raises SignaturesNotTested.
    """
    key = _key_of(event, keys_of(tables))
    return key if key and _holds(event, key.public_key) else None


def signer_for(tables: Snapshot, signer: Signer, by: str, on: str) -> str:
    """The party that signs events with a key on a day (EDTF); raises KeyRefused if it cannot.

    `by` is who writes the events down; '' for whoever the key belongs to.
    """
    key = keys_of(tables).get(signer.key_id)
    name = signer.key_id[:12]
    if key is None:
        raise KeyRefused(
            f"this record does not have key {name}; enter it with 'treenail custody keys PACKAGE "
            "--enter'"
        )
    if by and by != key.party_id:
        raise KeyRefused(f"key {name} belongs to {key.party_id}, but {by} records this event")
    if not key.may_sign_on(on):
        until = f" until {key.until}" if key.until else ""
        raise KeyRefused(f"key {name} may be used from {key.since}{until}, and today is {on[:10]}")
    return key.party_id


def verify_signed(tables: Snapshot) -> list[Finding]:
    """What does not hold of the signatures of events: false, of nobody, out of time, of another.

    Events without a signature are passed over: signing is for those who want it. Raises
    SignaturesNotTested when there are some and the package 'cryptography' is not installed.
    """
    found = []
    for row, event, key in _signed(tables):
        for rule, field, said in _faults(event, key, tables):
            severity, remedy = REMEDIES[rule]
            number = event["custody_id"]
            found.append(
                Finding(severity, rule, TABLE, row, number, field, event[field], said, remedy)
            )
    return found


@dataclass(frozen=True)
class Signatures:
    """How many events there are, and how many of them each party signed; the rest nobody did.

    `by_unknown` were signed with keys that belong to nobody in the record.
    """

    events: int
    by_party: Mapping[str, int]
    by_unknown: int

    @property
    def unsigned(self) -> int:
        """How many bear no signature."""
        return self.events - sum(self.by_party.values()) - self.by_unknown


def count_signatures(tables: Snapshot) -> Signatures:
    """Who signed how much of the ledger; raises SignaturesNotTested."""
    signed = _signed(tables)
    known = Counter(one.key.party_id for one in signed if one.key)
    return Signatures(tables.count(TABLE), known, sum(one.key is None for one in signed))


class _Signed(NamedTuple):
    row: int
    event: Event
    key: PartyKey | None


def _signed(tables: Snapshot) -> list[_Signed]:
    """The events that bear, or say that they bear, a signature, with the key that they name."""
    if not any(any(tables.column(TABLE, name)) for name in (SIGNATURE, KEY_ID)):
        return []
    keys = keys_of(tables)
    return [
        _Signed(row, event, _key_of(event, keys))
        for row, event in enumerate(tables.rows(TABLE), start=FIRST_ROW)
        if event[SIGNATURE] or event[KEY_ID]
    ]


def key_name(event: Event) -> str:
    """The name of the key that an event says it is signed with, '' for none."""
    return event[KEY_ID] if event.get(BODY) else key_id_of(event.get(OLD_SIGNER, ""))


def _key_of(event: Event, keys: Mapping[str, PartyKey]) -> PartyKey | None:
    return keys.get(key_name(event))


def _holds(event: Event, public_key: str) -> bool:
    try:
        text = to_sign(event[BODY]) if event.get(BODY) else bytes.fromhex(event[SEAL])
    except ValueError:
        return False
    return is_signed(public_key, event[SIGNATURE], text)


def _faults(event: Event, key: PartyKey | None, tables: Snapshot) -> list[tuple[str, str, str]]:
    """Rule, field and sentence of everything that does not hold of a signature."""
    number = event["custody_id"]
    newer = event.get(BODY)
    if newer and not event[SIGNATURE]:
        said = (
            f"Event {number} says that it is signed with key {event[KEY_ID][:12]}, but the "
            "signature was removed."
        )
        return [(FALSE, SIGNATURE, said)]
    if newer and not event[KEY_ID]:
        said = f"Event {number} has a signature but does not name the key."
        return [(FALSE, SIGNATURE, said)]
    public_key = key.public_key if key else None if newer else event[OLD_SIGNER]
    if public_key is not None and not _holds(event, public_key):
        said = (
            f"The signature of event {number} is not the signer's over this event: key, signature "
            "or event was changed."
        )
        return [(FALSE, SIGNATURE, said)]
    if key is None:
        if "key" not in tables.model.tables:
            return []  # a record of an earlier version, which kept no keys
        field = KEY_ID if newer else OLD_SIGNER
        name = event[KEY_ID] if newer else key_id_of(event[OLD_SIGNER])
        said = f"Event {number} is signed with key {name[:12]}, which this record does not have."
        return [(UNKNOWN, field, said)]
    faults = []
    name = short({"key_id": key.key_id})
    written = event["recorded_on"] or event["happened_on"]
    if not key.may_sign_on(written):
        until = f" until {key.until}" if key.until else " on"
        said = (
            f"Event {number} of {written} is signed with key {name} of {key.party_id}, which "
            f"may sign from {key.since}{until}."
        )
        faults.append((OUT_OF_TIME, SIGNATURE, said))
    by = keys_now(tables, "party").get(event["recorded_by"], event["recorded_by"])
    if by and by != key.party_id:
        said = f"Event {number} was recorded by {by} but is signed by {key.party_id}."
        faults.append((BY_ANOTHER, SIGNATURE, said))
    return faults
