"""Where each sample of a store is, by the ledger of its record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from provenance._ledger.holdings import Event, Holding, replay, standing_events
from provenance._ledger.seals import SEAL, named_before
from provenance._ledger.seals import Event as Row

_NO_WORD = frozenset({"requested", "decided", "joined"})
"""Events that do not say where a sample is."""
_Place = tuple[int, int, dict[int, int]]
"""Of an event: its stretch of the ledger, its place in it, and stretch → the last place known of
each other stretch that it stands on."""


def events_in(ledger: Iterable[Row]) -> list[Event]:
    """The events of a ledger that count, corrections in the place of the wrong ones."""
    rows = [Event._make(row.get(name, "") for name in Event._fields) for row in ledger]
    return list(standing_events(rows))


def holdings_in(ledger: Iterable[Row]) -> dict[str, Holding]:
    """The holding of every sample after its last event, by its number."""
    return replay(events_in(ledger))


def disputed_in(ledger: Sequence[Row]) -> dict[str, list[str]]:
    """Samples that two branches of a ledger leave in different places → the last event of each.

    The events are those that say where a sample is, and neither of them knows the other. It stays
    so when the branches are joined, until a later event says where the sample is.
    """
    places = _places_in(ledger)
    events: dict[str, list[Event]] = {}
    last: dict[str, list[str]] = {}
    for event in events_in(ledger):
        events.setdefault(event.sample_id, []).append(event)
        if _says_where(event):
            place = places[event.custody_id]
            before = last.get(event.sample_id, [])
            apart = [one for one in before if not _stands_on(place, places[one])]
            last[event.sample_id] = [*apart, event.custody_id]
    found = {}
    for sample, ends in last.items():
        if len(ends) > 1 and len({_whereabouts(events[sample], places, one) for one in ends}) > 1:
            found[sample] = ends
    return found


def _says_where(event: Event) -> bool:
    if event.event == "sub_sampled":  # of the sample itself, not of the part
        return bool(event.parent_sample_id)
    return event.event not in _NO_WORD and (event.event != "seen" or bool(event.place_held))


def _whereabouts(
    events: Iterable[Event], places: Mapping[str, _Place], end: str
) -> tuple[str, str, str, str]:
    """Where a sample is by the events that the one numbered `end` stands on, and by itself."""
    known = (one for one in events if _stands_on(places[end], places[one.custody_id]))
    (held,) = replay(known).values()
    return held.holder, held.on_the_way_to, held.place_held, held.gone


def _places_in(ledger: Sequence[Row]) -> dict[str, _Place]:
    """The place of each event, by its number; each comes after those that it names."""
    found: dict[str, _Place] = {}
    at: dict[str, _Place] = {}
    followed: set[str] = set()
    stretches = 0
    here: _Place = (0, -1, {})
    for row in ledger:
        named = [one for one in named_before(row) if one in at]
        straight = len(named) == 1 and named[0] not in followed
        if straight or not row.get(SEAL):  # one that is not sealed follows the line before it
            stretch, place, known = at[named[0]] if straight else here
            here = (stretch, place + 1, known)
        else:
            known = {}
            for stretch, place, more in (at[one] for one in named):
                for other, end in {**more, stretch: place}.items():
                    known[other] = max(end, known.get(other, -1))
            stretches += 1
            here = (stretches, 0, known)
        followed.update(named)
        found[row["custody_id"]] = here
        if row.get(SEAL):
            at[row[SEAL]] = here
    return found


def _stands_on(one: _Place, other: _Place) -> bool:
    """Whether the first of two events is the second, or knows it."""
    stretch, place, known = one
    return other[1] <= (place if other[0] == stretch else known.get(other[0], -1))
