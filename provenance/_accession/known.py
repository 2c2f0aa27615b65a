"""Gathers what a bundle brings to the door of a store, from the verified bag that holds it."""

from __future__ import annotations

from pathlib import Path

from provenance._bundle.describe.lineage import bundle_facts, earlier_than, identity_of
from provenance._history.acts import BIND, GONE, SETTLE
from provenance._ledger.anchors import faults_of, sealed_events
from provenance._ledger.custody import NOT_SEALED, TABLE, verify_ledger
from provenance._ledger.ed25519 import SignaturesNotTested
from provenance._record.joined import keys_now
from provenance._record.origin import NUMBERED, numbers_of, told_origin
from provenance._record.package import Package
from provenance._record.snapshot import Snapshot
from provenance._store.door import NO_NUMBERS, Newcomer
from provenance._store.identity import identity_in


def newcomer_in(folder: Path, package: Package) -> Newcomer:
    """What the verified bag in `folder`, with this package, brings to the door.

    Raises UnusableInput when its own words about its lineage cannot be read.
    """
    tables, earlier = package.tables, earlier_than(folder)
    told = told_origin(folder / "data")
    spent = bundle_facts(folder).get("spentNumbers") or {}
    return Newcomer(
        identity=identity_in(folder, tables, earlier),
        edition=identity_of(folder).edition,
        fault=_fault(tables),
        ledger=sealed_events(tables),
        earlier=earlier,
        numbers=numbers_of(package),
        spent=frozenset((table, key) for table, keys in spent.items() for key in keys),
        decided=_decided(tables),
        renamed={table: keys_now(tables, table) for table in NUMBERED},
        told=(told.bundle.in_words, told.numbers) if told else ("", NO_NUMBERS),
        odds=tuple(
            f"what it says of the numbers of {one.in_words} is not what their checksum was made of"
            for one in (told.false_cards if told else ())
        ),
    )


def _fault(tables: Snapshot) -> str:
    """The first thing wrong with what is sealed of the ledger; events still to be sealed are not."""
    if TABLE not in tables.model.tables:
        return ""
    try:
        faults = faults_of(tables)
    except SignaturesNotTested:
        faults = verify_ledger(tables)
    return next((one.message for one in faults if one.rule != NOT_SEALED), "")


def _decided(tables: Snapshot) -> frozenset[tuple[str, str, str]]:
    """Rows that a person took out, or gave another owner: (table, key, the owner before or '').

    What was edited by hand in the tables nobody has signed for, and does not count.
    """
    acts = {
        row["act_id"]: row["kind"]
        for row in tables.rows("act")
        if row["kind"] in (SETTLE, BIND) and row["who"]
    }
    found = set()
    for row in tables.rows("change"):
        table = row["table_name"]
        if row["act_id"] not in acts or table not in NUMBERED:
            continue
        if row["field"] == NUMBERED[table]:
            found.add((table, row["row_key"], row["before"]))
        elif row["after"] == GONE or acts[row["act_id"]] == BIND:
            found.add((table, row["row_key"], ""))
    return frozenset(found)
