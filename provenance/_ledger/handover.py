"""Records custody events: refuses what cannot be, then seals and adds what can."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from provenance._base.errors import TreenailError, UnusableInput
from provenance._history.entering import enter_table
from provenance._ledger.custody import JOINED, append_events
from provenance._ledger.ed25519 import Signer
from provenance._ledger.holdings import (
    LATER,
    Event,
    Holding,
    after,
    events_of,
    gives_more_time,
    refusal,
    replay,
    samples_in_parcel,
)
from provenance._ledger.requests import refusal_by_requests, requests_in, take_note
from provenance._ledger.signing import signer_for
from provenance._model.edtf import Day, bounds, is_edtf
from provenance._record.attempts import failed_attempts
from provenance._record.joined import keys_now

if TYPE_CHECKING:
    from provenance._model.schema import Vocabulary
    from provenance._record.package import Package


class Refused(TreenailError):
    """Events that cannot follow what the ledger holds; nothing was recorded."""


def samples_of_parcel(package: Package, consignment_id: str) -> list[str]:
    """The samples packed into a parcel, in the order of the ledger; raises TreenailError."""
    known = package.tables.column("consignment", "consignment_id")
    if consignment_id not in known:
        raise TreenailError(
            f"there is no consignment '{consignment_id}'; there are {', '.join(known) or 'none'}"
        )
    packed = samples_in_parcel(events_of(package.tables), consignment_id)
    if not packed:
        raise TreenailError(
            f"no sample was packed into '{consignment_id}'; record 'packed' with its samples first"
        )
    return packed


@dataclass(frozen=True)
class Known:
    """What events of a record may name.

    `lists` are vocabularies by name; `samples_in` and `parties_in` say where the others stand.
    """

    lists: Mapping[str, Vocabulary]
    samples: Collection[str]
    parties: Collection[str]
    samples_in: str = "the table 'sample'"
    parties_in: str = "the table 'party'"


def record_events(
    package: Package,
    event: str,
    samples: Sequence[str],
    *,
    happened_on: str,
    recorded_on: str,
    recorded_by: str = "",
    consignment_id: str = "",
    from_party_id: str = "",
    to_party_id: str = "",
    place_held: str = "",
    states: Mapping[str, str] | None = None,
    corrects: str = "",
    notes: str = "",
    loan_due_on: str = "",
    reference: str = "",
    decision: str = "",
    signer: Signer | None = None,
) -> tuple[Event, ...]:
    """Record one event for each of `samples`, all or none; returns them as they were written.

    `states` says for single samples what was found ('broken', 'missing'); the rest of a received
    parcel is 'present'. For 'handed_over' and 'received' what is left out is filled in from the
    ledger (giver, taker). `corrects` is the number of one wrong event, of the one sample given.
    Nothing happens after the day on which it is written down (`recorded_on`).
    `signer` signs them, and its party is who records where `recorded_by` is left out.

    Raises Refused with one sentence a sample when an event cannot follow, and TreenailError for
    codes, samples and parties that the package does not know or dates that are no EDTF.
    """
    import pandas as pd

    if signer:
        recorded_by = signer_for(package.tables, signer, recorded_by, recorded_on)
    said = Event(
        custody_id="",
        event=event,
        happened_on=happened_on,
        sample_id="",
        consignment_id=consignment_id,
        from_party_id=from_party_id,
        to_party_id=to_party_id,
        place_held=place_held,
        corrects_custody_id=corrects,
        notes=notes,
        loan_due_on=loan_due_on,
        reference=reference,
        request_decision=decision,
    )
    known = Known(
        package.model.vocabularies,
        set(package.tables.column("sample", "sample_id")),
        set(package.tables.column("party", "party_id")),
    )
    wanted = events_for(
        samples, said, states or {}, known, recorded_by=recorded_by, recorded_on=recorded_on
    )
    if missing := [name for name in LATER if getattr(said, name) and name not in _columns(package)]:
        raise TreenailError(
            f"this record has no column '{missing[0]}' in its ledger; update it with 'treenail new "
            f"{package.folder} --update' first"
        )
    standing = events_of(package.tables)
    if corrects:
        rows = package.tables.rows("custody")
        check_correction(corrects, samples, rows, keys_now(package.tables, "sample"))
    else:
        refuse_what_gave_nothing(package, samples)
    added, refused = following(standing, wanted)
    refuse(refused)
    frame = pd.DataFrame(added, columns=list(Event._fields), dtype=str)
    frame = frame.drop(columns=[name for name in LATER if name not in _columns(package)])
    append_events(package, frame.assign(recorded_on=recorded_on, recorded_by=recorded_by), signer)
    if consignment_id and not corrects:
        _date_parcel(package, consignment_id, event, happened_on, recorded_on)
    return tuple(added)


def _columns(package: Package) -> Collection[str]:
    return package.model.table("custody").names


def events_for(
    samples: Sequence[str],
    said: Event,
    states: Mapping[str, str],
    known: Known,
    *,
    recorded_by: str = "",
    recorded_on: str,
) -> list[Event]:
    """What is `said` once, as an event of each sample.

    Raises TreenailError for words, dates, samples and parties that cannot stand in an event.
    """
    _check_words(said, samples, states, known, recorded_by)
    for text in filter(None, (said.happened_on, said.loan_due_on)):
        if not is_edtf(text):
            raise TreenailError(f"'{text}' is not a date; write 2024-06-03")
    refuse_day_to_come(said.happened_on, recorded_on)
    usual = "present" if said.event in ("received", "taken_back") else ""
    return [said._replace(sample_id=one, state=states.get(one, usual)) for one in samples]


def following(
    standing: Iterable[Event],
    wanted: Iterable[Event],
    refusal_here: Callable[[Holding, Event], str | None] = lambda before, event: None,
) -> tuple[list[Event], list[str]]:
    """The events that can follow those of a ledger, filled in, and why others cannot.

    A correction is put into the past on purpose, so only the present is judged. `refusal_here` says
    what whoever keeps the ledger allows less.
    """
    wanted = list(wanted)
    corrected = {one.corrects_custody_id for one in wanted} - {""}
    standing = [one for one in standing if one.custody_id not in corrected]
    held, asked = replay(standing), requests_in(standing)
    added, refused = [], []
    for new in wanted:
        before = held.get(new.sample_id, Holding(new.sample_id))
        # as it is written: what is filled in would be judged to fit
        why = refusal(before, new) or refusal_by_requests(asked, new) or refusal_here(before, new)
        if why and not new.corrects_custody_id:
            refused.append(why)
            continue
        new = _completed(before, new)
        held[new.sample_id] = after(before, new)
        take_note(asked, new)
        added.append(new)
    return added, refused


def refuse(why: Sequence[str]) -> None:
    """Raise Refused with these sentences, if there are any."""
    if why:
        raise Refused("nothing was recorded:\n" + "\n".join(f"  {one}" for one in why))


def refuse_day_to_come(happened_on: str, recorded_on: str) -> None:
    """Raise TreenailError where something is written down before the day on which it happens.

    Both are EDTF. It may be the next day already where it happened, as seen from UTC.
    """
    first = bounds(happened_on)[0]
    if first is None or not is_edtf(recorded_on):
        return
    last = bounds(recorded_on)[1]
    if last and first > Day(*(date(*last) + timedelta(days=1)).timetuple()[:3]):
        raise TreenailError(
            f"{happened_on} is still to come (it is {recorded_on[:10]}); correct the date, or "
            "record it when it has happened"
        )


def refuse_what_gave_nothing(package: Package, samples: Iterable[str]) -> None:
    """Raise TreenailError where one of `samples` is an attempt that gave none."""
    if failed := failed_attempts(package.tables).intersection(samples):
        raise TreenailError(
            f"these attempts gave no sample: {', '.join(sorted(failed))}; leave them out, or "
            "correct 'Result of the attempt' if something was taken after all"
        )


_FROM_HOLDER = ("handed_over", "returned", "deposited", "loaned", "taken_back", "deaccessioned")


def _completed(before: Holding, new: Event) -> Event:
    if gives_more_time(before, new):
        return new._replace(to_party_id=before.holder)
    if new.event in _FROM_HOLDER and not new.from_party_id:
        new = new._replace(from_party_id=before.holder)
    if new.event == "taken_back" and not new.to_party_id:
        new = new._replace(to_party_id=before.lender)
    if new.event == "taken_back" and not new.reference:
        new = new._replace(reference=before.loan)
    if new.event == "received":
        new = new._replace(
            from_party_id=new.from_party_id or before.answerable,
            to_party_id=new.to_party_id or before.on_the_way_to,
            consignment_id=new.consignment_id or before.consignment_id,
        )
    return new


def _date_parcel(
    package: Package, consignment_id: str, event: str, happened_on: str, recorded_on: str
) -> None:
    """Write the day of sending or arrival into the parcel's row where nobody has written one."""
    field = {"packed": "packed_on", "handed_over": "sent_on", "received": "received_on"}.get(event)
    if field is None:
        return
    with package.locked():
        parcels = [dict(row) for row in package.tables.rows("consignment")]
        blank = [p for p in parcels if p["consignment_id"] == consignment_id and not p.get(field)]
        for parcel in blank:
            parcel[field] = happened_on
        if blank:
            enter_table(package, "consignment", parcels, why="handover", when=recorded_on)


def _check_words(
    said: Event,
    samples: Sequence[str],
    states: Mapping[str, str],
    known: Known,
    recorded_by: str,
) -> None:
    import difflib

    coded = [(said.event, "custody_event"), *((one, "sample_state") for one in states.values())]
    if said.request_decision:
        coded.append((said.request_decision, "request_decision"))
    for code, name in coded:
        codes = known.lists[name].codes if name in known.lists else ()
        if code not in codes:
            near = difflib.get_close_matches(code, codes, n=1)
            hint = f"; did you mean '{near[0]}'?" if near else ""
            raise TreenailError(f"'{code}' is not one of {', '.join(codes)}{hint}")
    if said.event == JOINED:
        raise TreenailError(f"'{JOINED}' is recorded by 'treenail merge' alone")
    if not samples:
        raise TreenailError("name at least one sample, or a parcel with samples in it")
    strange = [sample for sample in (*samples, *states) if sample not in known.samples]
    if strange:
        raise TreenailError(f"{known.samples_in} has no {', '.join(dict.fromkeys(strange))}")
    beside = [sample for sample in states if sample not in samples]
    if beside:
        raise TreenailError(f"a state is given for {', '.join(beside)}, not among the samples")
    parties = (said.from_party_id, said.to_party_id, recorded_by)
    strangers = [party for party in parties if party and party not in known.parties]
    if strangers:
        raise TreenailError(
            f"{known.parties_in} has no {', '.join(strangers)}; there are "
            f"{', '.join(sorted(known.parties)) or 'none'}"
        )


def check_correction(
    corrects: str,
    samples: Sequence[str],
    rows: Iterable[Mapping[str, str]],
    renamed: Mapping[str, str],
) -> None:
    """Raise TreenailError where the event to be corrected is not one of the one sample named.

    `rows` are those of the ledger; `renamed` has the numbers that samples bore before.
    """
    if len(samples) != 1:
        raise TreenailError("a correction is about one event, so name one sample")
    wrong = next((one for one in rows if one["custody_id"] == corrects), None)
    if wrong is None:
        raise TreenailError(f"there is no event {corrects} to correct")
    named = renamed.get(wrong["sample_id"], wrong["sample_id"])
    if named != samples[0]:
        raise TreenailError(f"event {corrects} is about sample {named}, not about {samples[0]}")


def said_of(recorded: Sequence[Event], events: Vocabulary, found: Vocabulary) -> str:
    """What was recorded, on a line: 'Received: 231, 232 (broken)'."""
    return f"{events.label(recorded[0].event)}: " + ", ".join(
        f"{one.sample_id} ({found.label(one.state).lower()})"
        if one.state not in ("", "present")
        else one.sample_id
        for one in recorded
    )


def pairs_of(texts: Iterable[str], called: str) -> list[tuple[str, str]]:
    """What is said of single samples as SAMPLE=WORD; raises UnusableInput for anything else."""
    pairs = []
    for text in texts:
        sample, equals, word = text.rpartition("=")
        if not equals or not sample or not word:
            example = "231=231B" if called == "--part" else "231=broken"
            raise UnusableInput(f"{called} {text}: write it as {example}")
        pairs.append((sample, word))
    return pairs
