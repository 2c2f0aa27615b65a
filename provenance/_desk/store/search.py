"""Searches the store by its catalogue: one box for anything, and every field of a search."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._catalogue.answer import answer_bytes
from provenance._catalogue.notes import exact_places_in, notes_on, usual_kind
from provenance._catalogue.query import KINDS, Wanted, find_in_catalogue
from provenance._collection.kept import label_read
from provenance._collection.scans import SAMPLE, read_one
from provenance._desk.answers import Answer, Page, Sent
from provenance._desk.asked import Asked
from provenance._desk.inputs import DATE, Input
from provenance._desk.pages import Pages
from provenance._desk.store.common import MOST_ROWS, Cell, fresh_index, keys_of_store, opened
from provenance._desk.store.common import plain_input as field
from provenance._model.notation import parse_year
from provenance._model.schema import read_core
from provenance._model.spoken import spoken
from provenance._store.places import Places
from provenance._store.terms import is_day

if TYPE_CHECKING:
    import polars as pl

pages = Pages()
_SHAPES = {"csv": "text/csv", "json": "application/json", "geojson": "application/geo+json"}
_YEARS = ("from_year", "to_year")
_TICKS = {
    "every": N_("Also older and public editions, missing bundles and every copy"),
    "even_if_damaged": N_("Also from bundles that the last audit found damaged"),
}
_CALLED = {
    "sample_id": N_("Sample"),
    "site_id": N_("Site"),
    "element_id": N_("Timber"),
    "holder_name": N_("Who has it"),
    "keeper_name": N_("Who has it"),
    "within": N_("Place"),
    "accession": N_("Accession"),
}
"""Column → what the page calls it; the others are called by their names."""
_NOT_SHOWN = ("path", "state", "holder", "keeper_id", "place", "bundle", "read_at", "identity")
"""Columns that are for programs, or that another column says better."""
_KINDS = {
    "samples": N_("samples"),
    "holdings": N_("where samples are"),
    "loans": N_("loans"),
    "sites": N_("sites"),
    "bundles": N_("bundles"),
    "wood": N_("timber use"),
    "architecture": N_("construction"),
}


def _inputs() -> list[Input]:
    species = spoken(read_core()).vocabularies["species"]
    return [
        field("kind", _("What to list"), options=[(one, _(_KINDS[one])) for one in KINDS]),
        field("sample", _("Sample"), _("Its number, or its scanned label.")),
        field("stamp", _("Stamp"), _("The number on the plug.")),
        field("site", _("Site"), _("Code or name; * stands for any letters.")),
        field("place", _("Place"), _("All that is in it."), points_at="place"),
        field("keeper", _("Who has it"), _("Code or name."), points_at="party"),
        field("species", _("Species"), options=[(one.code, one.label) for one in species.terms]),
        field("use", _("Use of the timber"), _("Such as beam or lintel.")),
        field("from_year", _("Ends in this year or later"), "1750, 45 BC"),
        field("to_year", _("Ends in this year or earlier"), "1800"),
        field("accession", _("Accession"), _("Its number, or one that it bore before.")),
        field("edition", _("Edition"), options=("full", "public")),
        field("overdue", _("Should be back before"), _("A day: 2026-05-31."), kind=DATE),
    ]


@pages.shown("/store/{store}/search", title=N_("Search"), group=N_("Samples"))
def search(asked: Asked) -> Answer:
    """What was asked for, and what fits; with `shape` as a file."""
    asks = {name: text.strip() for name, text in asked.query.items() if text.strip()}
    said = {name: text for name, text in asks.items() if name not in ("shape", "anything")}
    values = {
        "inputs": _inputs(),
        "ticks": {name: _(title) for name, title in _TICKS.items()},
        "values": asks,
        "lists": keys_of_store(opened(asked)),
        "found": [],
        "notes": [],
        "files": [],
    }
    if not asks:
        return Page("store/search.html", values)
    index = fresh_index(asked)
    if text := asks.get("anything", ""):
        return Page("store/search.html", values | {"found": list(_anything(asked, index, text))})
    wanted = _wanted(asked, said)
    kind = said.get("kind") or usual_kind(wanted)
    frame = find_in_catalogue(index, kind, wanted)
    if shape := asks.get("shape"):
        if shape not in _SHAPES:
            raise UnusableInput(f"'{shape}' is not a format; choose {', '.join(_SHAPES)}")
        return Sent(answer_bytes(frame, shape), f"{kind}.{shape}", _SHAPES[shape])
    shapes = [one for one in _SHAPES if one != "geojson" or kind == "sites"]
    ticks = {"every": f"'{_(_TICKS['every'])}'", "damaged": f"'{_(_TICKS['even_if_damaged'])}'"}
    notes = [
        *notes_on(index, kind, wanted, frame, **ticks),
        exact_places_in(frame, _("the public edition")),
    ]
    return Page(
        "store/search.html",
        values
        | {
            "found": [_shown(asked, _(_KINDS[kind]), frame)],
            "notes": [one for one in notes if one],
            "files": [(one, asked.at("search", **said | {"shape": one})) for one in shapes],
        },
    )


def _wanted(asked: Asked, said: dict[str, str]) -> Wanted:
    names = [one for one in Wanted.__dataclass_fields__ if one in said]
    words: dict[str, object] = {name: said[name] for name in names}
    words |= {name: True for name in _TICKS if name in said}
    words |= {name: parse_year(said[name]) for name in _YEARS if name in said}
    if "overdue" in said and not is_day(said["overdue"]):
        raise UnusableInput(f"'{said['overdue']}' is not a day; write 2026-05-31")
    words |= label_read(asked.store, said.get("sample", ""))
    return Wanted(**words)  # type: ignore[arg-type]


def _anything(asked: Asked, index: Path, text: str) -> Iterator[dict[str, object]]:
    """What a number, name or label may mean: sample, stamp, accession, place, site, keeper."""
    scan, tree = read_one(text), Places(opened(asked).rows("place"))
    labelled = label_read(asked.store, text)
    if scan.kind == SAMPLE and scan.site_id and not labelled:
        labelled = {"sample": scan.sample_id, "site": scan.site_id}
    alike = text if "*" in text else f"*{text}*"
    asks = [
        (_("Samples"), "holdings", Wanted(**(labelled or {"sample": text}))),  # type: ignore[arg-type]
        (_("Stamps"), "samples", Wanted(stamp=text)),
        (_("Accessions"), "bundles", Wanted(accession=text, every=True)),
        (_("Sites"), "sites", Wanted(site=alike)),
        (_("With this keeper"), "holdings", Wanted(keeper=alike)),
    ]
    site, dash, number = text.upper().rpartition("-")
    if dash and not labelled:  # as it stands on a label, typed without the check letters
        asks.insert(1, (_("Samples"), "holdings", Wanted(sample=number, site=site)))
    for title, kind, wanted in asks:
        if not (frame := find_in_catalogue(index, kind, wanted)).is_empty():
            yield _shown(asked, title, frame)
    names = {one.casefold() for row in tree.rows.values() for one in (row["place_id"], row["name"])}
    place = tree.by_code.get(scan.place_code, "") or (text if text.casefold() in names else "")
    if place:
        frame = find_in_catalogue(index, "holdings", Wanted(place=place))
        yield _shown(asked, _("In this place"), frame)


def _shown(asked: Asked, title: str, frame: pl.DataFrame) -> dict[str, object]:
    """A list on a page: columns in which something stands; what has a page leads to it."""
    first = ["sample_id"] * ("sample_id" in frame.columns)
    names = [
        name
        for name in dict.fromkeys([*first, *frame.columns])
        if name not in _NOT_SHOWN
        and (name == "within" or any(one not in (None, "") for one in frame[name]))
    ]
    rows = []
    for row in frame.head(MOST_ROWS).to_dicts():
        # a place that is not in the tree is in the words of whoever wrote it
        row["within"] = row.get("within") or row.get("place")
        number = row.get("accession") or ""
        cells: list[object] = []
        for name in names:
            text = "" if row[name] is None else str(row[name])
            if name == "accession" and text:
                cells.append(Cell(text, asked.at("records", text)))
            elif name == "sample_id" and number:
                cells.append(Cell(text, asked.at("sample", record=number, sample=text)))
            elif name == "within" and text:
                cells.append(Cell(text, asked.at("search", place=row["place"])))
            else:
                cells.append(text)
        rows.append(cells)
    columns = [_(_CALLED[name]) if name in _CALLED else name.replace("_", " ") for name in names]
    return {"title": title, "columns": columns, "rows": rows, "count": len(frame)}
