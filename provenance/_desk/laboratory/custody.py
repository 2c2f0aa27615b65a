"""Where samples are and have been; a handover recorded."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING

from provenance._base.languages import N_, _, ngettext
from provenance._desk.answers import Answer, Done, Page
from provenance._desk.asked import Asked
from provenance._desk.choosing import parties_to_choose, samples_asked, where_in_words
from provenance._desk.pages import Pages
from provenance._history.history import moment_text
from provenance._identity.naming import parcel_named
from provenance._identity.selection import sample_of_package
from provenance._ledger.custody import JOINED, NOT_SEALED, seal_typed, seals_withheld, verify_ledger
from provenance._ledger.handover import record_events, samples_of_parcel
from provenance._ledger.holdings import Holding, holdings_frame, holdings_of, life_of, overdue
from provenance._ledger.inside import place_named
from provenance._ledger.keys import key_faults
from provenance._ledger.meant import Meant
from provenance._ledger.signing import count_signatures, verify_signed
from provenance._model.spoken import spoken
from provenance._printing.labels.content_labels import ranges_of

if TYPE_CHECKING:
    from provenance._record.package import Package

pages = Pages()

STATE = "state:"
"""What the fields of a form begin with that say in which state a sample was found."""
MOST_SHOWN = 500


@pages.shown("/record/{record}/custody", title=N_("Custody"), group=N_("Laboratory"))
def custody(asked: Asked) -> Answer:
    """Where every sample is, what is late, and whether the ledger fits together."""
    record = asked.record
    tables = record.tables
    model = spoken(record.model)
    frame = holdings_frame(record, as_of=asked.queried("as_of") or None)
    held = [Holding(*row) for row in frame.itertuples(index=False, name=None)]
    words = asked.queried("find").casefold().split()
    rows = [
        (one.sample_id, where, one.since)
        for one, where in ((one, where_in_words(one)) for one in held)
        if all(word in f"{one.sample_id} {where}".casefold() for word in words)
    ]
    withheld = seals_withheld(tables)
    faults = [] if withheld else [
        *verify_ledger(tables), *verify_signed(tables), *key_faults(tables)
    ]  # fmt: skip
    return Page(
        "laboratory/custody.html",
        {
            "rows": rows[:MOST_SHOWN],
            "more": len(rows[MOST_SHOWN:]),
            "find": asked.queried("find"),
            "as_of": asked.queried("as_of"),
            "late": late_samples(record),
            "faults": faults,
            "withheld": withheld,
            "unsealed": any(one.rule == NOT_SEALED for one in faults),
            "signatures": count_signatures(tables),
            "events": [
                one for one in model.vocabularies["custody_event"].terms if one.code != JOINED
            ],
            "states": model.vocabularies["sample_state"].terms,
            "parties": parties_to_choose(tables),
            "parcels": tables.column("consignment", "consignment_id"),
            "own": own_code(asked),
            "today": date.today().isoformat(),
            "places": sorted({one.place_held for one in held} - {""}),
        },
    )


@pages.shown("/record/{record}/custody/{sample:path}")
def life(asked: Asked) -> Answer:
    """All that happened to one sample, as the ledger has it."""
    record = asked.record
    sample = sample_of_package(record.tables, asked.address["sample"])
    model = spoken(record.model)
    return Page(
        "laboratory/custody_of_sample.html",
        {
            "sample": sample,
            "where": where_in_words(holdings_of(record.tables).get(sample)),
            "life": life_of(record, sample),
            "events": model.vocabularies["custody_event"],
            "states": model.vocabularies["sample_state"],
        },
    )


@pages.done("/record/{record}/custody")
def hand_over(asked: Asked) -> Answer:
    """Record one event for each of the samples; all of them or none."""
    record = asked.record
    event = asked.needed("event", _("Event"))
    parcel = parcel_named(record.tables, asked.text("parcel"))
    if asked.text("samples") or asked.text("scanned") or not parcel:
        meant = samples_asked(asked)
    else:
        meant = Meant(tuple(samples_of_parcel(record, parcel)), ())
    recorded = record_events(
        record,
        event,
        meant.samples,
        happened_on=asked.text("day") or date.today().isoformat(),
        recorded_on=moment_text(),
        recorded_by=asked.text("by"),
        consignment_id=parcel,
        from_party_id=asked.text("from"),
        to_party_id=asked.text("to"),
        place_held=place_named(record.tables, asked.text("place")),
        states=_states(asked, meant.samples),
        corrects=asked.text("corrects"),
        notes=asked.text("notes"),
        loan_due_on=asked.text("due"),
        reference=asked.text("reference"),
    )
    label = spoken(record.model).vocabularies["custody_event"].label(recorded[0].event)
    samples = ", ".join(one.sample_id for one in recorded)
    back = asked.at("parcels", parcel) if asked.text("back") == "parcel" else asked.at("custody")
    return Done(back, "\n".join([*meant.notes, f"{label}: {samples}"]))


@pages.done("/record/{record}/custody/seal")
def seal(asked: Asked) -> Answer:
    """Seal events that were typed into the table of the ledger."""
    count = seal_typed(asked.record)
    told = ngettext("{n} event is sealed now.", "{n} events are sealed now.", count)
    return Done(asked.at("custody"), told.format(n=count))


def _states(asked: Asked, samples: tuple[str, ...]) -> Mapping[str, str]:
    """What was found of single samples; `state` holds for all that have none of their own."""
    usual = asked.text("state")
    found = {one: asked.text(f"{STATE}{one}") or usual for one in samples}
    return {one: state for one, state in found.items() if state}


def own_code(asked: Asked) -> str:
    """Who enters it, where the record knows this person as a party; else ''."""
    known = asked.record.tables.column("party", "party_id")
    return asked.by if asked.by in known else ""


def late_samples(package: Package) -> dict[tuple[str, str, int], list[str]]:
    """What should be back by today: (parcel, who has it, days over) → the samples, as ranges."""
    frame = overdue(package, today=date.today().isoformat())
    late: dict[tuple[str, str, int], list[str]] = {}
    for row in frame[frame["days_over"].fillna(0) > 0].to_dict("records"):
        key = (str(row["consignment_id"]), str(row["party"]), int(row["days_over"]))
        late.setdefault(key, []).append(str(row["sample_id"]))
    return {key: ranges_of(samples) for key, samples in late.items()}
