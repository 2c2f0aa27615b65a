"""Brings custody events of a field log into the ledger, which is only ever added to."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace

from provenance._intake.lines.readings import ReadRow, UnreadCell
from provenance._intake.table_rows import TableRows

TABLE = "custody"
NUMBER, CORRECTS = "custody_id", "corrects_custody_id"

Lines = Mapping[tuple[str, str, int], str]
"""(file name, sheet, row) → number in the ledger, of what was read before."""


@dataclass(frozen=True)
class TakenEvents:
    """`new` are the events to seal and add, in their order; `rows` bear their ledger numbers."""

    new: list[dict[str, str]]
    rows: list[ReadRow]
    unread: list[UnreadCell]


def take_events(rows: list[ReadRow], ledger: TableRows, known_lines: Lines) -> TakenEvents:
    """Tell events that are in the ledger from new ones.

    The ledger numbers its events itself; the log's own numbers only serve to find an event again,
    and to know which one another event corrects. An event whose text was changed in the log since
    it was recorded is not changed in the ledger: its texts come back as unread cells.
    """
    waiting: dict[frozenset[tuple[str, str]], list[str]] = defaultdict(list)
    for row in ledger:
        waiting[_content(row, ledger)].append(row[NUMBER])
    numbers: dict[str, str] = {}  # the log's own number → the ledger's
    recorded = {row[NUMBER]: row for row in ledger}
    known_numbers = set(known_lines.values())
    next_number = len(ledger.rows) + 1
    taken = TakenEvents([], [], [])
    changed: list[ReadRow] = []
    unmatched: list[ReadRow] = []
    claimed: dict[int, str] = {}
    for read in rows:
        found = waiting.get(_content(read.values, ledger), [])
        if not found:
            unmatched.append(read)
            continue
        own = read.values.get(NUMBER, "")
        number = own if own in found else found[0]
        found.remove(number)
        claimed[id(read)] = number
    in_use = set(claimed.values())
    for read in unmatched:
        own = read.values.get(NUMBER, "")
        line = (read.place.file_name, read.place.sheet, read.place.row)
        before = known_lines.get(line, own if own in known_numbers else "")
        if before and before in recorded and before not in in_use:
            in_use.add(before)
            claimed[id(read)] = before
            changed.append(read)
        else:
            claimed[id(read)] = str(next_number)
            next_number += 1
    for read in rows:
        if own := read.values.get(NUMBER, ""):
            numbers.setdefault(own, claimed[id(read)])
    for read in rows:
        number = claimed[id(read)]
        values = dict(read.values) | {NUMBER: number}
        if corrects := values.get(CORRECTS):
            values[CORRECTS] = numbers.get(corrects, corrects)
        if number not in recorded:
            taken.new.append(values)
        taken.rows.append(replace(read, key=number, values=values))
    for read in changed:
        taken.unread.extend(_differences(read, recorded[claimed[id(read)]]))
    return taken


def _content(row: Mapping[str, str], ledger: TableRows) -> frozenset[tuple[str, str]]:
    """What an event says, without its numbers and seals."""
    return frozenset(
        (one.name, row[one.name])
        for one in ledger.table.fields
        if one.obtained != "computed" and one.name not in (NUMBER, CORRECTS) and row.get(one.name)
    )


def _differences(read: ReadRow, recorded: Mapping[str, str]) -> list[UnreadCell]:
    number = recorded[NUMBER]
    return [
        UnreadCell(
            TABLE,
            number,
            name,
            value,
            f'differs from event {number} of the ledger, which says "{recorded[name]}"; recorded '
            "events are never changed, so record a new event that corrects it "
            f"(corrects_custody_id {number})",
            read.place.at(read.place.row, read.headings.get(name, "")),
            "not_overwritten",
        )
        for name, value in read.values.items()
        if name not in (NUMBER, CORRECTS) and recorded.get(name, "") != value
    ]
