"""Parcels for laboratories and stores: made up, papers printed, followed until they return."""

from __future__ import annotations

from collections import Counter
from datetime import date
from types import SimpleNamespace

from provenance._base.languages import N_, _, speaking
from provenance._desk.answers import Answer, Done, Page
from provenance._desk.asked import Asked
from provenance._desk.choosing import (
    as_selection,
    parties_to_choose,
    samples_asked,
    where_in_words,
)
from provenance._desk.laboratory.custody import late_samples, own_code
from provenance._desk.pages import Pages
from provenance._desk.paper.preview import keep, kept
from provenance._desk.paper.printing import PAPERS
from provenance._drawing.paper import paper_named
from provenance._history.history import moment_text
from provenance._lab.consign import consign_samples, parcel_of, why_not_packed, write_papers
from provenance._ledger.holdings import events_of, holdings_of, samples_in_parcel
from provenance._model.spoken import spoken
from provenance._printing.papers.consignment import print_consignment
from provenance._printing.papers.parcel import gather_parcel
from provenance._record.joined import standing_results

pages = Pages()


def _today() -> str:
    return date.today().isoformat()


@pages.shown("/record/{record}/parcels", title=N_("Parcels"), group=N_("Laboratory"))
def parcels(asked: Asked) -> Answer:
    """Every parcel: to whom, since when, and what is late."""
    record = asked.record
    events = events_of(record.tables)
    days = {parcel: over for parcel, _party, over in late_samples(record)}
    listed = [
        {**row, "count": len(samples_in_parcel(events, row["consignment_id"]))}
        for row in reversed(record.tables.rows("consignment"))
    ]
    names = dict(parties_to_choose(record.tables))
    return Page("laboratory/parcels.html", {"parcels": listed, "late": days, "names": names})


@pages.shown("/record/{record}/parcels/new")
def new(asked: Asked) -> Answer:
    """The form for a parcel."""
    tables = asked.record.tables
    return Page(
        "laboratory/parcel_new.html",
        {
            "parties": parties_to_choose(tables),
            "purposes": spoken(asked.record.model).vocabularies["consignment_purpose"].terms,
            "today": _today(),
            "own": own_code(asked),
            "samples": asked.queried("samples"),
        },
    )


@pages.done("/record/{record}/parcels/look")
def look(asked: Asked) -> Answer:
    """Where each of the samples is, and which cannot go for what reason; nothing is recorded."""
    record = asked.record
    meant = samples_asked(asked)
    held = holdings_of(record.tables)
    reasons = why_not_packed(record, meant.samples, asked.text("day") or _today())
    holders = Counter(holding.holder if (holding := held.get(one)) else "" for one in meant.samples)
    rows = [(one, where_in_words(held.get(one)), reasons.get(one, "")) for one in meant.samples]
    values = {"rows": rows, "notes": meant.notes, "holders": holders.most_common()}
    return Page("laboratory/parcel_look.html", values, whole=False)


@pages.done("/record/{record}/parcels")
def consign(asked: Asked) -> Answer:
    """Make up the parcel: its row, and an event 'packed' for each sample."""
    meant = samples_asked(asked)
    parcel = consign_samples(
        asked.record,
        meant.samples,
        to_party_id=asked.needed("to", _("Recipient")),
        from_party_id=asked.text("from"),
        purpose=asked.text("purpose", "dating"),
        packed_on=asked.text("day") or _today(),
        recorded_on=moment_text(),
        recorded_by=asked.text("by"),
        due_on=asked.text("due"),
        questions=asked.text("questions"),
        seal_number=asked.text("seal"),
    )
    told = _("Parcel {code} is made up. Print its papers, and record when it leaves.")
    to = asked.at("parcels", parcel.consignment_id)
    return Done(to, "\n".join([*meant.notes, told.format(code=parcel.consignment_id)]))


@pages.shown("/record/{record}/parcels/{parcel:path}/papers")
def papers(asked: Asked) -> Answer:
    """List, receipt and tags to print; the list as a table, and the form for the results."""
    record = asked.record
    code = parcel_of(record, asked.address["parcel"]).consignment_id
    folder = asked.desk.scratch()
    with speaking(record.model.language):
        printed = print_consignment(
            gather_parcel(record, code),
            paper_named(asked.queried("paper", PAPERS[0])),
            folder / f"parcel-{code}.pdf",
            each_sample=bool(asked.queried("each_sample")),
            resolver=str(record.descriptor.get("resolver", "")),
        )
    made = keep(asked.desk, [*printed.paths, *write_papers(record, code, folder)])
    notes = [printed.note] if printed.note else []
    values = {"files": kept(asked.desk, made), "labeled": "", "notes": notes, "at": asked.at}
    return Page("paper/pages.html", values, whole=False)


@pages.shown("/record/{record}/parcels/{parcel:path}")
def parcel(asked: Asked) -> Answer:
    """One parcel: what is in it, its papers, its way, and what came back."""
    record = asked.record
    tables = record.tables
    one = parcel_of(record, asked.address["parcel"])
    row = next(r for r in tables.rows("consignment") if r["consignment_id"] == one.consignment_id)
    held = holdings_of(tables)
    results = {row["sample_id"] for row in standing_results(tables).iter_rows(named=True)}
    model = spoken(record.model)
    states = model.vocabularies["sample_state"]
    lines = []
    for sample in one.samples:
        holding = held.get(sample)
        state = holding.state if holding else ""
        label = states.label(state) if state else ""
        lines.append((sample, where_in_words(holding), label, sample in results))
    way = {held[sample].on_the_way_to for sample in one.samples if sample in held} - {""}
    return Page(
        "laboratory/parcel.html",
        {
            "parcel": one,
            "row": row,
            "lines": lines,
            "selection": as_selection(list(one.samples)),
            "names": dict(parties_to_choose(tables)),
            "parties": parties_to_choose(tables),
            "states": states.terms,
            "purposes": model.vocabularies["consignment_purpose"],
            "papers": PAPERS,
            "today": _today(),
            "own": own_code(asked),
            "next_event": "received" if way else "" if row["sent_on"] else "handed_over",
            "events": SimpleNamespace(label=model.vocabularies["custody_event"].label),
        },
    )
