"""Withdraws an accession on purpose: the register says why, and nothing is deleted."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._store.acts import WITHDRAWN
from provenance._store.store import Store


def withdraw(
    store: Store, number: str, *, reason: str, on: date, recorded_on: str, by: str = ""
) -> Path | None:
    """Withdraw an accession; returns its bundle where that is still there, for a person to remove.

    Raises UnusableInput for a number that there is not, that is withdrawn, or without a reason.
    """
    if not reason.strip():
        raise UnusableInput("say why it is withdrawn, for those who look for it later")
    with store.writing(on=on, recorded_on=recorded_on, by=by) as writing:
        act = writing.store.accession(number)
        if number in writing.store.withdrawn:
            raise UnusableInput(f"{number} is withdrawn already")
        writing.add(WITHDRAWN, number=number, record_id=act.record_id, reason=reason)
    kept = store.folder / act.kept_at
    return kept if kept.exists() else None
