"""Brings the ledgers of two packages together, and says what they cannot both be right about."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from provenance._ledger.custody import TABLE, BrokenLedger, verify_events
from provenance._ledger.holdings import LATER, Event, Holding, after, refusal, standing_events
from provenance._ledger.joining import joined_ledgers
from provenance._ledger.seals import SEALS
from provenance._merging.intake_rows import Rows
from provenance._record.package import Package


def one_ledger(package: Package, other: Package) -> list[dict[str, str]]:
    """The ledgers of both packages in one; raises BrokenLedger where one does not fit together."""
    ledgers = []
    for one in (package, other):
        there = one.tables.columns(TABLE)
        needed = (name for name in (*SEALS, *Event._fields) if name not in LATER)
        if lost := [name for name in needed if name not in there]:
            raise BrokenLedger(
                f"{one.table_path(TABLE)} has no column '{lost[0]}', which identifies events;"
                " restore it from a copy. Nothing was merged."
            )
        events = [dict(row) for row in one.tables.rows(TABLE)]
        _refuse_broken(f"{one.table_path(TABLE)}", events)
        ledgers.append(events)
    if ledgers[0] == ledgers[1]:
        return ledgers[0]
    joined = joined_ledgers(*ledgers)
    _refuse_broken("the ledgers of both copies together", joined)
    return joined


def _refuse_broken(where: str, events: Rows) -> None:
    broken = [one for one in verify_events(events) if one.severity == "error"]
    if broken:
        raise BrokenLedger(f"{where}: {broken[0].message} {broken[0].remedy} Nothing was merged.")


def renumbered(origin: Rows, before: Rows, now: Rows) -> list[Mapping[str, str]]:
    """Where events were read from, with the numbers that the events have in the joined ledger."""
    numbers = {row["event_sha256"]: row["custody_id"] for row in now}
    seals = {row["custody_id"]: row["event_sha256"] for row in before}
    return [
        {**row, "row_key": numbers.get(seals.get(row["row_key"], ""), row["row_key"])}
        if row["table_name"] == TABLE
        else row
        for row in origin
    ]


def disputed(ledger: Rows, mine: Rows) -> Iterator[str]:
    """Why events cannot follow in the joined ledger; what this copy had already is left out."""
    before = _impossible(mine)
    for seal, why in _impossible(ledger).items():
        if seal not in before:
            yield why


def _impossible(ledger: Rows) -> dict[str, str]:
    """Seal → why the event cannot follow those before it."""
    seals = {row["custody_id"]: row["event_sha256"] for row in ledger}
    held: dict[str, Holding] = {}
    found = {}
    events = [Event(*(row.get(name, "") for name in Event._fields)) for row in ledger]
    for event in standing_events(events):
        holding = held.get(event.sample_id, Holding(event.sample_id))
        if why := refusal(holding, event):
            found[seals[event.custody_id]] = f"event {event.custody_id} ({event.event}): {why}"
        held[event.sample_id] = after(holding, event)
    return found
