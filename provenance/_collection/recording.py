"""Records what a store does with its samples: sealed events behind the ledger of each record."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from provenance._base.errors import TreenailError
from provenance._collection.kept import Books, Kept
from provenance._identity.check_character import check_character, check_letters
from provenance._identity.payload import is_inside, read_scan
from provenance._identity.place_code import place_code
from provenance._ledger.ed25519 import Signer
from provenance._ledger.handover import (
    Known,
    check_correction,
    events_for,
    following,
    refuse,
)
from provenance._ledger.holdings import DEACCESSIONED, Event, Holding, first_day
from provenance._model.schema import read_core
from provenance._store.acts import LEDGER, Act
from provenance._store.home import refuse_copy
from provenance._store.numbers import number_pattern
from provenance._store.places import Places
from provenance._store.settings import settings_in
from provenance._store.store import FORMER_SAMPLE, Store

LOAN, REQUEST = number_pattern("L{year}.{serial:03}"), number_pattern("R{year}.{serial:03}")
_NUMBERED = {"loaned": LOAN, "requested": REQUEST}
_OF_THE_STORE = ("stored", "loaned", "sub_sampled", "seen", DEACCESSIONED)
_PART_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
"""Without I and O, which are read as figures (common practice, no source)."""
_LONGEST_STAMPED, _LONGEST = 8, 48


@dataclass(frozen=True)
class Said:
    """What one act says of all its samples; the words are those of the table custody.

    `states` are what single samples were found to be and `parts` the numbers that single samples'
    parts get, both by record and sample. `today` is the day (YYYY-MM-DD) after which nothing
    happens.
    """

    event: str
    happened_on: str
    today: str
    recorded_by: str = ""
    consignment_id: str = ""
    from_party_id: str = ""
    to_party_id: str = ""
    place_held: str = ""
    notes: str = ""
    loan_due_on: str = ""
    reference: str = ""
    decision: str = ""
    corrects: str = ""
    states: Mapping[tuple[str, str], str] = field(default_factory=dict)
    parts: Mapping[tuple[str, str], str] = field(default_factory=dict)


@dataclass(frozen=True)
class Recorded:
    """What was written: the number of the loan or request, '' for none, and record → events."""

    reference: str
    events: Mapping[str, tuple[Event, ...]]


def record_in_store(
    store: Store,
    samples: Mapping[str, Sequence[str]],
    said: Said,
    *,
    recorded_on: str,
    by: str = "",
    signer: Signer | None = None,
) -> Recorded:
    """Record one event of each of the samples, all of them or nothing: record → numbers.

    A loan or request gets the next number of the store; 'loaned' under the number of a loan gives
    more time for what is out. A part that is cut off gets a number that nothing in the record had.
    `by` is who writes it down, as the register has it; `recorded_on` is when (RFC 3339).

    Raises Refused with one sentence for each sample whose event cannot follow, CopyOfStore where a
    copy of a store would give a number, and TreenailError for words, samples, parties, places and
    dates that cannot be.
    """
    if not any(samples.values()):
        raise TreenailError("name at least one sample")
    if said.corrects and sum(map(len, samples.values())) != 1:
        raise TreenailError("a correction is about one event, so name one sample")
    if said.event in (*_NUMBERED, "sub_sampled") and not (said.reference or said.corrects):
        refuse_copy(store)
    written: dict[str, tuple[Event, ...]] = {}
    day = date.fromisoformat(said.today)
    with store.writing(on=day, recorded_on=recorded_on, by=by, signer=signer) as writing:
        reference = _reference(writing.acts, said)
        place = place_in(writing.store, said.place_held)
        keeper, books = settings_in(store.folder).party_id, Books(writing.store)
        refused: list[str] = []
        for record_id, numbers in samples.items():
            kept = books.kept(record_id, writing.ledger(record_id))
            event = _template(said, reference, place)
            wanted = _wanted(kept, numbers, event, said, recorded_on)

            def refusal_here(before: Holding, new: Event) -> str | None:
                return _refusal_here(before, new, keeper)

            added, why = following(kept.events, wanted, refusal_here)
            refused += [f"{kept.accession.number}, {one}" for one in why]
            if not why:
                rows = [one._asdict() | {"recorded_by": said.recorded_by} for one in added]
                about = {one.reference for one in added}
                number = about.pop() if len(about) == 1 else ""
                writing.add_events(record_id, rows, number)
                written[record_id] = tuple(added)
        refuse(refused)
    return Recorded(reference, written)


def _reference(acts: Sequence[Act], said: Said) -> str:
    pattern = _NUMBERED.get(said.event)
    if pattern is None or said.corrects:
        return said.reference
    taken = [act.number for act in acts if act.kind == LEDGER]
    if said.event == "loaned" and said.reference and said.reference in taken:
        return said.reference  # more time for what is out under it
    if said.reference:
        raise TreenailError(
            f"the store gives the number of a {_NOUN[said.event]} itself; leave out --reference"
        )
    happened = first_day(said.happened_on)
    if happened is None:
        raise TreenailError(f"'{said.happened_on}' is not a date; write 2024-06-03")
    return pattern.next_number(taken, date(*happened))


_NOUN = {"loaned": "loan", "requested": "request"}


def _template(said: Said, reference: str, place: str) -> Event:
    return Event(
        custody_id="",
        event=said.event,
        happened_on=said.happened_on,
        sample_id="",
        consignment_id=said.consignment_id,
        from_party_id=said.from_party_id,
        to_party_id=said.to_party_id,
        place_held=place,
        corrects_custody_id=said.corrects,
        notes=said.notes,
        loan_due_on=said.loan_due_on,
        reference=reference,
        request_decision=said.decision,
    )


def _wanted(
    kept: Kept, numbers: Sequence[str], event: Event, said: Said, recorded_on: str
) -> list[Event]:
    """The events of one record that an act asks for."""
    _refuse_two_names(kept, (event.from_party_id, event.to_party_id, said.recorded_by))
    _refuse_parcel(kept, event.consignment_id)
    number = kept.accession.number
    known = Known(
        read_core().vocabularies,
        kept.samples,
        kept.parties,
        samples_in=f"the record {number}",
        parties_in=f"the table 'party' of the store or of {number}",
    )
    states = {
        one: state for (record, one), state in said.states.items() if record == kept.record_id
    }
    if event.corrects_custody_id:
        check_correction(event.corrects_custody_id, numbers, kept.ledger, kept.of(FORMER_SAMPLE))
    wanted = events_for(
        numbers, event, states, known, recorded_by=said.recorded_by, recorded_on=recorded_on
    )
    if event.event != "sub_sampled" or event.corrects_custody_id:
        return wanted
    taken = kept.taken
    both = []
    for one in wanted:
        asked = said.parts.get((kept.record_id, one.sample_id), "")
        part = _part_number(one.sample_id, kept.samples[one.sample_id], taken, asked)
        taken.add(part)
        before = kept.holdings.get(one.sample_id, Holding(one.sample_id))
        both += [
            one._replace(place_held=""),
            one._replace(
                sample_id=part,
                parent_sample_id=one.sample_id,
                to_party_id=before.holder,
                place_held=one.place_held or before.place_held,
            ),
        ]
    return both


def _part_number(parent: str, site: str, taken: set[str], asked: str) -> str:
    """The number of a part: the sample's with a letter behind it, which no label misreads.

    Raises TreenailError where none can be made, or the one that was asked for cannot be had.
    """
    stamped = parent.isascii() and parent.isalnum() and len(parent) <= _LONGEST_STAMPED
    longest = _LONGEST_STAMPED if stamped else _LONGEST
    if asked:
        plain = asked.isascii() and asked.isalnum() and asked == asked.upper()
        if asked in taken:
            raise TreenailError(
                f"{asked} stood for something in this record already; give another number"
            )
        if len(asked) > longest or (stamped and not plain):
            raise TreenailError(
                f"'{asked}' cannot be the number of a part of {parent}: write at most {longest} "
                "capitals and digits"
            )
        return asked
    # 203A would be read as sample 203 with its check letter where that is A
    label = f"{site}-{parent}"
    try:
        misread = {check_character(label), check_letters(label)}
    except TreenailError:  # a number as found, which no label says so
        misread = set()
    letters: list[str] = [*_PART_LETTERS, *(a + b for a in _PART_LETTERS for b in _PART_LETTERS)]
    for letter in letters:
        number = parent + letter
        if letter not in misread and number not in taken and len(number) <= longest:
            return number
    raise TreenailError(
        f"no number of at most {longest} characters is left for a part of {parent}; give one with "
        f"--part {parent}=NUMBER"
    )


def _refuse_two_names(kept: Kept, codes: Sequence[str]) -> None:
    for code in filter(None, codes):
        mine, theirs = kept.shop.get(code, {}).get("name", ""), kept.of("party").get(code, "")
        if mine and theirs and _plain(mine) != _plain(theirs):
            raise TreenailError(
                f"the code {code} is '{mine}' in the store and '{theirs}' in the record "
                f"{kept.accession.number}; give the store's party another code in party.csv "
                "('treenail store enter STORE party FILE'), and use that"
            )


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()


def _refuse_parcel(kept: Kept, consignment_id: str) -> None:
    known = kept.of("consignment")
    if consignment_id and consignment_id not in known:
        raise TreenailError(
            f"the record {kept.accession.number} has no consignment '{consignment_id}'; there are "
            f"{', '.join(known) or 'none'}"
        )


def _refusal_here(before: Holding, event: Event, keeper: str) -> str | None:
    """What a store allows less than a field record (common practice, no source)."""
    sample = f"sample {event.sample_id}"
    if event.event not in _OF_THE_STORE or event.parent_sample_id:
        return None
    if event.event == "stored" and not event.place_held:
        return f"{sample}: say where it is put, with --place"
    if before.lender and event.event in ("stored", "sub_sampled"):
        due = f" until {before.due_on}" if before.due_on else ""
        return (
            f"{sample} is on loan to {before.holder}{due}; record first that it came back, with "
            "'taken_back'"
        )
    if keeper and keeper not in (before.holder, before.lender):
        return (
            f"{sample} is with {before.holder} by its ledger, not with {keeper}; record first how "
            f"it came here ('received', or 'deposited' with --to {keeper})"
        )
    return None


def place_in(store: Store, text: str) -> str:
    """The code of a place of the store, as typed or scanned; any words where it has no places.

    Raises TreenailError for a place that the store does not have.
    """
    places = Places(store.rows("place"))
    if not text or not places.rows or text in places.rows:
        return text
    meant = read_scan(text).inside if is_inside(text) else place_code(text)
    if meant in places.by_code:
        return places.by_code[meant]
    near = difflib.get_close_matches(text, places.rows, n=1)
    hint = f"; did you mean '{near[0]}'?" if near else "."
    raise TreenailError(
        f"the store has no place '{text}'{hint} Enter new places with 'treenail store enter "
        f"{store.folder} place FILE'"
    )
