"""Circles and spheres meet where analytic geometry says."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._survey.adjust.approximate import circles_meet, spheres_meet

coordinate = st.floats(-20, 20)


def test_two_circles_of_five_and_five_meet_at_three_four() -> None:
    """The 3-4-5 triangle twice: centres 6 apart, so the points lie 4 above and below the middle."""
    one, two, sharp = circles_meet(
        np.array([[0.0, 0.0]]), np.array([5.0]), np.array([[6.0, 0.0]]), np.array([5.0])
    )
    assert one[0] == pytest.approx([3, 4])
    assert two[0] == pytest.approx([3, -4])
    # the tapes cross at 2 atan(3/4), whose sine is 24/25
    assert sharp[0] == pytest.approx(0.96)


def test_circles_that_do_not_meet_give_the_middle_of_the_gap() -> None:
    one, two, sharp = circles_meet(
        np.zeros((2, 2)),
        np.array([2.0, 9.0]),
        np.array([[10.0, 0], [3.0, 0]]),
        np.array([3.0, 2.0]),
    )
    assert one == pytest.approx(np.array([[4.5, 0], [7.0, 0]]))
    assert two == pytest.approx(one)
    assert (sharp == 0).all()


@given(coordinate, coordinate, coordinate, coordinate)
def test_one_of_the_two_places_is_where_the_tapes_were_read(
    x: float, y: float, cx: float, cy: float
) -> None:
    point, first, second = np.array([[x, y]]), np.zeros((1, 2)), np.array([[cx, cy]])
    if np.linalg.norm(second) < 0.5:
        return
    radii = [np.linalg.norm(point - centre, axis=1) for centre in (first, second)]
    places = circles_meet(first, radii[0], second, radii[1])[:2]
    nearest = min(np.linalg.norm(place - point) for place in places)
    # where circles only touch, a rounding of the radius moves the point by its square root
    assert nearest < 1e-5


def test_three_spheres_meet_in_two_mirrored_points() -> None:
    """Centres in the plane z = 0, so that the places mirror each other in it."""
    centres = np.array([[[0.0, 0, 0], [4.0, 0, 0], [0.0, 3, 0]]])
    point = np.array([1.0, 2.0, 2.0])
    radii = np.linalg.norm(centres - point, axis=2)
    one, two, sharp = spheres_meet(centres, radii)
    assert one[0] == pytest.approx([1, 2, 2])
    assert two[0] == pytest.approx([1, 2, -2])
    directions = (point - centres[0]) / radii[0][:, None]
    assert sharp[0] == pytest.approx(abs(np.linalg.det(directions)))
