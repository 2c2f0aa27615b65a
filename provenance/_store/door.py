"""Says how a bundle stands to those of its record in the store: by what they hold, never by date.

Two things are compared: the set of custody events, each known by its seal, and what each number
stands for. What an accession of before held comes from the store's own ledger and card, so that a
bundle that was lost since is compared too. Without an anchor kept elsewhere, or a signature, none
of it shows more than that the record does not contradict itself and what is kept here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from provenance._base.errors import UnusableInput
from provenance._bundle.describe.editions import PUBLIC
from provenance._gate.documents import json_from
from provenance._gate.refusal import RefusedInput
from provenance._ledger.branches import before_of, with_all_before
from provenance._ledger.seals import SEAL, Event
from provenance._record.given_out import Numbers
from provenance._record.origin import NUMBERED, Ancestor
from provenance._store.acts import Act
from provenance._store.current import OLDER, word_of
from provenance._store.identity import Identity
from provenance._store.store import Writing, card_path, events_known

FIRST, SUCCESSOR, BRANCH = "first", "successor", "branch"
PUBLIC_EDITION, NOT_KNOWN = "public edition", "predecessor not known"
BROKEN, AT_ODDS, REWRITTEN, CUT = (
    "broken ledger",
    "at odds with its own ancestry",
    "rewritten",
    "cut",
)
MOVED, GONE = "number moved", "number gone"
LOOKS_REWRITTEN, ANOTHER = "looks rewritten", "another record under this id"
_OWNED = {"sample": ("element", "timber"), "plug": ("sample", "sample")}
"""Tables whose numbers stay with what they are of: the table of that, and a word for it."""
NO_NUMBERS: Numbers = MappingProxyType({})


@dataclass(frozen=True)
class Newcomer:
    """What a verified bundle brings to the door.

    `fault` says what is wrong with its custody ledger by itself, '' for nothing; `ledger` are its
    sealed events, `numbers` what each of its numbers stands for. `decided` are (table, key,
    owner before or '') of rows that a person by name gave another owner or took out; `renamed` maps
    table → former key → key now. `spent` are (table, key) that it lists itself as gone; `names` is
    what else its card says.
    """

    identity: Identity
    edition: str
    fault: str
    ledger: Sequence[Event]
    earlier: Sequence[Ancestor]
    numbers: Numbers
    spent: frozenset[tuple[str, str]] = frozenset()
    decided: frozenset[tuple[str, str, str]] = frozenset()
    renamed: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    names: Numbers = field(default_factory=dict)
    told: tuple[str, Numbers] = ("", NO_NUMBERS)
    odds: tuple[str, ...] = ()


@dataclass(frozen=True)
class Peer:
    """An accession of the same record: the events by seal, and the numbers that it had."""

    act: Act
    events: Mapping[str, Event]
    numbers: Numbers


@dataclass(frozen=True)
class Judged:
    """How a bundle stands to those of its record: the word, and sentences about what was seen.

    `follows` are the accessions whose content it has whole, `known` counts those of its events that
    were kept here before.
    """

    word: str
    said: tuple[str, ...] = ()
    follows: tuple[Act, ...] = ()
    known: int = 0
    refused: bool = False


def same_record(
    accessions: Iterable[Act], identity: Identity, earlier: Sequence[Ancestor]
) -> list[Act]:
    """The accessions of the record that a bundle is of, in their order."""
    marks, named = set(identity.marks), _checksums(earlier)
    return [act for act in accessions if act.marks & marks or _is_among(act, named)]


def _checksums(earlier: Iterable[Ancestor]) -> set[str]:
    """What the bundles before a bundle are known by."""
    return {text for one in earlier for text in (one.payload, one.tagmanifest_sha256)} - {""}


def _is_among(act: Act, checksums: set[str]) -> bool:
    return not checksums.isdisjoint((act.payload, act.bag, act.received))


def peers_in(writing: Writing, acts: Iterable[Act]) -> tuple[list[Peer], list[str]]:
    """The full editions among some accessions with what they held, and notes on what is lacking.

    Raises UnusableInput where the store's own ledger is not the one that its register knows.
    """
    peers, notes = [], []
    ledgers: dict[str, dict[str, Event]] = {}
    for act in acts:
        if act.edition == PUBLIC.name:
            continue
        ledger = ledgers.get(act.record_id)
        if ledger is None:
            ledger = {one[SEAL]: one for one in writing.ledger(act.record_id)}
            ledgers[act.record_id] = ledger
        for heads, count in ((act.heads, act.events), (act.received_heads, act.received_events)):
            known = events_known(ledger.values(), heads)
            if heads and len(known) != int(count or 0):
                raise UnusableInput(
                    f"ledger/{act.record_id}.csv in {writing.store.folder} has {len(known)} of the "
                    f"{count} custody events that the register knows of {act.number}; restore it "
                    "from a copy before another bundle of this record is taken in"
                )
        # what whoever handed it in knew; the store's own events came behind
        known = events_known(ledger.values(), act.received_heads or act.heads)
        numbers = writing.card(act)
        if act.bindings and not numbers:
            notes.append(
                f"the card of {act.number} is missing, so its numbers were not compared; restore "
                f"{card_path(act)} from a copy"
            )
        peers.append(Peer(act, {seal: ledger[seal] for seal in known}, numbers))
    return peers, notes


def judge(new: Newcomer, peers: Sequence[Peer]) -> Judged:
    """Compare a bundle with the accessions of its record.

    The first reason to refuse it is given, with the list of what was seen.
    """
    if new.edition == PUBLIC.name:
        return Judged(PUBLIC_EDITION)
    if new.fault:
        return _refused(BROKEN, [new.fault])
    mine = {event[SEAL]: event for event in new.ledger}
    named = _checksums(new.earlier)
    of_named = [one for one in peers if _is_among(one.act, named)]
    if odds := [*new.odds, *at_odds(new.ledger, new.earlier)]:
        for peer in of_named:
            odds += _lost([one for seal, one in peer.events.items() if seal not in mine], peer)
        return _refused(AT_ODDS, odds)
    newer = _newer(peers)
    told = max((place for place, one in enumerate(newer, start=1) if one in of_named), default=0)
    if moved := _moved(new, *new.told, newer[told:]):
        return _refused(MOVED, moved)
    if gone := _gone(new, *new.told, ()):
        return _refused(GONE, gone)
    follows, words, said = [], [], []
    for place, peer in enumerate(peers, start=1):
        is_named = peer in of_named
        later = _newer(peers[place:])
        if moved := _moved(new, peer.act.number, peer.numbers, later):
            return _refused(MOVED, moved)
        lost = [event for seal, event in peer.events.items() if seal not in mine]
        gone = _gone(new, peer.act.number, peer.numbers, [p for p in later if p in of_named])
        contained = mine.keys() <= peer.events.keys() and _within(new.numbers, peer.numbers)
        if is_named and lost:
            word = CUT if mine.keys() < peer.events.keys() else REWRITTEN
            return _refused(word, _lost(lost, peer))
        if is_named and gone:
            return _refused(GONE, gone)
        if not lost and not gone:
            beside = any(one.act.act_id in peer.act.follows.split() for one in of_named)
            if beside and not is_named:
                words.append(BRANCH)
                said.append(f"it does not go on from {peer.act.number}, which came in meanwhile")
            else:
                words.append(SUCCESSOR)
                follows.append(peer.act)
        elif contained:
            words.append(OLDER)
            said.append(f"{peer.act.number} has all that is in it, and more")
        elif not mine or not peer.events or mine.keys() & peer.events.keys():
            if alike := _repeated(mine, peer.events):
                return _refused(LOOKS_REWRITTEN, [*_lost(lost, peer), *alike])
            words.append(BRANCH)
            said += [*_lost(lost, peer), *gone]
        else:
            return _refused(ANOTHER, [f"no event of {peer.act.number} is in its custody ledger"])
    known = {seal for peer in peers for seal in peer.events} & mine.keys()
    return Judged(_first_of(words, new, bool(of_named)), tuple(said), tuple(follows), len(known))


def _newer(peers: Iterable[Peer]) -> list[Peer]:
    """Without those that came in as older: such a one lacks what is newer and has what was put
    right since, and nobody let that pass.
    """
    return [one for one in peers if word_of(one.act) != OLDER]


def _first_of(words: Sequence[str], new: Newcomer, predecessor_known: bool) -> str:
    for word in (OLDER, BRANCH, SUCCESSOR):
        if word in words:
            return word
    return NOT_KNOWN if new.earlier and not predecessor_known else FIRST


def _refused(word: str, said: Iterable[str]) -> Judged:
    return Judged(word, tuple(said), refused=True)


def accepted(judged: Judged, peers: Sequence[Peer], new: Newcomer) -> Judged:
    """The same for a bundle that a person takes in although it was refused."""
    known = {seal for peer in peers for seal in peer.events} & {one[SEAL] for one in new.ledger}
    return replace(judged, refused=False, known=len(known))


def at_odds(ledger: Sequence[Event], earlier: Iterable[Ancestor]) -> list[str]:
    """What the bundle says of those before it, and its own ledger does not bear out."""
    before = before_of(ledger)
    said = []
    for one in earlier:
        if one.statement and not _is_of(one.statement, one):
            said.append(f"what it says of {one.in_words} is not in that bundle's signed statement")
        if not one.heads:
            continue
        known = with_all_before(before, one.heads) & before.keys()
        if len(known) != one.events or not before.keys() >= set(one.heads):
            said.append(
                f"{one.in_words} had {one.events} custody events, ending with the seal "
                f"{one.heads[0][:12]}…, and its ledger does not have them as they were"
            )
    return said


def _is_of(statement: str, one: Ancestor) -> bool:
    try:
        facts = json_from(statement.encode(), "a signed statement")
        told = (facts["manifestSha256"], tuple(facts["heads"]), facts["events"])
    except (RefusedInput, LookupError, TypeError):
        return False
    return told == (one.payload, one.heads, one.events)


def _moved(new: Newcomer, name: str, numbers: Numbers, later: Sequence[Peer]) -> list[str]:
    """Samples that are of other wood now, plugs of another sample, without an act that says so.

    What was taken in like that, `later`, a person has let pass.
    """
    found = []
    for table, (owners, of_what) in _OWNED.items():
        renamed, now = new.renamed.get(owners, {}), new.numbers.get(table, {})
        passed = [one.numbers.get(table, {}) for one in later]
        for key, before in numbers.get(table, {}).items():
            here = new.renamed.get(table, {}).get(key, key)
            whose = now.get(here, before)
            if not before or whose == renamed.get(before, before):
                continue
            if {(table, key, before), (table, here, before)} & new.decided:
                continue
            if not any(one.get(here) == whose for one in passed):
                found.append(
                    f"{table} {key} was of {of_what} {before} in {name} and is of "
                    f"{whose or 'nothing'} now"
                )
    return found


def _gone(new: Newcomer, name: str, numbers: Numbers, later: Sequence[Peer]) -> list[str]:
    """Numbers that are not in the record any more, and that neither a list nor an act let go.

    What a bundle taken in `later` lacks already, a person has let pass.
    """
    return [
        f"{table} {key} of {name} is not in it"
        for table, keys in numbers.items()
        if table in NUMBERED
        for key in keys
        if new.renamed.get(table, {}).get(key, key) not in new.numbers.get(table, {})
        and (table, key) not in new.spent
        and (table, key, "") not in new.decided
        and all(key in one.numbers.get(table, {}) for one in later if one.numbers)
    ]


def _within(numbers: Numbers, others: Numbers) -> bool:
    return all(keys.keys() <= others.get(table, {}).keys() for table, keys in numbers.items())


def _lost(events: Sequence[Event], peer: Peer) -> list[str]:
    ordered = sorted(events, key=lambda one: int(one["custody_id"]))
    return [f"{_in_words(one)} of {peer.act.number} is not in it" for one in ordered]


def _in_words(event: Event) -> str:
    sample = f" of sample {event['sample_id']}" if event.get("sample_id") else ""
    return (
        f"event {event['custody_id']} ('{event['event']}'{sample}, {event['happened_on']}, seal "
        f"{event[SEAL][:12]}…)"
    )


def _repeated(mine: Mapping[str, Event], theirs: Mapping[str, Event]) -> list[str]:
    """Events said anew in other words, where they are more than half of what is new."""

    def key(event: Event) -> tuple[str, ...]:
        return event["event"], event.get("sample_id", ""), event["happened_on"]

    lacking = Counter(key(event) for seal, event in theirs.items() if seal not in mine)
    new = [event for seal, event in mine.items() if seal not in theirs]
    again = [event for event in new if lacking[key(event)]]
    if 2 * len(again) <= len(new):
        return []
    return [f"{_in_words(one)} says the same of that day under another seal" for one in again]
