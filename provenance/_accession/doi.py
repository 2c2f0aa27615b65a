"""Puts a DOI on a bundle that a store keeps, and says so in its register."""

from __future__ import annotations

import tempfile
from datetime import date
from pathlib import Path
from typing import Any

from provenance._bag.bag import files_of
from provenance._base.errors import UnusableInput
from provenance._bundle.registering import Registered, register_doi
from provenance._store.acts import TAGGED
from provenance._store.store import Store


def register_kept(
    store: Store,
    number: str,
    doi: str,
    *,
    today: date,
    recorded_on: str,
    by: str = "",
    **told: Any,
) -> Registered:
    """Write a DOI into the tag files of the bundle of an accession, and an act about it.

    `told` is what else `register_doi` takes, but for `out`. All of it is written or nothing.
    Raises UnusableInput for a number that is not there or withdrawn, and as `register_doi` does.
    """
    with (
        store.writing(on=today, recorded_on=recorded_on, by=by) as writing,
        tempfile.TemporaryDirectory(prefix="treenail-") as scratch,
    ):
        act = writing.store.accession(number)
        if number in writing.store.withdrawn:
            raise UnusableInput(f"{number} was withdrawn: {writing.store.withdrawn[number].reason}")
        kept = store.folder / act.kept_at
        new = Path(scratch).resolve() / kept.name
        done = register_doi(kept, doi, today=today, out=new, **told)
        if new.is_dir():
            # what is in data/ stays as it is, and where it is
            tags = [path for path in files_of(new) if not path.startswith("data/")]
            parts = {f"{act.kept_at}/{path}": new / path for path in tags}
        else:
            parts = {act.kept_at: new}
        for target, source in parts.items():
            writing.staged.copy(target, source)
        writing.add(TAGGED, number=number, bag=done.now, payload=act.payload, reason=done.doi)
    return Registered(kept, done.doi, done.issued, done.before, done.now)
