"""Holds register, ledgers, cards, tables and bundles of a store against one another."""

from __future__ import annotations

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from types import MappingProxyType

from provenance._base.listed import listed
from provenance._ledger.branches import Graph
from provenance._ledger.custody import verify_events
from provenance._ledger.seals import SEAL
from provenance._ledger.seals import Event as Row
from provenance._store.acts import (
    ACCESSION,
    AUDITED,
    LEDGER,
    REGISTER,
    SETTLED,
    WROTE,
    Act,
    accessions_in,
    ends_of,
    faults_in,
    stood_on,
)
from provenance._store.current import standing_accessions, tips_among
from provenance._store.paper import ActAnchor
from provenance._store.settings import SETTINGS
from provenance._store.standing import disputed_in
from provenance._store.store import card_path, ledger_path

_MOST_NAMED = 3

_COPY = "restore it from a copy of the store"
_FROM_COPY = f"{_COPY}; or settle it and say why"
REMEDIES: Mapping[str, str] = MappingProxyType(
    {
        "register broken": _FROM_COPY,
        "register not joined": "merge the copy of the store that has the other end "
        "('treenail store merge STORE COPY'); or settle it, which joins both",
        "register contradicts paper": "lines were removed or rewritten since it was printed: "
        + _FROM_COPY,
        "number given twice": "accession one of the two bundles anew, and withdraw its old line",
        "missing": "restore it from a copy; or 'treenail store withdraw STORE NUMBER' with the "
        "reason why it is gone",
        "moved": "move it back",
        "exchanged": "move each bundle back to its place",
        "foreign": "find out what it is and move it away; restore the bundle from a copy",
        "tags altered": "restore the bundle from a copy: its contents are as they were, its tags "
        "are not",
        "damaged": "restore it from a sound copy",
        "faulty": "the files are as they were packed, but the record has errors: 'treenail verify' "
        "lists them",
        "not readable": "check the storage and its permissions",
        "withdrawn but there": "remove it, or accession it again",
        "duplicate": "remove it, if no one needs it here",
        "unregistered": "accession it, or move it away",
        "unregistered edition": "accession it, or move it away",
        "card missing": _COPY,
        "card altered": _COPY,
        "ledger broken": _COPY,
        "ledger cut": _COPY,
        "ledger rewritten": _COPY,
        "ledger ahead": "the register lacks lines about it: restore the register from a copy",
        "two holders": "find out where the sample is, and record it with 'treenail custody "
        "handover'",
        "branched": "merge both records ('treenail merge'), pack the result and accession it",
        "table altered": _FROM_COPY,
    }
)
"""Every kind of finding, the gravest first, and what to do about it."""


@dataclass(frozen=True)
class StoreFinding:
    """Something in a store that does not fit the rest of it.

    `seen` stands for what was seen: the same fault in another state is another finding. `path` is
    relative to the store; `said` is a sentence about it.
    """

    kind: str
    number: str = ""
    record_id: str = ""
    path: str = ""
    seen: str = ""
    said: str = ""

    @property
    def finding_id(self) -> str:
        """SHA-256 over all but the words; an act that settles it names this."""
        known_by = [self.kind, self.number, self.record_id, self.path, self.seen]
        return hashlib.sha256(json.dumps(known_by).encode()).hexdigest()

    @property
    def remedy(self) -> str:
        """What to do."""
        return REMEDIES[self.kind]

    @property
    def about(self) -> str:
        """The number that it is about, and the file."""
        return ", ".join(one for one in (self.number, self.path) if one)


@dataclass(frozen=True)
class Lying:
    """A bundle that lies in the store; `bag` and `payload` as in Identity, '' if not readable.

    `outcome` is that of its last examination in words of REMEDIES, '' if it was sound or has not
    been examined; `faults` what was wrong then, `why` is the cause in words, `sound_at` when it was
    last sound.
    """

    path: str
    bag: str = ""
    payload: str = ""
    outcome: str = ""
    faults: tuple[str, ...] = ()
    why: str = ""
    sound_at: str = ""


def told(
    findings: Iterable[StoreFinding], acts: Iterable[Act]
) -> tuple[list[StoreFinding], list[StoreFinding]]:
    """Those that are open, the gravest first, and those that a person has settled."""
    settled = {act.finding for act in acts if act.kind == SETTLED}
    order = list(REMEDIES)
    every = sorted(findings, key=lambda one: (order.index(one.kind), one.number, one.path))
    return (
        [one for one in every if one.finding_id not in settled],
        [one for one in every if one.finding_id in settled],
    )


# -- the register --------------------------------------------------------------------------------


def register_findings(acts: Sequence[Act], anchors: Iterable[ActAnchor]) -> Iterator[StoreFinding]:
    """What is wrong with the register by itself, and against ends of it that were printed."""
    broken = list(faults_in(acts))
    for act, said in broken:
        seen = _digest(list(vars(act).values()))
        yield StoreFinding("register broken", path=REGISTER, seen=seen, said=said)
    if not broken and len(ends := ends_of(acts)) > 1:
        said = "two copies of the store were used apart, and no line joins them"
        yield StoreFinding("register not joined", path=REGISTER, seen=" ".join(ends), said=said)
    for anchor in anchors:
        heads = [act.act_id for act in acts if act.act_id.startswith(anchor.head)]
        count = len(stood_on(acts, heads[:1]))
        if count != anchor.count:
            had = f"the line printed as '{anchor.head[:16]}…' stood on {anchor.count} lines"
            said = f"{had}; here " + (f"it stands on {count}" if heads else "it is not there")
            seen = f"{anchor.count} {anchor.head} {count}"
            yield StoreFinding("register contradicts paper", path=REGISTER, seen=seen, said=said)
    numbers = Counter(act.number for act in acts if act.kind == ACCESSION)
    for number in (one for one, count in numbers.items() if count > 1):
        names = sorted(act.act_id for act in acts if (act.kind, act.number) == (ACCESSION, number))
        said = f"{len(names)} accessions have it"
        yield StoreFinding(
            "number given twice", number, path=REGISTER, seen=_digest(names), said=said
        )
    records: dict[str, list[Act]] = defaultdict(list)
    for act in tips_among(standing_accessions(acts)):
        records[act.record_id].append(act)
    for record_id, tips in records.items():
        if len(tips) > 1:
            seen = " ".join(sorted(act.number for act in tips))
            said = f"{seen.replace(' ', ' and ')} go on from the same record apart"
            yield StoreFinding("branched", record_id=record_id, seen=seen, said=said)


# -- bundles -------------------------------------------------------------------------------------


def bundle_findings(
    acts: Sequence[Act],
    lying: Mapping[str, Lying],
    marks_of: Callable[[str], Iterable[str]],
) -> Iterator[StoreFinding]:
    """Each accession against what lies at its place, and each bundle against the register.

    `lying` has all bundles in the store by their paths in it; `marks_of` reads of which record the
    bundle at a path is, and is asked only for those that the register does not know.
    """
    known = _Known(acts)
    astray: dict[str, list[str]] = defaultdict(list)
    for path, one in lying.items():
        if path not in known.places:
            astray[one.bag].append(path)
    accounted = set(known.places)
    for act in known.places.values():
        there = lying.get(act.kept_at)
        if there is not None:
            if there.bag != act.bag:
                yield from _another(act, there, known)
            continue
        away = astray.get(act.bag, [])
        accounted.update(away)
        kind, said = "missing", f"nothing is at {act.kept_at}"
        if away:
            kind, said = "moved", f"it is at {listed(away, _MOST_NAMED)} now"
        yield StoreFinding(kind, act.number, act.record_id, act.kept_at, " ".join(away), said)
    for path, one in lying.items():
        if path not in accounted and one.bag:
            yield from _stray(one, known, marks_of)
        if one.outcome:
            of = known.places.get(path) or next(iter(known.by_digest[one.bag]), None)
            yield _examined(one, of)


class _Known:
    """The accessions by what their bundles are known by; `places` has those not withdrawn."""

    def __init__(self, acts: Sequence[Act]) -> None:
        self.places = {act.kept_at: act for act in standing_accessions(acts)}
        self.every = accessions_in(acts)
        self.by_digest: dict[str, list[Act]] = defaultdict(list)
        for act in self.every:
            for digest in {act.bag, act.received, act.payload} - {""}:
                self.by_digest[digest].append(act)

    def stands(self, act: Act) -> bool:
        """Whether it was not withdrawn."""
        there = self.places.get(act.kept_at)
        return there is not None and there.act_id == act.act_id


def _another(act: Act, there: Lying, known: _Known) -> Iterator[StoreFinding]:
    """What lies in the place of an accession and is not its bundle as it was."""
    if there.outcome and there.payload in ("", act.payload):
        return  # its examination says what is wrong with it
    owner = next((one for one in known.by_digest[there.bag] if one.act_id != act.act_id), None)
    if owner:
        kind, said = "exchanged", f"the bundle of {owner.number} is in its place"
    elif there.bag == act.received:
        kind, said = "tags altered", "the bundle as it came in is there, without its number"
    elif there.payload == act.payload:
        kind, said = "tags altered", "a file beside its contents was changed since its accession"
    else:
        kind, said = "foreign", "the bundle in its place is none that was accessioned"
    yield StoreFinding(kind, act.number, act.record_id, act.kept_at, there.bag, said)


def _stray(
    one: Lying, known: _Known, marks_of: Callable[[str], Iterable[str]]
) -> Iterator[StoreFinding]:
    """A bundle that lies in no accession's place."""
    alike = known.by_digest[one.bag] or known.by_digest[one.payload]
    standing = [act for act in alike if known.stands(act)]
    if any(_as_received(one, act) for act in standing):
        return
    if standing:
        act = standing[0]
        kind, said = "duplicate", f"the bundle of {act.number} once more"
    elif alike:
        act = alike[0]
        kind, said = "withdrawn but there", f"{act.number} was withdrawn, and its bundle is here"
    else:
        marks = frozenset(marks_of(one.path))
        of_record = [act for act in known.every if act.marks & marks]
        if not of_record:
            said = "the register does not know this bundle"
            yield StoreFinding("unregistered", path=one.path, seen=one.bag, said=said)
            return
        act = of_record[-1]
        kind, said = "unregistered edition", f"of the record of {act.number}, but not accessioned"
    yield StoreFinding(kind, act.number, act.record_id, one.path, one.bag, said)


def _as_received(one: Lying, act: Act) -> bool:
    """Whether it is what came in, kept beside what was packed of it."""
    folder = PurePosixPath(act.kept_at).parent
    return one.bag == act.received and folder in PurePosixPath(one.path).parents


def _examined(one: Lying, act: Act | None) -> StoreFinding:
    since = f"it was sound on {one.sound_at[:10]}" if one.sound_at else "never sound at an audit"
    said = "; ".join(filter(None, [since, one.why, *one.faults[:_MOST_NAMED]]))
    number, record_id = (act.number, act.record_id) if act else ("", "")
    seen = _digest([one.bag, *sorted(one.faults)])
    return StoreFinding(one.outcome, number, record_id, one.path, seen, said)


# -- cards, tables and other files ---------------------------------------------------------------


def card_findings(acts: Iterable[Act], digest_of: Callable[[str], str]) -> Iterator[StoreFinding]:
    """The cards against what the register says of them.

    `digest_of` gives the SHA-256 of a file by its path in the store, '' where there is none.
    """
    for act in standing_accessions(acts):
        path = card_path(act)
        if not act.bindings or (found := digest_of(path)) == act.bindings:
            continue
        kind, said = "card missing", "its card is not there"
        if found:
            kind, said = "card altered", "its card was changed since the accession"
        yield StoreFinding(kind, act.number, act.record_id, path, found, said)


def table_findings(
    acts: Iterable[Act], paths: Iterable[str], digest_of: Callable[[str], str]
) -> Iterator[StoreFinding]:
    """Tables and other files in the store against the checksums that the register keeps of them.

    `paths` are those that lie there or should; `digest_of` as for `card_findings`.
    """
    written = last_written(acts)
    for path in paths:
        # the settings are for people to change
        if path == SETTINGS or (found := digest_of(path)) == written.get(path):
            continue
        said = "it was changed, but not by this program"
        if path not in written:
            said = "the register has no line about it"
        elif not found:
            said = "it is not there"
        yield StoreFinding("table altered", path=path, seen=found, said=said)


def last_written(acts: Iterable[Act]) -> dict[str, str]:
    """The files that the register keeps the checksum of, with the last one."""
    return {act.path: act.digest for act in acts if act.kind in (WROTE, AUDITED) and act.path}


# -- ledgers -------------------------------------------------------------------------------------


def said_of_ledgers(acts: Iterable[Act]) -> dict[str, list[tuple[str, int]]]:
    """Record → what the register has said of its ledger: its ends then, and how many events."""
    said: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for act in acts:
        if act.kind in (LEDGER, ACCESSION):
            for heads, events in (
                (act.heads, act.events),
                (act.received_heads, act.received_events),
            ):
                if heads:
                    said[act.record_id].append((heads, int(events or 0)))
    return {record_id: list(dict.fromkeys(one)) for record_id, one in said.items()}


def ledger_findings(
    record_id: str, said: Sequence[tuple[str, int]], ledger: Sequence[Row], digest: str
) -> Iterator[StoreFinding]:
    """The ledger of one record against what the register has said of it.

    What happened in it is judged only where it is whole. `digest` is the SHA-256 of its file.
    """

    def found(kind: str, words: str, seen: str = digest) -> StoreFinding:
        return StoreFinding(
            kind, record_id=record_id, path=ledger_path(record_id), seen=seen, said=words
        )

    for fault in verify_events(ledger):
        yield found("ledger broken", fault.message)
        return
    graph = Graph(ledger)
    most = max(count for _, count in said)
    known: set[str] = set()
    for heads, count in said:
        names = heads.split()
        here = graph.count(names[0]) if len(names) == 1 else len(graph.all_before(names))
        if here != count or not graph.before.keys() >= set(names):
            if len(ledger) < most:
                yield found("ledger cut", f"it has {len(ledger)} events of {most}")
            else:
                words = f"its {count} events of before are not as they were"
                yield found("ledger rewritten", words)
            return
        known.update(names)
    if extra := len(graph.before) - len(graph.all_before(known)):
        yield found("ledger ahead", f"its last {extra} events are not in the register")
        return
    seals = {one["custody_id"]: one[SEAL] for one in ledger}
    for sample_id, ends in disputed_in(ledger).items():
        words = f"sample {sample_id} was moved in two copies, and is in two places since"
        names = sorted(seals[one] for one in ends)
        yield found("two holders", words, f"{sample_id} {' '.join(names)}")


def _digest(texts: Sequence[str]) -> str:
    return hashlib.sha256(json.dumps(list(texts)).encode()).hexdigest()
