"""Which samples of a store an event is of: selected, scanned, or those of a loan or request."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from provenance._base.errors import UnusableInput
from provenance._collection.kept import (
    Chosen,
    records_scanned,
    scanned_in_store,
    select_in_store,
)
from provenance._collection.loans import samples_under
from provenance._store.current import standing_accessions, tips_among
from provenance._store.store import Store

OF_A_REFERENCE = ("taken_back", "decided", "loaned")
"""Events that take all samples of a loan or request where none are named."""


def samples_of_event(
    store: Store,
    event: str,
    *,
    samples: str = "",
    scanned: str | None = None,
    records: Sequence[str] = (),
    reference: str = "",
) -> Chosen:
    """The samples that an event is of; `scanned` are the lines of a scanner.

    Raises UnusableInput where neither says it, and TreenailError as what selects them.
    """
    if scanned is not None:
        return scanned_in_store(records_scanned(store, records, scanned), scanned)
    if samples:
        return select_in_store(store, records, samples)
    if reference and event in OF_A_REFERENCE:
        return samples_under(store, reference)
    raise UnusableInput("name --samples or --scanned; of a loan or request, its --reference")


def words_of_samples(
    store: Store, records: Sequence[str], chosen: Chosen, pairs: Iterable[tuple[str, str]]
) -> dict[tuple[str, str], str]:
    """What is said of single samples, by record and sample; `pairs` are samples and words."""
    found: dict[tuple[str, str], str] = {}
    for sample, word in pairs:
        current = current_numbers(store).items()
        named = records or [number for one, number in current if one in chosen]
        for record_id, numbers in select_in_store(store, named, sample).items():
            found |= {(record_id, number): word for number in numbers}
    return found


def current_numbers(store: Store) -> dict[str, str]:
    """Record → the number of its current full edition."""
    there = standing_accessions(store.acts)
    return {act.record_id: act.number for act in tips_among(there)}
