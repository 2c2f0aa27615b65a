from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

import pytest

from provenance._record.given_out import numbers_bytes
from provenance._store.settings import SETTINGS
from provenance._store.store import Store

Events = Sequence[dict[str, str]]
OWN = "QTS"
"""The code of the invented repository, whose settings a store of these tests has."""


def event(kind: str, on: str, sample: str, **cells: str) -> dict[str, str]:
    return {"event": kind, "happened_on": on, "sample_id": sample, **cells}


def write_on(store: Store, on: str):
    return store.writing(
        on=date.fromisoformat(on), recorded_on=f"{on}T09:00:00Z", by="Wen Tolliver (invented)"
    )


def take_in(
    store: Store, number: str, on: str, record_id: str, site: str, events: Events, **cells: str
) -> None:
    """An accession as the register, the ledger and the card have it; no bundle."""
    samples = dict.fromkeys(one["sample_id"] for one in events)
    card = numbers_bytes(
        {"sample": dict.fromkeys(samples, "E1"), "element": {"E1": site}} if samples else {}
    )
    with write_on(store, on) as writing:
        if events:
            writing.add_events(record_id, events)
        writing.staged.write(f"{number}/card.csv", card)
        writing.add(
            "accession",
            number=number,
            record_id=record_id,
            edition="full",
            kept_at=f"{number}/{site.lower()}-bundle.zip",
            **cells,
        )


@pytest.fixture
def store(tmp_path: Path) -> Store:
    folder = tmp_path / "store"
    folder.mkdir()
    (folder / SETTINGS).write_text(
        f"name: Quorrin Tarn Record Store (invented)\nparty_id: {OWN}\n"
        "number_pattern: '{year}.{serial:04}'\n"
    )
    return Store(folder)


@pytest.fixture
def csv_file(tmp_path: Path) -> Callable[[str], Path]:
    def write(text: str) -> Path:
        path = tmp_path / "entered.csv"
        path.write_text(text)
        return path

    return write
