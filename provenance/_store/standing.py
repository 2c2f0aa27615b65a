"""Where each sample of a store is, by the ledger of its record."""

from __future__ import annotations

from collections.abc import Iterable

from provenance._ledger.holdings import Event, Holding, replay, standing_events
from provenance._ledger.seals import Event as Row


def events_in(ledger: Iterable[Row]) -> list[Event]:
    """The events of a ledger that count, corrections in the place of the wrong ones."""
    rows = [Event._make(row.get(name, "") for name in Event._fields) for row in ledger]
    return list(standing_events(rows))


def holdings_in(ledger: Iterable[Row]) -> dict[str, Holding]:
    """The holding of every sample after its last event, by its number."""
    return replay(events_in(ledger))
