"""Holds a ledger against what was kept of it elsewhere, so that one rewritten whole is found out.

Seals fit one another in any ledger that was sealed from its first event to its last, also in one
that somebody invented. What tells it apart is an anchor: its end and the number of its events as
they stood at some time, kept where whoever has the ledger cannot change it (an older bundle, a
receipt, a line of a register). An anchor fits when the ledger still holds that end, standing on so
many events: each seal covers the seals before it, so that all of them are then as they were.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from provenance._base.errors import UnusableInput
from provenance._base.findings import Finding
from provenance._base.standing import BROKEN, CONTRADICTS, NOT_ANCHORED, SOUND, Standing
from provenance._ledger.branches import before_of, seals_at_ends, with_all_before
from provenance._ledger.custody import TABLE, verify_ledger
from provenance._ledger.ed25519 import SignaturesNotTested
from provenance._ledger.seals import Event
from provenance._ledger.signing import verify_signed
from provenance._ledger.statement import Judged
from provenance._record.reading import FIRST_ROW
from provenance._record.snapshot import Snapshot

SHORTEST_HEAD = 32
"""Digits of a seal that are enough to know it by: 128 bits, which nobody finds a second time."""

_SHA256 = 64
_CODE = re.compile(r"\bledger\s+(\d{1,9})((?:\s+[0-9a-f]{2,64}(?![\w-]))+)", re.IGNORECASE)
_SHOWN = 12


@dataclass(frozen=True)
class Anchor:
    """The end of a ledger as it was at some time.

    `source` says where it was kept, in words ('the receipt of 2026.0001'); `head` is the seal of
    the last event, or its first 32 digits or more; `count` how many events it stands on, itself
    included; `on` the day, '' where it is not known.
    `handed_in` is the ledger before whoever keeps it added events of taking it in, which the copy
    of whoever handed it in does not have.
    """

    source: str
    head: str
    count: int
    on: str = ""
    handed_in: Anchor | None = None

    @property
    def code(self) -> str:
        """What a receipt bears and a person types: 'ledger 323 3f2a 91c0 …', 32 digits in fours."""
        digits = self.head[:SHORTEST_HEAD]
        fours = (digits[at : at + 4] for at in range(0, len(digits), 4))
        return f"ledger {self.count} {' '.join(fours)}"

    @property
    def in_words(self) -> str:
        """'the receipt of 2026.0001 (2026-03-01)'."""
        return f"{self.source} ({self.on})" if self.on else self.source


def anchor_from(source: str, head: str, count: str, *, on: str = "") -> Anchor:
    """An anchor from its texts; raises UnusableInput when they cannot be one."""
    digits = "".join(head.split()).lower()
    if not re.fullmatch(rf"[0-9a-f]{{{SHORTEST_HEAD},{_SHA256}}}", digits):
        raise UnusableInput(
            f"{source}: '{head[:80]}' is not the end of a ledger: that has {SHORTEST_HEAD} to "
            f"{_SHA256} digits 0-9 and a-f; copy it again"
        )
    if not re.fullmatch(r"[1-9][0-9]{0,8}", count.strip()):
        raise UnusableInput(
            f"{source}: '{count[:20]}' is not a number of events; copy it again, it stands before "
            "the digits of the seal"
        )
    return Anchor(source, digits, int(count), on)


def anchor_in_text(text: str, source: str) -> Anchor | None:
    """The anchor in a line of a receipt, or in what a scanner read from its code; None for none."""
    found = _CODE.search(text)
    return anchor_from(source, found[2], found[1]) if found else None


def anchor_of(tables: Snapshot, source: str, *, on: str = "") -> Anchor | None:
    """The anchor that a ledger gives for later times; None where it has no sealed event."""
    events = sealed_events(tables)
    if not events:
        return None
    head = events[-1]["event_sha256"]
    return Anchor(source, head, len(with_all_before(before_of(events), [head])), on)


def sealed_events(tables: Snapshot) -> list[Event]:
    """The events of a record that bear a seal, in their order; [] for a record without a ledger."""
    if TABLE not in tables.model.tables:
        return []
    return [one for one in tables.rows(TABLE) if one.get("event_sha256")]


def faults_of(tables: Snapshot) -> list[Finding]:
    """What is wrong with the ledger by itself: seals, signatures, events without a seal.

    That events at the end bear no seal is an error here: this program seals whatever it records, so
    that in a record which is handed on somebody took the seals away or wrote events by hand.
    Raises SignaturesNotTested where there are signatures and no library to test them.
    """
    if TABLE not in tables.model.tables:
        return []
    return [one for one in (*verify_ledger(tables), *verify_signed(tables)) if _is_grave(one)]


def _is_grave(one: Finding) -> bool:
    return one.severity == "error" or one.rule == "custody.not_sealed"


def standing(
    tables: Snapshot,
    anchors: Sequence[Anchor] = (),
    statement: Judged | None = None,
    *,
    faults: Sequence[Finding] | None = None,
) -> Standing:
    """How far the ledger among the tables can be relied on.

    `statement` is the bundle's signed one, judged; `faults` what `faults_of` says, where that is
    known already.
    """
    if faults is None:
        try:
            faults = faults_of(tables)
        except SignaturesNotTested:
            faults = [one for one in verify_ledger(tables) if _is_grave(one)]
    grave = [one for one in faults if one.table == TABLE and _is_grave(one)]
    events = sealed_events(tables)
    # from the first fault on nothing is as it was sealed
    first = min((one.row for one in grave), default=len(events) + FIRST_ROW)
    good = events[: max(first - FIRST_ROW, 0)]
    before = before_of(good)
    said: list[str] = []
    fitting: set[str] = set()
    contradicted = apart = False
    for anchor in anchors:
        below = _events_below(before, anchor)
        if below is None and anchor.handed_in:
            below = _events_below(before, anchor.handed_in)
            if below is not None:
                apart = True
                fitting |= below
                said.append(
                    f"{_sentence(anchor.in_words)} matches as far as it was handed "
                    f"in ({_events(anchor.handed_in.count)}). What was added at accession is "
                    "missing here: this is another copy, to be merged with the one that is "
                    "kept, or someone removed it."
                )
                continue
        if below is not None:
            fitting |= below
            said.append(
                f"{_sentence(anchor.in_words)} fits: the {_events(anchor.count)} that it knew "
                "are here unchanged."
            )
            continue
        contradicted = True
        how = "the ledger was rewritten"
        if len(events) < anchor.count:
            how = "events were removed, unless this was packed before then"
        said.append(
            f"{_sentence(anchor.in_words)} knew {_events(anchor.count)}, ending with the seal "
            f"{anchor.head[:_SHOWN]}…, but here they are not as they were: {how}."
        )
    if contradicted:
        return Standing(CONTRADICTS, tuple(said), len(events), len(fitting))
    if grave:
        said.append(grave[0].message)
        return Standing(BROKEN, tuple(said), len(events), len(fitting))
    if statement is not None:
        if fault := _other_ledger(statement, events):
            return Standing(BROKEN, (*said, fault), len(events), len(fitting))
        said += statement.said
    rest = [one for one in events if one["event_sha256"] not in fitting]
    vouched = statement is not None and statement.trusted
    if fitting and rest and vouched:
        said.append(f"{_sentence(_numbered(rest))} came after it and are in that statement.")
    if fitting and not apart and (vouched or not rest):
        if not vouched:
            said.append("It cannot show whether there were later events that someone removed.")
        return Standing(SOUND, tuple(said), len(events), len(fitting))
    if rest or not fitting:
        said.append(_unknown(rest, bool(fitting)))
    return Standing(NOT_ANCHORED, tuple(said), len(events), len(fitting))


def _events_below(before: Mapping[str, Sequence[str]], anchor: Anchor) -> set[str] | None:
    """The seals of the events that the anchor's end stands on, None where it does not fit."""
    for seal in before:
        if seal.startswith(anchor.head):
            below = with_all_before(before, [seal])
            return below if len(below) == anchor.count else None
    return None


def _other_ledger(statement: Judged, events: Sequence[Event]) -> str:
    """What is wrong when a bundle's statement is not of the ledger in it, '' when nothing is."""
    if (list(statement.heads), statement.events) == (seals_at_ends(events), len(events)):
        return ""
    return (
        f"The statement in the bundle is of a ledger of {_events(statement.events)} with another "
        "end: the ledger or the statement was swapped."
    )


def _unknown(rest: Sequence[Event], partly: bool) -> str:
    ways = "give an older bundle, a receipt or a register line with --anchor"
    if partly:
        return (
            f"{_sentence(_numbered(rest))} came after it: anyone who had this bundle could have "
            f"added or removed events there; {ways} of a later day."
        )
    if not rest:
        return f"It has no events: anyone who had this bundle could have removed them; {ways}."
    return (
        "The seals match one another, but anyone who had this bundle could have rewritten the "
        f"entire ledger; {ways}."
    )


def _numbered(events: Sequence[Event]) -> str:
    """Events by their numbers: 'event 4', 'events 301 to 320 (20)'."""
    first, last = events[0]["custody_id"], events[-1]["custody_id"]
    if len(events) == 1:
        return f"event {first}"
    return f"events {first} to {last} ({len(events)})"


def _events(count: int) -> str:
    return f"{count} event{'s' * (count != 1)}"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
