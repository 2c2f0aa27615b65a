"""The order of building: against another way to find it, by hand, and in simulated records.

The other way is a table of what can be reached from what, in n³ steps (Warshall 1962, from memory),
with scipy for the knots and the shortest ways.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from itertools import product
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse.csgraph import connected_components, shortest_path

from provenance._record.building_order import (
    FELLING,
    Bound,
    Years,
    order_of,
    years_of,
)
from provenance._record.order_words import contradiction_words, loop_words
from provenance._record.relations import (
    Relation,
    loops,
    ordered_in_one_build,
    relations_of,
    told_both_ways,
)
from tests.checks.rules.record import Record, model

ORDERS = {"abuts": "later", "cuts": "later", "blocks": "later", "bonded": "same"}
PLACES = [f"W{number}" for number in range(8)]


def relations(*said: str) -> list[Relation]:
    """Relations such as 'W2 abuts W1', numbered R01, R02, …"""
    parts = [one.split() for one in said]
    return [
        Relation(f"R{row:02}", place, kind, other, ORDERS[kind], row)
        for row, (place, kind, other) in enumerate(parts, start=1)
    ]


def years(earliest: int | None, latest: int | None, place: str) -> Years:
    return Years(
        None if earliest is None else Bound(earliest, "wood", place),
        None if latest is None else Bound(latest, "document", place),
    )


class Reach:
    """What can be reached from what, by relations from the earlier to the later."""

    def __init__(self, said: Sequence[Relation]) -> None:
        self.places = sorted({end for one in said for end in (one.place, one.other)})
        at = {place: number for number, place in enumerate(self.places)}
        self.direct = np.zeros((len(at), len(at)))
        for one in said:
            self.direct[at[one.other], at[one.place]] = 1
            if one.order == "same":
                self.direct[at[one.place], at[one.other]] = 1
        reach = self.direct > 0
        for middle in range(len(at)):
            reach |= reach[:, [middle]] & reach[[middle], :]
        self._reach, self._at = reach, at

    def __call__(self, here: str, there: str) -> bool:
        return bool(self._reach[self._at[here], self._at[there]])

    def way(self, here: str, there: str) -> float:
        lengths = shortest_path(self.direct, unweighted=True)
        return float(lengths[self._at[here], self._at[there]])

    def looped(self, said: Sequence[Relation]) -> set[str]:
        """Places that lie in a knot in which one relation is of order."""
        turned = [one for one in said if one.order == "later" and self(one.place, one.other)]
        ends = {one.place for one in turned}
        return {p for p in self.places if any(p == e or (self(p, e) and self(e, p)) for e in ends)}


RELATIONS = st.lists(
    st.tuples(st.sampled_from(PLACES), st.sampled_from([*ORDERS]), st.sampled_from(PLACES)).filter(
        lambda one: one[0] != one[2]
    ),
    min_size=1,
    max_size=14,
).map(lambda said: relations(*map(" ".join, said)))
OWN = st.dictionaries(
    st.sampled_from(PLACES),
    st.tuples(st.none() | st.integers(1, 9), st.none() | st.integers(1, 9)),
).map(lambda own: {place: years(*both, place) for place, both in own.items()})


@settings(max_examples=80, deadline=None)
@given(RELATIONS, OWN, st.randoms(use_true_random=False))
def test_the_order_is_what_can_be_reached_and_no_step_too_many(
    said: list[Relation], own: dict[str, Years], shuffle: random.Random
) -> None:
    reach = Reach(said)
    order = order_of(said, own)
    count, knot = connected_components(reach.direct, connection="strong")
    assert len(order.builds) == count
    for build in order.builds:
        assert len({knot[reach.places.index(place)] for place in build.places}) == 1
    looped = reach.looped(said)
    assert {place for one in order.builds if one.looped for place in one.places} == looped

    # the steps say all that the relations say, and without any one of them less
    codes = [one.code for one in order.builds]
    whole = {(a, b) for a, b in product(codes, codes) if a != b and reach(a, b)}
    assert closed(order.steps) == whole
    for step in order.steps:
        assert closed([one for one in order.steps if one != step]) != whole
    for build in order.builds:
        below = [other.layer for other in order.builds if (other.code, build.code) in whole]
        assert build.layer == max(below, default=0) + 1

    # years come from all that is earlier and later, and from nothing else
    sound = Reach([one for one in said if not {one.place, one.other} & looped])
    for place in reach.places:
        alone = place in looped or place not in sound.places
        earlier = [p for p in sound.places if not alone and sound(p, place)] + [place]
        later = [p for p in sound.places if not alone and sound(place, p)] + [place]
        begun = [own[p].earliest.year for p in earlier if p in own and own[p].earliest]
        ended = [own[p].latest.year for p in later if p in own and own[p].latest]
        found = order.years[place]
        assert (found.earliest and found.earliest.year) == max(begun, default=None)
        assert (found.latest and found.latest.year) == min(ended, default=None)

    # what cannot be so is named, with a way that leads there
    wrong = [
        (a, b)
        for a, b in product(own, own)
        if (a == b or ({a, b} <= {*sound.places} and sound(a, b)))
        and later_than(own.get(a), own.get(b))
    ]
    assert bool(order.contradictions) == bool(wrong)
    for one in order.contradictions:
        ends = (one.earliest.place, one.latest.place)
        assert ends in wrong
        assert len(one.path) == (0 if ends[0] == ends[1] else sound.way(*ends))
        assert_leads(one.path, *ends)
    unmade = [*told_both_ways(said), *ordered_in_one_build(said), *loops(said)]
    assert bool(unmade) == bool(looped)

    # in whatever order the rows stand
    shuffled = said[:]
    shuffle.shuffle(shuffled)
    shuffled.sort(key=lambda one: one.code)
    assert order_of(shuffled, dict(reversed(own.items()))) == order


def closed(steps: Sequence[tuple[str, str]]) -> set[tuple[str, str]]:
    found = set(steps)
    while more := {(a, d) for a, b in found for c, d in found if b == c} - found:
        found |= more
    return found


def later_than(one: Years | None, other: Years | None) -> bool:
    if not one or not other or not one.earliest or not other.latest:
        return False
    return one.earliest.year > other.latest.year


def assert_leads(path: Sequence[Relation], start: str, end: str) -> None:
    here = start
    for one in path:
        assert here == one.other or (here == one.place and one.order == "same")
        here = one.place if here == one.other else one.other
    assert here == end


@settings(max_examples=40, deadline=None)
@given(RELATIONS)
def test_the_shortest_loop_of_each_knot_is_named(said: list[Relation]) -> None:
    named = {one.row for pair in told_both_ways(said) for one in pair}
    named |= {one.row for one, _ in ordered_in_one_build(said)}
    rest = [one for one in said if one.row not in named]
    reach = Reach(rest)
    shortest: dict[tuple[str, ...], float] = {}
    for one in rest:
        if one.order == "later" and reach(one.place, one.other):
            knot = tuple(p for p in reach.places if reach(p, one.place) and reach(one.place, p))
            length = 1 + reach.way(one.place, one.other)
            shortest[knot] = min(length, shortest.get(knot, length))
    found = loops(said)
    assert sorted(map(len, found)) == sorted(shortest.values())
    for path in found:
        assert_leads(path, path[0].other, path[0].other)


def test_superfluous_relations_are_left_out() -> None:
    """The law of stratigraphical succession: a unit's place is between the undermost of those
    above it and the uppermost of those below it, and all other relations are redundant.

    E. C. Harris, Principles of Archaeological Stratigraphy (1979), from memory; the units here
    are invented.
    """
    said = relations(
        *("W1 abuts W0", "W2 abuts W1", "W2 abuts W0", "W3 cuts W2", "W3 cuts W0"),
        *("W4 abuts W1", "W5 blocks W4", "W5 bonded W3", "W5 abuts W1", "W5 cuts W0"),
    )
    order = order_of(said, {})
    assert order.steps == (
        ("W0", "W1"),
        ("W1", "W2"),
        ("W1", "W4"),
        ("W2", "W3"),
        ("W4", "W3"),
    )
    assert [(one.layer, one.places) for one in order.builds] == [
        (1, ("W0",)),
        (2, ("W1",)),
        (3, ("W2",)),
        (3, ("W4",)),
        (4, ("W3", "W5")),
    ]


def test_a_contradiction_is_said_once_where_it_is_shortest() -> None:
    """W0 is too young for W3, and so is W1, which lies on the way."""
    said = relations("W1 abuts W0", "W2 abuts W1", "W3 abuts W2", "W4 abuts W3")
    own = {p: years(e, t, p) for p, e, t in (("W0", 1800, None), ("W1", 1790, 1850))}
    own |= {"W3": years(None, 1770, "W3"), "W4": years(None, 1760, "W4")}
    said_of = [contradiction_words(one, model()) for one in order_of(said, own).contradictions]
    assert said_of == [
        "W1 was built before W3 or together with it (W2 abuts W1 (R02), W3 abuts W2 (R03)), but W1 "
        "not before 1790 (oldest dated wood) and W3 not after 1770 (historical event)."
    ]


# -- years by a place's own evidence ---------------------------------------------------------------


def a_record(said: Sequence[str], **more: list[dict[str, str]]) -> Record:
    """Places W0 to W7 with relations, and rows of other tables."""
    rows = [{"place_id": one, "site_id": "HOLL", "kind": "wall"} for one in PLACES]
    met = [
        {
            "relation_id": one.code,
            "site_id": "HOLL",
            "place_id": one.place,
            "relation_kind": one.kind,
            "other_place_id": one.other,
        }
        for one in relations(*said)
    ]
    inside = more.pop("place", [])
    return Record({"place": rows + inside, "relation": met, **more})


def felled(
    piece: str, place: str, first: Any, last: Any = "", candidate: str = ""
) -> dict[str, str]:
    return {
        "element_id": piece,
        "place_id": place,
        "felled_from_year": str(first),
        "felled_to_year": str(last),
        "candidate": candidate,
    }


def own_years(record: Record, place: str) -> tuple[Any, ...]:
    tables = record.tables
    found = years_of(tables, {name: tables[name] for name in FELLING})[place]
    return tuple((one.year, one.by) if one else None for one in (found.earliest, found.latest))


def test_years_rest_on_the_wood_of_the_place_and_on_what_is_certain() -> None:
    assumed = {"assumption_id": "A1", "assumption_kind": "used_within", "figure": "3"}
    assumed["source"] = "Invented handbook, p. 3"
    event = {"episode_id": "E1", "site_id": "HOLL", "place_id": "W1", "certainty": "certain"}
    event |= {"kind": "documented", "happened": "1790/1795"}
    wood = [
        felled("P1", "W1", 1700, 1701),
        felled("P2", "W1", 1740),
        felled("P3", "W1", 1738, 1745),
    ]
    phase = {"phase_id": "F1", "place_id": "W1", "first_year": "1738", "last_year": "1741"}
    pieces = [{"phase_id": "F1", "element_id": one} for one in ("P2", "P3")]
    doorway = {"place_id": "D1", "site_id": "HOLL", "kind": "doorway", "parent_place_id": "W1"}
    for case, tables, expected in (
        ("nothing", {}, (None, None)),
        ("the oldest wood", {"felling": wood}, ((1700, "wood"), None)),
        ("1 BC is a year", {"felling": [felled("P1", "W1", 0)]}, ((0, "wood"), None)),
        (
            "what may be a repair",
            {"felling": [felled("P1", "W1", 1700, 1701, "repair")]},
            (None, None),
        ),
        (
            "wood kept for some years was felled before too",
            {"felling": [felled("P1", "W1", 1700, 1701, "stockpiling"), wood[1]]},
            ((1700, "wood"), None),
        ),
        (
            "the youngest tree of the first phase",
            {"felling": wood, "phase": [phase], "phase_piece": pieces},
            ((1740, "phase"), None),
        ),
        (
            "a phase with wood of a part that has relations of its own",
            {
                "place": [doorway],
                "felling": [*wood, felled("P4", "D1", 1741)],
                "phase": [phase],
                "phase_piece": [*pieces, {"phase_id": "F1", "element_id": "P4"}],
            },
            ((1700, "wood"), None),
        ),
        (
            "years to use",
            {"felling": wood, "assumption": [assumed]},
            ((1700, "wood"), (1748, "used_within")),
        ),
        (
            "years to use with twice their spread",
            {"felling": wood, "assumption": [assumed | {"spread": "1.2"}]},
            ((1700, "wood"), (1751, "used_within")),
        ),
        (
            "years to use of another place",
            {"felling": wood, "assumption": [assumed | {"place_id": "W2"}]},
            ((1700, "wood"), None),
        ),
        ("an event", {"episode": [event]}, (None, (1795, "document"))),
        (
            "the stricter of two",
            {"felling": wood, "assumption": [assumed], "episode": [event]},
            ((1700, "wood"), (1748, "used_within")),
        ),
        ("an event without an end", {"episode": [event | {"happened": "1790/.."}]}, (None, None)),
        ("a year in doubt", {"episode": [event | {"happened": "1790?"}]}, (None, None)),
        ("a doubtful event", {"episode": [event | {"certainty": "likely"}]}, (None, None)),
        ("what burned may be new", {"episode": [event | {"kind": "burned"}]}, (None, None)),
        ("the whole around it", {"episode": [event | {"place_id": "W2"}]}, (None, None)),
    ):
        said = ["W1 abuts W0", "W2 abuts W1"]
        record = a_record(said, **tables)
        if "place" in tables:
            extra = {"relation_id": "R9", "site_id": "HOLL", "place_id": "D1"}
            record = record.with_bare_row(
                "relation", **extra, relation_kind="cuts", other_place_id="W1"
            )
        assert own_years(record, "W1") == expected, case


# -- simulated records -----------------------------------------------------------------------------


def a_simulated_record(draw: random.Random) -> tuple[list[str], dict[str, list[dict[str, str]]]]:
    """Relations and years as they would be found where everything was seen rightly.

    Some wood is reused or was put in later without anybody knowing; of every place with dated wood
    at least one piece is not a repair. Figures are invented.
    """
    built = {place: draw.randrange(1600, 1800, 10) for place in PLACES}
    said = []
    for place, other in product(PLACES, PLACES):
        if place < other and draw.random() < 0.35:
            late, early = sorted((place, other), key=lambda one: -built[one])
            kind = draw.choice(["abuts", "cuts", "blocks"])
            said.append(f"{late} {'bonded' if built[late] == built[early] else kind} {early}")
    wood = []
    for place in PLACES:
        for number in range(draw.choice([0, 1, 2, 4])):
            year = built[place] - draw.randrange(3)
            if draw.random() < 0.2:
                year -= draw.randrange(20, 90)
            elif number and draw.random() < 0.2:
                year += draw.randrange(20, 90)
            first, last = year - draw.choice([0, 0, 8]), year + draw.choice([0, 1, 12])
            wood.append(felled(f"{place}-{number}", place, first, draw.choice([last, ""])))
    events = [
        {
            "episode_id": f"E-{place}",
            "place_id": place,
            "kind": "documented",
            "certainty": "certain",
            "happened": str(built[place] + draw.choice([0, 5, 20])),
        }
        for place in PLACES
        if draw.random() < 0.5
    ]
    return said or ["W1 bonded W0"], {"felling": wood, "episode": events}


def test_records_without_a_fault_are_silent_and_a_turned_relation_is_named_where_it_shows() -> None:
    shown = 0
    for seed in range(60):
        draw = random.Random(seed)
        said, tables = a_simulated_record(draw)
        assert all_said(a_record(said, **tables))[0] == [], seed
        ordered = [number for number, one in enumerate(said) if "bonded" not in one]
        if not ordered:
            continue
        which = draw.choice(ordered)
        place, kind, other = said[which].split()
        said[which] = f"{other} {kind} {place}"
        sentences, own = all_said(a_record(said, **tables))
        reach = Reach(relations(*said))
        provable = bool(reach.looped(relations(*said))) or any(
            (a == b or reach(a, b)) and later_than(own.get(a), own.get(b))
            for a, b in product(reach.places, reach.places)
        )
        assert bool(sentences) == provable, seed
        assert all(f"(R{which + 1:02})" in one for one in sentences), (seed, sentences)
        shown += provable
    assert shown > 15


def all_said(record: Record) -> tuple[list[str], dict[str, Years]]:
    """What is said of a record, and the years of its places by their own evidence."""
    tables = record.tables
    said = relations_of(tables)
    own = years_of(tables, {name: tables[name] for name in FELLING})
    order = order_of(said, own)
    sentences = [*loop_words(said, tables.model)]
    sentences += [contradiction_words(one, tables.model) for one in order.contradictions]
    return sentences, own
