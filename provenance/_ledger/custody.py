"""Keeps the custody ledger: events that are only ever added, each sealed to the one before.

How to compute a seal by hand, with nothing of this program:

1. Take one row of tables/custody.csv. Leave out the columns event_sha256, signer_key, signature and
   sealed_custody_id, and every column whose cell is blank. previous_sha256 stays in, so that each
   event covers the one before; the first event has none.
2. Write what is left as one JSON object on one line. Every value is a text, exactly as it stands in
   the cell, numbers too ("17"). The members stand in the order of their names, with no blanks
   between them: {"custody_id":"1","event":"collected","happened_on":"2024-06-03"}. Only the double
   quote, the backslash and control characters are escaped. This is the JSON Canonicalization
   Scheme, RFC 8785.
3. Encode it in UTF-8 and take its SHA-256 (FIPS 180-4), in lower-case hexadecimal. That is
   event_sha256, and it is the next event's previous_sha256.

A blank column does not count, so a later version may add columns without breaking old seals. The
chain shows every change, insertion, removal or exchange of events but one: events cut off at the
end. Keep the last seal elsewhere as well (a bundle has it in bundle.json) and the end is safe too.

Where copies of a record were merged, the ledger had two ends, and one event 'joined' names both, in
previous_sha256 and also_previous_sha256. Events are numbered through in the merged ledger; one that
had another number when it was sealed has that in sealed_custody_id, and its seal is computed with
it: custody_id is what sealed_custody_id says, and corrects_custody_id is the number that the
corrected event was sealed with. An event that was sealed in such a ledger names what it corrects by
its seal in corrects_sha256; then corrects_custody_id is left out.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, overload

import polars as pl
import rfc8785

from provenance._base.errors import TreenailError
from provenance._base.findings import Finding
from provenance._record.cells import whole_of
from provenance._record.reading import FIRST_ROW
from provenance._record.tables import ROW

if TYPE_CHECKING:
    import pandas as pd
    import polars as pl

    from provenance._record.package import Package
    from provenance._record.snapshot import Snapshot


TABLE = "custody"
JOINED = "joined"
"""The event that brings two ends of a ledger together; only merging writes it."""
SEALED_AS = "sealed_custody_id"
CORRECTED_SEAL = "corrects_sha256"
NOT_COVERED = frozenset({"event_sha256", "signer_key", "signature", SEALED_AS})
"""Columns that a seal does not cover: itself, and what is put on top of it afterwards."""
SEALS = ("previous_sha256", "event_sha256")
BEFORE = ("previous_sha256", "also_previous_sha256")
Event = Mapping[str, str]
"""A row of the ledger: the texts in its cells, by column."""


class BrokenLedger(TreenailError):
    """The custody ledger does not fit together, so nothing may be added to it."""


def event_hash(row: Mapping[str, str]) -> str:
    """The seal of one event: SHA-256 of its RFC 8785 canonical JSON, lower-case hexadecimal.

    `row` maps the columns of the table custody to the texts in their cells; the module says what
    counts. Raises ValueError when a text holds something that is no character (a lone surrogate).

    >>> event_hash({"custody_id": "1", "event": "collected", "notes": ""})
    '68a16930d218f9261b865089c3554bcae89c477ac9097e8e7e5bbe332cfa5387'
    """
    return hashlib.sha256(rfc8785.dumps(_covered(row))).hexdigest()


def _covered(row: Event) -> dict[str, str]:
    said = {name: text for name, text in row.items() if text and name not in NOT_COVERED}
    if row.get(SEALED_AS):
        said["custody_id"] = row[SEALED_AS]
    if CORRECTED_SEAL in said:
        said.pop("corrects_custody_id", None)
    return said


def named_before(event: Event) -> list[str]:
    """The seals of the events that one names as those before it: none, one, or two joined."""
    return [seal for name in BEFORE if (seal := event.get(name))]


def with_all_before(before: Mapping[str, Sequence[str]], seals: Iterable[str]) -> set[str]:
    """Some events and all before them; `before` maps the seal of each event to what it names."""
    found: set[str] = set()
    waiting = list(seals)
    while waiting:
        seal = waiting.pop()
        if seal not in found:
            found.add(seal)
            waiting += before.get(seal, ())
    return found


def in_ledger_order(event: Event) -> tuple[int, str, str]:
    """Sorts sealed events: each comes after those it names, whichever copy was merged first."""
    return _number_when_sealed(event), event["happened_on"], event["event_sha256"]


def _number_when_sealed(event: Event) -> int:
    return whole_of(event.get(SEALED_AS) or event["custody_id"]) or 0


def _bears_its_seal(event: Event) -> bool:
    """Whether an event's seal is the one of its text.

    For texts only, the standard library's JSON with sorted names is the canonical form, and it is
    four times as fast; where it says no, the RFC 8785 library has the last word.
    """
    seal = event["event_sha256"]
    quick = json.dumps(_covered(event), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(quick.encode()).hexdigest() == seal or event_hash(event) == seal


def append_events(package: Package, events: pd.DataFrame) -> None:
    """Add events behind the last one: numbered, sealed and written in one step, under the lock.

    `events` has columns of the table custody (any order, missing ones stay blank; numbers and NA
    are turned to text); the columns custody_id, previous_sha256 and event_sha256 are filled in
    here. Events that were read in from a field form and are not sealed yet are sealed first, in
    their order. The package must not be locked by the caller.
    Raises BrokenLedger when the ledger does not fit together, and KeyError for an unknown column.
    """
    with package.locked():
        package.write_table(TABLE, ledger_with(package, events))


def ledger_with(package: Package, events: pd.DataFrame) -> pd.DataFrame:
    """The whole ledger with `events` behind it, numbered and sealed, for a caller that writes it.

    For those who hold the lock and write other tables in the same step; else as `append_events`.
    """
    import pandas as pd

    ledger = package.table(TABLE)
    broken = [one for one in verify_chain(package) if one.severity == "error"]
    if broken:
        raise BrokenLedger(
            f"{package.table_path(TABLE)}: {broken[0].message} {broken[0].remedy} "
            "Nothing was added."
        )
    unknown = sorted(set(events.columns) - set(ledger.columns))
    if unknown:
        raise KeyError(f"the table custody has no column {', '.join(unknown)}")
    added = events.map(_cell_text).reindex(columns=list(ledger.columns), fill_value="")
    together = pd.concat([ledger, added], ignore_index=True)
    names = [str(name) for name in together.columns]
    rows = [
        dict(zip(names, map(str, row), strict=True)) for row in together.itertuples(index=False)
    ]
    return pd.DataFrame(sealed(rows), columns=together.columns, dtype=str)


def last_seal(package: Package) -> str:
    """The seal of the newest event, '' when there is none; it stands for the whole ledger."""
    there = TABLE in package.model.tables
    seals = package.tables.column(TABLE, "event_sha256") if there else []
    return seals[-1] if seals else ""


def verify_chain(package: Package) -> list[Finding]:
    """Look for the first event that does not fit the ones before it.

    Returns no finding for a sound ledger; one error that names the first event that does not fit
    and what that means (later events hang on it, so they are not judged); or one warning when
    events at the end are not sealed yet. Raises UnusablePackage when there is no such table.
    """
    return verify_ledger(package.tables)


def verify_ledger(tables: Snapshot) -> list[Finding]:
    """The same for the tables of a package, as they were read."""
    ledger = tables.texts(TABLE)
    if missing := [name for name in ("custody_id", *SEALS) if name not in ledger.columns]:
        return [_finding(1, {}, missing[0], f"The ledger has no column {missing[0]}.")]
    return verify_events(_Events(ledger.drop(ROW)))


class _Events(Sequence[Event]):
    """The rows of a frame one by one, so that a long ledger is not held as dictionaries."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self._frame = frame

    def __len__(self) -> int:
        return len(self._frame)

    def __iter__(self) -> Iterator[Event]:
        return self._frame.iter_rows(named=True)

    def any_filled(self, names: Iterable[str]) -> bool:
        """Whether a cell in one of the columns holds anything."""
        there = [self._frame[name] for name in names if name in self._frame.columns]
        return any((column != "").any() for column in there)

    @overload
    def __getitem__(self, place: int) -> Event: ...
    @overload
    def __getitem__(self, place: slice) -> Sequence[Event]: ...
    def __getitem__(self, place: int | slice) -> Event | Sequence[Event]:
        if isinstance(place, slice):
            return _Events(self._frame[place])
        return self._frame.row(place, named=True)


def verify_events(events: Sequence[Event]) -> list[Finding]:
    """The same for the events of a ledger, in their order."""
    count = _count_sealed(events)
    branches = _Branches(events) if _is_merged(events) else None
    last = ""
    for place, event in enumerate(events, start=1):
        row = place + FIRST_ROW - 1
        if event["custody_id"] != str(place) or event.get(SEALED_AS) == str(place):
            said = (
                f"Event number {place} should stand here but the row says "
                f"'{event['custody_id']}': an event was taken out, put in or moved."
            )
            return [_finding(row, event, "custody_id", said)]
        if place > count:
            continue
        linked = branches.is_linked(event) if branches else event["previous_sha256"] == last
        if not linked:
            said = _not_linked(place, branches is not None)
            return [_finding(row, event, "previous_sha256", said)]
        if not _bears_its_seal(branches.as_sealed(event) if branches else event):
            said = "does not bear its own seal: its text was changed after it was sealed."
            return [_finding(row, event, "event_sha256", f"Event {place} {said}")]
        if branches and (wrong := branches.misplaced(event)):
            return [_finding(row, event, wrong, f"Event {place} {_MISPLACED[wrong]}")]
        last = event["event_sha256"]
    if branches and len(branches.ends) > 1:
        said = (
            "The ledger has two ends that no event joins: the event that joined them was cut off."
        )
        return [_finding(count + FIRST_ROW - 1, events[count - 1], "event_sha256", said)]
    return [_unsealed(count, len(events), count + FIRST_ROW)] if count < len(events) else []


def _is_merged(events: Sequence[Event]) -> bool:
    names = (SEALED_AS, CORRECTED_SEAL, BEFORE[1])
    if isinstance(events, _Events):
        return events.any_filled(names)
    return any(event.get(name) for event in events for name in names)


_MISPLACED = {
    SEALED_AS: "was moved: by its number when it was sealed it comes earlier.",
    "corrects_custody_id": "is said to correct another event than when it was sealed.",
}


class _Branches:
    """What is known of a merged ledger while its events are gone through.

    `ends` are the events that none so far names as the one before it.
    """

    def __init__(self, events: Sequence[Event]) -> None:
        self._was = {one["custody_id"]: one[SEALED_AS] for one in events if one.get(SEALED_AS)}
        self._seals = [one["event_sha256"] for one in events]
        self._before: dict[str, list[str]] = {}
        self._numbers: dict[str, int] = {}
        self._last = (0, "", "")
        self.ends: set[str] = set()

    def is_linked(self, event: Event) -> bool:
        """Whether what the event names is there, and its number counts all events before it."""
        named = named_before(event)
        if any(one not in self._before for one in named):
            return False
        # only where two ends were joined do the events before have to be counted
        before = [self._numbers[one] for one in named]
        count = len(self._all_before(event)) if len(named) > 1 else sum(before)
        return _number_when_sealed(event) == count + 1

    def _all_before(self, event: Event) -> set[str]:
        return with_all_before(self._before, named_before(event))

    def as_sealed(self, event: Event) -> Event:
        """The event with the number that the event it corrects was sealed with."""
        corrects = event.get("corrects_custody_id", "")
        if corrects not in self._was:
            return event
        return {**event, "corrects_custody_id": self._was[corrects]}

    def misplaced(self, event: Event) -> str:
        """The column that does not say what it did when the event was sealed, or ''."""
        place = in_ledger_order(event)
        if place <= self._last:
            return SEALED_AS
        if not self._corrects_what_it_did(event):
            return "corrects_custody_id"
        self._last = place
        self._before[event["event_sha256"]] = named_before(event)
        self._numbers[event["event_sha256"]] = place[0]
        self.ends = (self.ends - set(named_before(event))) | {event["event_sha256"]}
        return ""

    def _corrects_what_it_did(self, event: Event) -> bool:
        """Of two events with one number, it is the one named by its seal, or the one before it."""
        place = whole_of(event.get("corrects_custody_id", ""))
        target = self._seals[place - 1] if place and 0 < place <= len(self._seals) else ""
        if event.get(CORRECTED_SEAL):
            return target == event[CORRECTED_SEAL]
        return not target or target in self._all_before(event)


# -- sealing -------------------------------------------------------------------------------------


def _cell_text(value: object) -> str:
    """A value as its cell says it; line ends as LF, since a lone CR does not survive in a CSV."""
    import pandas as pd

    if value is None or value is pd.NA or value is pd.NaT or value != value:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).replace("\r\n", "\n").replace("\r", "\n")


def _count_sealed(events: Sequence[Event]) -> int:
    """How many events stand before those at the end that bear neither seal."""
    count = len(events)
    while count and not any(events[count - 1][name] for name in SEALS):
        count -= 1
    return count


def sealed(events: Sequence[Event]) -> list[dict[str, str]]:
    """The events of a ledger, with numbers and seals in those at the end that bear none yet."""
    rows = [dict(event) for event in events]
    count = _count_sealed(rows)
    renumbered = any(event.get(SEALED_AS) for event in rows[:count])
    before = rows[count - 1]["event_sha256"] if count else ""
    for place, event in enumerate(rows[count:], start=count + 1):
        event["custody_id"] = str(place)
        event["previous_sha256"] = before
        corrects = whole_of(event.get("corrects_custody_id", ""))
        if renumbered and corrects and 0 < corrects < place:
            # two events may have been sealed with that number
            event[CORRECTED_SEAL] = rows[corrects - 1]["event_sha256"]
        before = event["event_sha256"] = event_hash(event)
    return rows


# -- what a break means --------------------------------------------------------------------------

RESTORE_LEDGER = (
    "Restore tables/custody.csv from an older copy or bundle, and record what was to be changed "
    "as a new event that names the event it corrects."
)


def _not_linked(place: int, branched: bool) -> str:
    if place == 1:
        return "The first event names an event before it: the beginning of the ledger is missing."
    if branched:
        return (
            f"Event {place} is not sealed to the event before it as that now stands: it was "
            "changed and sealed anew, or an event between them was taken out or put in."
        )
    return (
        f"Event {place} is not sealed to event {place - 1} as it now stands: event {place - 1} was "
        "changed and sealed anew, or an event between them was taken out or put in."
    )


def _finding(row: int, event: Mapping[str, str], field: str, message: str) -> Finding:
    return Finding(
        severity="error",
        rule="custody.chain_broken",
        table=TABLE,
        row=row,
        key=event.get("custody_id", ""),
        field=field,
        value=event.get(field, ""),
        message=message,
        remedy=RESTORE_LEDGER,
    )


def _unsealed(sealed: int, total: int, row: int) -> Finding:
    return Finding(
        severity="warning",
        rule="custody.not_sealed",
        table=TABLE,
        row=row,
        key=str(sealed + 1),
        field="event_sha256",
        value="",
        message=(
            f"The events {sealed + 1} to {total} are not sealed yet, so a change to them "
            "would not show."
        ),
        remedy="Check them; they are sealed when the next event is recorded.",
    )
