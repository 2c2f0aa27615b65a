"""Volume, log, worked faces and cut ends of pieces of wood by their cross-section.

Each function takes a `Form` and readings of many pieces of that form: an array of the six rows A1,
A2, B1, B2, CORNERS (cm) and LENGTH (m), one column a piece, NaN where nothing was measured. What
cannot be computed from the readings is NaN.

Volumes follow the prismoidal rule, length/6 times (end + 4 middle + end), as the handbooks have it
(from memory: Avery and Burkhart, Forest Measurements; Husch, Beers and Kershaw, Forest
Mensuration). The middle is not measured: each of its dimensions is the mean of those at the ends,
which is exact where they change evenly and the area is their product.

Areas, with the readings of one end (w, t):
- round: ellipse, π/4·w·t; one reading alone counts for both.
- half round: half an ellipse, π/4·w·t, where the larger reading is the diameter of the stem and the
  smaller the depth; with t = w/2 this is half the circle, π/8·w².
- quarter: quarter of an ellipse, π/4·w·t, both readings being radii, taken along the flat faces;
  with w = t this is a quarter of the circle of diameter 2·w.
- hewn on one or two sides: circle of the larger reading less the segments that the smaller one
  tells; two are taken to be of the same height.
- squared, plank: w·t; with a corner-to-corner reading less than the sides give, the corners are
  those of a circle of that diameter, in the same proportion at the thinner end.

The log is the least one that holds the piece: round, the piece itself; half, hewn on one or two
sides, the circle of the larger reading; quarter, the circle of twice the larger one; squared,
plank, the circle over the corners.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

A1, A2, B1, B2, CORNERS, LENGTH = range(6)
"""Rows of an array of readings."""
DIAMETERS = [A1, A2, B1, B2, CORNERS]

RECTANGLES = frozenset({"rectangle", "rectangle_boxed", "plank"})
_LARGER_FIRST = frozenset({"half", "two_sided"})
_CM2 = 1e-4
"""In square meters."""


@dataclass(frozen=True)
class Form:
    """A cross-section, a code of the vocabulary wood_section, and how many sides were hewn flat
    where that is not told by the section.
    """

    section: str
    hewn_sides: int = 0


Measure = Callable[[Form, Numbers], Numbers]
"""One number a piece, from a form and readings."""


def volume_m3(form: Form, readings: Numbers) -> Numbers:
    """Volume of the wood as it is."""
    return _along(readings[LENGTH], *(_area_m2(form, *end) for end in _stations(form, readings)))


def log_m3(form: Form, readings: Numbers) -> Numbers:
    """Volume of the least log that the piece can have been worked from."""
    if form.section == "round":
        return volume_m3(form, readings)
    a, b, _ = (_log_cm(form, *end) for end in _stations(form, readings))
    return _along(readings[LENGTH], *(_circle(d) * _CM2 for d in (a, b, (a + b) / 2)))


def worked_m2(form: Form, readings: Numbers) -> Numbers:
    """Area of the faces that were made flat with a tool, whatever the tool; a plank has four."""
    widths = (_worked_cm(form, *end) / 100 for end in _stations(form, readings))
    return _along(readings[LENGTH], *widths)


def cut_m2(form: Form, readings: Numbers) -> Numbers:
    """Area of both ends, as they are now."""
    a, b, _ = _stations(form, readings)
    return _area_m2(form, *a) + _area_m2(form, *b)


@dataclass(frozen=True)
class Estimate:
    """One number a piece, with the standard deviation of its own and of what all pieces share."""

    value: Numbers
    sd: Numbers
    bias: Numbers


def estimate(
    measure: Measure, form: Form, readings: Numbers, sds: Numbers, shared_cm: Numbers
) -> Estimate:
    """A measure with its uncertainty to first order (JCGM 100:2008, 5.1.2). Differences over one
    standard deviation stand for slopes, as in 5.1.3, note 2; the mean of those either way is taken,
    since the slope of the width of a face is not finite where the face begins.

    `sds` has the standard deviation of each reading, independent of all others; `shared_cm` that of
    an error which all diameters have in common. A reading that was not taken adds nothing.
    """

    value = measure(form, readings)

    def difference(rows: list[int], error: Numbers) -> Numbers:
        off = np.zeros_like(readings)
        off[rows] = error
        more = measure(form, readings + off)
        less = measure(form, np.maximum(readings - off, readings / 1000))
        mean: Numbers = (np.abs(more - value) + np.abs(value - less)) / 2
        return mean

    own = np.array([difference([row], sds[row]) for row in range(len(readings))])
    return Estimate(value, np.sqrt((own**2).sum(axis=0)), difference(DIAMETERS, shared_cm))


# -- one cross-section -----------------------------------------------------------------------------


def _stations(form: Form, readings: Numbers) -> tuple[tuple[Numbers, Numbers, Numbers], ...]:
    """Width, thickness and corner to corner (cm) at end A, at end B and halfway between."""
    ends = []
    for first, second in ((readings[A1], readings[A2]), (readings[B1], readings[B2])):
        if form.section == "round":
            first = np.where(np.isnan(first), second, first)
            second = np.where(np.isnan(second), first, second)
        elif form.section in _LARGER_FIRST:
            first, second = np.maximum(first, second), np.minimum(first, second)
        ends.append((first, second))
    (wa, ta), (wb, tb) = ends
    full_a, full_b = np.hypot(wa, ta), np.hypot(wb, tb)
    with np.errstate(invalid="ignore"):
        kept = readings[CORNERS] / np.fmax(full_a, full_b)
    kept = np.where(np.isnan(kept), 1.0, kept)
    # corners cannot be nearer than the sides, nor farther apart than sharp ones
    corner_a = np.clip(kept * full_a, np.maximum(wa, ta), full_a)
    corner_b = np.clip(kept * full_b, np.maximum(wb, tb), full_b)
    middle = ((wa + wb) / 2, (ta + tb) / 2, (corner_a + corner_b) / 2)
    return (wa, ta, corner_a), (wb, tb, corner_b), middle


def _area_m2(form: Form, w: Numbers, t: Numbers, corner: Numbers) -> Numbers:
    if form.section in ("round", "half", "quarter"):
        return np.pi / 4 * w * t * _CM2
    if form.section == "two_sided" and form.hewn_sides:
        height = (w - t) / form.hewn_sides
        return (_circle(w) - form.hewn_sides * _segment(w, height)) * _CM2
    if form.section in RECTANGLES:
        sharp = np.hypot(w, t)
        outside = _segment(corner, (corner - w) / 2) + _segment(corner, (corner - t) / 2)
        return np.where(corner < sharp, _circle(corner) - 2 * outside, w * t) * _CM2
    return np.full_like(w, np.nan)


def _log_cm(form: Form, w: Numbers, t: Numbers, corner: Numbers) -> Numbers:
    if form.section in ("half", "two_sided"):
        return w
    if form.section == "quarter":
        return 2 * np.maximum(w, t)
    return corner if form.section in RECTANGLES else np.full_like(w, np.nan)


def _worked_cm(form: Form, w: Numbers, t: Numbers, corner: Numbers) -> Numbers:
    """Width of all worked faces together."""
    if form.section == "round":
        return 0.0 * w * t
    if form.section == "half":
        return w + 0.0 * t
    if form.section == "quarter":
        return w + t
    if form.section == "two_sided" and form.hewn_sides:
        return form.hewn_sides * _chord(w, w / 2 - (w - t) / form.hewn_sides)
    if form.section in RECTANGLES:
        corner = np.minimum(corner, np.hypot(w, t))
        return 2 * (_chord(corner, t / 2) + _chord(corner, w / 2))
    return np.full_like(w, np.nan)


def _along(length_m: Numbers, a: Numbers, b: Numbers, middle: Numbers) -> Numbers:
    """The prismoidal rule."""
    total: Numbers = length_m / 6 * (a + 4 * middle + b)
    return total


def _circle(diameter: Numbers) -> Numbers:
    area: Numbers = np.pi / 4 * diameter**2
    return area


def _chord(diameter: Numbers, from_middle: Numbers) -> Numbers:
    """Length of the chord of a circle at a distance from its middle."""
    half: Numbers = np.sqrt(np.maximum((diameter / 2) ** 2 - from_middle**2, 0.0))
    return 2 * half


def _segment(diameter: Numbers, height: Numbers) -> Numbers:
    """Area of the segment of a circle that is `height` high at its highest."""
    radius = diameter / 2
    height = np.clip(height, 0.0, diameter)
    angle = np.arccos(np.clip(1 - height / radius, -1.0, 1.0))
    area: Numbers = radius**2 * angle - (radius - height) * _chord(diameter, radius - height) / 2
    return area
