"""Keeps the custody ledger: events that are only ever added, each sealed to the one before."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, overload

import polars as pl

from provenance._base.errors import TreenailError
from provenance._base.findings import Finding
from provenance._ledger.branches import Branches
from provenance._ledger.seals import (
    BEFORE,
    BODY,
    CORRECTED_SEAL,
    FILLED_IN,
    SEAL,
    SEALED_AS,
    SEALS,
    Event,
    Signs,
    altered_since_sealed,
    seal_event,
)
from provenance._record.cells import whole_of
from provenance._record.origin import read_origin
from provenance._record.reading import FIRST_ROW
from provenance._record.tables import ROW

if TYPE_CHECKING:
    import pandas as pd
    import polars as pl

    from provenance._record.package import Package
    from provenance._record.snapshot import Snapshot


TABLE = "custody"
NOT_SEALED = "custody.not_sealed"
JOINED = "joined"
"""The event that brings two ends of a ledger together; only merging writes it."""


class BrokenLedger(TreenailError):
    """The custody ledger does not fit together, so nothing may be added to it."""


def append_events(package: Package, events: pd.DataFrame, signer: Signs | None = None) -> None:
    """Add events behind the last one: numbered, sealed and written in one step, under the lock.

    `events` has columns of the table custody (any order, missing ones stay blank; numbers and NA
    are turned to text); what sealing fills in is filled in here. `signer` signs them.
    The package must not be locked by the caller.
    Raises BrokenLedger when the ledger does not fit together or has events that bear no seal, and
    KeyError for an unknown column.
    """
    with package.locked():
        package.write_table(TABLE, ledger_with(package, events, signer))


def ledger_with(
    package: Package, events: pd.DataFrame, signer: Signs | None = None
) -> pd.DataFrame:
    """The whole ledger with `events` behind it, numbered and sealed, for a caller that writes it.

    For those who hold the lock and write other tables in the same step; else as `append_events`.
    """
    import pandas as pd

    if seals_withheld(package.tables):
        raise BrokenLedger(
            f"{package.folder} is a public edition, which has no seals that an event could be "
            "sealed to; record it in the package of the full edition"
        )
    ledger = package.table(TABLE)
    _refuse(package, (one for one in verify_chain(package) if one.severity == "error"))
    # an older record lacks columns that came later; what they do not say needs none
    strange = sorted(set(events.columns) - set(ledger.columns))
    unknown = [one for one in strange if events[one].map(_cell_text).any()]
    if unknown:
        raise KeyError(f"the table custody has no column {', '.join(unknown)}")
    added = events.map(_cell_text).reindex(columns=list(ledger.columns), fill_value="")
    return _sealed_frame(pd.concat([ledger, added], ignore_index=True), signer)


def seal_typed(package: Package, signer: Signs | None = None) -> int:
    """Seal the events at the end that a person typed into the table; returns how many.

    What lost its seal is not sealed anew: raises BrokenLedger when the ledger does not fit together
    as far as it is sealed, and when the bundle that the package comes from had more sealed events.
    The package must not be locked by the caller.
    """
    with package.locked():
        found = [one for one in verify_chain(package) if one.severity == "error"]
        _refuse(package, (one for one in found if one.rule != NOT_SEALED))
        if not found:
            return 0
        first, ledger = int(found[0].key), package.table(TABLE)
        origin = read_origin(package.folder)
        if origin is not None and origin.event_count >= first:
            raise BrokenLedger(
                f"{package.table_path(TABLE)}: {origin.bundle.in_words} had {origin.event_count} "
                f"sealed events, and here event {first} has no seal: it was removed. Unpack "
                "that bundle again. Nothing was sealed."
            )
        package.write_table(TABLE, _sealed_frame(ledger, signer))
        return len(ledger) - first + 1


def _refuse(package: Package, broken: Iterable[Finding]) -> None:
    for one in broken:
        raise BrokenLedger(
            f"{package.table_path(TABLE)}: {one.message} {one.remedy} Nothing was added."
        )


def _sealed_frame(ledger: pd.DataFrame, signer: Signs | None) -> pd.DataFrame:
    import pandas as pd

    names = [str(name) for name in ledger.columns]
    rows = [dict(zip(names, map(str, row), strict=True)) for row in ledger.itertuples(index=False)]
    return pd.DataFrame(sealed(rows, signer), columns=ledger.columns, dtype=str)


def last_seal(package: Package) -> str:
    """The seal of the newest event, '' when there is none; it stands for the whole ledger."""
    there = TABLE in package.model.tables
    seals = package.tables.column(TABLE, "event_sha256") if there else []
    return seals[-1] if seals else ""


def seals_withheld(tables: Snapshot) -> bool:
    """Whether these are the tables of a public edition, in which no seal can be judged."""
    ledger = tables.model.table(TABLE)
    return all(name in ledger and ledger.field(name).withheld for name in SEALS)


def verify_chain(package: Package) -> list[Finding]:
    """Look for the first event that does not fit the ones before it.

    Returns no finding for a ledger that fits together, which alone does not show that it is the
    one that was once written (see `seals`); else one error that names the first event that does not
    fit, or bears no seal, and what that means (later events hang on it, so they are not judged).
    Raises UnusablePackage when there is no such table.
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

    def has_fork(self) -> bool:
        """Whether two sealed events name the same one as that before them, or none."""
        before = self._frame[BEFORE[0]].filter(self._frame[SEAL] != "")
        return before.n_unique() < len(before)

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
    branches = Branches(events) if _has_branches(events) else None
    last, newer = "", False
    for place, event in enumerate(events, start=1):
        row = place + FIRST_ROW - 1
        if event["custody_id"] != str(place) or event.get(SEALED_AS) == str(place):
            said = (
                f"Event number {place} is expected here, but the row says "
                f"'{event['custody_id']}': an event was removed, added or moved."
            )
            return [_finding(row, event, "custody_id", said)]
        if place > count:
            continue
        linked = branches.is_linked(event) if branches else event["previous_sha256"] == last
        if not linked:
            said = _not_linked(place, branches is not None)
            return [_finding(row, event, "previous_sha256", said)]
        if branches.is_older_than_before(event) if branches else newer and not event.get(BODY):
            said = f"Event {place} has a seal of an earlier version, but follows a newer one."
            return [_finding(row, event, BODY, said)]
        if changed := altered_since_sealed(branches.as_sealed(event) if branches else event):
            said = f"does not match its own seal: its {changed} was changed after it was sealed."
            return [_finding(row, event, SEAL, f"Event {place} {said}")]
        if branches and (wrong := branches.misplaced(event)):
            return [_finding(row, event, wrong, f"Event {place} {_MISPLACED[wrong]}")]
        last, newer = event[SEAL], bool(event.get(BODY))
    if branches and len(branches.graph.ends) > 1:
        said = (
            "The ledger has two ends that no event joins: the event that joined them was removed."
        )
        return [_finding(count + FIRST_ROW - 1, events[count - 1], SEAL, said)]
    return [_unsealed(count, len(events), count + FIRST_ROW)] if count < len(events) else []


def _has_branches(events: Sequence[Event]) -> bool:
    """Whether more has to be known of an event than the one in the row before."""
    if isinstance(events, _Events):
        return events.any_filled((SEALED_AS, CORRECTED_SEAL, BEFORE[1])) or events.has_fork()
    before = [event[BEFORE[0]] for event in events if event[SEAL]]
    return len(set(before)) < len(before) or any(
        event.get(name) for event in events for name in (SEALED_AS, CORRECTED_SEAL, BEFORE[1])
    )


_MISPLACED = {
    "custody_id": "was moved: the events before it place it earlier.",
    SEALED_AS: "was moved: its number when it was sealed places it earlier.",
    "corrects_custody_id": "corrects a different event than when it was sealed.",
}


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
    """How many events stand before those at the end that bear nothing of a seal."""
    count = len(events)
    while count and not any(events[count - 1].get(name) for name in FILLED_IN):
        count -= 1
    return count


def sealed(events: Sequence[Event], signer: Signs | None = None) -> list[dict[str, str]]:
    """The events of a ledger, with numbers and seals in those at the end that bear none yet.

    `signer` signs the ones that get a seal.
    """
    rows = [dict(event) for event in events]
    count = _count_sealed(rows)
    renumbered = any(event.get(SEALED_AS) for event in rows[:count])
    before = rows[count - 1][SEAL] if count else ""
    for place, event in enumerate(rows[count:], start=count + 1):
        event["custody_id"] = str(place)
        event["previous_sha256"] = before
        corrects = whole_of(event.get("corrects_custody_id", ""))
        if (renumbered or BODY in event) and corrects and 0 < corrects < place:
            # numbers change when copies are merged
            event[CORRECTED_SEAL] = rows[corrects - 1][SEAL]
        seal_event(event, signer)
        before = event[SEAL]
    return rows


# -- what a break means --------------------------------------------------------------------------

RESTORE_LEDGER = (
    "Restore tables/custody.csv from an older copy or bundle, and record the change as a new event "
    "that names the event it corrects."
)

SEAL_TYPED = (
    "If they were typed into tables/custody.csv, review them and seal them with 'treenail "
    "custody show PACKAGE --seal'. If they had seals before, restore the table from an older copy "
    "or bundle."
)


def _not_linked(place: int, branched: bool) -> str:
    if place == 1:
        return "The first event names an event before it: the beginning of the ledger is missing."
    if branched:
        return (
            f"Event {place} is not sealed to the event before it as that now stands: it was "
            "changed and sealed again, or an event between them was removed or added."
        )
    return (
        f"Event {place} is not sealed to event {place - 1} as it now stands: event {place - 1} was "
        "changed and sealed again, or an event between them was removed or added."
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


def _unsealed(count: int, total: int, row: int) -> Finding:
    one = total == count + 1
    return Finding(
        severity="error",
        rule=NOT_SEALED,
        table=TABLE,
        row=row,
        key=str(count + 1),
        field=SEAL,
        value="",
        message=(
            f"Event {total} has no seal: it was typed in and never sealed, or its seal was "
            if one
            else f"The events {count + 1} to {total} have no seals: they were typed in and never "
            "sealed, or their seals were "
        )
        + "taken off.",
        remedy=SEAL_TYPED,
    )
