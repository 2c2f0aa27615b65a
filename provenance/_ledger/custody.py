"""Keeps the custody ledger: events that are only ever added, each sealed to the one before.

How to compute a seal by hand, with nothing of this program:

1. Take one row of tables/custody.csv. Leave out the columns event_sha256, signer_key and signature,
   and every column whose cell is blank. previous_sha256 stays in, so that each event covers the one
   before; the first event has none.
2. Write what is left as one JSON object on one line. Every value is a text, exactly as it stands in
   the cell, numbers too ("17"). The members stand in the order of their names, with no blanks
   between them: {"custody_id":"1","event":"collected","happened_on":"2024-06-03"}. Only the double
   quote, the backslash and control characters are escaped. This is the JSON Canonicalization
   Scheme, RFC 8785.
3. Encode it in UTF-8 and take its SHA-256 (FIPS 180-4), in lower-case hexadecimal. That is
   event_sha256, and it is the next event's previous_sha256.

A blank column does not count, so a later version may add columns without breaking old seals. The
chain shows every change, insertion, removal or exchange of events but one: events cut off at the
end. Keep the last seal elsewhere as well (a bundle has it in bundle.json) and the end is safe too.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import polars as pl
import rfc8785

from provenance._base.errors import TreenailError
from provenance._base.findings import Finding
from provenance._record.reading import FIRST_ROW
from provenance._record.tables import ROW

if TYPE_CHECKING:
    import pandas as pd

    from provenance._record.package import Package
    from provenance._record.snapshot import Snapshot


TABLE = "custody"
NOT_COVERED = frozenset({"event_sha256", "signer_key", "signature"})
"""Columns that a seal does not cover: itself, and what is put on top of it afterwards."""
SEALS = ("previous_sha256", "event_sha256")


class BrokenLedger(TreenailError):
    """The custody ledger does not fit together, so nothing may be added to it."""


def event_hash(row: Mapping[str, str]) -> str:
    """The seal of one event: SHA-256 of its RFC 8785 canonical JSON, lower-case hexadecimal.

    `row` maps the columns of the table custody to the texts in their cells; the module says what
    counts. Raises ValueError when a text holds something that is no character (a lone surrogate).

    >>> event_hash({"custody_id": "1", "event": "collected", "notes": ""})
    '68a16930d218f9261b865089c3554bcae89c477ac9097e8e7e5bbe332cfa5387'
    """
    return hashlib.sha256(rfc8785.dumps(_covered(row))).hexdigest()


def _covered(row: Mapping[str, str]) -> dict[str, str]:
    return {name: text for name, text in row.items() if text and name not in NOT_COVERED}


def _bears_its_seal(event: Mapping[str, str]) -> bool:
    """Whether an event's seal is the one of its text.

    For texts only, the standard library's JSON with sorted names is the canonical form, and it is
    four times as fast; where it says no, the RFC 8785 library has the last word.
    """
    seal = event["event_sha256"]
    quick = json.dumps(_covered(event), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(quick.encode()).hexdigest() == seal or event_hash(event) == seal


def append_events(package: Package, events: pd.DataFrame) -> None:
    """Add events behind the last one: numbered, sealed and written in one step, under the lock.

    `events` has columns of the table custody (any order, missing ones stay blank; numbers and NA
    are turned to text); the columns custody_id, previous_sha256 and event_sha256 are filled in
    here. Events that were read in from a field form and are not sealed yet are sealed first, in
    their order. The package must not be locked by the caller.
    Raises BrokenLedger when the ledger does not fit together, and KeyError for an unknown column.
    """
    with package.locked():
        package.write_table(TABLE, ledger_with(package, events))


def ledger_with(package: Package, events: pd.DataFrame) -> pd.DataFrame:
    """The whole ledger with `events` behind it, numbered and sealed, for a caller that writes it.

    For those who hold the lock and write other tables in the same step; else as `append_events`.
    """
    import pandas as pd

    ledger = package.table(TABLE)
    broken = [one for one in verify_chain(package) if one.severity == "error"]
    if broken:
        raise BrokenLedger(
            f"{package.table_path(TABLE)}: {broken[0].message} {broken[0].remedy} "
            "Nothing was added."
        )
    unknown = sorted(set(events.columns) - set(ledger.columns))
    if unknown:
        raise KeyError(f"the table custody has no column {', '.join(unknown)}")
    added = events.map(_cell_text).reindex(columns=list(ledger.columns), fill_value="")
    together = pd.concat([ledger, added], ignore_index=True)
    return _sealed(together, first_unsealed=_count_sealed(*(list(ledger[one]) for one in SEALS)))


def last_seal(package: Package) -> str:
    """The seal of the newest event, '' when there is none; it stands for the whole ledger."""
    there = TABLE in package.model.tables
    seals = package.tables.column(TABLE, "event_sha256") if there else []
    return seals[-1] if seals else ""


def verify_chain(package: Package) -> list[Finding]:
    """Look for the first event that does not fit the ones before it.

    Returns no finding for a sound ledger; one error that names the first event that does not fit
    and what that means (later events hang on it, so they are not judged); or one warning when
    events at the end are not sealed yet. Raises UnusablePackage when there is no such table.
    """
    return verify_ledger(package.tables)


def verify_ledger(tables: Snapshot) -> list[Finding]:
    """The same for the tables of a package, as they were read."""
    ledger = tables.texts(TABLE)
    if missing := [name for name in ("custody_id", *SEALS) if name not in ledger.columns]:
        return [_finding(1, {}, missing[0], f"The ledger has no column {missing[0]}.")]
    bears_one = pl.any_horizontal(pl.col(*SEALS) != "")
    sealed = ledger.select(pl.int_range(1, pl.len() + 1).filter(bears_one).max()).item() or 0
    before = ""
    for place, event in enumerate(ledger.drop(ROW).iter_rows(named=True), start=1):
        row = place + FIRST_ROW - 1
        if event["custody_id"] != str(place):
            said = (
                f"Event number {place} should stand here but the row says "
                f"'{event['custody_id']}': an event was taken out, put in or moved."
            )
            return [_finding(row, event, "custody_id", said)]
        if place > sealed:
            continue
        if event["previous_sha256"] != before:
            return [_finding(row, event, "previous_sha256", _not_linked(place))]
        if not _bears_its_seal(event):
            said = "does not bear its own seal: its text was changed after it was sealed."
            return [_finding(row, event, "event_sha256", f"Event {place} {said}")]
        before = event["event_sha256"]
    return [_unsealed(sealed, len(ledger), sealed + FIRST_ROW)] if sealed < len(ledger) else []


# -- sealing -------------------------------------------------------------------------------------


def _cell_text(value: object) -> str:
    """A value as its cell says it; line ends as LF, since a lone CR does not survive in a CSV."""
    import pandas as pd

    if value is None or value is pd.NA or value is pd.NaT or value != value:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).replace("\r\n", "\n").replace("\r", "\n")


def _count_sealed(before: Sequence[str], own: Sequence[str]) -> int:
    """How many events stand before those at the end that bear neither seal."""
    sealed = len(own)
    while sealed and not (before[sealed - 1] or own[sealed - 1]):
        sealed -= 1
    return sealed


def _sealed(ledger: pd.DataFrame, *, first_unsealed: int) -> pd.DataFrame:
    """The ledger with numbers and seals in every row from the place `first_unsealed` on."""
    import pandas as pd

    names = [str(name) for name in ledger.columns]
    rows = [dict(zip(names, map(str, row), strict=True)) for row in ledger.itertuples(index=False)]
    before = rows[first_unsealed - 1]["event_sha256"] if first_unsealed else ""
    for place, event in enumerate(rows[first_unsealed:], start=first_unsealed + 1):
        event["custody_id"] = str(place)
        event["previous_sha256"] = before
        before = event["event_sha256"] = event_hash(event)
    return pd.DataFrame(rows, columns=ledger.columns, dtype=str)


# -- what a break means --------------------------------------------------------------------------

RESTORE_LEDGER = (
    "Restore tables/custody.csv from an older copy or bundle, and record what was to be changed "
    "as a new event that names the event it corrects."
)


def _not_linked(place: int) -> str:
    if place == 1:
        return "The first event names an event before it: the beginning of the ledger is missing."
    return (
        f"Event {place} is not sealed to event {place - 1} as it now stands: event {place - 1} was "
        "changed and sealed anew, or an event between them was taken out or put in."
    )


def _finding(row: int, event: Mapping[str, str], field: str, message: str) -> Finding:
    return Finding(
        severity="error",
        rule="custody.chain_broken",
        table=TABLE,
        row=row,
        key=event.get("custody_id", ""),
        field=field,
        value=event.get(field, ""),
        message=message,
        remedy=RESTORE_LEDGER,
    )


def _unsealed(sealed: int, total: int, row: int) -> Finding:
    return Finding(
        severity="warning",
        rule="custody.not_sealed",
        table=TABLE,
        row=row,
        key=str(sealed + 1),
        field="event_sha256",
        value="",
        message=(
            f"The events {sealed + 1} to {total} are not sealed yet, so a change to them "
            "would not show."
        ),
        remedy="Check them; they are sealed when the next event is recorded.",
    )
