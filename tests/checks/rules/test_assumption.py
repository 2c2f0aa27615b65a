"""Figures that a person assumed, and where they are from."""

from __future__ import annotations

from tests.checks.rules.record import Record, a_sound_record, only

SAID = {
    "assumption_id": "1",
    "assumption_kind": "longest_stem",
    "figure": "12",
    "source": "Invented handbook, p. 3",
}
RATE = {**SAID, "assumption_kind": "work_per_cut", "activity": "sawing"}


def assuming(*rows: dict[str, str]) -> Record:
    record = a_sound_record()
    for row in rows:
        record = record.with_bare_row("assumption", **row)
    return record


def test_a_spread_is_not_larger_than_its_figure() -> None:
    broken = assuming({**RATE, "spread": "12.5"})
    only(broken.says("assumption.spread_above_figure"), "12.5 h/m²", "itself, 12 h/m²")
    assert assuming({**RATE, "spread": "12"}).says("assumption.spread_above_figure") == []


def test_a_source_names_what_can_be_looked_up() -> None:
    for source in ("-", "me", "Guess.", "p. 3", "unknown"):
        broken = assuming({**SAID, "source": source})
        only(broken.says("assumption.source_says_nothing"), f"'{source}'", "12 m")
    for source in ("Invented handbook, p. 3", "Ines", "試行 2019年 木材"):
        assert assuming({**SAID, "source": source}).says("assumption.source_says_nothing") == []


def test_one_figure_for_the_same_wood_and_place() -> None:
    twice = assuming(SAID, {**SAID, "assumption_id": "2", "figure": "15"})
    only(twice.says("assumption.given_twice"), "2 and 1", "15 m and 12 m")
    for values in ({"species": "PIPO"}, {"place_id": "B1"}, {"assumption_kind": "least_top"}):
        apart = assuming(SAID, {**SAID, "assumption_id": "2", **values})
        assert apart.says("assumption.given_twice") == [], values
    apart = assuming(RATE, {**RATE, "assumption_id": "2", "activity": "barking"})
    assert apart.says("assumption.given_twice") == []


def test_a_rate_says_of_which_work_and_nothing_else_does() -> None:
    only(assuming({**RATE, "activity": ""}).says("assumption.rate_without_work"), "12 h/m²")
    only(assuming({**SAID, "activity": "felling"}).says("assumption.work_of_no_rate"), "felling")
    for rule in ("assumption.rate_without_work", "assumption.work_of_no_rate"):
        assert assuming(SAID, {**RATE, "assumption_id": "2"}).says(rule) == []
