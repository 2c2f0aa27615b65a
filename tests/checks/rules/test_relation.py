"""What was seen where places meet: what cannot be so, and what only looks odd."""

from __future__ import annotations

from functools import cache

from tests.checks.rules.record import Record, a_sound_record, only


@cache
def walls() -> Record:
    """Four walls in B1; W1 has wood felled in 1788, and W4 stood in 1770."""
    record = a_sound_record()
    for wall in ("W1", "W2", "W3", "W4"):
        record = record.with_bare_row(
            "place", place_id=wall, site_id="HOLL", kind="wall", parent_place_id="B1"
        )
    return (
        record.with_bare_row(
            "felling",
            element_id="B1-014",
            tree_id="B1-014",
            place_id="W1",
            felled_from_year=1788,
            felled_to_year=1789,
            felling_class="cutting",
        )
        .with_bare_row("place", place_id="B9", site_id="FAR", kind="building")
        .but("episode", place_id="W4", happened="1770", certainty="certain", kind="documented")
    )


def meeting(*relations: str, record: Record | None = None) -> Record:
    """The walls with relations such as 'W2 abuts W1', numbered R1, R2, …"""
    record = record or walls()
    for number, (place, kind, other, *certainty) in enumerate(map(str.split, relations), start=1):
        record = record.with_bare_row(
            "relation",
            relation_id=f"R{number}",
            site_id="HOLL",
            place_id=place,
            relation_kind=kind,
            other_place_id=other,
            certainty="".join(certainty),
        )
    return record


def all_said(record: Record) -> dict[str, list[str]]:
    rules = ("with_itself", "with_its_own_part", "told_both_ways", "order_in_one_build", "loop")
    rules += ("dates_against_order", "support_is_younger")
    said = {one: record.says(f"relation.{one}") for one in rules}
    return {one: sentences for one, sentences in said.items() if sentences}


def test_sound_relations_are_not_spoken_of() -> None:
    for relations in (
        (),
        ("W2 abuts W1", "W3 bonded W2", "W4 rests_on W3"),
        # told twice the same way round, and by two kinds
        ("W2 abuts W1", "W2 cuts W1", "W2 abuts W1"),
        # the years allow it
        ("W1 abuts W4",),
        # only possible: neither a contradiction nor an order
        ("W4 abuts W1 possible", "W1 abuts W2", "W2 abuts W1 hearsay"),
        # a doorway is cut into the wall that it lies in
        ("B1-D1 cuts W2", "B1-D1 blocks W2"),
    ):
        doorway = walls().with_bare_row(
            "place", place_id="B1-D1", site_id="HOLL", kind="doorway", parent_place_id="W2"
        )
        assert all_said(meeting(*relations, record=doorway)) == {}, relations


def test_what_relations_alone_show_is_named_with_their_codes() -> None:
    for relations, rule, parts in (
        (["W2 abuts W2"], "with_itself", ["Relation R1: W2 is related to itself"]),
        (["W2 abuts B1"], "with_its_own_part", ["abuts B1, but one of them is inside the other"]),
        (["B1 cuts W2"], "with_its_own_part", ["B1 cuts W2"]),
        (
            ["W2 abuts W1", "W3 bonded W1", "W1 cuts W2"],
            "told_both_ways",
            ["relation 4", "W2 abuts W1 (R1), W1 cuts W2 (R3)"],
        ),
        (["W2 rests_on W1", "W1 rests_on W2"], "told_both_ways", ["W2 rests on W1 (R1)"]),
        (
            ["W2 bonded W1", "W2 bonded W3", "W3 abuts W1"],
            "order_in_one_build",
            [
                "relation 4",
                "R3: W3 abuts W1 (R3), but they were built together by W2 bonded with W1 (R1), "
                "W2 bonded with W3 (R2)",
            ],
        ),
        (
            # two loops share W1: the shorter one is named, once
            ["W4 abuts W3", "W1 abuts W4", "W2 abuts W1", "W3 cuts W2", "W1 blocks W3"],
            "loop",
            ["W1 is earlier than itself: W2 abuts W1 (R3), W3 cuts W2 (R4), W1 blocks W3 (R5)"],
        ),
        (
            # round by way of what is bonded
            ["W2 abuts W1", "W2 bonded W3", "W4 abuts W3", "W1 abuts W4"],
            "loop",
            ["W2 abuts W1 (R1), W2 bonded with W3 (R2), W4 abuts W3 (R3), W1 abuts W4 (R4)"],
        ),
    ):
        said = all_said(meeting(*relations))
        assert list(said) == [rule], relations
        only(said[rule], *parts)


def test_the_two_places_are_of_the_site_of_the_relation() -> None:
    said = meeting("B9 abuts W1", "W1 abuts B9").says("place.of_another_site")
    assert [sentence.partition(":")[0] for sentence in said] == [
        "relation 2 place_id",
        "relation 3 other_place_id",
    ]


def test_dates_against_the_order_are_named_with_the_way_between_and_what_they_rest_on() -> None:
    for relations in (
        ["W2 abuts W1", "W3 bonded W2", "W4 abuts W3"],
        # a contradiction within one build
        ["W1 bonded W2", "W2 bonded W4"],
    ):
        said = all_said(meeting(*relations))
        assert list(said) == ["dates_against_order"], relations
        only(
            said["dates_against_order"],
            "W1 was built before W4 or together with it (W",
            "but W1 not before 1788 (oldest dated wood) and W4 not after 1770 (historical event).",
        )
    # the years of one place can contradict each other
    alone = walls().but("episode", place_id="W1")
    only(
        all_said(meeting("W2 abuts W1", record=alone))["dates_against_order"],
        "relation 2",
        "W1 was not built before 1788 (oldest dated wood), yet not after 1770 (historical event).",
    )
    # wood that may be a repair says nothing of the first building
    repair = walls().but("felling", "B1-014", candidate="repair")
    assert all_said(meeting("W4 abuts W1", record=repair)) == {}
    # nor does an event that is not certain, or whose year is not
    for event in ({"certainty": "likely"}, {"happened": "1770~"}, {"kind": "burned"}):
        vague = walls().but("episode", **event)
        assert all_said(meeting("W4 abuts W1", record=vague)) == {}, event


def test_a_support_that_is_younger_is_a_warning_and_no_order() -> None:
    said = all_said(meeting("W4 rests_on W1", "W3 abuts W4"))
    assert list(said) == ["support_is_younger"]
    only(said["support_is_younger"], "W4 rests on W1 (R1)", "1788", "1770", "replaced")
