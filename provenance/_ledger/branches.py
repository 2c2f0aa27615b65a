"""Follows the branches of a ledger: which events stand on which, where it ends, in what order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from provenance._ledger.seals import BODY, CORRECTED_SEAL, SEAL, SEALED_AS, Event, named_before
from provenance._record.cells import whole_of

Order = tuple[int, str, str]
"""Sorts sealed events: each comes after those it names, whichever copy was merged first."""


@dataclass(frozen=True)
class Head:
    """An event that none names as the one before it, and how many it stands on, itself included."""

    seal: str
    count: int


class Graph:
    """How many events each of those added stands on, itself included.

    Events are added each after those it names. `ends` are those that none so far names.
    """

    def __init__(self, events: Iterable[Event] = ()) -> None:
        self.before: dict[str, list[str]] = {}
        self.ends: set[str] = set()
        self._counts: dict[str, int] = {}
        for event in events:
            self.add(event)

    def add(self, event: Event) -> None:
        """Add an event, or nothing if it is there; raises KeyError when what it names is not."""
        seal, named = event[SEAL], named_before(event)
        if seal in self.before:
            return
        self._counts[seal] = self.count_behind(named)
        self.before[seal] = named
        self.ends.difference_update(named)
        self.ends.add(seal)

    def count_behind(self, named: Sequence[str]) -> int:
        """The count of an event that names these; raises KeyError when one is not there."""
        before = [self._counts[one] for one in named]
        # only where two ends were joined do the events before have to be counted
        return 1 + (len(self.all_before(named)) if len(named) > 1 else sum(before))

    def count(self, seal: str) -> int:
        """How many events one stands on, itself included; 0 for one that is not there."""
        return self._counts.get(seal, 0)

    def all_before(self, seals: Iterable[str]) -> set[str]:
        """Some events and all that they stand on."""
        return with_all_before(self.before, seals)

    def order_of(self, event: Event) -> Order:
        """Its place in every ledger that has it."""
        return self._counts[event[SEAL]], event["happened_on"], event[SEAL]


def with_all_before(before: Mapping[str, Sequence[str]], seals: Iterable[str]) -> set[str]:
    """Some events and all before them; `before` maps the seal of each event to what it names."""
    found: set[str] = set()
    waiting = list(seals)
    while waiting:
        seal = waiting.pop()
        if seal not in found:
            found.add(seal)
            waiting += before.get(seal, ())
    return found


def before_of(events: Iterable[Event]) -> dict[str, list[str]]:
    """The seal of each sealed event, and what it names."""
    return {event[SEAL]: named_before(event) for event in events if event.get(SEAL)}


def covered_by(events: Iterable[Event], seal: str) -> set[str]:
    """The seals of one event and of all that it stands on; none where one of them is not there.

    Of a ledger that fits together: whoever kept the seal knows all of these to be as they were.
    """
    before = before_of(events)
    found = with_all_before(before, [seal])
    return found if seal and found <= before.keys() else set()


def heads_of(events: Iterable[Event]) -> list[Head]:
    """Where the sealed part of a ledger ends: one head, or several while they are not joined."""
    before = before_of(events)
    named = {seal for names in before.values() for seal in names}
    return [
        Head(seal, len(with_all_before(before, [seal]) & before.keys()))
        for seal in sorted(before.keys() - named)
    ]


def seals_at_ends(events: Iterable[Event]) -> list[str]:
    """The seals of the heads alone."""
    return [head.seal for head in heads_of(events)]


class Branches:
    """What is known of a ledger with branches while its events are gone through."""

    def __init__(self, events: Sequence[Event]) -> None:
        self._was = {one["custody_id"]: one[SEALED_AS] for one in events if one.get(SEALED_AS)}
        self._seals = [one[SEAL] for one in events]
        self._newer: set[str] = set()
        self._last: Order = (0, "", "")
        self.graph = Graph()

    def is_linked(self, event: Event) -> bool:
        """Whether what the event names is there, and its number counts all events before it."""
        named = named_before(event)
        if not all(self.graph.count(one) for one in named):
            return False
        # an earlier version sealed the number too
        number = whole_of(event.get(SEALED_AS) or event["custody_id"])
        return bool(event.get(BODY)) or number == self.graph.count_behind(named)

    def is_older_than_before(self, event: Event) -> bool:
        """Whether an earlier version would have sealed it behind an event of a later one."""
        return not event.get(BODY) and not self._newer.isdisjoint(named_before(event))

    def as_sealed(self, event: Event) -> Event:
        """The event with the number that the event it corrects was sealed with."""
        corrects = event.get("corrects_custody_id", "")
        if event.get(BODY) or corrects not in self._was:
            return event
        return {**event, "corrects_custody_id": self._was[corrects]}

    def misplaced(self, event: Event) -> str:
        """The column that does not say what it did when the event was sealed, or ''."""
        self.graph.add(event)
        place = self.graph.order_of(event)
        newer = bool(event.get(BODY))
        if place <= self._last:
            return "custody_id" if newer else SEALED_AS
        if not self._corrects_what_it_did(event):
            return "corrects_custody_id"
        self._last = place
        if newer:
            self._newer.add(event[SEAL])
        return ""

    def _corrects_what_it_did(self, event: Event) -> bool:
        """Of two events with one number, it is the one named by its seal, or the one before it."""
        place = whole_of(event.get("corrects_custody_id", ""))
        target = self._seals[place - 1] if place and 0 < place <= len(self._seals) else ""
        if event.get(CORRECTED_SEAL):
            return target == event[CORRECTED_SEAL]
        # what was no number of an earlier event when it was sealed is covered as it stands
        before = event.get(BODY) or not target
        return bool(before) or target in self.graph.all_before(named_before(event))
