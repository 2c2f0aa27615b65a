"""Records custody events: refuses what cannot be, then seals and adds what can."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING

from provenance._base.errors import TreenailError
from provenance._history.entering import enter_table
from provenance._ledger.custody import JOINED, append_events
from provenance._ledger.ed25519 import Signer
from provenance._ledger.holdings import (
    Event,
    Holding,
    after,
    events_of,
    refusal,
    replay,
    samples_in_parcel,
)
from provenance._ledger.signing import signer_for
from provenance._model.edtf import Day, bounds, is_edtf
from provenance._record.attempts import failed_attempts
from provenance._record.joined import keys_now

if TYPE_CHECKING:
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
    signer: Signer | None = None,
) -> tuple[Event, ...]:
    """Record one event for each of `samples`, all or none; returns them as they were written.

    `states` says for single samples what was found ('broken', 'missing'); the rest of a received
    parcel is 'present'. For 'handed_over' and 'received' what is left out is filled in from the
    ledger (giver, taker). `corrects` is the number of one wrong event, of the one sample given.
    `signer` signs them, and its party is who records where `recorded_by` is left out.

    Raises Refused with one sentence a sample when an event cannot follow, and TreenailError for
    codes, samples and parties that the package does not know or dates that are no EDTF.
    """
    import pandas as pd

    states = dict(states or {})
    if signer:
        recorded_by = signer_for(package.tables, signer, recorded_by, recorded_on)
    _check_words(package, event, samples, states, [from_party_id, to_party_id, recorded_by])
    if not is_edtf(happened_on):
        raise TreenailError(f"'{happened_on}' is not a date; write 2024-06-03")
    refuse_day_to_come(happened_on, recorded_on)
    if corrects and len(samples) != 1:
        raise TreenailError("a correction is about one event, so name one sample")
    standing = events_of(package.tables)
    if not corrects:
        refuse_what_gave_nothing(package, samples)
    else:
        _check_correction(package, corrects, samples[0])
        standing = [one for one in standing if one.custody_id != corrects]
    held = replay(standing)
    refused, added = [], []
    for sample in samples:
        before = held.get(sample, Holding(sample))
        new = Event(
            custody_id="",
            event=event,
            happened_on=happened_on,
            sample_id=sample,
            consignment_id=consignment_id,
            from_party_id=from_party_id,
            to_party_id=to_party_id,
            place_held=place_held,
            state=states.get(sample, "present" if event == "received" else ""),
            corrects_custody_id=corrects,
            notes=notes,
        )
        # a correction is put into the past on purpose, so only the present is judged
        why = None if corrects else refusal(before, new)
        if why:
            refused.append(why)
            continue
        new = _completed(before, new)
        held[sample] = after(before, new)
        added.append(new)
    if refused:
        raise Refused("nothing was recorded:\n" + "\n".join(f"  {why}" for why in refused))
    frame = pd.DataFrame(added, columns=list(Event._fields), dtype=str)
    append_events(package, frame.assign(recorded_on=recorded_on, recorded_by=recorded_by), signer)
    if consignment_id and not corrects:
        _date_parcel(package, consignment_id, event, happened_on, recorded_on)
    return tuple(added)


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


def _completed(before: Holding, new: Event) -> Event:
    if new.event in ("handed_over", "returned", "deposited") and not new.from_party_id:
        new = new._replace(from_party_id=before.holder)
    if new.event == "taken_back" and not new.to_party_id:
        new = new._replace(to_party_id=before.lender)
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
    package: Package,
    event: str,
    samples: Sequence[str],
    states: Mapping[str, str],
    parties: Sequence[str],
) -> None:
    import difflib

    model = package.model
    for code, name in [(event, "custody_event"), *((s, "sample_state") for s in states.values())]:
        codes = model.vocabularies[name].codes
        if code not in codes:
            near = difflib.get_close_matches(code, codes, n=1)
            hint = f"; did you mean '{near[0]}'?" if near else ""
            raise TreenailError(f"'{code}' is not one of {', '.join(codes)}{hint}")
    if event == JOINED:
        raise TreenailError(f"'{JOINED}' is recorded by 'treenail merge' alone")
    if not samples:
        raise TreenailError("name at least one sample, or a parcel with samples in it")
    known_samples = set(package.tables.column("sample", "sample_id"))
    strange = [sample for sample in (*samples, *states) if sample not in known_samples]
    if strange:
        raise TreenailError(f"the table 'sample' has no {', '.join(dict.fromkeys(strange))}")
    beside = [sample for sample in states if sample not in samples]
    if beside:
        raise TreenailError(f"a state is given for {', '.join(beside)}, not among the samples")
    known_parties = set(package.tables.column("party", "party_id"))
    strangers = [party for party in parties if party and party not in known_parties]
    if strangers:
        raise TreenailError(
            f"the table 'party' has no {', '.join(strangers)}; there are "
            f"{', '.join(sorted(known_parties)) or 'none'}"
        )


def _check_correction(package: Package, corrects: str, sample: str) -> None:
    rows = package.tables.rows("custody")
    wrong = next((one for one in rows if one["custody_id"] == corrects), None)
    if wrong is None:
        raise TreenailError(f"there is no event {corrects} to correct")
    named = keys_now(package.tables, "sample").get(wrong["sample_id"], wrong["sample_id"])
    if named != sample:
        raise TreenailError(f"event {corrects} is about sample {named}, not about {sample}")
