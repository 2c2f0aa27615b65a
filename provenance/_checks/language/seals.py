"""Rules about the seals and signatures of the custody ledger, which cover its text as written."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

from provenance._checks.language.rule import Rule, rule
from provenance._ledger.custody import RESTORE_LEDGER, TABLE, verify_ledger
from provenance._record.tables import ROW, Tables

if TYPE_CHECKING:
    from provenance._base.findings import Finding

__all__ = ["seal_rules"]

SEAL = "RFC 8785 (canonical JSON); FIPS 180-4 (SHA-256)"
SIGNATURE = "RFC 8032 (Ed25519)"


def seal_rules(folder: Path) -> tuple[Rule, ...]:
    """The rules about the ledger of the package in `folder`, sorted by id.

    A seal covers every character of an event, which the typed frames no longer have, so the file is
    read once more, however many of these rules ask.
    """

    def judged(tables: Tables, id: str) -> pl.DataFrame:
        found = tables.once("ledger_judged", partial(_judge_ledger, folder))
        return found.filter(pl.col("id") == id)

    @rule(
        "custody.chain_broken",
        table=TABLE,
        field="event_sha256",
        severity="error",
        says="The chain of seals breaks here. {said}",
        remedy=RESTORE_LEDGER,
        source=SEAL,
    )
    def chain_broken(tables: Tables) -> pl.DataFrame:
        """Somebody may have rewritten the past; from here on the ledger proves nothing."""
        return judged(tables, "custody.chain_broken")

    @rule(
        "custody.not_sealed",
        table=TABLE,
        field="event_sha256",
        severity="warning",
        says="The ledger is not sealed to its end. {said}",
        remedy="Check them; they are sealed when the next event is recorded.",
        source=SEAL,
    )
    def not_sealed(tables: Tables) -> pl.DataFrame:
        """An event counts as evidence only once a change to it would show."""
        return judged(tables, "custody.not_sealed")

    @rule(
        "custody.signature_false",
        table=TABLE,
        field="signature",
        severity="error",
        says="A signature does not hold. {said}",
        remedy="Ask the signer; restore the ledger from an older copy or bundle.",
        source=SIGNATURE,
    )
    def signature_false(tables: Tables) -> pl.DataFrame:
        """It no longer shows who wrote the event down."""
        return judged(tables, "custody.signature_false")

    @rule(
        "custody.signature_not_tested",
        table=TABLE,
        field="signature",
        severity="note",
        says="The signatures of the ledger were not tested. {said}",
        remedy="Install that package and check again.",
        source=SIGNATURE,
    )
    def signature_not_tested(tables: Tables) -> pl.DataFrame:
        """What was not looked at is not sound."""
        return judged(tables, "custody.signature_not_tested")

    return (chain_broken, not_sealed, signature_false, signature_not_tested)


def _judge_ledger(folder: Path, tables: Tables) -> pl.DataFrame:
    """id, row, field and sentence of everything that seals and signatures show."""
    from provenance._ledger.signing import SignaturesNotTested, verify_signed
    from provenance._record.reading import read_table_text

    # asks for the table first: where it is missing, the check says which rules were not asked
    tables[TABLE]
    text = read_table_text(folder / "tables" / f"{TABLE}.csv").frame
    ledger = text.drop(ROW).to_pandas()
    ledger.index = text[ROW].to_pandas()
    found: list[Finding] = verify_ledger(ledger) if len(ledger) else []
    lines = [(one.rule, one.row, one.field, one.message) for one in found]
    try:
        lines += [(one.rule, one.row, one.field, one.message) for one in verify_signed(ledger)]
    except SignaturesNotTested as error:
        first = int(ledger.index[ledger["signature"] != ""][0])
        lines.append(("custody.signature_not_tested", first, "signature", f"{error}."))
    schema = {"id": pl.String, ROW: pl.UInt32, "field": pl.String, "said": pl.String}
    return pl.DataFrame(lines, schema=schema, orient="row")
