"""Phases beside documented events; what an event of each kind says is common practice."""

from __future__ import annotations

from typing import Any

from provenance._derive.dates.felling import derive_fellings
from provenance._derive.dates.phase_events import compare_events
from provenance._derive.dates.phases import PhaseRule, derive_phases
from tests.derive.test_dating import a_house, ring

CAMPAIGN = [ring(1781, "B"), ring(1781, "B"), ring(1782, "B"), ring(1782, "B")]
"""A phase of 1781 to 1783, the largest of its building and of its room."""
LATER = [ring(1820, "B")] * 3


def compared(tmp_path, *events: dict[str, Any], dates=CAMPAIGN, more=()) -> list[tuple[Any, ...]]:
    """Phase, event, agreement and years after, of phases of the building unless told otherwise."""
    house = a_house(tmp_path, *dates)
    house.with_row("site", site_id="OTHER").with_row("place", place_id="B2")
    house.with_row("place", place_id="O1", site_id="OTHER")
    for number, event in enumerate(events, start=1):
        house.with_row("episode", episode_id=f"V{number}", **({"place_id": "B1"} | event))
    for table, values in more:
        house.with_bare_row(table, **values)
    package = house.package
    phases = derive_phases(package, derive_fellings(package), PhaseRule())["phase"]
    shown = ("phase_id", "episode_id", "agreement", "years_after")
    rows = compare_events(package, phases).select(shown).rows()
    return [row for row in rows if row[0] is None or not row[0].startswith("B1-R1")]


def event(kind: str, happened: str, **more: Any) -> dict[str, Any]:
    return {"kind": kind, "happened": happened, **more}


def test_what_an_event_of_each_kind_says_of_a_phase(tmp_path) -> None:
    main, unanswered = "B1-1781", [("B1-1781", None, "silent", None), (None, "V1", "silent", None)]
    cases: tuple[tuple[dict[str, Any], list[tuple[Any, ...]]], ...] = (
        (event("built", "1782"), [(main, "V1", "fits", 0)]),
        (event("built", "1750/1790"), [(main, "V1", "fits", 0)]),
        (event("built", "../1790"), [(main, "V1", "fits", 0)]),
        # how long wood was kept is not known: the distance is all that is said
        (event("built", "1785"), [(main, "V1", "silent", 2)]),
        (event("repaired", "1850"), [(main, "V1", "silent", 67)]),
        (event("enlarged", "1783-05"), [(main, "V1", "fits", 0)]),
        # most of the wood felled after it was built; later work it can be after a repair
        (event("built", "1776/1778"), [(main, "V1", "contradicts", -3)]),
        (event("documented", "1750"), [(main, "V1", "contradicts", -31)]),
        (event("repaired", "1750"), [(main, "V1", "silent", -31)]),
        (event("documented", "1850"), unanswered),
        (event("abandoned", "1770"), [(main, "V1", "contradicts", -11)]),
        (event("abandoned", "1770/.."), unanswered),
        (event("abandoned", "1850"), unanswered),
        (event("excavated", "1770"), [(main, "V1", "contradicts", -11)]),
        (event("burned", "1770"), unanswered),
        (event("sampled", "1770"), unanswered),
        (event("other", "1782"), unanswered),
        (event("built", "some time"), unanswered),
    )
    for number, (said, expected) in enumerate(cases):
        assert compared(tmp_path / str(number), said) == expected, said


def test_only_events_of_the_same_place_or_one_around_or_inside_it_are_compared(tmp_path) -> None:
    unanswered = [("B1-1781", None, "silent", None), (None, "V1", "silent", None)]
    for place, expected in (
        # inside it, and the whole site
        ({"place_id": "B1-R1"}, [("B1-1781", "V1", "fits", 0)]),
        ({"place_id": None}, [("B1-1781", "V1", "fits", 0)]),
        # beside it, of another site, of the whole of another site
        ({"place_id": "B2"}, unanswered),
        ({"place_id": "O1", "site_id": "OTHER"}, unanswered),
        ({"place_id": None, "site_id": "OTHER"}, unanswered),
    ):
        folder = tmp_path / str(place)
        assert compared(folder, event("built", "1782", **place)) == expected, place
    # a room may have been left before the house was rebuilt, which only contradicts the room's own
    # phase; the site may not
    for where, expected in (
        ("B1-R1", unanswered[:1]),
        (None, [("B1-1781", "V1", "contradicts", -11)]),
    ):
        said = event("abandoned", "1770", place_id=where)
        assert compared(tmp_path / f"left {where}", said) == expected, where
    # that the site was built before is not said of this house
    said = event("built", "1770", place_id=None)
    assert compared(tmp_path / "site", said) == [("B1-1781", "V1", "silent", -11)]


def test_wood_may_be_kept_as_long_as_the_record_assumes_with_a_source(tmp_path) -> None:
    kept = {"assumption_kind": "used_within", "figure": 3, "source": "Own trial (invented)"}
    more = [("assumption", {"assumption_id": "A1", **kept})]
    for number, (year, agreement) in enumerate((("1786", "fits"), ("1787", "silent"))):
        found = compared(tmp_path / str(number), event("built", year), more=more)
        assert [row[2] for row in found] == [agreement]


def test_a_later_phase_is_later_work_and_an_event_can_account_for_a_rebuilding(tmp_path) -> None:
    """Built 1782; the smaller phase of 1820 does not contradict it. Where the house was enlarged in
    1782, its being documented in 1750 does not contradict the phase of 1781.
    """
    found = compared(tmp_path / "1", event("built", "1782"), dates=[*CAMPAIGN, *LATER])
    assert found == [("B1-1781", "V1", "fits", 0), ("B1-1820", "V1", "silent", -38)]
    found = compared(tmp_path / "2", event("documented", "1750"), event("enlarged", "1782"))
    assert found == [("B1-1781", "V2", "fits", 0), (None, "V1", "silent", None)]
