"""Lists the loans and requests of a store by its ledgers: open, overdue, ended."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date

from provenance._base.errors import UnusableInput
from provenance._collection.kept import Books, Chosen, Kept
from provenance._collection.recording import LOAN, REQUEST
from provenance._identity.naming import NamedSample
from provenance._identity.selection import number_order
from provenance._ledger.holdings import Event, Holding, after, last_day
from provenance._ledger.requests import GRANTED, Request, requests_in
from provenance._model.edtf import Day
from provenance._store.acts import LEDGER
from provenance._store.numbers import NumberPattern
from provenance._store.store import Store

NEVER = Day(9999, 12, 31)
"""Sorts behind every day: a loan without one."""


@dataclass(frozen=True)
class Item:
    """One sample of a loan or request, as far as the store knows it.

    `ended_by` is the event that ended its loan ('taken_back', 'destroyed' …), '' while it is out;
    `ended_on` the day and `state` the condition in which it came back. `lost_on` is the day on
    which the borrower reported it as lost, while it is not found again; `due_on` (EDTF) the day on
    which a loan is due.
    """

    kept: Kept
    sample_id: str
    ended_by: str = ""
    ended_on: str = ""
    state: str = ""
    lost_on: str = ""
    due_on: str = ""

    @property
    def label(self) -> str:
        """What its label says: 'HOLL-231-JV'; the number alone where no label can say it."""
        named = NamedSample(self.kept.samples.get(self.sample_id, ""), self.sample_id)
        said = named.site_id and named.identifier
        return f"{said}-{named.check}" if said else self.sample_id


@dataclass(frozen=True)
class Loan:
    """One loan: parties by code and by name, what it is for."""

    number: str
    lender: str
    borrower: str
    borrower_name: str
    lent_on: str
    purpose: str
    items: tuple[Item, ...]

    @property
    def out(self) -> tuple[Item, ...]:
        """The samples that have not come back."""
        return tuple(one for one in self.items if not one.ended_by)

    @property
    def due_on(self) -> str:
        """The first day (EDTF) on which something that is out is due; of an ended loan the last."""
        days = sorted((one.due_on for one in self.out or self.items), key=_last_day)
        return days[0] if self.out else days[-1]

    def days_over(self, today: str) -> int:
        """Days since it was due, 0 where it is not due yet or nothing is out."""
        return _days_over(self.due_on, today) if self.out else 0

    def status(self, today: str) -> str:
        """'ended', 'open' or 'overdue'."""
        if not self.out:
            return "ended"
        return "overdue" if self.days_over(today) else "open"


@dataclass(frozen=True)
class Asked:
    """One request: who asks what for which samples, and what was decided of it.

    `decision` is '' until all of it is decided, 'granted', 'refused', or 'granted in part'.
    """

    number: str
    asked_by: str
    asked_by_name: str
    asked_on: str
    purpose: str
    decision: str
    decided_by_name: str
    decided_on: str
    conditions: str
    items: tuple[Item, ...]
    granted: tuple[Item, ...]


def _days_over(due_on: str, today: str) -> int:
    due, now = last_day(due_on), last_day(today)
    if due is None or now is None:
        return 0
    return max(0, (date(*now) - date(*due)).days)


def _last_day(text: str) -> Day:
    return last_day(text) or NEVER


def loans_in(store: Store, number: str = "") -> list[Loan]:
    """The loans of a store in the order of their numbers, or the one of that number.

    Copies of a store that were used apart may have given one number to two loans; both are there.
    """
    found: dict[tuple[str, str, str], Loan] = {}
    for kept in _records_with(store, LOAN, number):
        for event, item in _lent(kept):
            if number not in ("", event.reference) or not LOAN.series_of(event.reference):
                continue
            key = (event.reference, event.happened_on, event.to_party_id)
            loan = found.get(key) or Loan(
                number=event.reference,
                lender=event.from_party_id,
                borrower=event.to_party_id,
                borrower_name=kept.name_of(event.to_party_id),
                lent_on=event.happened_on,
                purpose=event.notes,
                items=(),
            )
            found[key] = replace(loan, items=(*loan.items, item))
    return sorted(found.values(), key=lambda one: number_order(one.number))


def requests_of(store: Store, number: str = "") -> list[Asked]:
    """The requests of a store in the order of their numbers, or the one of that number."""
    asked: dict[str, list[tuple[Kept, Request]]] = {}
    for kept in _records_with(store, REQUEST, number):
        for one in requests_in(kept.events).values():
            if number in ("", one.reference) and REQUEST.series_of(one.reference):
                asked.setdefault(one.reference, []).append((kept, one))
    return [_asked(one, asked[one]) for one in sorted(asked, key=number_order)]


def _asked(number: str, parts: list[tuple[Kept, Request]]) -> Asked:
    kept, first = parts[0]
    decided = [(of, one) for of, one in parts if one.decision]
    decision = ""
    if len(decided) == len(parts):
        words = {one.decision for _, one in parts}
        decision = words.pop() if len(words) == 1 else "granted in part"
    of, last = decided[-1] if decided else (kept, first)
    conditions = dict.fromkeys(one.conditions for _, one in decided if one.conditions)
    return Asked(
        number=number,
        asked_by=first.asked_by,
        asked_by_name=kept.name_of(first.asked_by),
        asked_on=first.asked_on,
        purpose=first.purpose,
        decision=decision,
        decided_by_name=of.name_of(last.decided_by) if last.decided_by else "",
        decided_on=last.decided_on,
        conditions=" ".join(conditions),
        items=tuple(Item(of, one.sample_id) for of, one in parts),
        granted=tuple(Item(of, one.sample_id) for of, one in parts if one.decision == GRANTED),
    )


def loan_named(store: Store, number: str) -> Loan:
    """The loan of that number; raises UnusableInput when there is none, or more than one."""
    found = loans_in(store, number)
    if len(found) == 1:
        return found[0]
    if found:
        said = ", ".join(f"to {one.borrower_name} on {one.lent_on}" for one in found)
        raise UnusableInput(
            f"{number} is the number of {len(found)} loans ({said}), which copies of the store "
            "gave; take back one of them by its samples, and lend them under another number"
        )
    raise UnusableInput(f"{store.folder} has no loan {number}; 'treenail store loans' lists them")


def request_named(store: Store, number: str) -> Asked:
    """The request of that number; raises UnusableInput when there is none."""
    for request in requests_of(store, number):
        return request
    raise UnusableInput(
        f"{store.folder} has no request {number}; 'treenail store loans' lists them"
    )


def samples_under(store: Store, number: str) -> Chosen:
    """The samples that are still out under a loan, or that a request asks for and none decided.

    Raises UnusableInput for a number that is neither.
    """
    if LOAN.series_of(number):
        items: Iterable[Item] = loan_named(store, number).out
    else:
        request = request_named(store, number)
        items = (
            one
            for one in request.items
            if not requests_in(one.kept.events)[number, one.sample_id].decision
        )
    chosen: Chosen = {}
    for one in items:
        chosen.setdefault(one.kept.record_id, []).append(one.sample_id)
    return chosen


def _records_with(store: Store, pattern: NumberPattern, number: str) -> Iterator[Kept]:
    """The records of which the register says that they have loans or requests."""
    ids = dict.fromkeys(
        act.record_id
        for act in store.acts
        if act.kind == LEDGER
        and (act.number == number if number else pattern.series_of(act.number))
    )
    books = Books(store)
    for one in ids:
        yield books.kept(one)


def _lent(kept: Kept) -> Iterator[tuple[Event, Item]]:
    """The loans of single samples of a record, with what became of each."""
    held: dict[str, Holding] = {}
    lent: list[tuple[Event, Item]] = []
    out: dict[str, int] = {}
    for event in kept.events:
        sample = event.sample_id
        before = held.get(sample, Holding(sample))
        now = held[sample] = after(before, event)
        place = out.get(sample)
        if place is not None:
            loan, item = lent[place]
            lent[place] = (loan, replace(item, lost_on=now.since if now.gone == "lost" else ""))
            if not now.lender:
                ended = replace(item, ended_by=event.event, ended_on=event.happened_on)
                lent[place] = (loan, replace(ended, state=event.state))
                del out[sample]
        if event.event != "loaned":
            continue
        if sample in out and now.loan == before.loan:  # more time
            loan, item = lent[out[sample]]
            lent[out[sample]] = (loan, replace(item, due_on=event.loan_due_on))
        else:
            out[sample] = len(lent)
            item = Item(kept, sample, due_on=event.loan_due_on)
            lent.append((event._replace(from_party_id=now.lender), item))
    yield from lent
