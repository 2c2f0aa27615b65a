"""The invented scenario holds together before anything of it is read: geometry, rings, dates."""

from __future__ import annotations

import math
import sys
from collections import Counter
from collections.abc import Iterator
from types import ModuleType

import pytest

from provenance._base.resources import shipped


@pytest.fixture(scope="module")
def invention() -> Iterator[ModuleType]:
    """The generator's package, which lies beside the data it makes."""
    folder = str(shipped("demo_package"))
    sys.path.insert(0, folder)
    writes, sys.dont_write_bytecode = (
        sys.dont_write_bytecode,
        True,
    )  # the folder is shipped as it is
    try:
        import invention
        import invention.laboratory
        import invention.paperwork
        import invention.tape

        yield invention
    finally:
        sys.path.remove(folder)
        sys.dont_write_bytecode = writes


def test_the_story_has_its_numbers(invention):
    woods = invention.timber.all_wood()
    samples = invention.specimens.all_specimens()
    assert Counter(wood.building for wood in woods) == {"LH": 46, "RB": 40, "BN": 34}
    assert Counter(sample.kind for sample in samples) == {"core": 39, "cross_section": 6}
    assert len({wood.element_id for wood in woods}) == 120
    assert len({sample.sample_id for sample in samples}) == 45


def test_wood_is_as_thick_as_building_wood(invention):
    for wood in invention.timber.all_wood():
        for diameter in (wood.dia_a1_cm, wood.dia_a2_cm, wood.dia_b1_cm, wood.dia_b2_cm):
            assert 8 <= diameter <= 35, wood.key
        # end A is the butt; a trunk thins by half to one centimetre a metre (common practice)
        taper = (wood.dia_a1_cm - wood.dia_b1_cm) / wood.length_m
        assert 0 <= taper <= 1.1, wood.key


def test_every_piece_of_wood_lies_in_its_room(invention):
    rooms = {row["code"]: row for row in invention.paperwork.places()}
    for wood in invention.timber.all_wood():
        room = rooms[wood.place_id]
        # walls, roofs and frames have no outline of their own; their building has
        outline = room["outline"] or rooms[room["inside"]]["outline"]
        corners = [tuple(map(float, corner.split())) for corner in outline.split(", ")]
        for x, y, _ in (wood.a, wood.b):
            assert _depth_inside(corners, x, y) >= -0.002, wood.key


def _depth_inside(corners, x, y):
    """Distance to the nearest side of a convex outline; outside it is below 0."""
    sides = zip(corners, corners[1:] + corners[:1], strict=True)
    return min(
        ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / math.dist((ax, ay), (bx, by))
        for (ax, ay), (bx, by) in sides
    )


def test_a_core_fits_its_wood_and_its_rings_fit_the_core(invention):
    for sample in invention.specimens.all_specimens():
        through_mm = sample.wood.diameter_at(sample.along_m) * 10
        assert 0 < sample.along_m < sample.wood.length_m
        if sample.is_core:
            assert sample.length_mm < through_mm
            assert sample.length_mm < sample.depth_mm < through_mm
            reached_mm = min(sample.length_mm, through_mm / 2)
        else:
            reached_mm = through_mm / 2
        assert len(sample.widths_hundredth_mm) == sample.ring_count
        assert sum(sample.widths_hundredth_mm) / 100 <= reached_mm


def test_no_tree_was_felled_after_its_building_phase(invention):
    """Phases: log house 1871 and 1902, room block 1689 and 1742, barn 1884 and 1921."""
    phases = {"LH": (1870, 1871, 1902), "RB": (1687, 1688, 1689, 1742), "BN": (1883, 1884, 1921)}
    felled_signs = {"B", "G", "L", "c", "r", "v"}
    for sample in invention.specimens.all_specimens():
        if sample.outer_year is None:
            continue
        if felled_signs & set(sample.outer_signs.split(";")):
            assert sample.outer_year in phases[sample.wood.building], sample.sample_id
        else:
            assert sample.outer_year < max(phases[sample.wood.building]), sample.sample_id


def test_tapes_agree_with_the_grid_but_for_one_misreading_of_a_foot(invention):
    off = [tie.reading_m - tie.true_m for tie in invention.tape.all_ties()]
    wrong = [one for one in off if abs(one) > 0.005]
    assert len(off) == 250
    assert len(wrong) == 1
    assert wrong[0] == pytest.approx(-0.3048, abs=0.005)


def test_a_tied_point_has_enough_tapes_to_find_a_misreading(invention):
    """Three unknowns, five readings: two to spare (least squares, common practice)."""
    points = Counter((tie.element_id, tie.end, tie.sample_id) for tie in invention.tape.all_ties())
    assert set(points.values()) == {5}
    buildings = Counter(datum.building for datum in invention.tape.all_datums())
    assert set(buildings.values()) == {4}


def test_no_two_stamps_read_alike_upside_down(invention):
    from provenance._identity.rotation import ambiguous_with

    numbers = {sample.sample_id for sample in invention.specimens.all_specimens()}
    assert [number for number in numbers if ambiguous_with(number, numbers)] == []


def test_every_sample_has_one_holder_from_the_wood_to_the_shelf(invention):
    events = invention.paperwork.custody_events()
    assert [event.number for event in events] == list(range(1, len(events) + 1))
    assert [event.on for event in events] == sorted(event.on for event in events)
    last = {event.sample_id: event for event in events}
    assert Counter(event.state for event in last.values()) == {
        "present": 43,
        "broken": 1,
        "missing": 1,
    }


def test_the_laboratory_answers_in_two_instalments_and_revises_one_result(invention):
    laboratory = invention.laboratory
    first, second = laboratory.first_instalment(), laboratory.second_instalment()
    assert (len(first), len(second)) == (24, 18)
    again = [one for one in second if one.issue == 2]
    assert [one.sample.sample_id for one in again] == [laboratory.REVISED]
    assert laboratory.REVISED in {one.sample.sample_id for one in first}
    undated = [one for one in (*first, *second) if one.outer_year is None]
    assert len({one.sample.reason for one in undated}) == 5
    assert all(one.sample.reason for one in undated)
