"""What the pages of a store share: the opened store, the day, forms of its tables, cells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from provenance._base.languages import _
from provenance._catalogue.build import INDEX_NAME, index_place, update_catalogue
from provenance._desk.answers import Sent
from provenance._desk.asked import Asked
from provenance._desk.inputs import CODE, DATE, LONG_TEXT, TEXT, Input
from provenance._desk.things import BUNDLE, NotHere, things_in
from provenance._history.history import moment_text
from provenance._store.store import Store, open_store
from provenance._store.tables import StoreTable

PDF, CSV = "application/pdf", "text/csv"
_POINTS_AT = {
    "within": "place",
    "accession": "accession",
    "number": "accession",
    "asked_by": "party",
}
"""Column of a table of the store → the table in which what stands there is looked for."""
MOST_ROWS = 1_000
"""Rows of one list on a page; a file has all."""


@dataclass(frozen=True)
class Cell:
    """A cell of a list that leads somewhere."""

    text: str
    to: str


def opened(asked: Asked) -> Store:
    """The store of the address."""
    return open_store(asked.store)


def day_of(asked: Asked) -> dict[str, Any]:
    """When an act is written down, and by whom."""
    return {"on": date.today(), "recorded_on": moment_text(), "by": asked.by}


def index_of(asked: Asked) -> Path:
    """Where the catalogue of the store is kept; of one that is only read as long as the desk is."""
    if asked.desk.read_only:
        return asked.desk.scratch().parent / f"{asked.address['store']}-{INDEX_NAME}"
    return index_place(asked.store)


def fresh_index(asked: Asked) -> Path:
    """The catalogue of the store, brought up to date."""
    index = index_of(asked)
    update_catalogue(asked.store, index)
    return index


def inside(store: Store, path: str) -> Path:
    """Where a path of the register leads; raises NotHere for one that leads out of the store.

    A store may come from a stranger, so its register may say anything.
    """
    there = store.folder / path
    if not there.exists() or not there.resolve().is_relative_to(store.folder.resolve()):
        raise NotHere(_("{path} is not in the store. Restore it from a copy.").format(path=path))
    return there


def shown_pdf(path: Path) -> Sent:
    """A paper that was just made, opened in the browser to be printed."""
    return Sent(path, path.name, PDF, shown=True)


def inputs_of_store(table: StoreTable) -> list[Input]:
    """The fields of a table of the store, as a form shows them."""
    return [
        plain_input(
            str(one["name"]),
            str(one["title"]),
            str(one["description"]),
            section=table.title,
            options=table.codes.get(str(one["name"]), ()),
            required=str(one["name"]) in (*table.key, *table.required),
            kind=DATE if one["type"] == "date" else "",
            points_at=_POINTS_AT.get(str(one["name"]), ""),
        )
        for one in table.fields
    ]


def plain_input(
    name: str,
    title: str,
    help: str = "",
    *,
    section: str = "",
    options: Sequence[str] | Sequence[tuple[str, str]] = (),
    required: bool = False,
    kind: str = "",
    points_at: str = "",
) -> Input:
    """A field that no schema of a record has."""
    if name == "notes":
        kind = LONG_TEXT
    pairs = tuple((one, one) if isinstance(one, str) else one for one in options)
    kind = kind or (CODE if pairs else TEXT)
    return Input(
        name, title, help, section, kind, "", pairs, "", points_at, required, readonly=False
    )


def typed(asked: Asked, columns: Sequence[str]) -> dict[str, str]:
    """What was filled in under these names."""
    return {name: asked.text(name) for name in columns if name in asked.form}


def bundles_here(asked: Asked) -> list[str]:
    """The bundles that lie in the folder of the desk, by name."""
    return [one.name for one in things_in(asked.desk.folder) if one.kind == BUNDLE]


def keys_of_store(store: Store) -> Mapping[str, list[str]]:
    """What a field of a form may point at: table → its keys."""
    return {
        "place": [row["place_id"] for row in store.rows("place")],
        "party": [row["party_id"] for row in store.rows("party")],
        "accession": [act.number for act in store.accessions],
    }


def new_path(asked: Asked, name: str) -> tuple[Path, str]:
    """Where a work puts what a later page shows, and the token by which that page finds it."""
    path = asked.desk.scratch() / name
    return path, asked.desk.made(Sent(path, name)).rpartition("/")[2]


def kept_path(asked: Asked, name: str) -> Path:
    """Where that lies by the token of the address; raises NotHere."""
    try:
        made = asked.desk.fetch(asked.address["token"])
    except KeyError:
        raise NotHere(_("This was put aside. Bring it in again.")) from None
    if made.name != name or not isinstance(made.content, Path):
        raise NotHere(_("This was put aside. Bring it in again."))
    return made.content
