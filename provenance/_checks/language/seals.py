"""Rules about the seals and signatures of the custody ledger, and the keys they are made with.

A seal covers every character of an event, which typed frames no longer have, so these ask for the
texts.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from provenance._checks.language.rule import rule
from provenance._ledger.custody import RESTORE_LEDGER, SEAL_TYPED, TABLE, verify_ledger
from provenance._ledger.keys import REMEDIES as KEY_FAULTS
from provenance._ledger.keys import TABLE as KEYS
from provenance._ledger.keys import key_faults
from provenance._ledger.signing import REMEDIES as EVENTS
from provenance._ledger.signing import SignaturesNotTested, verify_signed
from provenance._record.reading import FIRST_ROW
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

if TYPE_CHECKING:
    from provenance._base.findings import Finding


SEAL = "RFC 8785 (canonical JSON); FIPS 180-4 (SHA-256)"
SIGNATURE = "RFC 8032 (Ed25519)"


def _judged(tables: Snapshot, id: str) -> pl.DataFrame:
    return tables.once("ledger_judged", _judge_ledger).filter(pl.col("id") == id)


@rule(
    "custody.chain_broken",
    table=TABLE,
    field="event_sha256",
    severity="error",
    says="The chain of seals breaks here. {said}",
    remedy=RESTORE_LEDGER,
    source=SEAL,
)
def chain_broken(tables: Snapshot) -> pl.DataFrame:
    """Someone may have rewritten the past; from here on the ledger proves nothing."""
    return _judged(tables, "custody.chain_broken")


@rule(
    "custody.not_sealed",
    table=TABLE,
    field="event_sha256",
    severity="error",
    says="The ledger is not sealed to its end. {said}",
    remedy=SEAL_TYPED,
    source=SEAL,
)
def not_sealed(tables: Snapshot) -> pl.DataFrame:
    """An event counts as evidence only once a change to it would show."""
    return _judged(tables, "custody.not_sealed")


@rule(
    "custody.signature_false",
    table=TABLE,
    field="signature",
    severity="error",
    says="A signature does not hold. {said}",
    remedy=EVENTS["custody.signature_false"][1],
    source=SIGNATURE,
)
def signature_false(tables: Snapshot) -> pl.DataFrame:
    """It no longer shows who wrote the event down."""
    return _judged(tables, "custody.signature_false")


@rule(
    "custody.signer_unknown",
    table=TABLE,
    field="key_id",
    severity="warning",
    says="An event is signed with a key that the record does not know. {said}",
    remedy=EVENTS["custody.signer_unknown"][1],
    source=SIGNATURE,
)
def signer_unknown(tables: Snapshot) -> pl.DataFrame:
    """It shows that someone signed, and not who."""
    return _judged(tables, "custody.signer_unknown")


@rule(
    "custody.signed_out_of_time",
    table=TABLE,
    field="signature",
    severity="warning",
    says="A key was used outside its dates. {said}",
    remedy=EVENTS["custody.signed_out_of_time"][1],
    source=SIGNATURE,
)
def signed_out_of_time(tables: Snapshot) -> pl.DataFrame:
    """Whoever finds or steals a key can sign with it."""
    return _judged(tables, "custody.signed_out_of_time")


@rule(
    "custody.signed_by_another",
    table=TABLE,
    field="signature",
    severity="warning",
    says="One party signed and another is named as the writer. {said}",
    remedy=EVENTS["custody.signed_by_another"][1],
    source=SIGNATURE,
)
def signed_by_another(tables: Snapshot) -> pl.DataFrame:
    """Who wrote an event down answers for it, and so should sign it."""
    return _judged(tables, "custody.signed_by_another")


@rule(
    "key.false",
    table=KEYS,
    field="self_signature",
    severity="error",
    says="A key is not proved to belong to the party named. {said}",
    remedy=KEY_FAULTS["key.false"][1],
    source=SIGNATURE,
)
def key_false(tables: Snapshot) -> pl.DataFrame:
    """Signatures with it show nothing."""
    return _judged(tables, "key.false")


@rule(
    "key.counter_signature_false",
    table=KEYS,
    field="keeper_signature",
    severity="error",
    says="A counter-signature does not hold. {said}",
    remedy=KEY_FAULTS["key.counter_signature_false"][1],
    source=SIGNATURE,
)
def counter_signature_false(tables: Snapshot) -> pl.DataFrame:
    """No one vouches for the key."""
    return _judged(tables, "key.counter_signature_false")


@rule(
    "key.retirement_false",
    table=KEYS,
    field="until",
    severity="error",
    says="The end of a key does not hold. {said}",
    remedy=KEY_FAULTS["key.retirement_false"][1],
    source=SIGNATURE,
)
def retirement_false(tables: Snapshot) -> pl.DataFrame:
    """Anyone could take a key out of use, or put it back."""
    return _judged(tables, "key.retirement_false")


@rule(
    "key.keeper_unknown",
    table=KEYS,
    field="keeper_key_id",
    severity="warning",
    says="No one known vouches for a key. {said}",
    remedy=KEY_FAULTS["key.keeper_unknown"][1],
    source=SIGNATURE,
)
def keeper_unknown(tables: Snapshot) -> pl.DataFrame:
    """A reader cannot follow the signature to someone he knows."""
    return _judged(tables, "key.keeper_unknown")


@rule(
    "key.not_countersigned",
    table=KEYS,
    field="keeper_signature",
    severity="note",
    says="No one vouches for a key. {said}",
    remedy=KEY_FAULTS["key.not_countersigned"][1],
    source=SIGNATURE,
)
def not_countersigned(tables: Snapshot) -> pl.DataFrame:
    """Anyone can enter a key in another's name."""
    return _judged(tables, "key.not_countersigned")


@rule(
    "custody.signature_not_tested",
    table=TABLE,
    field="signature",
    severity="note",
    says="The signatures of the ledger were not tested. {said}",
    remedy="Install that package and check again.",
    source=SIGNATURE,
)
def signature_not_tested(tables: Snapshot) -> pl.DataFrame:
    """What was not looked at is not sound."""
    return _judged(tables, "custody.signature_not_tested")


def _judge_ledger(tables: Snapshot) -> pl.DataFrame:
    """id, row, field and sentence of everything that seals, signatures and keys show."""
    found: list[Finding] = verify_ledger(tables) if tables.count(TABLE) else []
    try:
        found = [*found, *verify_signed(tables), *key_faults(tables)]
        lines = [(one.rule, one.row, one.field, one.message) for one in found]
    except SignaturesNotTested as error:
        lines = [(one.rule, one.row, one.field, one.message) for one in found]
        signed = [bool(one) for one in tables.column(TABLE, "signature")]
        first = signed.index(True) + FIRST_ROW if any(signed) else 0
        lines.append(("custody.signature_not_tested", first, "signature", f"{error}."))
    schema = {"id": pl.String, ROW: pl.UInt32, "field": pl.String, "said": pl.String}
    return pl.DataFrame(lines, schema=schema, orient="row")
