"""Starts a store with the settings of its repository, or gives it others."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._store.home import refuse_copy
from provenance._store.settings import SETTINGS, settings_text
from provenance._store.store import Store, is_store


def put_settings(
    folder: Path, values: Mapping[str, str], *, on: date, recorded_on: str, by: str = ""
) -> Store:
    """Let the store in a folder have these settings (schemas/repository.schema.json).

    A store is started where there is none; its folder must be new or empty then. Raises
    UnusableInput and UnusableNumber for what cannot be used; nothing is written then.
    """
    text = settings_text(values, folder / SETTINGS)
    if not is_store(folder) and folder.exists() and any(folder.iterdir()):
        raise UnusableInput(f"{folder} holds something else; choose a new name for the store")
    store = Store(folder)
    with store.writing(on=on, recorded_on=recorded_on, by=by) as writing:
        writing.staged.write(SETTINGS, text.encode("utf-8"))
    # a store that was begun just now is known from here on
    refuse_copy(store)
    return store
