"""One record of a store: its accessions, terms and samples; one sample with all that befell it."""

from __future__ import annotations

from datetime import date

from provenance._accession.doi import register_kept
from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._base.progress import Progress
from provenance._collection.export import export_record
from provenance._collection.kept import Books, Kept, record_named
from provenance._desk.answers import Answer, Done, Page, Sent, Work
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.store.common import CSV, MOST_ROWS, Cell, day_of, inside, opened, shown_pdf
from provenance._desk.things import NotHere
from provenance._history.history import moment_text
from provenance._ledger.holdings import Holding
from provenance._model.schema import read_core
from provenance._model.spoken import spoken
from provenance._store.acts import Act
from provenance._store.numbers import folder_name
from provenance._store.places import Places
from provenance._store.store import Store
from provenance._store.store_numbers import numbers_csv, store_numbers
from provenance._store.terms import ACQUISITION, PREVIOUS, RESTRICTION, lift
from provenance._store.withdrawing import withdraw

pages = Pages()


@pages.shown("/store/{store}/records", title=N_("Records"), group=N_("Samples"))
def records(asked: Asked) -> Answer:
    """Every accession, the newest first."""
    store = opened(asked)
    rows = [
        [
            Cell(act.number, asked.at("records", act.number)),
            act.title or act.bundle,
            act.edition or _("bag"),
            act.happened_on,
            act.depositor,
            _("withdrawn") if act.number in store.withdrawn else act.reason,
        ]
        for act in reversed(store.accessions)
    ]
    return Page("store/records.html", {"rows": rows[:MOST_ROWS], "count": len(rows)})


@pages.shown("/store/{store}/records/{number:path}")
def record(asked: Asked) -> Answer:
    """One record: history of accessions, terms, samples and where they are."""
    store = opened(asked)
    act = _accession(store, asked.address["number"])
    kept = _kept(store, act)
    of_record = [one for one in store.accessions if act.marks and one.marks & act.marks] or [act]
    numbers = {one.number for one in of_record}
    terms = {
        name: [row for row in store.rows(name) if row["accession"] in numbers]
        for name in (ACQUISITION, PREVIOUS, RESTRICTION)
    }
    return Page(
        "store/record.html",
        {
            "accession": act,
            "accessions": of_record,
            "withdrawn": store.withdrawn,
            "terms": terms,
            "samples": _samples(asked, store, kept) if kept else [],
            "sample_count": len(kept.samples) if kept else 0,
            "kept": kept,
        },
    )


@pages.shown("/store/{store}/sample")
def sample(asked: Asked) -> Answer:
    """One sample of a record: where it is, and everything that happened to it."""
    store = opened(asked)
    record_id = record_named(store, asked.query.get("record", ""))
    kept = Books(store).kept(record_id)
    named = kept.named(asked.query.get("sample", ""))
    events = spoken(read_core()).vocabularies["custody_event"]
    life = [one for one in kept.events if one.sample_id == named.sample_id]
    held = kept.holdings.get(named.sample_id, Holding(named.sample_id))
    place = Places(store.rows("place")).path(held.place_held) or held.place_held
    return Page(
        "store/sample.html",
        {
            "kept": kept,
            "sample": named.sample_id,
            "site": kept.samples.get(named.sample_id, ""),
            "timber": kept.of("sample").get(named.sample_id, ""),
            "held": held,
            "place": place,
            "life": [(one, events.label(one.event)) for one in reversed(life)],
            "acts": ["stored", "loaned", "requested", "sub_sampled", "lost", "deaccessioned"],
            "label": events.label,
        },
    )


@pages.shown("/store/{store}/receipt/{number:path}")
def receipt(asked: Asked) -> Answer:
    """The receipt of an accession, to be printed and signed."""
    store = opened(asked)
    return shown_pdf(inside(store, _accession(store, asked.address["number"]).receipt))


@pages.shown("/store/{store}/bundle/{number:path}")
def bundle(asked: Asked) -> Answer:
    """The kept bundle of an accession, to be saved elsewhere."""
    store = opened(asked)
    path = inside(store, _accession(store, asked.address["number"]).kept_at)
    if path.is_dir():
        raise NotHere(_("This bundle is a folder; copy it from {path}.").format(path=path))
    return Sent(path, path.name, "application/zip")


@pages.shown("/store/{store}/numbers/{number:path}")
def numbers(asked: Asked) -> Answer:
    """Store numbers of the samples of an accession, for labels."""
    number = asked.address["number"]
    content = numbers_csv(store_numbers(opened(asked), number))
    return Sent(content, f"store-numbers-{folder_name(number)}.csv", CSV)


@pages.done("/store/{store}/withdraw")
def withdraw_one(asked: Asked) -> Answer:
    """Withdraw an accession, with a reason."""
    number = asked.needed("number", _("Number"))
    left = withdraw(opened(asked), number, reason=asked.text("reason"), **day_of(asked))
    said = _("Withdrew {number}.").format(number=number)
    if left:
        said += "\n" + _("Remove its bundle now, or the audit tells of it: {path}").format(
            path=left
        )
    return Done(asked.at("records", number), said)


@pages.done("/store/{store}/lift")
def lift_one(asked: Asked) -> Answer:
    """Let a restriction stand no longer, with a reason."""
    reason = asked.needed("reason", _("Reason"))
    with opened(asked).writing(**day_of(asked)) as writing:
        found = lift(writing, asked.needed("restriction", _("Restriction")), reason)
    said = _("Lifted {restriction}.").format(restriction=found["restriction_id"])
    return Done(asked.at("records", found["accession"]), said)


@pages.done("/store/{store}/doi")
def doi(asked: Asked) -> Answer:
    """Write a DOI into the bundle of an accession."""
    number, given = asked.needed("number", _("Number")), asked.needed("doi", _("DOI"))
    issued = asked.text("issued")
    try:
        day = date.fromisoformat(issued) if issued else None
    except ValueError:
        raise UnusableInput(f"'{issued}' is not a day; write 2026-03-01") from None
    store, by = opened(asked), asked.by

    def work(progress: Progress) -> Done:
        done = register_kept(
            store,
            number,
            given,
            today=date.today(),
            recorded_on=moment_text(),
            by=by,
            issued=day,
            replacing=asked.text("replace") == "yes",
            progress=progress,
        )
        said = _("Wrote {doi} into the bundle, issued on {day}.")
        return Done(asked.at("records", number), said.format(doi=done.doi, day=done.issued))

    return Work(_("Writing the DOI"), work)


@pages.done("/store/{store}/give-out")
def give_out(asked: Asked) -> Answer:
    """Give a record out as a package to work on, with all that was recorded here."""
    store, number = opened(asked), asked.needed("number", _("Number"))
    if not asked.desk.is_shelf:
        raise UnusableInput(_("Open the folder around the store to give a record out beside it."))
    out = asked.desk.free(f"{folder_name(number)}-unpacked")

    def work(progress: Progress) -> Done:
        done = export_record(store, number, out, progress=progress)
        said = _("{verdict}\nFrom the ledger of the store: {count} events more.")
        return Done(
            f"/record/{out.name}", said.format(verdict=done.verdict.in_words, count=done.events)
        )

    return Work(_("Unpacking {number}").format(number=number), work)


def _accession(store: Store, number: str) -> Act:
    for act in store.accessions:
        if act.number == number:
            return act
    raise NotHere(_("The store has no accession {number}.").format(number=number))


def _kept(store: Store, act: Act) -> Kept | None:
    books = Books(store)
    return books.kept(act.record_id) if books.full(act.record_id) else None


def _samples(asked: Asked, store: Store, kept: Kept) -> list[list[object]]:
    places = Places(store.rows("place"))
    rows: list[list[object]] = []
    for number, site in list(kept.samples.items())[:MOST_ROWS]:
        held = kept.holdings.get(number, Holding(number))
        loan = _("until {day}").format(day=held.due_on) if held.lender else ""
        rows.append(
            [
                Cell(number, asked.at("sample", record=kept.accession.number, sample=number)),
                site,
                kept.of("sample").get(number, ""),
                kept.name_of(held.holder) if held.holder else "",
                places.path(held.place_held) or held.place_held,
                loan,
                held.since,
                held.gone,
            ]
        )
    return rows
