"""Brings the custody ledgers of two copies of a record together; no event is sealed anew."""

from __future__ import annotations

from collections.abc import Sequence

from provenance._ledger.custody import (
    BEFORE,
    JOINED,
    SEALED_AS,
    Event,
    event_hash,
    in_ledger_order,
    named_before,
    sealed,
)


def joined_ledgers(mine: Sequence[Event], others: Sequence[Event]) -> list[dict[str, str]]:
    """The events of both, each once, numbered through; the same whichever comes first.

    Events at the end that bear no seal get one first. Where both went on after the copy was made,
    one event more names both ends. It says nothing of who merged or when, so that everybody who
    merges the same two ledgers gets the same event; its day is that of the later end.
    Both ledgers must fit together.
    """
    events: dict[str, dict[str, str]] = {}
    corrected: dict[str, str] = {}
    for ledger in (sealed(mine), sealed(others)):
        seals = {event["custody_id"]: event["event_sha256"] for event in ledger}
        for event in ledger:
            seal = event["event_sha256"]
            event["custody_id"] = event.get(SEALED_AS) or event["custody_id"]
            event[SEALED_AS] = ""
            corrected[seal] = seals.get(event.get("corrects_custody_id", ""), "")
            # a signature is put on top of the seal, perhaps in one copy alone
            there = events.get(seal, event)
            events[seal] = max(there, event, key=lambda one: one.get("signature", ""))
    named = {seal for event in events.values() for seal in named_before(event)}
    ends = sorted((events[seal] for seal in events.keys() - named), key=in_ledger_order)
    if len(ends) > 1:
        seals_before = (end["event_sha256"] for end in ends)
        joint = {
            **dict.fromkeys(ends[0], ""),
            "custody_id": str(len(events) + 1),
            "event": JOINED,
            "happened_on": max(end["happened_on"] for end in ends),
            **dict(zip(BEFORE, seals_before, strict=True)),
        }
        joint["event_sha256"] = event_hash(joint)
        events[joint["event_sha256"]] = joint
    ordered = sorted(events.values(), key=in_ledger_order)
    numbers = {event["event_sha256"]: str(n) for n, event in enumerate(ordered, start=1)}
    for event in ordered:
        seal = event["event_sha256"]
        if event["custody_id"] != numbers[seal]:
            event[SEALED_AS] = event["custody_id"]
        event["custody_id"] = numbers[seal]
        if target := corrected.get(seal):
            event["corrects_custody_id"] = numbers[target]
    return ordered
