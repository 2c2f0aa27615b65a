"""Replays the custody ledger: who holds each sample, where, in what state, now or on a day.

A sample is always with exactly one party. Between 'handed_over' (or 'returned') and 'received' it
is on the way: the giver no longer has it, the taker does not have it yet.

An event that names an earlier one in `corrects_custody_id` stands in its place; an event of the
kind 'corrected' only strikes the earlier one out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, NamedTuple

from provenance._base.errors import UnreadableValue
from provenance._base.languages import N_
from provenance._model.edtf import Day, bounds, is_edtf
from provenance._record.attempts import failed_attempts
from provenance._record.joined import former_keys_of_events

if TYPE_CHECKING:
    import pandas as pd

    from provenance._record.package import Package
    from provenance._record.snapshot import Snapshot


SENDING = ("handed_over", "returned")
"""Events after which a sample is on the way until it is received."""

DEACCESSIONED = N_("deaccessioned")
NO_LONGER_THERE = (N_("lost"), N_("destroyed"))


class Event(NamedTuple):
    """One event of the ledger that counts, in the texts of its row.

    A tuple, as Holding is: ledgers of a million events are replayed, and it is made in a fifth of
    the time of a data class.
    """

    custody_id: str
    event: str
    happened_on: str
    sample_id: str
    consignment_id: str = ""
    from_party_id: str = ""
    to_party_id: str = ""
    place_held: str = ""
    state: str = ""
    corrects_custody_id: str = ""
    notes: str = ""
    loan_due_on: str = ""
    reference: str = ""
    parent_sample_id: str = ""
    request_decision: str = ""


LATER = ("loan_due_on", "reference", "parent_sample_id", "request_decision")
"""Fields of events that the ledgers of earlier versions lack."""


class Holding(NamedTuple):
    """Where one sample is after an event.

    `holder` is '' before it is collected and while it is on the way to `on_the_way_to`;
    `answerable` is who had it last. `gone` is 'lost', 'destroyed' or 'deaccessioned', or ''.
    While it is on loan, `lender` is who lent it until `due_on`, under the number `loan`; also while
    it is lost there.
    """

    sample_id: str
    holder: str = ""
    answerable: str = ""
    on_the_way_to: str = ""
    consignment_id: str = ""
    place_held: str = ""
    state: str = ""
    gone: str = ""
    since: str = ""
    custody_id: str = ""
    lender: str = ""
    due_on: str = ""
    loan: str = ""


def first_day(text: str) -> Day | None:
    """The earliest day that an EDTF date can mean, or None."""
    return bounds(text)[0] if is_edtf(text) else None


def last_day(text: str) -> Day | None:
    """The latest day that an EDTF date can mean, or None."""
    return bounds(text)[1] if is_edtf(text) else None


def events_of(tables: Snapshot) -> list[Event]:
    """The events that count, in the order of the ledger, corrections in the place of the wrong.

    They name samples, parcels and parties by the keys these bear now, whatever was sealed.

    An event of a whole parcel, without a sample, stands for every sample that earlier events put
    into the parcel and that has no such event of its own. Not to be changed: all who ask get one.
    """

    def read(tables: Snapshot) -> list[Event]:
        # a ledger of an older schema may lack columns, and what it lacks is blank
        rows = list(map(Event._make, tables.tuples("custody", Event._fields)))
        return list(standing_events(_under_keys_of_now(tables, rows)))

    return tables.once("events of the ledger", read)


def _under_keys_of_now(tables: Snapshot, rows: list[Event]) -> list[Event]:
    renamed = {
        column: now
        for column, now in former_keys_of_events(tables).items()
        if column in Event._fields
    }
    if not renamed:
        return rows
    return [
        row._replace(**{c: now.get(old := getattr(row, c), old) for c, now in renamed.items()})
        for row in rows
    ]


def holdings_of(tables: Snapshot) -> Mapping[str, Holding]:
    """Where each sample is after its last event, the samples in the order of the ledger."""
    return tables.once("holdings", lambda tables: replay(events_of(tables)))


def standing_events(rows: Iterable[Event]) -> Iterator[Event]:
    """The events among the `rows` of a ledger that count, as `events_of` has them, one by one.

    `rows` is gone through more than once, so that a long ledger need not be held in memory.
    """
    corrections = [row for row in rows if row.corrects_custody_id]
    corrects = {row.custody_id: row.corrects_custody_id for row in corrections}
    # a correction of a correction stands where the first wrong event stood
    replaced = {_first_wrong(row.corrects_custody_id, corrects): row for row in corrections}
    as_a_whole = {row.consignment_id for row in rows if row.consignment_id and not row.sample_id}
    own = {
        (row.event, row.consignment_id, row.sample_id)
        for row in rows
        if row.sample_id and row.consignment_id in as_a_whole
    }
    parcels: dict[str, dict[str, None]] = {parcel: {} for parcel in as_a_whole}
    for row in rows:
        if row.corrects_custody_id:
            continue
        standing = replaced.get(row.custody_id, row)
        if standing.event == "corrected":
            continue
        if standing.sample_id:
            if standing.consignment_id in parcels:
                parcels[standing.consignment_id][standing.sample_id] = None
            yield standing
        elif standing.consignment_id:
            for sample in parcels[standing.consignment_id]:
                if (standing.event, standing.consignment_id, sample) not in own:
                    yield standing._replace(sample_id=sample)


def _first_wrong(custody_id: str, corrects: Mapping[str, str]) -> str:
    seen: set[str] = set()
    while custody_id in corrects and custody_id not in seen:
        seen.add(custody_id)
        custody_id = corrects[custody_id]
    return custody_id


def samples_in_parcel(events: Iterable[Event], consignment_id: str) -> list[str]:
    """The samples that events put into a parcel, in the order in which they were packed.

    A sample that was packed into it and then, before the parcel left, stored or packed elsewhere
    was taken out of it.
    """
    found: dict[str, None] = {}
    waiting: set[str] = set()
    for event in events:
        sample = event.sample_id
        if event.consignment_id == consignment_id:
            found[sample] = None
            (waiting.add if event.event == "packed" else waiting.discard)(sample)
        elif sample in waiting:
            waiting.remove(sample)
            if event.event in ("stored", "packed"):
                del found[sample]
    return list(found)


def replay(events: Iterable[Event]) -> dict[str, Holding]:
    """The holding of every sample after its last event. Faulty events move it all the same."""
    holdings: dict[str, Holding] = {}
    for event in events:
        before = holdings.get(event.sample_id, Holding(event.sample_id))
        holdings[event.sample_id] = after(before, event)
    return holdings


def after(before: Holding, event: Event) -> Holding:
    """The holding of a sample after one more event."""
    now = before._replace(
        since=event.happened_on,
        custody_id=event.custody_id,
        state=event.state or before.state,
        consignment_id=event.consignment_id or before.consignment_id,
        place_held=event.place_held or before.place_held,
    )
    if event.event in SENDING:
        giver = event.from_party_id or before.holder
        return now._replace(
            holder="", answerable=giver, on_the_way_to=event.to_party_id, place_held=""
        )
    if event.event == "received":
        if event.state == "missing":
            return now._replace(holder="", on_the_way_to=before.on_the_way_to, gone="lost")
        taker = event.to_party_id or before.on_the_way_to
        return _held_by(now, taker, event.place_held)
    if event.event in ("collected", "deposited", "found_in_collection"):
        return _held_by(now, event.to_party_id or before.holder, event.place_held)
    if event.event == "loaned":
        lent = _held_by(now, event.to_party_id, "")
        lender = before.lender or before.holder
        return lent._replace(lender=lender, due_on=event.loan_due_on, loan=event.reference)
    if event.event == "taken_back":
        return _held_by(now, event.to_party_id or before.lender, event.place_held)
    if event.event == DEACCESSIONED:
        if event.to_party_id:
            return _held_by(now, event.to_party_id, "")
        return _no_more(now, DEACCESSIONED)
    if event.event == "found":
        finder = event.to_party_id or before.answerable
        again = _held_by(now, finder, event.place_held)
        if finder != before.answerable:
            return again
        # what a borrower lost and found again is still on loan
        return again._replace(lender=before.lender, due_on=before.due_on, loan=before.loan)
    if event.event == "sub_sampled" and event.parent_sample_id:
        return _held_by(now, event.to_party_id, event.place_held)
    if event.event in NO_LONGER_THERE:
        return _no_more(now, event.event)
    return now


_LENT = ("lender", "due_on", "loan")


def _held_by(now: Holding, party: str, place: str) -> Holding:
    here = now._replace(holder=party, answerable=party, on_the_way_to="", gone="")
    return here._replace(place_held=place, lender="", due_on="", loan="")


def _no_more(now: Holding, gone: str) -> Holding:
    lent = {} if gone == "lost" else dict.fromkeys(_LENT, "")
    return now._replace(holder="", gone=gone, on_the_way_to="", place_held="", **lent)


def refusal(before: Holding, event: Event) -> str | None:
    """Why the event cannot follow, in one sentence with what to do; None when it can.

    The rules: one holder at a time, nothing received that was not sent, no going back in time,
    nothing done to what is lost or used up (common practice, no source).
    """
    sample = f"sample {event.sample_id}"
    earlier = first_day(before.since)
    latest = last_day(event.happened_on)
    if earlier is not None and latest is not None and latest < earlier:
        return (
            f"{sample}: {event.happened_on} is before its last event of {before.since}; give a "
            "later day, or correct the earlier event"
        )
    if event.event == "collected":
        if before.custody_id:
            return f"{sample} was already collected (event {before.custody_id}); leave it out"
        return None if event.to_party_id else f"{sample}: say who has it now, with --to"
    if event.event == "found_in_collection" and before.gone not in NO_LONGER_THERE:
        if before.holder or before.on_the_way_to:
            return f"{sample} is with {before.answerable} already; leave it out"
        return None if event.to_party_id else f"{sample}: say who has it now, with --to"
    if event.event == "sub_sampled" and event.parent_sample_id:
        if before.custody_id:
            return f"{sample} is there already (event {before.custody_id}); give another number"
        return None if event.to_party_id else f"{sample}: say who has it now, with --to"
    if not before.custody_id:
        return (
            f"{sample} has no event yet; record first that it was collected, or found in the "
            "collection"
        )
    if event.event == "found":
        if before.gone != "lost":
            return f"{sample} is not recorded as lost, so it cannot be found again"
        return None
    if before.gone:
        return (
            f"{sample} is {before.gone} since {before.since}; record that it was found, or correct "
            f"event {before.custody_id}"
        )
    if event.event == "received":
        return _refuse_receipt(before, event, sample)
    if before.on_the_way_to:
        return (
            f"{sample} is on the way to {before.on_the_way_to} since {before.since}; record first "
            "that it was received there"
        )
    if event.event == "decided":
        return None
    if event.from_party_id and event.from_party_id != before.holder:
        return (
            f"{sample} is with {before.holder}, not with {event.from_party_id}; only one can hold "
            "it at a time. Correct the giver, or record the missing event first"
        )
    if event.event == "taken_back" and not before.lender:
        return f"{sample} is not on loan: it is with {before.holder} since {before.since}"
    if event.event == "taken_back" and event.reference not in ("", before.loan):
        return f"{sample} is out on loan {before.loan or 'without a number'}, not {event.reference}"
    longer = gives_more_time(before, event)
    if before.lender and (
        (event.event == "loaned" and not longer)
        or (event.event in (*SENDING, "deposited") and event.to_party_id != before.lender)
    ):
        return (
            f"{sample} is on loan to {before.holder} from {before.lender}; record first that it "
            "came back, with 'taken_back'"
        )
    if event.event == "loaned":
        due = first_day(event.loan_due_on)
        if due is None:
            return f"{sample}: say until when it is lent, with --due"
        if latest is not None and due < latest:
            return f"{sample}: it would be due back on {event.loan_due_on}, before it is lent"
    if event.event in (*SENDING, "deposited", "loaned") and not longer:
        if not event.to_party_id:
            return f"{sample}: say who receives it, with --to"
        if event.to_party_id == before.holder:
            return f"{sample} is with {before.holder} already"
    return None


def gives_more_time(before: Holding, event: Event) -> bool:
    """Whether an event lends what is on loan to the same borrower, under the same number, anew."""
    same = event.reference == before.loan and event.to_party_id in ("", before.holder)
    return event.event == "loaned" and bool(before.loan) and same


def _refuse_receipt(before: Holding, event: Event, sample: str) -> str | None:
    if not before.on_the_way_to:
        return (
            f"{sample} was not sent: it is with {before.holder} since {before.since}; record first "
            "that it was handed over"
        )
    if event.to_party_id and event.to_party_id != before.on_the_way_to:
        return (
            f"{sample} is on the way to {before.on_the_way_to}, not to {event.to_party_id}; "
            f"correct event {before.custody_id} if it was sent elsewhere"
        )
    if event.consignment_id and before.consignment_id != event.consignment_id:
        return (
            f"{sample} was sent in {before.consignment_id or 'no parcel'}, not in "
            f"{event.consignment_id}"
        )
    return None


def life_of(package: Package, sample_id: str) -> list[Event]:
    """The events of one sample that count, in the order of the ledger."""
    return [one for one in events_of(package.tables) if one.sample_id == sample_id]


def holdings_frame(package: Package, *, as_of: str | None = None) -> pd.DataFrame:
    """Who holds what: one row a sample with the columns of Holding, in the order of the samples.

    `as_of` (EDTF) leaves out events that certainly happened after that day. Samples without any
    event have a row with empty cells, because they are the ones to look for. Raises UnreadableValue
    for an `as_of` that is no date: an answer about another day would be taken for that day's.
    """
    import pandas as pd

    until = last_day(as_of) if as_of is not None else None
    if as_of is not None and until is None:
        raise UnreadableValue(as_of, "is not a date; write 2024-06-03")
    held = replay(_until(events_of(package.tables), until))
    failed = failed_attempts(package.tables)
    known = (one for one in package.tables.column("sample", "sample_id") if one not in failed)
    samples = list(dict.fromkeys([*known, *held]))
    rows = [held.get(sample, Holding(sample)) for sample in samples]
    return pd.DataFrame(rows, columns=list(Holding._fields), dtype=str)


def _until(events: Iterable[Event], until: Day | None) -> Iterator[Event]:
    for event in events:
        happened = first_day(event.happened_on)
        if until is None or happened is None or happened <= until:
            yield event


def overdue(package: Package, *, today: str) -> pd.DataFrame:
    """Parcels that should be back: one row a sample still out, longest out first.

    Columns: consignment_id, sample_id, party (who has it or is to get it), sent_on, due_on,
    days_out, days_over (blank when no day was agreed). When the parcel's row does not say when it
    was sent, the ledger does. `today` is a day, YYYY-MM-DD.
    """
    import pandas as pd

    now = last_day(today)
    assert now is not None
    events = events_of(package.tables)
    held = holdings_of(package.tables)
    sent = {
        (one.consignment_id, one.sample_id): one.happened_on
        for one in reversed(events)
        if one.event in SENDING and one.consignment_id
    }
    rows = []
    for parcel in package.tables.rows("consignment"):
        for sample, holding in held.items():
            if holding.consignment_id != parcel["consignment_id"] or holding.gone:
                continue
            party = holding.holder or holding.on_the_way_to
            if party != parcel["to_party_id"]:
                continue
            sent_on = parcel["sent_on"] or sent.get((holding.consignment_id, sample), "")
            days = (_days_between(sent_on, now), _days_between(parcel["due_on"], now))
            rows.append((holding.consignment_id, sample, party, sent_on, parcel["due_on"], *days))
    texts = ["consignment_id", "sample_id", "party", "sent_on", "due_on"]
    frame = pd.DataFrame(rows, columns=[*texts, "days_out", "days_over"])
    return frame.sort_values("days_out", ascending=False, kind="stable", na_position="last")


def _days_between(text: str, now: Day) -> int | None:
    from datetime import date

    start = last_day(text)
    if start is None:
        return None
    return (date(*now) - date(*start)).days
