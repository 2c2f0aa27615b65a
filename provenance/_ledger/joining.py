"""Brings the custody ledgers of two copies of a record together; no event is sealed anew."""

from __future__ import annotations

from collections.abc import Sequence

from provenance._ledger.branches import Graph
from provenance._ledger.custody import JOINED
from provenance._ledger.seals import (
    BEFORE,
    BODY,
    CORRECTED_SEAL,
    SEAL,
    SEALED_AS,
    Event,
    seal_event,
)


def joined_ledgers(mine: Sequence[Event], others: Sequence[Event]) -> list[dict[str, str]]:
    """The events of both, each once, numbered through; the same whichever comes first.

    Where both went on after the copy was made, one event more names both ends. It says nothing of
    who merged or when, so that everybody who merges the same two ledgers gets the same event; its
    day is that of the later end.
    Both ledgers must fit together, and be sealed to their ends.
    """
    columns = dict.fromkeys(name for one in (*mine[:1], *others[:1]) for name in one)
    blank = dict.fromkeys(columns, "")
    events: dict[str, dict[str, str]] = {}
    corrected: dict[str, str] = {}
    graph = Graph()
    for ledger in (mine, others):
        seals = {event["custody_id"]: event[SEAL] for event in ledger}
        for one in ledger:
            event, seal = {**blank, **one}, one[SEAL]
            if not event.get(BODY):
                # an earlier version sealed the numbers
                event["custody_id"] = event.get(SEALED_AS) or event["custody_id"]
                event[SEALED_AS] = ""
            if event.get(CORRECTED_SEAL) or not event.get(BODY):
                corrected[seal] = seals.get(event.get("corrects_custody_id", ""), "")
            # and one may have signed on top of the seal in one copy alone
            there = events.get(seal, event)
            events[seal] = max(there, event, key=lambda one: one.get("signature", ""))
            graph.add(event)
    ends = sorted((events[seal] for seal in graph.ends), key=graph.order_of)
    if len(ends) > 1:
        joint = {
            **blank,
            "custody_id": str(len(events) + 1),
            "event": JOINED,
            "happened_on": max(end["happened_on"] for end in ends),
            **dict(zip(BEFORE, (end[SEAL] for end in ends), strict=True)),
        }
        seal_event(joint)
        events[joint[SEAL]] = joint
        graph.add(joint)
    ordered = sorted(events.values(), key=graph.order_of)
    numbers = {event[SEAL]: str(n) for n, event in enumerate(ordered, start=1)}
    for event in ordered:
        seal = event[SEAL]
        if event["custody_id"] != numbers[seal] and not event.get(BODY):
            event[SEALED_AS] = event["custody_id"]
        event["custody_id"] = numbers[seal]
        if target := corrected.get(seal):
            event["corrects_custody_id"] = numbers[target]
    return ordered
