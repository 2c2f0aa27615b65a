"""The equations of tape, offset and compass, and the signs that crews go by."""

from __future__ import annotations

import numpy as np
import pytest

from provenance._survey.adjust.readings import grid_bearing
from provenance._survey.parts.observation import KINDS, Kind, misclosure, predict

POINT, START, END = (
    np.array([[3.0, 4.0, 2.0]]),
    np.array([[1.0, 1.0, 0.5]]),
    np.array([[5.0, 2.0, 1]]),
)


@pytest.mark.parametrize("kind", range(len(KINDS)), ids=KINDS)
def test_derivatives_agree_with_finite_differences(kind: int) -> None:
    """Central differences are the reference; they know nothing of the formulas."""
    codes = np.array([kind])
    exact = predict(codes, POINT, START, END)
    for which, slope in enumerate((exact.by_point, exact.by_start, exact.by_end)):
        for axis in range(3):
            moved = []
            for step in (1e-6, -1e-6):
                places = [POINT.copy(), START.copy(), END.copy()]
                places[which][0, axis] += step
                moved.append(predict(codes, *places).value[0])
            assert slope[0, axis] == pytest.approx((moved[0] - moved[1]) / 2e-6, abs=1e-5)


def test_a_tape_that_slopes_is_longer_than_its_level_distance() -> None:
    """Pythagoras: 3, 4 and 12 give 13."""
    far, near = np.array([[3.0, 4.0, 12.0]]), np.zeros((1, 3))
    assert predict(np.array([Kind.DISTANCE]), far, near, near).value == pytest.approx(13.0)
    assert predict(np.array([Kind.LEVEL_DISTANCE]), far, near, near).value == pytest.approx(5.0)


def test_right_of_the_baseline_is_positive() -> None:
    """Common practice, no source: looking north along it, east is right."""
    start, end, east = np.zeros((1, 3)), np.array([[0.0, 10.0, 0.0]]), np.array([[2.0, 7.0, 0.0]])
    assert predict(np.array([Kind.ALONG]), east, start, end).value == pytest.approx(7.0)
    assert predict(np.array([Kind.ACROSS]), east, start, end).value == pytest.approx(2.0)


def test_bearings_run_clockwise_from_the_y_axis() -> None:
    middle = np.zeros((4, 3))
    points = np.array([[0, 1, 0], [1, 0, 0], [0, -1, 0], [-1, 0, 0.0]])
    bearings = predict(np.full(4, Kind.BEARING), points, middle, middle).value % 360
    assert bearings == pytest.approx([0, 90, 180, 270])


def test_a_misread_bearing_is_measured_the_short_way_round() -> None:
    gap = misclosure(np.array([Kind.BEARING]), np.array([359.0]), np.array([1.0]))
    assert gap == pytest.approx([-2.0])


@pytest.mark.parametrize(
    ("reference", "bearing", "declination", "north", "grid"),
    [
        # east declination: a compass that shows 350 points 10 degrees east of that, to true north
        ("magnetic", 350.0, 10.0, 0.0, 0.0),
        # west declination is negative: magnetic 10 is true 0
        ("magnetic", 10.0, -10.0, 0.0, 0.0),
        ("true", 30.0, 10.0, 30.0, 0.0),
        ("grid", 77.0, 10.0, 30.0, 77.0),
        ("magnetic", 20.0, 12.5, 2.5, 30.0),
    ],
)
def test_declination_is_added_east_positive(
    reference: str, bearing: float, declination: float, north: float, grid: float
) -> None:
    """The rule on every topographic map: true = magnetic + declination, east positive."""
    code = np.array([("magnetic", "true", "grid").index(reference)])
    values = (np.array([one]) for one in (declination, north))
    assert grid_bearing(np.array([bearing]), code, *values) == pytest.approx([grid])
