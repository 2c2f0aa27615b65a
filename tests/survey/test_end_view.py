"""The wood from its end: to scale, drilled as the hole lies in space, and beside its neighbors."""

from __future__ import annotations

from itertools import pairwise
from math import dist
from pathlib import Path

import numpy as np
import pytest

from provenance._drawing.drawing import Disc, Item, Line, Picture, Text
from provenance._record.package import Package
from provenance._survey.adjust.adjustment import survey_package
from provenance._survey.adjust.bore import wood_axes
from provenance._survey.hole.hole import hole_position
from provenance._survey.hole.known_points import KnownPoints, known_points, laid_down
from provenance._survey.plan.end_view import EndView, draw_end
from provenance._survey.plan.plan_map import draw_ground
from provenance._survey.plan.round_hole import surroundings, view_round
from tests.survey.test_plan import a_house, flattened

WIDTH, HEIGHT = 86.0, 58.0
DRILLS = {
    "231": {},
    "240": {"clock": 10.5, "direction": "radial", "inclination_deg": -60},
    "241": {"clock": 6, "direction": "tangential", "inclination_deg": 20},
    "242": {"clock": 1, "direction": "oblique", "inclination_deg": -40},
    "243": {"clock": 12, "direction": "end"},
    "244": {"clock": None},
    "245": {"clock": 4, "element_id": "B1-010"},
    "246": {"clock": 4, "element_id": "B1-011"},
}


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """Holes of every kind in a round beam, one in a squared one, one in wood of unknown size."""
    building = a_house(tmp_path_factory.mktemp("end"))
    unknown = {f"diameter_{one}_cm": None for one in ("a1", "a2", "b1", "b2")}
    ends = {"xa_m": 5.5, "ya_m": 0.3, "za_m": 2.4, "xb_m": 5.5, "yb_m": 4.7, "zb_m": 2.4}
    building.with_row("element", element_id="B1-010", shape="sawn", length_m=4.4, **ends)
    building.with_row("element", element_id="B1-011", length_m=4.4, **ends | unknown)
    for number, (sample, values) in enumerate(DRILLS.items()):
        if sample != "231":
            row = {"element_id": "B1-002", "along_m": 1.0 + number / 4} | values
            building.with_row("sample", sample_id=sample, **row)
    package = building.package
    survey_package(package)
    return package


def view_of(known: KnownPoints, sample: str) -> tuple[EndView, list[Item]]:
    at = int(np.flatnonzero(known.holes.sample == known.record.find("sample", sample))[0])
    view = draw_end(known, {}, at, (0.0, 0.0, WIDTH, HEIGHT))
    return view, flattened(view.items)


def test_a_drill_is_drawn_as_long_as_it_is_in_space_seen_along_the_wood(house: Package) -> None:
    """The reference is the hole's own place in space, projected on the section by hand."""
    known = known_points(house)
    for sample in ("231", "240", "241", "242", "245"):
        view, items = view_of(known, sample)
        (bore,) = (one for one in items if isinstance(one, Line) and one.fill == 0.45)
        start, end, *_ = bore.points
        hole = hole_position(house, sample, known=known)
        stick = known.sticks.at(np.array([known.record.find("element", hole.element_id)]))
        _, up, right, _ = wood_axes(stick.a, stick.b)
        way = np.subtract(hole.bottom_m, hole.entry_m)
        factor = 1000 / view.scale
        shown = np.subtract(end, start) / factor
        assert shown == pytest.approx([way @ right[0], way @ up[0]], abs=1e-6), sample
        widths = [dist(*two) for two in pairwise(bore.points)]
        assert widths[1] == pytest.approx(0.0127 * factor), sample
        # the ring is where the drill went in, as far from the axis as the hole is
        ring = next(one for one in items if isinstance(one, Disc) and one.radius == 2.2)
        away = np.subtract(hole.entry_m, hole.axis_m)
        (cross,) = {
            tuple(np.mean(one.points, axis=0))
            for one in items
            if isinstance(one, Line) and one.grey == 0.3
        }
        shown = np.subtract(ring.at, cross) / factor
        assert shown == pytest.approx([away @ right[0], away @ up[0]], abs=1e-6), sample


def test_what_cannot_be_drawn_to_scale_is_said(house: Package) -> None:
    known = known_points(house)
    _, items = view_of(known, "243")
    assert len([one for one in items if isinstance(one, Disc) and one.fill == 1.0]) == 1
    _, items = view_of(known, "244")
    assert not [one for one in items if isinstance(one, Line) and one.fill == 0.45]
    view, items = view_of(known, "246")
    assert view.words == "No diameter of this wood is recorded."
    assert [one for one in items if isinstance(one, Text) and "not to scale" in one.text]


def test_holes_near_along_the_wood_are_named_and_all_stays_in_its_area(house: Package) -> None:
    known = known_points(house)
    for sample, values in DRILLS.items():
        view, items = view_of(known, sample)
        for one in items:
            points = one.points if isinstance(one, Line) else [one.at]  # type: ignore[union-attr]
            for x, y in points:
                assert 0 <= x <= WIDTH, (sample, one)
                assert 0 <= y <= HEIGHT, (sample, one)
        if not values:
            assert view.words.endswith("Dashed, holes within 50 cm along the wood: "
                                       "232 (0.10 m toward B).")  # fmt: skip


def test_wood_without_a_place_is_drawn_by_its_length_alone(tmp_path: Path) -> None:
    building = a_house(tmp_path).with_row("element", element_id="B1-099", length_m=3.0)
    package = building.with_row("sample", sample_id="299", element_id="B1-099", clock=9).package
    known = known_points(package)
    laid = laid_down(known, package.model)
    number = known.record.find("sample", "299")
    assert number not in known.holes.sample
    assert number in laid.holes.sample
    # what has a place keeps it
    placed = np.isfinite(known.ends[:, 0])
    assert (laid.ends[placed] == known.ends[placed]).all()
    view, items = view_of(laid, "299")
    assert [one for one in items if isinstance(one, Line) and one.fill == 0.45]
    assert view.words.startswith("Section there: 21 cm from 12 to 6")


def test_ground_and_what_is_drawn_over_it_are_the_whole_drawing(house: Package) -> None:
    """Every stroke of the sheet's plan is on the ground that all holes share, or over it."""
    known = known_points(house)
    hole = hole_position(house, "231", known=known)
    element = known.record.find("element", hole.element_id)
    view = view_round(surroundings(house, known, element), hole, (6.0, 17.0, 106.0, 67.0))

    def strokes(items: tuple[Item, ...]) -> set[str]:
        shapes = (one for one in flattened(items) if not isinstance(one, Picture))
        return {repr(one) for one in shapes}

    whole = strokes(view.items(hole))
    picture = Picture((0, 0), 1, 1, 0.0, b"", href="ground.svg")
    over = strokes(view.items(hole, picture))
    ground = strokes(draw_ground(view.content, view.transform))
    assert whole == (over | ground)
    assert len(over) < len(whole)
    cropped = strokes(view.cropped().items(hole, picture))
    assert cropped == over
