"""Outlines of rooms: read from a cell, and how far outside a point lies."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point, Polygon

from provenance._survey.parts.outline import distance_outside, read_outline

ELL = "0 0, 6 0, 6 2, 2 2, 2 5, 0 5"


@pytest.mark.parametrize(
    "text", ["", "0 0, 1 0", "0 0, 1 0, 1", "0 0, 1 0, 1 1 1", "0 0, 1 0, 1 x", "0 0; 1 0; 1 1"]
)
def test_what_is_no_outline_is_none(text: str) -> None:
    assert read_outline(text) is None


def test_three_corners_are_an_outline() -> None:
    found = read_outline("0 0, 6.25 -1, 6 4")
    assert found is not None
    assert found.tolist() == [[0, 0], [6.25, -1], [6, 4]]


@given(st.floats(-3, 9), st.floats(-3, 8))
def test_a_point_is_as_far_outside_as_shapely_says(x: float, y: float) -> None:
    """Shapely (GEOS) is the reference."""
    outline = read_outline(ELL)
    assert outline is not None
    assert distance_outside(outline, np.array([x, y])) == pytest.approx(
        Polygon(outline).distance(Point(x, y)), abs=1e-6
    )
