"""Follows requests to sample or to use up a sample: who asked for what, and what was decided."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from provenance._ledger.holdings import DEACCESSIONED, Event

GRANTED = "granted"


class Request(NamedTuple):
    """What was asked of one sample under one number; `decision` is '' until it is decided."""

    reference: str
    sample_id: str
    asked_by: str
    asked_on: str
    purpose: str
    decision: str = ""
    decided_by: str = ""
    decided_on: str = ""
    conditions: str = ""


Requests = dict[tuple[str, str], Request]
"""By number and sample."""


def requests_in(events: Iterable[Event]) -> Requests:
    """The requests among the events of a ledger that count, in their order."""
    found: Requests = {}
    for event in events:
        take_note(found, event)
    return found


def take_note(requests: Requests, event: Event) -> None:
    """Add what one more event says of a request."""
    key = (event.reference, event.sample_id)
    if event.event == "requested":
        requests[key] = Request(*key, event.to_party_id, event.happened_on, event.notes)
    elif event.event == "decided" and key in requests:
        requests[key] = requests[key]._replace(
            decision=event.request_decision,
            decided_by=event.from_party_id,
            decided_on=event.happened_on,
            conditions=event.notes,
        )


def refusal_by_requests(requests: Requests, event: Event) -> str | None:
    """Why an event cannot follow for want of a request, decision or reason; None when it can."""
    sample = f"sample {event.sample_id}"
    named = event.reference
    before = requests.get((named, event.sample_id))
    if event.event == "requested":
        if before:
            return f"{sample} is in request {named} already; leave it out"
        if not (named and event.to_party_id and event.notes):
            return f"{sample}: say who asks with --to, what for with --reason, under which number"
    elif event.event == "decided":
        if before is None:
            return f"{sample} is not in a request {named or 'without a number'}; see --reference"
        if before.decision:
            return (
                f"{sample}: request {named} was {before.decision} on {before.decided_on}; correct "
                "that event, or record another request"
            )
        if not event.request_decision:
            return f"{sample}: say whether request {named} is granted or refused"
    elif event.event in ("destroyed", "sub_sampled") and named:
        if before is None or before.decision != GRANTED:
            said = before.decision or "not decided yet" if before else "not about this sample"
            return f"{sample}: request {named} is {said}; record first that it was granted"
    elif event.event in ("destroyed", DEACCESSIONED) and not event.notes:
        decided = " or the number of a granted request with --reference"
        return (
            f"{sample}: say why with --reason{decided if event.event == 'destroyed' else ''}; it "
            "cannot be undone"
        )
    return None
