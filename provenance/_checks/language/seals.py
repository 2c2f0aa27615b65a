"""Rules about the seals and signatures of the custody ledger.

A seal covers every character of an event, which typed frames no longer have, so these ask for the
texts.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from provenance._checks.language.rule import rule
from provenance._ledger.custody import RESTORE_LEDGER, TABLE, verify_ledger
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
    """Somebody may have rewritten the past; from here on the ledger proves nothing."""
    return _judged(tables, "custody.chain_broken")


@rule(
    "custody.not_sealed",
    table=TABLE,
    field="event_sha256",
    severity="warning",
    says="The ledger is not sealed to its end. {said}",
    remedy="Check them; they are sealed when the next event is recorded.",
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
    remedy="Ask the signer; restore the ledger from an older copy or bundle.",
    source=SIGNATURE,
)
def signature_false(tables: Snapshot) -> pl.DataFrame:
    """It no longer shows who wrote the event down."""
    return _judged(tables, "custody.signature_false")


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
    """id, row, field and sentence of everything that seals and signatures show."""
    from provenance._ledger.signing import SignaturesNotTested, verify_signed

    found: list[Finding] = verify_ledger(tables) if tables.count(TABLE) else []
    lines = [(one.rule, one.row, one.field, one.message) for one in found]
    try:
        lines += [(one.rule, one.row, one.field, one.message) for one in verify_signed(tables)]
    except SignaturesNotTested as error:
        signed = [bool(one) for one in tables.column(TABLE, "signature")]
        first = signed.index(True) + FIRST_ROW
        lines.append(("custody.signature_not_tested", first, "signature", f"{error}."))
    schema = {"id": pl.String, ROW: pl.UInt32, "field": pl.String, "said": pl.String}
    return pl.DataFrame(lines, schema=schema, orient="row")
