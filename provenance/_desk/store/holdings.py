"""Places of the store as a tree, their labels, and what happens to samples: moves, loans, loss."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import date

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._catalogue.query import find_in_catalogue
from provenance._collection.choosing import current_numbers, samples_of_event, words_of_samples
from provenance._collection.place_labels import place_labels, print_place_labels
from provenance._collection.recording import Said, record_in_store
from provenance._desk.answers import Answer, Done, Page
from provenance._desk.asked import Asked
from provenance._desk.inputs import DATE, LONG_TEXT, Input
from provenance._desk.pages import Pages
from provenance._desk.store.common import (
    fresh_index,
    inputs_of_store,
    keys_of_store,
    opened,
    shown_pdf,
)
from provenance._desk.store.common import plain_input as field
from provenance._history.history import moment_text
from provenance._ledger.handover import pairs_of, said_of
from provenance._model.schema import Term, read_core
from provenance._model.spoken import spoken
from provenance._printing.labels.stock import load_stock, shipped_stocks
from provenance._store.places import Places
from provenance._store.settings import settings_in
from provenance._store.tables import store_table

pages = Pages()
_ASKS: Mapping[str, tuple[str, ...]] = {
    "stored": ("place", "states"),
    "loaned": ("to", "due", "reference", "note", "states"),
    "taken_back": ("reference", "place", "states"),
    "requested": ("to", "note"),
    "decided": ("reference", "decision", "from", "note"),
    "deaccessioned": ("to", "note"),
    "sub_sampled": ("parts", "place", "note"),
    "received": ("from", "to", "place", "states"),
    "deposited": ("from", "to", "place"),
    "found_in_collection": ("to", "place", "note"),
    "handed_over": ("from", "to", "consignment", "note"),
    "returned": ("from", "to", "note"),
    "lost": ("note",),
    "found": ("to", "place", "note"),
    "destroyed": ("note",),
    "mounted": ("note",),
    "seen": ("place", "note"),
}
"""Event → what its form asks beside samples and day; the first ones are what stores do most."""
_OF_ONE = ("corrects",)


@pages.shown("/store/{store}/places", title=N_("Places"), group=N_("Samples"))
def places(asked: Asked) -> Answer:
    """The places as a tree, each with how many samples lie right in it."""
    store = opened(asked)
    tree = Places(store.rows("place"))
    found = find_in_catalogue(fresh_index(asked), "holdings").select("place", "gone", "holder")
    own = settings_in(store.folder).party_id
    held = [(place, holder) for place, gone, holder in found.rows() if not gone]
    return Page(
        "store/places.html",
        {
            "tree": tree,
            "counts": Counter(place for place, _holder in held),
            "without": sum(place not in tree.rows and holder == own for place, holder in held),
            "inputs": inputs_of_store(store_table("place")),
            "values": tree.rows.get(asked.query.get("place", ""), {}),
            "lists": keys_of_store(store),
            "stocks": list(shipped_stocks()),
        },
    )


@pages.shown("/store/{store}/places/labels.pdf")
def labels(asked: Asked) -> Answer:
    """Labels of a place and all below it, or of all."""
    tree = Places(opened(asked).rows("place"))
    path = asked.desk.scratch() / "place-labels.pdf"
    start = asked.query.get("start", "1")
    if not (start.isascii() and start.isdigit() and int(start)):
        raise UnusableInput(f"'{start}' is not the number of a label on a sheet; write 1 or more")
    chosen = tree.chosen(asked.query.get("below") or None)
    stock = load_stock(asked.query.get("stock", "a4_70x37"))
    print_place_labels(place_labels(tree, chosen), stock, path, start_at=int(start))
    return shown_pdf(path)


@pages.shown("/store/{store}/move", title=N_("Move samples"), group=N_("Samples"))
def move(asked: Asked) -> Answer:
    """Put samples into a place, by scanning or typing."""
    return _form(asked, "stored")


@pages.shown("/store/{store}/event", title=N_("Record what happened"), group=N_("Samples"))
def event(asked: Asked) -> Answer:
    """The form of an event: a loan, a return, a request, a decision, a loss …"""
    kind = asked.query.get("event", "")
    if kind in _ASKS:
        return _form(asked, kind)
    return Page("store/events.html", {"events": [_term(one) for one in _ASKS]})


@pages.done("/store/{store}/event")
def happened(asked: Asked) -> Answer:
    """Record an event of samples, all of them or nothing."""
    store, lists = opened(asked), spoken(read_core()).vocabularies
    code, reference = asked.needed("event", _("Event")), asked.text("reference")
    numbers = asked.text("record").replace(",", " ").split()
    scanned = asked.text("scanned")
    if scanned and asked.text("samples"):
        raise UnusableInput(_("Fill in the numbers or the scanned labels, not both."))
    chosen = samples_of_event(
        store,
        code,
        samples=asked.text("samples"),
        scanned=scanned or None,
        records=numbers,
        reference=reference,
    )

    def words(name: str, called: str) -> dict[tuple[str, str], str]:
        pairs = pairs_of(filter(None, map(str.strip, asked.text(name).splitlines())), called)
        return words_of_samples(store, numbers, chosen, pairs)

    today = date.today().isoformat()
    done = record_in_store(
        store,
        chosen,
        Said(
            event=code,
            happened_on=asked.text("on") or today,
            today=today,
            recorded_by=asked.text("recorded_by"),
            consignment_id=asked.text("consignment"),
            from_party_id=asked.text("from"),
            to_party_id=asked.text("to"),
            place_held=asked.text("place"),
            notes=asked.text("note"),
            loan_due_on=asked.text("due"),
            reference=reference,
            decision=asked.text("decision"),
            corrects=asked.text("corrects"),
            states=words("states", _("Condition")),
            parts=words("parts", _("Number of the part")),
        ),
        recorded_on=moment_text(),
        by=asked.by,
    )
    current = current_numbers(store)
    sentences = []
    for record_id, events in done.events.items():
        shown = [one for one in events if not one.parent_sample_id]
        line = said_of(shown, lists["custody_event"], lists["sample_state"])
        sentences.append(f"{current[record_id]}: {line}")
        sentences += [
            _("Part of {sample}: {part}").format(sample=one.parent_sample_id, part=one.sample_id)
            for one in events
            if one.parent_sample_id
        ]
    if done.reference:
        sentences.insert(0, _("Number {number}.").format(number=done.reference))
    to = asked.at("loans") if done.reference else asked.at("move" if code == "stored" else "event")
    return Done(to, "\n".join(sentences))


def _form(asked: Asked, kind: str) -> Answer:
    store = opened(asked)
    usual = {"on": date.today().isoformat()}
    return Page(
        "store/event.html",
        {
            "event": _term(kind),
            "inputs": [_fields()[one] for one in ("on", *_ASKS[kind], "recorded_by", *_OF_ONE)],
            "values": usual | dict(asked.query),
            "lists": keys_of_store(store),
        },
    )


def _term(code: str) -> Term:
    found = spoken(read_core()).vocabularies["custody_event"].term(code)
    assert found is not None, code
    return found


def _fields() -> dict[str, Input]:
    states = spoken(read_core()).vocabularies["sample_state"]
    codes = ", ".join(one.code for one in states.terms)
    fields = [
        field("on", _("Day"), _("The day on which it happened."), required=True, kind=DATE),
        field("place", _("Place"), _("Code of the place, typed or scanned."), points_at="place"),
        field("to", _("To"), _("Code of who has it now, or who asks."), points_at="party"),
        field("from", _("From"), _("Who gave it; of a decision, who decided."), points_at="party"),
        field("due", _("Due back on"), _("The day on which the loan ends."), kind=DATE),
        field("reference", _("Loan or request"), _("Its number, such as L2026.001.")),
        field("decision", _("Decision"), options=("granted", "refused")),
        field("note", _("What for, conditions, or why"), kind=LONG_TEXT),
        field("consignment", _("Parcel"), _("Its number in the record.")),
        field("parts", _("Numbers of the parts"), _("One per line: 231=231B."), kind=LONG_TEXT),
        field(
            "states",
            _("Condition of single samples"),
            _("One per line: 231=broken. There are: {codes}.").format(codes=codes),
            kind=LONG_TEXT,
        ),
        field("recorded_by", _("Recorded by"), _("Code of the person."), points_at="party"),
        field(
            "corrects",
            _("Corrects the event with this number"),
            _("Only where an earlier event was recorded wrongly; of one sample."),
        ),
    ]
    return {one.name: one for one in fields}
