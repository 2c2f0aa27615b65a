"""Small stores of invented records, made without bundles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from provenance._collection.recording import Recorded, Said, record_in_store
from provenance._record.given_out import numbers_bytes
from provenance._store.settings import SETTINGS
from provenance._store.store import Store

FIRST, SECOND = "ab" * 12, "cd" * 12
SAMPLES = ("231", "232", "233")
TODAY = "2026-06-01"
WRITTEN = "2026-06-01T09:00:00Z"

_SETTINGS = b"""name: "Store of Old Timber at Fenwick Moss (invented)"
postal_address: "1 Moss Lane, Fenwick Moss (invented)"
contact: "store@example.org"
number_pattern: "{year}.{serial:04}"
party_id: "REPO"
"""


def card_of(site: str) -> dict[str, dict[str, str]]:
    """The card of a record with three samples of one timber."""
    return {
        "element": {"B1-014": site},
        "sample": dict.fromkeys(SAMPLES, "B1-014"),
        "reservation": {"240": site},
        "former_sample": {"213": "231"},
        "party": {
            "MB": "Mara Birkwood (invented)",
            "REPO": "Store of Old Timber at Fenwick Moss (invented)",
        },
    }


def a_store(folder: Path, **tables: Sequence[Mapping[str, str]]) -> Store:
    """A store with two records, HOLL and MILL, whose samples came to REPO on 2025-06-03.

    Sample 231 was collected as 213, and found to be 231 later.
    """
    store = Store(folder / "store")
    party = [
        {"party_id": "ALD", "kind": "organization", "name": "Alder Ring Laboratory (invented)"},
        {"party_id": "MB", "kind": "person", "name": "Morris Bell (invented)"},
    ]
    with store.writing(on=date(2026, 3, 1), recorded_on="2026-03-01T09:00:00Z") as writing:
        for place, (record, site) in enumerate(((FIRST, "HOLL"), (SECOND, "MILL")), start=1):
            number = f"2026.000{place}"
            writing.add(
                "accession",
                number=number,
                record_id=record,
                edition="full",
                title=f"{site.title()} (invented)",
                kept_at=f"{number}/{site}.zip",
            )
            writing.put_file(f"{number}/card.csv", numbers_bytes(card_of(site)))
            came = {"event": "collected", "happened_on": "2025-06-03", "to_party_id": "REPO"}
            numbers = ("213", "232", "233")
            writing.add_events(record, [came | {"sample_id": one} for one in numbers])
        for table, rows in ({"party": party} | tables).items():
            writing.put_rows(table, rows)
        writing.put_file(SETTINGS, _SETTINGS)
    return store


def act(
    store: Store, event: str, samples: Mapping[str, Sequence[str]], on: str, **said: Any
) -> Recorded:
    """Record one act of a store, with the day on which all these tests are."""
    return record_in_store(
        store, samples, Said(event, on, TODAY, **said), recorded_on=WRITTEN, by="Wen (invented)"
    )
