"""Notes where each store lies, so that a copy of it gives out no numbers."""

from __future__ import annotations

import json
import os
from pathlib import Path

import platformdirs

from provenance._base.disk import write_text
from provenance._base.errors import TreenailError
from provenance._base.locks import locked
from provenance._gate.documents import read_json
from provenance._store.store import Store, is_store

STORES = "stores.json"
"""In the account's data folder: the name of each store, and where it lies."""


class CopyOfStore(TreenailError):
    """A copy of a store that is still there was to give out a number; nothing was written."""


def refuse_copy(store: Store) -> None:
    """Note that the store lies where it does; call this before a number is given out, and after.

    A store whose folder was moved goes on giving numbers. Raises CopyOfStore for a copy while the
    store that it was copied from is still there, because both would give out the same numbers, and
    TreenailError for notes that cannot be read. Where the account can keep none nothing is refused.
    Of a folder that is no store yet nothing is noted.
    """
    if not is_store(store.folder):
        return
    folder = platformdirs.user_data_path("treenail", appauthor=False)
    here = store.folder.resolve()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return
    if not os.access(folder, os.W_OK):
        return
    with locked(folder):
        path = folder / STORES
        book = read_json(path, remedy=f"remove {path}") if path.exists() else {}
        known = Path(book.get(store.store_id, here))
        if _is_another(known, here) and Store(known).store_id == store.store_id:
            raise CopyOfStore(
                f"{here} is a copy of the store {known}, which gives out the numbers. Accession "
                f"there; 'treenail store merge {known} {here}' takes over what was done in this "
                "copy. If this is to be the store from now on, move the other one away first"
            )
        if book.get(store.store_id) != str(here):
            book[store.store_id] = str(here)
            write_text(path, json.dumps(book, indent=1, sort_keys=True) + "\n")


def _is_another(known: Path, here: Path) -> bool:
    return known != here and is_store(known) and not known.samefile(here)
