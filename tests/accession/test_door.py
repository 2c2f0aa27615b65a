"""The door says of every bundle how it stands to those of its record that are kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from provenance._ledger.branches import seals_at_ends
from provenance._ledger.custody import sealed
from provenance._ledger.seals import BODY, FILLED_IN, SEAL
from provenance._record.origin import Ancestor
from provenance._store.acts import Act
from provenance._store.door import Judged, Newcomer, Peer, judge, same_record
from provenance._store.identity import Identity

Ledger = list[dict[str, str]]
WOOD: dict[str, dict[str, str]] = {
    "element": {"B1-014": "HOLL"},
    "sample": {"231": "B1-014", "232": "B1-014"},
    "plug": {"P-231": "231"},
}


def events(*said: str, before: Ledger | None = None, notes: str = "") -> Ledger:
    """A ledger; 'stored 231 2025-01-07' is one event."""
    blank = {**dict.fromkeys(FILLED_IN, ""), BODY: "", "custody_id": "", "notes": notes}
    added = []
    for one in said:
        event, sample, day = one.split()
        added.append(blank | {"event": event, "sample_id": sample, "happened_on": day})
    return sealed([*(before or []), *added])


FIRST = events("collected 231 2024-06-03", "collected 232 2024-06-03", "stored 231 2024-06-20")
SECOND = events("stored 232 2024-07-01", before=FIRST)


def ancestor(ledger: Ledger, payload: str) -> Ancestor:
    heads = tuple(seals_at_ends(ledger))
    return Ancestor("holl", "full", "2024-06-20", f"bag {payload}", "", payload, heads, len(ledger))


def peer(ledger: Ledger, payload: str, numbers: Mapping[str, dict[str, str]] = WOOD) -> Peer:
    act = Act(
        kind="accession",
        happened_on="2025-01-01",
        recorded_on="",
        act_id=f"act-{payload}",
        number=f"number {payload}",
        payload=payload,
        edition="full",
    )
    return Peer(act, {one[SEAL]: one for one in ledger}, numbers)


def came_as_older(one: Peer) -> Peer:
    return replace(one, act=replace(one.act, reason="older"))


def newcomer(ledger: Ledger, *earlier: Ancestor, **more: object) -> Newcomer:
    identity = Identity(bag="b", payload="p", members="m", marks=("record",))
    new = Newcomer(identity, "full", "", ledger, earlier, WOOD)
    return replace(new, **more)  # type: ignore[arg-type]


THEIRS = (peer(FIRST, "one"), peer(SECOND, "two"))
ONE, TWO = ancestor(FIRST, "one"), ancestor(SECOND, "two")
THIRD = events("stored 231 2025-02-01", before=SECOND)
APART = events("stored 231 2025-02-01", before=FIRST)
REWRITTEN = events("stored 232 2024-07-01", before=FIRST, notes="elsewhere")
ANEW = events("collected 231 2024-06-03", "collected 232 2024-06-03", notes="anew")
ELSEWHERE = {**WOOD, "sample": {"231": "B1-015", "232": "B1-014"}}
OTHER_PLUG = {**WOOD, "plug": {"P-231": "232"}}
WITHOUT = {**WOOD, "sample": {"231": "B1-014"}}
MORE = {**WOOD, "sample": {**WOOD["sample"], "233": "B1-014"}}

CASES: dict[str, tuple[Newcomer, tuple[Peer, ...], str, str]] = {
    # name: (bundle, those kept, the word, what is said)
    "the first of its record": (newcomer(FIRST), (), "first", ""),
    "a successor": (newcomer(THIRD, TWO, ONE), THEIRS, "successor", ""),
    "a successor that does not tell": (newcomer(THIRD), THEIRS, "successor", ""),
    "an edited event": (newcomer(THIRD, fault="Event 2 was changed."), THEIRS, "broken ledger", ""),
    "sealed anew from an event on": (
        newcomer(REWRITTEN, TWO, ONE),
        THEIRS,
        "at odds with its own ancestry",
        "event 4 ('stored' of sample 232, 2024-07-01",
    ),
    "a tail cut off": (newcomer(FIRST, TWO, ONE), THEIRS, "at odds with its own ancestry", ""),
    "cut, ancestry forged": (
        newcomer(FIRST, replace(TWO, heads=tuple(seals_at_ends(FIRST)), events=3)),
        THEIRS,
        "cut",
        "event 4 ('stored' of sample 232, 2024-07-01",
    ),
    "cut, ancestry left out": (newcomer(FIRST), THEIRS, "older", "number two has all"),
    "rewritten, an ancestor that tells nothing": (
        newcomer(REWRITTEN, Ancestor("holl", "full", "2024-07-01", "x", "", "two")),
        THEIRS,
        "rewritten",
        "of number two is not in it",
    ),
    "rewritten, ancestry left out": (
        newcomer(REWRITTEN, ONE),
        THEIRS,
        "looks rewritten",
        "says the same of that day under another seal",
    ),
    "rewritten from the first event": (newcomer(ANEW), THEIRS[:1], "another record", ""),
    "a sample on other wood": (
        newcomer(THIRD, TWO, numbers=ELSEWHERE),
        THEIRS,
        "number moved",
        "sample 231 was of timber B1-014 in number one and is of B1-015",
    ),
    "a plug of another sample": (newcomer(THIRD, numbers=OTHER_PLUG), THEIRS, "number moved", ""),
    "on other wood, and an act says so": (
        newcomer(THIRD, TWO, numbers=ELSEWHERE, decided=frozenset({("sample", "231", "B1-014")})),
        THEIRS,
        "successor",
        "",
    ),
    "on wood that has another key": (
        newcomer(THIRD, TWO, numbers=ELSEWHERE, renamed={"element": {"B1-014": "B1-015"}}),
        THEIRS,
        "number moved",
        "sample 232",
    ),
    "a number gone": (newcomer(THIRD, TWO, numbers=WITHOUT), THEIRS, "number gone", "sample 232"),
    "a number gone that an older one lacked as well": (
        newcomer(THIRD, TWO, ONE, numbers=WITHOUT),
        (peer(SECOND, "two"), came_as_older(peer(FIRST, "one", WITHOUT))),
        "number gone",
        "sample 232",
    ),
    "moved back to where an older one had it": (
        newcomer(THIRD, TWO, ONE, numbers=ELSEWHERE, told=("two", WOOD)),
        (peer(SECOND, "two"), came_as_older(peer(FIRST, "one", ELSEWHERE))),
        "number moved",
        "sample 231",
    ),
    "a number that it says is spent": (
        newcomer(THIRD, TWO, numbers=WITHOUT, spent=frozenset({("sample", "232")})),
        THEIRS,
        "successor",
        "",
    ),
    "a second successor of one": (newcomer(APART, ONE), THEIRS, "branch", "event 4 ('stored'"),
    "a second successor without events": (
        newcomer(FIRST, ONE, numbers=MORE),
        (
            peer(FIRST, "one"),
            replace(peer(FIRST, "x"), act=replace(THEIRS[1].act, follows="act-one")),
        ),
        "branch",
        "came in meanwhile",
    ),
    "a predecessor that is not here": (
        newcomer(THIRD, TWO),
        (),
        "predecessor not known",
        "",
    ),
    "at odds with a signed statement": (
        newcomer(THIRD, replace(TWO, statement='{"heads": [], "events": 0}')),
        (),
        "at odds with its own ancestry",
        "signed statement",
    ),
    "moved since a bundle that is not here": (
        newcomer(THIRD, TWO, numbers=ELSEWHERE, told=("the bundle of 2024", WOOD)),
        (),
        "number moved",
        "in the bundle of 2024",
    ),
    "told falsely of those before": (
        newcomer(THIRD, TWO, odds=("its numbers",)),
        (),
        "at odds with its own ancestry",
        "its numbers",
    ),
    "moved, as one that was accepted": (
        newcomer(THIRD, TWO, numbers=ELSEWHERE),
        (THEIRS[0], peer(SECOND, "two", ELSEWHERE)),
        "successor",
        "",
    ),
    "a public edition": (newcomer([], edition="public"), THEIRS, "public edition", ""),
}


@pytest.mark.parametrize("name", CASES)
def test_the_word_of_the_door(name: str) -> None:
    new, peers, word, said = CASES[name]
    judged: Judged = judge(new, peers)
    assert judged.word.startswith(word)
    assert said in "\n".join(judged.said)
    may_come_in = {"first", "successor", "older", "branch", "predecessor not known"}
    assert judged.refused == (judged.word not in may_come_in | {"public edition"})
    if word == "successor":
        assert [act.number for act in judged.follows] == ["number one", "number two"]
        assert judged.known == 4


def test_a_record_is_known_by_its_marks_and_by_bundles_that_are_named() -> None:
    by_mark = replace(THEIRS[0].act, record_id="a", known_as="record other")
    by_bag = replace(THEIRS[1].act, record_id="c", received="bag one")
    stranger = replace(THEIRS[1].act, record_id="d")
    found = same_record([by_mark, by_bag, stranger], newcomer(FIRST).identity, [ONE])
    assert found == [by_mark, by_bag]
