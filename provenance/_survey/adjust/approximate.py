"""Finds where a point may lie before it is adjusted, in closed form: circles, spheres, single ties.

Sources: intersection of two circles and of three spheres, elementary analytic geometry.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from provenance._survey.parts.observation import Floats, Ints, Kind
from provenance._survey.parts.solve import Bools, Rows

_MOST_TAPES = 6
"""Pairs and triples are looked for among this many tapes of a point; more change nothing."""


def circles_meet(c1: Floats, r1: Floats, c2: Floats, r2: Floats) -> tuple[Floats, Floats, Floats]:
    """Both meeting points (n, 2) of circles round c1 and c2 (n, 2), and how squarely they cross.

    The sharpness (n,) is the sine of the angle between the tapes, 1 at a right angle, 0 where the
    circles touch or do not meet; then both points are the one halfway between the circles. The
    first point lies left of the line from c1 to c2. NaN where the centres coincide.
    """
    base = c2 - c1
    length = np.hypot(base[:, 0], base[:, 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        unit = base / length[:, None]
        along = (r1**2 - r2**2 + length**2) / (2 * length)
        square = r1**2 - along**2
        half = np.sqrt(np.maximum(square, 0.0))
        sharpness = half * length / (r1 * r2)
        # apart: midway in the gap; one inside the other: midway between their near sides
        apart = (length + r1 - r2) / 2
        inside = np.where(r1 > r2, (r1 + length + r2) / 2, -(r2 - length + r1) / 2)
        # which of the two it is must hold for circles that touch but for rounding
        is_apart = np.abs(length - (r1 + r2)) < np.abs(length - np.abs(r1 - r2))
        is_apart |= length > r1 + r2
        along = np.where(square >= 0, along, np.where(is_apart, apart, inside))
    foot = c1 + along[:, None] * unit
    left = np.column_stack([-unit[:, 1], unit[:, 0]]) * half[:, None]
    return foot + left, foot - left, np.where(square > 0, sharpness, 0.0)


def spheres_meet(centres: Floats, radii: Floats) -> tuple[Floats, Floats, Floats]:
    """Both meeting points (n, 3) of three spheres, and how squarely they cross.

    `centres` (n, 3, 3), `radii` (n, 3). The sharpness (n,) is the volume that the directions of the
    three tapes span: 1 when they are square to each other, 0 when they lie in a plane or do not
    meet. NaN where the centres lie on one line.
    """
    one, two, three = (centres[:, i] for i in range(3))
    with np.errstate(divide="ignore", invalid="ignore"):
        first = two - one
        d = np.linalg.norm(first, axis=1)
        ex = first / d[:, None]
        second = three - one
        i = np.einsum("nj,nj->n", ex, second)
        across = second - i[:, None] * ex
        j = np.linalg.norm(across, axis=1)
        j = np.where(j > 1e-6 * d, j, np.nan)
        ey = across / j[:, None]
        r1, r2, r3 = radii.T
        x = (r1**2 - r2**2 + d**2) / (2 * d)
        y = (r1**2 - r3**2 + i**2 + j**2 - 2 * i * x) / (2 * j)
        square = r1**2 - x**2 - y**2
        half = np.sqrt(np.maximum(square, 0.0))
        sharpness = np.where(square > 0, half * d * j / (r1 * r2 * r3), 0.0)
    foot = one + x[:, None] * ex + y[:, None] * ey
    normal = np.cross(ex, ey) * half[:, None]
    return foot + normal, foot - normal, sharpness


def _tapes_by_count(rows: Rows, n: int, wanted: Bools) -> list[tuple[Ints, Ints]]:
    """Points with k tapes each and the rows of these tapes (p, k), for each k from 2."""
    is_tape = ((rows.kind == Kind.DISTANCE) | (rows.kind == Kind.LEVEL_DISTANCE)) & wanted[
        rows.point
    ]
    at = np.flatnonzero(is_tape)
    count = np.bincount(rows.point[at], minlength=n)
    first = np.concatenate([[0], np.cumsum(count)[:-1]])
    found = []
    for k in np.unique(count):
        if k >= 2:
            points = np.flatnonzero(count == k)
            rank = np.arange(min(int(k), _MOST_TAPES))
            found.append((points, at[first[points][:, None] + rank]))
    return found


def mirror_places(
    rows: Rows, datums: Floats, heights: Floats, in_space: Bools
) -> tuple[Floats, Floats, Floats]:
    """Two places (n, 3) where each point may be by its best-crossing tapes, and the sharpness (n,).

    `heights` (n,) are heights of the points in m or NaN; `in_space` (n,) says which points are to
    be found from three tapes in space for want of a height. NaN where there are too few tapes.
    """
    n = len(heights)
    one, two = np.full((n, 3), np.nan), np.full((n, 3), np.nan)
    sharpness = np.full(n, np.nan)
    for points, at in _tapes_by_count(rows, n, ~in_space):
        centre = datums[rows.start[at]]
        drop = np.where(
            rows.kind[at] == Kind.DISTANCE, heights[points][:, None] - centre[:, :, 2], 0.0
        )
        level = np.sqrt(np.maximum(rows.reading[at] ** 2 - drop**2, 1e-12))
        for a, b in combinations(range(at.shape[1]), 2):
            found = circles_meet(centre[:, a, :2], level[:, a], centre[:, b, :2], level[:, b])
            _keep_sharper(points, *found, one, two, sharpness, axes=2)
        one[points, 2] = two[points, 2] = heights[points]
    for points, at in _tapes_by_count(rows, n, in_space):
        for triple in combinations(range(at.shape[1]), 3):
            chosen = at[:, triple]
            found = spheres_meet(datums[rows.start[chosen]], rows.reading[chosen])
            _keep_sharper(points, *found, one, two, sharpness, axes=3)
    return one, two, sharpness


def _keep_sharper(
    points: Ints,
    left: Floats,
    right: Floats,
    sharp: Floats,
    one: Floats,
    two: Floats,
    sharpness: Floats,
    axes: int,
) -> None:
    better = np.isfinite(left[:, 0])
    better &= np.isnan(sharpness[points]) | (sharp > sharpness[points])
    chosen = points[better]
    one[chosen, :axes] = left[better]
    two[chosen, :axes] = right[better]
    sharpness[chosen] = sharp[better]


def direct_places(rows: Rows, datums: Floats, n: int) -> Floats:
    """A place (n, 2) from the first single tie that gives one: coordinates, offset, bearing."""
    place = np.full((n, 2), np.nan)
    # readings of one tie stand side by side in the order x, y / along, across / bearing, distance
    here = np.arange(max(len(rows) - 1, 0))
    pair = (rows.point[here] == rows.point[here + 1]) & (rows.tie[here] == rows.tie[here + 1])
    pair &= rows.tie[here] >= 0
    second = {
        Kind.BEARING: (Kind.DISTANCE, Kind.LEVEL_DISTANCE),
        Kind.ALONG: (Kind.ACROSS,),
        Kind.X: (Kind.Y,),
    }
    for code, partners in second.items():
        # later kinds are better and overwrite; of one kind the first tie wins
        fits = pair & (rows.kind[here] == code) & np.isin(rows.kind[here + 1], partners)
        at = here[fits][::-1]
        one, two = rows.reading[at], rows.reading[at + 1]
        if code == Kind.BEARING:
            ray = two[:, None] * np.column_stack([np.sin(np.radians(one)), np.cos(np.radians(one))])
            found = datums[rows.start[at], :2] + ray
        elif code == Kind.ALONG:
            base = datums[rows.end[at], :2] - datums[rows.start[at], :2]
            forward = base / np.maximum(np.hypot(base[:, 0], base[:, 1]), 1e-9)[:, None]
            right = np.column_stack([forward[:, 1], -forward[:, 0]])
            found = datums[rows.start[at], :2] + one[:, None] * forward + two[:, None] * right
        else:
            found = np.column_stack([one, two])
        place[rows.point[at]] = found
    return place
