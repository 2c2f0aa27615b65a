"""Computes the seals of custody events.

How to compute a seal by hand, with nothing of this program:

1. Take one row of tables/custody.csv. Leave out the columns custody_id, body_sha256, signature and
   event_sha256, and every column whose cell is blank; where corrects_sha256 is not blank, leave out
   corrects_custody_id too. previous_sha256 stays in, so that each event covers the one before; the
   first event has none. So does key_id, which says with whose key the event is signed.
2. Write what is left as one JSON object on one line. Every value is a text, exactly as it stands in
   the cell. The members stand in the order of their names, with no blanks between them:
   {"event":"collected","happened_on":"2024-06-03"}. Only the double quote, the backslash and
   control characters are escaped. This is the JSON Canonicalization Scheme, RFC 8785.
3. Encode it in UTF-8 and take its SHA-256 (FIPS 180-4), in lower-case hexadecimal. That is
   body_sha256.
4. Where the event is signed, the signature is Ed25519 (RFC 8032), in base64, over the text
   treenail-event-2, one zero byte, and the 32 bytes of body_sha256. The public key stands in
   tables/key.csv, in the row with that key_id.
5. Write {"body_sha256":"...","signature":"..."} in the same way, without the signature where there
   is none, and take its SHA-256. That is event_sha256, and it is the next event's previous_sha256.

A blank column does not count, so a later version may add columns without breaking old seals. The
chain shows every change, insertion, removal or exchange of events, and every signature taken off.
It does not show that events were cut off at the end, or that everything from some event on was
rewritten and sealed anew. Keep the last seal elsewhere as well (a bundle has it in bundle.json).

Where copies of a record were merged, the ledger had two ends, and one event 'joined' names both, in
previous_sha256 and also_previous_sha256. Events are numbered through; their numbers are for people.
An event names what it corrects by its seal, in corrects_sha256.

An event without body_sha256 was sealed by an earlier version, and none comes after an event with
one. Its event_sha256 is computed as in 1 to 3, but custody_id stays in, and signer_key,
sealed_custody_id and signature are left out: its signature is over the 32 bytes of event_sha256,
and the public key stands in signer_key, both in base64. If it has another number now than when it
was sealed, that is in sealed_custody_id: then custody_id is what sealed_custody_id says, and
corrects_custody_id is the number that the corrected event was sealed with.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Protocol

import rfc8785

from provenance._base.errors import TreenailError

SEAL = "event_sha256"
BODY = "body_sha256"
KEY_ID = "key_id"
SIGNATURE = "signature"
OLD_SIGNER = "signer_key"
"""The public key beside a signature that was put on top of the seal, as earlier versions did."""
SEALED_AS = "sealed_custody_id"
CORRECTED_SEAL = "corrects_sha256"
SEALS = ("previous_sha256", SEAL)
BEFORE = ("previous_sha256", "also_previous_sha256")
FILLED_IN = (*BEFORE, CORRECTED_SEAL, SEALED_AS, KEY_ID, BODY, OLD_SIGNER, SIGNATURE, SEAL)
"""Columns that are filled in by sealing and merging; where all are blank, nothing is sealed."""
NOT_COVERED = frozenset({"custody_id", BODY, SIGNATURE, SEAL})
_NOT_COVERED_BEFORE = frozenset({SEAL, OLD_SIGNER, SIGNATURE, SEALED_AS})
_TO_SIGN = b"treenail-event-2\0"
Event = Mapping[str, str]
"""A row of the ledger: the texts in its cells, by column."""


class Signs(Protocol):
    """Whoever signs events while they are sealed."""

    @property
    def key_id(self) -> str:
        """By which the table 'key' names the public key."""

    def sign(self, message: bytes) -> str:
        """The signature over some bytes, in base64."""


def event_hash(event: Event) -> str:
    """The seal of one event: SHA-256 of canonical JSON (RFC 8785), lower-case hexadecimal.

    `event` maps the columns of the table custody to the texts in their cells; the module says what
    counts. Raises ValueError when a text holds something that is no character (a lone surrogate).

    >>> event_hash({"custody_id": "1", "event": "collected", "notes": ""})
    '68a16930d218f9261b865089c3554bcae89c477ac9097e8e7e5bbe332cfa5387'
    >>> event_hash({"body_sha256": body_hash({"event": "collected"}), "signature": ""})
    '2c17f6051b3a40730b418df72820d6d85360b9cb28f6ecae809195dce5640082'
    """
    return _sha256(_canonical(_around_body(event) if event.get(BODY) else _covered_before(event)))


def body_hash(event: Event) -> str:
    """The body_sha256 of an event, over what it says, what came before and whose key signs."""
    return _sha256(_canonical(_covered(event)))


def to_sign(body: str) -> bytes:
    """What a signature of an event is over; raises ValueError for a `body` that is no SHA-256."""
    return _TO_SIGN + bytes.fromhex(body)


def seal_event(event: dict[str, str], signer: Signs | None = None) -> None:
    """Fill in the seal of an event that is complete but for it, and sign it.

    A row of a record whose schemas are of an earlier version has no column for the body, and is
    sealed as that version did. Raises TreenailError if such a one is to be signed.
    """
    if BODY not in event:
        if signer:
            raise TreenailError(
                "the schemas of this record are of an earlier version, which had no keys; update "
                "it with 'treenail new PACKAGE --update', then sign"
            )
    else:
        event[KEY_ID] = signer.key_id if signer else ""
        event[BODY] = body_hash(event)
        event[SIGNATURE] = signer.sign(to_sign(event[BODY])) if signer else ""
    event[SEAL] = event_hash(event)


def altered_since_sealed(event: Event) -> str:
    """What was changed of an event after it was sealed: its 'text', its 'signature' or nothing."""
    body = event.get(BODY)
    if not body:
        return "" if _is_hash(event[SEAL], _covered_before(event)) else "text"
    if not _is_hash(body, _covered(event)):
        return "text"
    return "" if _is_hash(event[SEAL], _around_body(event)) else "signature"


def named_before(event: Event) -> list[str]:
    """The seals of the events that one names as those before it: none, one, or two joined."""
    return [seal for name in BEFORE if (seal := event.get(name))]


def _covered(event: Event) -> dict[str, str]:
    said = {name: text for name, text in event.items() if text and name not in NOT_COVERED}
    if CORRECTED_SEAL in said:
        said.pop("corrects_custody_id", None)
    return said


def _around_body(event: Event) -> dict[str, str]:
    signature = event.get(SIGNATURE)
    return {BODY: event[BODY], SIGNATURE: signature} if signature else {BODY: event[BODY]}


def _covered_before(event: Event) -> dict[str, str]:
    """What the seal of an event covers that an earlier version sealed."""
    said = {name: text for name, text in event.items() if text and name not in _NOT_COVERED_BEFORE}
    if event.get(SEALED_AS):
        said["custody_id"] = event[SEALED_AS]
    if CORRECTED_SEAL in said:
        said.pop("corrects_custody_id", None)
    return said


def _is_hash(found: str, said: dict[str, str]) -> bool:
    """For texts only, the standard library's JSON with sorted names is the canonical form.

    It is four times as fast; where it says no, the RFC 8785 library has the last word.
    """
    return _sha256(_quick(said).encode()) == found or _sha256(_canonical(said)) == found


_quick = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode


def _canonical(said: dict[str, str]) -> bytes:
    return rfc8785.dumps(said)


def _sha256(text: bytes) -> str:
    return hashlib.sha256(text).hexdigest()
