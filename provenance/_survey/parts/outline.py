"""Reads the outline of a place and tells how far outside it a point lies."""

from __future__ import annotations

import re

import numpy as np

from provenance._survey.parts.observation import Floats


def read_outline(text: str) -> Floats | None:
    """Corners (n, 2) in m from 'x y, x y, x y …'; None when the text holds no outline.

    >>> read_outline("0 0, 6.2 0, 6.2 4.8").tolist()
    [[0.0, 0.0], [6.2, 0.0], [6.2, 4.8]]
    """
    pairs = [part.split() for part in text.split(",")]
    number = re.compile(r"-?\d+(\.\d+)?")
    if len(pairs) < 3 or any(
        len(pair) != 2 or not all(number.fullmatch(one) for one in pair) for pair in pairs
    ):
        return None
    return np.array([[float(x), float(y)] for x, y in pairs])


def distance_outside(outline: Floats, point: Floats) -> float:
    """Distance in m from a point (2,) to an outline (n, 2); 0 inside it.

    Inside is by crossing number (any text on computational geometry).
    """
    start, end = outline, np.roll(outline, -1, axis=0)
    x, y = float(point[0]), float(point[1])
    crosses = (start[:, 1] > y) != (end[:, 1] > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = start[:, 0] + (y - start[:, 1]) * (end[:, 0] - start[:, 0]) / (end[:, 1] - start[:, 1])
    if np.count_nonzero(crosses & (x < at)) % 2:
        return 0.0
    side = end - start
    length = np.maximum((side**2).sum(axis=1), 1e-18)
    share = np.clip(((point[:2] - start) * side).sum(axis=1) / length, 0.0, 1.0)
    foot = start + share[:, None] * side
    return float(np.sqrt(((point[:2] - foot) ** 2).sum(axis=1)).min())
