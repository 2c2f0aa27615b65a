"""The hole in the wood: clock, taper, direction, uncertainty, and how to tape it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from provenance._base.errors import UnusableInput
from provenance._survey.adjust.adjustment import survey_package
from provenance._survey.adjust.bore import (
    DIRECTIONS,
    Bores,
    Sticks,
    section_radius,
    set_bores,
    wood_axes,
)
from provenance._survey.hole.hole import hole_position, segment_gap
from provenance._survey.parts.features import WoodFeature, read_features
from provenance._survey.parts.observation import Floats, Precision
from tests.builders import PackageBuilder
from tests.survey.scenes import a_room

NORTHWARDS = (np.array([[0.0, 0.0, 2.0]]), np.array([[0.0, 4.0, 2.0]]))


def a_stick(
    a: tuple[float, ...],
    b: tuple[float, ...],
    *,
    sizes: tuple[float, float, float, float] = (0.2, 0.2, 0.2, 0.2),
    square: bool = False,
    sd: float = 0.0,
    n: int = 1,
) -> Sticks:
    """A piece of wood n times over; `sizes` are diameters a1, a2, b1, b2 in m."""
    a1, a2, b1, b2 = sizes
    spread = np.tile(np.eye(3) * sd**2, (n, 1, 1))
    return Sticks(
        np.tile(a, (n, 1)).astype(float),
        np.tile(b, (n, 1)).astype(float),
        spread,
        spread,
        np.tile([[a1, b1]], (n, 1)),
        np.tile([[a2, b2]], (n, 1)),
        np.full(n, square),
    )


def bore(
    stick: Sticks,
    along: float = 1.0,
    clock: float = 3.0,
    direction: str = "radial",
    inclination: float = np.nan,
    depth: float = 0.1,
) -> Bores:
    one = np.array
    return set_bores(
        stick,
        one([along]),
        one([clock]),
        one([DIRECTIONS.index(direction)]),
        one([inclination]),
        one([depth]),
        Precision(),
    )


@pytest.mark.parametrize(
    ("clock", "entry"),
    [
        (12.0, (0, 1, 2.1)),
        (3.0, (0.1, 1, 2)),
        (6.0, (0, 1, 1.9)),
        (9.0, (-0.1, 1, 2)),
        (0.0, (0, 1, 2.1)),
    ],
)
def test_the_clock_is_seen_from_a_towards_b_with_twelve_up(
    clock: float, entry: tuple[float, ...]
) -> None:
    """Looking north along the wood, 3 is east, as on any clock face held up there."""
    placed = bore(a_stick((0, 0, 2), (0, 4, 2)), clock=clock)
    assert placed.entry[0] == pytest.approx(entry)
    # radial: straight to the axis
    assert placed.bottom[0] == pytest.approx((0, 1, 2), abs=1e-9)


@pytest.mark.parametrize(
    ("a", "b", "three"),
    [((0, 0, 0), (0, 0, 3), (-0.1, 0)), ((0, 0, 3), (0, 0, 0), (0.1, 0))],
    ids=["A below, looking up", "A above, looking down"],
)
def test_on_upright_wood_twelve_is_towards_the_grid_s_y_axis(
    a: tuple[float, ...], b: tuple[float, ...], three: tuple[float, float]
) -> None:
    """Looking up with north at the top, east is on the left, as on a star chart."""
    assert bore(a_stick(a, b), clock=12).entry[0, :2] == pytest.approx((0, 0.1), abs=1e-9)
    assert bore(a_stick(a, b), clock=3).entry[0, :2] == pytest.approx(three, abs=1e-9)


def test_a_sloping_rafter_keeps_twelve_towards_the_sky() -> None:
    placed = bore(a_stick((0, 0, 0), (3, 0, 3)), along=np.sqrt(8), clock=12)
    up = np.array([-1, 0, 1]) / np.sqrt(2)
    assert placed.entry[0] == pytest.approx(np.array([2, 0, 2]) + 0.1 * up)


def test_wood_tapers_evenly_between_its_ends() -> None:
    """A frustum: the radius at a quarter of the way is a quarter of the way between the radii."""
    stick = a_stick((0, 0, 0), (0, 4, 0), sizes=(0.30, 0.30, 0.20, 0.20))
    assert bore(stick, along=1.0).radius_m[0] == pytest.approx(0.1375)
    assert bore(stick, along=4.0).radius_m[0] == pytest.approx(0.10)


@given(st.floats(0, 12), st.floats(0.05, 0.5), st.floats(0.05, 0.5))
def test_points_of_a_round_section_lie_on_the_ellipse(
    clock: float, up: float, level: float
) -> None:
    one = np.array
    radius = section_radius(one([clock]), one([up]), one([level]), one([False]))[0]
    turn = np.radians(30 * clock)
    x, y = radius * np.sin(turn), radius * np.cos(turn)
    assert (2 * x / level) ** 2 + (2 * y / up) ** 2 == pytest.approx(1.0)


def test_a_hewn_section_has_corners() -> None:
    """At half past one on a square of side 0.2 the surface is half a diagonal away."""
    one = np.array
    radius = section_radius(one([1.5]), one([0.2]), one([0.2]), one([True]))
    assert radius[0] == pytest.approx(0.1 * np.sqrt(2))


def test_diameter_one_is_upright_and_diameter_two_level() -> None:
    stick = a_stick((0, 0, 0), (0, 4, 0), sizes=(0.30, 0.20, 0.30, 0.20))
    assert bore(stick, clock=12).radius_m[0] == pytest.approx(0.15)
    assert bore(stick, clock=3).radius_m[0] == pytest.approx(0.10)


def test_a_drill_that_climbs_goes_up_by_its_inclination() -> None:
    placed = bore(a_stick((0, 0, 2), (0, 4, 2)), clock=3, inclination=30, depth=0.2)
    assert placed.direction[0] == pytest.approx((-np.cos(np.pi / 6), 0, 0.5))
    assert placed.bottom[0, 2] == pytest.approx(2.1)


def test_a_level_hole_in_a_post_keeps_its_heading() -> None:
    """The post leans a little; level says nothing about which way the drill pointed."""
    placed = bore(a_stick((0, 0, 0), (0.01, 0.003, 3)), clock=12, inclination=0)
    assert placed.direction[0] == pytest.approx((0, -1, 0), abs=2e-3)


def test_a_hole_into_the_end_goes_along_the_wood() -> None:
    placed = bore(a_stick((0, 0, 2), (0, 4, 2)), along=0.0, clock=np.nan, direction="end")
    assert placed.bottom[0] == pytest.approx((0, 0.1, 2))
    placed = bore(a_stick((0, 0, 2), (0, 4, 2)), along=4.0, clock=np.nan, direction="end")
    assert placed.bottom[0] == pytest.approx((0, 3.9, 2))


@given(st.floats(0, 12), st.floats(-180, 180), st.floats(-70, 70))
def test_the_drill_goes_into_the_wood_and_its_frame_is_square(
    clock: float, bearing: float, slope: float
) -> None:
    east, north = np.sin(np.radians(bearing)), np.cos(np.radians(bearing))
    end = 3 * np.array([east, north, np.tan(np.radians(slope))])
    placed = bore(a_stick((0, 0, 0), tuple(end)), clock=clock)
    forward, up, right, _ = wood_axes(np.zeros((1, 3)), end[None])
    frame = np.vstack([forward, up, right])
    assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-9)
    assert up[0, 2] >= 0
    inward = placed.axis_point - placed.entry
    assert (placed.direction[0] @ inward[0]) == pytest.approx(0.1)


def test_the_hole_s_covariance_is_what_draws_of_its_parts_give() -> None:
    """Monte Carlo over ends (one error for both, the worst case), clock, distance, radius."""
    n, sd, precision = 40_000, 0.01, Precision()
    chance = np.random.default_rng(5)
    stick = a_stick((0, 0, 2), (0, 4, 2), sd=sd, n=n)
    shift = chance.normal(0, sd, (n, 3))
    moved = Sticks(
        stick.a + shift,
        stick.b + shift,
        stick.covariance_a,
        stick.covariance_b,
        stick.upright_m + 2 * chance.normal(0, precision.radius_sd_m, (n, 1)),
        stick.level_m,
        stick.square,
    )
    moved = Sticks(
        moved.a,
        moved.b,
        moved.covariance_a,
        moved.covariance_b,
        moved.upright_m,
        moved.upright_m,
        moved.square,
    )
    drawn = set_bores(
        moved,
        1.0 + chance.normal(0, precision.along_sd_m, n),
        4.0 + chance.normal(0, precision.clock_sd_h, n),
        np.zeros(n, dtype=int),
        np.full(n, np.nan),
        np.full(n, 0.1),
        precision,
    )
    told = bore(a_stick((0, 0, 2), (0, 4, 2), sd=sd), clock=4.0).entry_covariance[0]
    assert np.cov(drawn.entry.T) == pytest.approx(told, abs=6e-6)


@settings(max_examples=25)
@given(st.lists(st.floats(-2, 2), min_size=12, max_size=12))
def test_the_gap_between_drill_lines_is_the_least_distance(numbers: list[float]) -> None:
    """scipy.optimize.minimize over both parameters is the reference."""
    p1, q1, p2, q2 = np.array(numbers).reshape(4, 3)
    gap = segment_gap(p1, q1, p2, q2)[0]

    def apart(at: Floats) -> float:
        return float(((p1 + at[0] * (q1 - p1) - p2 - at[1] * (q2 - p2)) ** 2).sum())

    best = min(
        minimize(apart, begin, bounds=[(0, 1), (0, 1)]).fun
        for begin in ([0.5, 0.5], [0, 0], [1, 1], [0, 1], [1, 0])
    )
    assert gap == pytest.approx(np.sqrt(best), abs=2e-3)


def test_features_give_their_distances_and_what_cannot_be_read_is_kept() -> None:
    found, unread = read_features("0.42: mortise; 1.10-1.25: notch; nail, east side")
    assert found == (WoodFeature(0.42, 0.42, "mortise"), WoodFeature(1.10, 1.25, "notch"))
    assert unread == ("nail, east side",)
    assert found[1].distance_m(1.2) == 0
    assert found[1].distance_m(1.35) == pytest.approx(0.10)


SURE = Precision(along_sd_m=0, clock_sd_h=0, radius_sd_m=0)


def sloping(degrees: float, bearing: float = 0.0) -> Sticks:
    """Wood of 4 m that climbs from A to B, towards a bearing."""
    level, rise = 4 * np.cos(np.radians(degrees)), 4 * np.sin(np.radians(degrees))
    east, north = np.sin(np.radians(bearing)), np.cos(np.radians(bearing))
    return a_stick((0, 0, 0), (level * east, level * north, rise))


@given(st.floats(-70, 70), st.floats(-180, 180), st.floats(0, 12), st.floats(-85, 85))
def test_a_drill_in_sloping_wood_has_the_slope_that_was_read(
    slope: float, bearing: float, clock: float, inclination: float
) -> None:
    """Square to the wood no line is steeper than 90 degrees less the wood's own slope."""
    stick = sloping(slope, bearing)
    placed = bore(stick, clock=clock, inclination=inclination)
    forward = wood_axes(stick.a, stick.b)[0][0]
    way = placed.direction[0]
    assert way @ way == pytest.approx(1)
    assert way @ forward == pytest.approx(0, abs=1e-9)
    steepest = 90 - abs(slope)
    if abs(inclination) <= steepest:
        assert np.degrees(np.arcsin(way[2])) == pytest.approx(inclination, abs=1e-4)
        assert placed.sure_direction[0]
        # of the two lines with that slope the one that goes more nearly to the middle
        inward = placed.axis_point[0] - placed.entry[0]
        up = np.array([0, 0, 1.0]) - forward[2] * forward
        flat = np.cross(forward, up)
        other = way - 2 * (way @ flat) / (flat @ flat) * flat
        assert way @ inward >= other @ inward - 1e-9


@pytest.mark.parametrize(("inclination", "sure"), [(29.9, True), (39.9, True), (40.1, False)])
@pytest.mark.parametrize("sign", [1, -1])
def test_a_slope_steeper_than_the_wood_allows_counts_as_its_steepest_within_ten_degrees(
    inclination: float, sure: bool, sign: int
) -> None:
    """Wood at 60 degrees lets a line square to it climb by 30 at most."""
    placed = bore(sloping(60), clock=6 - 6 * (sign < 0), inclination=sign * inclination)
    assert bool(placed.sure_direction[0]) is sure
    if sure:
        slope = np.degrees(np.arcsin(placed.direction[0, 2]))
        assert slope == pytest.approx(sign * min(inclination, 30))
    else:
        inward = placed.axis_point[0] - placed.entry[0]
        assert placed.direction[0] == pytest.approx(inward / 0.1)


@pytest.mark.parametrize(("slope", "turned"), [(74.9, False), (75.1, True)])
def test_beyond_75_degrees_wood_is_upright_for_its_clock_and_its_drill(
    slope: float, turned: bool
) -> None:
    stick = sloping(slope, bearing=90)
    _, up, _, _ = wood_axes(stick.a, stick.b)
    assert up[0, 1] == pytest.approx(1.0 if turned else 0.0)
    # at 12 on upright wood the drill goes south, and keeps that way whatever its slope
    placed = bore(stick, clock=12, inclination=10)
    ground = np.degrees(np.arctan2(placed.direction[0, 0], placed.direction[0, 1])) % 360
    if turned:
        assert ground == pytest.approx(180)
        assert placed.direction[0, 2] == pytest.approx(np.sin(np.radians(10)))
        assert placed.sure_direction[0]
    else:
        assert placed.direction[0, 0] != pytest.approx(0, abs=0.01)


@pytest.mark.parametrize("inclination", [-45.0, 0.0, 30.0])
def test_an_oblique_drill_keeps_its_heading_over_ground(inclination: float) -> None:
    """At two o'clock on level wood that runs north the middle lies to the west and below."""
    placed = bore(
        a_stick((0, 0, 2), (0, 4, 2)), clock=2, direction="oblique", inclination=inclination
    )
    turn = np.radians(inclination)
    assert placed.direction[0] == pytest.approx((-np.cos(turn), 0, np.sin(turn)), abs=1e-9)
    assert not placed.sure_direction[0]


def test_an_oblique_drill_from_straight_above_has_no_heading_and_goes_to_the_middle() -> None:
    placed = bore(a_stick((0, 0, 2), (0, 4, 2)), clock=12, direction="oblique", inclination=-45)
    assert placed.direction[0] == pytest.approx((0, 0, -1), abs=1e-9)


@pytest.mark.parametrize(
    ("direction", "inclination", "clock", "sure"),
    [
        ("radial", np.nan, 3.0, True),
        ("radial", 20.0, 3.0, True),
        ("radial", np.nan, np.nan, False),
        ("tangential", 20.0, 3.0, True),
        ("tangential", np.nan, 3.0, False),
        ("tangential", 20.0, np.nan, False),
        ("oblique", 20.0, 3.0, False),
        ("unknown", 20.0, 3.0, False),
        ("unknown", np.nan, 3.0, False),
        ("end", np.nan, np.nan, True),
        ("end", 20.0, 3.0, True),
    ],
)
def test_a_direction_is_sure_where_nothing_had_to_be_guessed(
    direction: str, inclination: float, clock: float, sure: bool
) -> None:
    placed = bore(
        a_stick((0, 0, 2), (0, 4, 2)), clock=clock, direction=direction, inclination=inclination
    )
    assert bool(placed.sure_direction[0]) is sure
    assert bool(placed.sure_side[0]) is bool(np.isfinite(clock))


@pytest.mark.parametrize(
    ("along", "inside"), [(-0.01, False), (0.0, True), (4.0, True), (4.01, False)]
)
def test_a_hole_is_inside_from_one_end_to_the_other(along: float, inside: bool) -> None:
    placed = bore(a_stick((0, 0, 2), (0, 4, 2)), along=along)
    assert bool(placed.inside[0]) is inside
    assert placed.axis_point[0] == pytest.approx((0, along, 2))


@pytest.mark.parametrize(("along", "way"), [(2.0, 1), (2.01, -1)])
def test_a_drill_into_the_end_goes_in_from_the_nearer_end(along: float, way: int) -> None:
    placed = bore(a_stick((0, 0, 2), (0, 4, 2)), along=along, clock=np.nan, direction="end")
    assert placed.direction[0] == pytest.approx((0, way, 0))


@pytest.mark.parametrize(("direction", "degrees"), [("radial", 5), ("unknown", 30)])
def test_a_bore_may_end_aside_by_what_its_direction_is_off(direction: str, degrees: int) -> None:
    """0.2 m at 5 degrees (or 30, where the direction was guessed) and 5 mm of depth."""
    n = DIRECTIONS.index(direction)
    one = np.array
    stick = a_stick((0, 0, 2), (0, 4, 2))
    placed = set_bores(stick, one([1.0]), one([3.0]), one([n]), one([np.nan]), one([0.2]), SURE)
    spread = np.sqrt(np.linalg.eigvalsh(placed.bottom_covariance[0]))
    swing = 0.2 * np.radians(degrees)
    assert spread == pytest.approx((0.005, swing, swing))
    along_drill = placed.direction[0] @ placed.bottom_covariance[0] @ placed.direction[0]
    assert np.sqrt(along_drill) == pytest.approx(0.005)
    assert placed.entry_covariance[0] == pytest.approx(np.zeros((3, 3)))


def test_a_bore_of_no_known_depth_ends_where_it_starts() -> None:
    placed = bore(a_stick((0, 0, 2), (0, 4, 2)), depth=np.nan)
    assert placed.bottom[0] == pytest.approx(placed.entry[0])


@pytest.mark.parametrize(
    ("sizes", "clock", "spread"),
    [
        # 20 cm one way and 16 cm the other: the surface may be 1 cm off at any clock
        ((0.20, 0.16, 0.20, 0.16), 3.0, (0, 0, 0.01)),
        # no size: 10 cm either way of the axis
        ((np.nan,) * 4, 3.0, (0, 0, 0.1)),
        # no clock: the radius of 10 cm shared out over both directions across the wood
        ((0.2, 0.2, 0.2, 0.2), np.nan, (0, 0.1 / np.sqrt(2), 0.1 / np.sqrt(2))),
    ],
)
def test_an_entry_is_as_uncertain_as_what_was_not_recorded(
    sizes: tuple[float, float, float, float], clock: float, spread: tuple[float, ...]
) -> None:
    one = np.array
    placed = set_bores(
        a_stick((0, 0, 2), (0, 4, 2), sizes=sizes),
        one([1.0]), one([clock]), one([0]), one([np.nan]), one([0.1]), SURE,
    )  # fmt: skip
    found = np.sqrt(np.maximum(np.linalg.eigvalsh(placed.entry_covariance[0]), 0))
    assert found == pytest.approx(spread, abs=1e-9)


def test_a_point_nearer_to_one_end_has_more_of_its_spread() -> None:
    stick = a_stick((0, 0, 2), (0, 4, 2))
    stick = replace(stick, covariance_a=np.eye(3)[None] * 4e-4, covariance_b=np.eye(3)[None] * 8e-4)
    one = np.array
    placed = set_bores(
        stick, one([1.0]), one([3.0]), one([0]), one([np.nan]), one([0.1]), SURE, one([True])
    )
    assert placed.entry_covariance[0] == pytest.approx(np.eye(3) * 5e-4)
    assert placed.entry[0] == pytest.approx((0, 1, 2))


# -- a hole of a package -------------------------------------------------------------------------

LEVEL_BEAM = {"xa_m": 1, "ya_m": 1, "za_m": 2.4, "xb_m": 1, "yb_m": 5, "zb_m": 2.4}


def a_beam(folder: Path, **more: object) -> PackageBuilder:
    sizes = {f"diameter_{name}_cm": 20 for name in ("a1", "a2", "b1", "b2")}
    element = LEVEL_BEAM | sizes | {"length_m": 4, "position_uncertainty_m": 0.02} | more
    return a_room(folder).with_row("element", **element)


def test_a_hole_is_placed_taped_and_measured_from_the_floor(tmp_path: Path) -> None:
    package = a_beam(tmp_path).with_row("sample", along_m=1.5, clock=3, depth_mm=90).package
    survey_package(package)
    hole = hole_position(package, "231")
    assert hole.entry_m == pytest.approx((1.1, 2.5, 2.4))
    assert hole.bottom_m == pytest.approx((1.01, 2.5, 2.4))
    assert hole.bearing_deg == pytest.approx(270)
    assert hole.height_above_floor_m == pytest.approx(2.2)
    assert hole.notes == ()
    assert len(hole.tapes) == 3
    for tape in hole.tapes:
        datum = package.typed("datum").set_index("datum_id").loc[tape.datum_id]
        at = np.array([datum["x_m"], datum["y_m"], datum["z_m"]], dtype=float)
        assert tape.distance_m == pytest.approx(np.linalg.norm(at - (1.1, 2.5, 2.4)))
        assert 0 < tape.u95_m < 0.05
    assert 0.01 < hole.u95_minor_m < hole.u95_major_m < 0.08


def test_the_nearest_other_hole_is_told_with_what_lies_between(tmp_path: Path) -> None:
    building = a_beam(tmp_path).with_row("sample", along_m=1.5, clock=3, bore_mm=10)
    building = building.with_row("sample", sample_id="232", along_m=1.6, clock=3, bore_mm=10)
    building = building.with_row("sample", sample_id="233", along_m=3.0, clock=9)
    near = hole_position(building.package, "231").nearest
    assert near is not None
    assert (near.sample_id, near.same_wood) == ("232", True)
    assert near.between_m == pytest.approx(0.09, abs=1e-6)


def test_a_hole_that_cannot_be_placed_says_what_is_missing(tmp_path: Path) -> None:
    building = a_beam(tmp_path, xb_m=None).with_row("sample")
    with pytest.raises(UnusableInput, match="end b of B1-014 has no position"):
        hole_position(building.package, "231")
    with pytest.raises(UnusableInput, match="no sample '999'"):
        hole_position(building.package, "999")


def test_a_hole_without_a_distance_along_says_so(tmp_path: Path) -> None:
    building = a_beam(tmp_path).with_row("sample", along_m=None)
    with pytest.raises(UnusableInput, match="along_m"):
        hole_position(building.package, "231")


def test_what_was_assumed_is_noted(tmp_path: Path) -> None:
    building = a_beam(tmp_path).with_row(
        "sample", clock=None, direction="unknown", depth_mm=None, height_m=1.0
    )
    notes = " ".join(hole_position(building.package, "231").notes)
    for part in ("clock position", "direction is not certain", "length of the core", "1.00 m"):
        assert part in notes


def test_a_cut_has_a_place_but_no_direction(tmp_path: Path) -> None:
    building = a_beam(tmp_path).with_row("sample", kind="cross_section", along_m=2.0, depth_mm=None)
    hole = hole_position(building.package, "231")
    assert hole.entry_m == pytest.approx((1, 3, 2.4))
    assert (hole.is_hole, hole.direction, hole.nearest) == (False, None, None)


def test_a_hole_that_was_taped_stands_where_it_was_taped(tmp_path: Path) -> None:
    building = a_beam(tmp_path).with_row("sample", along_m=1.5, clock=3)
    building = building.with_bare_row(
        "tie", tie_id="T1", kind="coordinate", sample_id="231", x_m=1.12, y_m=2.49, height_m=2.41
    )
    hole = hole_position(building.package, "231")
    assert hole.found_by == "adjusted"
    # the wood is a witness too, and puts it 0.03 m away, but knows its place less well
    assert hole.entry_m == pytest.approx((1.12, 2.49, 2.41), abs=0.012)
    assert hole.entry_m[0] != pytest.approx(1.12, abs=1e-3)


@pytest.mark.parametrize(("recorded", "told"), [(2.29, False), (2.31, True), (2.09, True)])
def test_a_height_that_differs_by_a_hand_is_noted(
    tmp_path: Path, recorded: float, told: bool
) -> None:
    """The wood puts the hole 2.2 m above the floor."""
    sample = {"along_m": 1.5, "clock": 3, "height_m": recorded}
    building = a_beam(tmp_path).with_row("sample", **sample)
    assert bool(hole_position(building.package, "231").notes) is told


@pytest.mark.parametrize(
    ("clock", "bearing"), [(12.0, None), (0.03, None), (0.05, 270.0), (6.0, None), (9.0, 90.0)]
)
def test_a_hole_from_straight_above_has_no_bearing(
    tmp_path: Path, clock: float, bearing: float | None
) -> None:
    """0.04 hours on the clock are 1.2 degrees, whose sine is 0.021."""
    building = a_beam(tmp_path).with_row("sample", along_m=1.5, clock=clock)
    found = hole_position(building.package, "231").bearing_deg
    assert found == (None if bearing is None else pytest.approx(bearing))


@pytest.mark.parametrize(("far", "names"), [(29.9, {"D1", "D9"}), (30.1, {"D1"})])
def test_a_tape_is_not_longer_than_usual_tapes(tmp_path: Path, far: float, names: set[str]) -> None:
    """The hole is at x 1.1, y 2.5 and 2.4 m high."""
    datums = {"D1": (1.1, 0.0, 2.4), "D9": (1.1, 2.5 + far, 2.4), "D8": (1.1, 2.5, 2.45)}
    sizes = {f"diameter_{name}_cm": 20 for name in ("a1", "a2", "b1", "b2")}
    building = a_room(tmp_path, datums=datums).with_row(
        "element", **LEVEL_BEAM | sizes, length_m=4, position_uncertainty_m=0.02
    )
    building = building.with_row("sample", along_m=1.5, clock=3)
    tapes = hole_position(building.package, "231").tapes
    assert {tape.datum_id for tape in tapes} == names
