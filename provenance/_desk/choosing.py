"""A table of samples to choose from by clicking, part of the pages that ask for samples."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from provenance._base.errors import UnusableInput
from provenance._base.languages import _
from provenance._desk.answers import Answer, Page
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._identity.selection import number_order
from provenance._ledger.holdings import Holding, holdings_of
from provenance._ledger.meant import Meant, samples_named, samples_scanned
from provenance._model.spoken import spoken
from provenance._printing.labels.facts import place_words, rows_by_key
from provenance._record.attempts import failed_attempts, kind_in_words
from provenance._record.joined import places_around

if TYPE_CHECKING:
    from provenance._record.package import Package
    from provenance._record.snapshot import Row, Snapshot

pages = Pages()

MOST_SHOWN = 200
"""Samples in the table at once; the filter finds the others."""


def as_selection(samples: list[str]) -> str:
    """Sample numbers as a selection that names just these."""
    return ",".join(f'"{one}"' if "," in one else one for one in samples)


def samples_in_place(tables: Snapshot, place: str) -> set[str]:
    """The samples of timbers in a place and in all places inside it."""
    around = places_around(tables)
    timbers = {
        row["element_id"]
        for row in tables.rows("element")
        if place in around.get(row["place_id"], ())
    }
    return {row["sample_id"] for row in tables.rows("sample") if row["element_id"] in timbers}


def selection_of(tables: Snapshot, samples: str, place: str) -> str | None:
    """The samples that a person wrote, of one place where one is chosen; None for all.

    Raises TreenailError as a selection of the command line does, and where none is in the place.
    """
    if not place:
        return samples or None
    inside = samples_in_place(tables, place)
    chosen = [one for one in samples_named(tables, samples or "all").samples if one in inside]
    if not chosen:
        raise UnusableInput(_("None of these samples is of {place}.").format(place=place))
    return as_selection(chosen)


def where_in_words(holding: Holding | None) -> str:
    """Where a sample is now."""
    if holding is None or not holding.custody_id:
        return _("not in the ledger")
    if holding.gone:
        return _(holding.gone)
    if holding.on_the_way_to:
        parts = [_("on the way to {party}").format(party=holding.on_the_way_to)]
    else:
        parts = [holding.holder, holding.place_held]
    if holding.lender:
        parts.append(_("on loan until {day}").format(day=holding.due_on or "?"))
    if holding.consignment_id:
        parts.append(_("parcel {code}").format(code=holding.consignment_id))
    return ", ".join(one for one in parts if one)


def places_to_choose(tables: Snapshot) -> list[tuple[str, str]]:
    """(code, words) of each place, outer places before those inside them."""
    names = {row["place_id"]: row["name"] for row in tables.rows("place")}
    chains = sorted(tuple(reversed(chain)) for chain in places_around(tables).values())
    return [(chain[-1], " / ".join(names.get(one) or one for one in chain)) for chain in chains]


@pages.shown("/record/{record}/choose")
def choose(asked: Asked) -> Answer:
    """The samples that a filter finds, those of the field `samples` checked."""
    tables = asked.record.tables
    wanted = asked.query.get("samples", "").strip()
    chosen = samples_named(tables, wanted).samples if wanted else ()
    words = asked.query.get("find", "").casefold().split()
    rows = [
        one
        for one in _listed(asked.record)
        if all(word in " ".join(one.values()).casefold() for word in words)
    ]
    return Page(
        "choosing/samples.html",
        {"rows": rows[:MOST_SHOWN], "more": len(rows[MOST_SHOWN:]), "chosen": chosen},
        whole=False,
    )


def _listed(package: Package) -> list[Mapping[str, str]]:
    tables = package.tables
    held, failed = holdings_of(tables), failed_attempts(tables)
    timbers, places = rows_by_key(package, "element"), rows_by_key(package, "place")
    model = spoken(package.model)

    def line(row: Row) -> dict[str, str]:
        number = row["sample_id"]
        return {
            "number": number,
            "kind": kind_in_words(model, row),
            "timber": row["element_id"],
            "place": place_words(timbers.get(row["element_id"], {}).get("place_id", ""), places),
            "collected": row["collected_on"],
            "now": _("gave no sample") if number in failed else where_in_words(held.get(number)),
        }

    ordered = sorted(tables.rows("sample"), key=lambda row: number_order(row["sample_id"]))
    return [line(row) for row in ordered]


def samples_asked(asked: Asked) -> Meant:
    """The samples that a form names: numbers and ranges in `samples`, scanned lines in `scanned`.

    Raises TreenailError as the command line does, and where none is named.
    """
    tables = asked.record.tables
    parts = []
    if text := asked.text("samples"):
        parts.append(samples_named(tables, text))
    if lines := asked.text("scanned"):
        parts.append(samples_scanned(tables, lines))
    if not parts:
        raise UnusableInput(_("Name samples: type or scan their numbers, or choose them."))
    samples = dict.fromkeys(one for part in parts for one in part.samples)
    return Meant(tuple(samples), tuple(note for part in parts for note in part.notes))


def parties_to_choose(tables: Snapshot) -> list[tuple[str, str]]:
    """(code, name) of each party."""
    return sorted((row["party_id"], row["name"]) for row in tables.rows("party"))
