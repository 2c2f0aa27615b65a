"""Places inside places."""

from __future__ import annotations

import pytest

from tests.checks.rules.record import Record, a_sound_record, only


def with_room(**values: str) -> Record:
    room = {"place_id": "B1-R1", "site_id": "HOLL", "kind": "room", "parent_place_id": "B1"}
    return a_sound_record().with_bare_row("place", **room | values)


def test_a_place_cannot_lie_inside_itself() -> None:
    broken = with_room().but("place", "B1", parent_place_id="B1-R1")
    assert len(broken.says("place.inside_itself")) == 2


def test_a_place_that_only_leads_into_a_circle_is_not_blamed() -> None:
    broken = with_room().but("place", "B1", parent_place_id="B1")
    only(broken.says("place.inside_itself"), "place 2 parent_place_id", "B1")


@pytest.mark.parametrize(
    ("table", "field"),
    [("element", "place_id"), ("datum", "place_id"), ("place", "parent_place_id")],
)
def test_nothing_of_one_site_lies_in_a_place_of_another(table: str, field: str) -> None:
    elsewhere = with_room().with_row("site", site_id="OTHR")
    elsewhere = elsewhere.with_bare_row("place", place_id="X1", site_id="OTHR", kind="building")
    key = {"element": "B1-014", "datum": "D1", "place": "B1-R1"}[table]
    broken = elsewhere.but(table, key, **{field: "X1"})
    only(broken.says("place.of_another_site"), f"{table} ", field, key, "HOLL", "X1", "OTHR")


def test_a_room_is_on_the_level_of_its_storey() -> None:
    storey = {"place_id": "B1-S1", "site_id": "HOLL", "kind": "storey", "level": "1"}
    broken = with_room(parent_place_id="B1-S1", level="0").with_bare_row("place", **storey)
    only(broken.says("place.level_differs"), "B1-R1", "level 0", "level 1")


def test_a_room_says_in_which_building_it_is() -> None:
    only(with_room(parent_place_id="").says("place.part_of_nothing"), "B1-R1", "room")
    assert with_room().says("place.part_of_nothing") == []
