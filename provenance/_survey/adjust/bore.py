"""Places the hole in the wood: from end, distance, clock and radius to entry point and drill line.

How the parts fit together, so that somebody can do it again with a tape:

* The axis runs from the middle of end A to the middle of end B; `along` is measured on it from A.
* The clock is seen from A towards B. On wood that is not upright 12 is up (the direction nearest to
  the zenith that is square to the axis) and 3 is on the right.
* On upright wood (axis within 15 degrees of plumb) up says nothing: there 12 is the side towards
  the site grid's y axis. With A below, one looks up, so 3 is towards minus x; with A above, one
  looks down, and 3 is towards plus x.
* Diameter 1 is measured upright (12 to 6), diameter 2 level (3 to 9); on upright wood diameter 1
  is along y. Between the ends both change evenly (a frustum with an elliptic section). Hewn and
  sawn wood has a right-angled section instead.

Everything is vectorised over n holes. Common practice and elementary geometry, no other source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from provenance._survey.parts.observation import Floats, Ints, Precision
from provenance._survey.parts.solve import Bools

UPRIGHT_DEG = 75.0
"""Wood steeper than this counts as upright, and its clock is read against the grid."""
DIRECTIONS = ("radial", "oblique", "tangential", "end", "unknown")
SQUARE_SHAPES = frozenset({"hewn", "sawn", "squared"})
_STRAIGHT_SD_DEG, _GUESSED_SD_DEG = 5.0, 30.0
_DEPTH_SD_M = 0.005
_SLOPE_SLACK_DEG = 10.0
"""A slope read this much steeper than the cross-section allows counts as its steepest."""
_UNKNOWN_RADIUS_SD_M = 0.1


@dataclass(frozen=True)
class Sticks:
    """n pieces of wood: ends (n, 3) in m with covariances (n, 3, 3), and sizes in m.

    `upright_m` and `level_m` (n, 2) are diameters 1 and 2 at ends A and B, NaN where not measured.
    """

    a: Floats
    b: Floats
    covariance_a: Floats
    covariance_b: Floats
    upright_m: Floats
    level_m: Floats
    square: Bools

    def at(self, which: Ints) -> Sticks:
        """Some of the pieces, in the order given."""
        return Sticks(*(getattr(self, name)[which] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class Bores:
    """n drill lines: where they start on the surface, which way they go and where they end.

    `entry`, `direction` (unit), `bottom` (n, 3); `entry_covariance`, `bottom_covariance` (n, 3, 3)
    in m²; `radius_m` (n,) from axis to entry. `sure_side` is False where no clock was written,
    `sure_direction` where the direction had to be guessed, `inside` False where the hole lies
    beyond the end of the wood.
    """

    axis_point: Floats
    entry: Floats
    direction: Floats
    bottom: Floats
    entry_covariance: Floats
    bottom_covariance: Floats
    radius_m: Floats
    sure_side: Bools
    sure_direction: Bools
    inside: Bools


def wood_axes(a: Floats, b: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Forward, up and right (n, 3) of wood seen from A to B, and its length (n,) in m."""
    axis = b - a
    length = np.linalg.norm(axis, axis=1)
    forward = axis / np.maximum(length, 1e-9)[:, None]
    upright = np.abs(forward[:, 2]) > np.sin(np.radians(UPRIGHT_DEG))
    twelve = np.where(upright[:, None], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0])
    up = twelve - np.einsum("ni,ni->n", twelve, forward)[:, None] * forward
    up /= np.linalg.norm(up, axis=1)[:, None]
    right = np.cross(forward, up)
    return forward, up, right, length


def section_radius(clock_h: Floats, upright_m: Floats, level_m: Floats, square: Bools) -> Floats:
    """Distance in m from the axis to the surface at a clock position (n,).

    The section is an ellipse with the two diameters, or a rectangle where `square`.
    """
    turn = np.radians(30.0 * clock_h)
    up, right = np.abs(np.cos(turn)) / (upright_m / 2), np.abs(np.sin(turn)) / (level_m / 2)
    return np.where(square, 1.0 / np.maximum(up, right), 1.0 / np.hypot(up, right))


def set_bores(
    sticks: Sticks,
    along_m: Floats,
    clock_h: Floats,
    direction: Ints,
    inclination_deg: Floats,
    depth_m: Floats,
    precision: Precision,
    on_axis: Bools | None = None,
) -> Bores:
    """Place n holes in n pieces of wood; what was not recorded is NaN (see Bores for what then).

    `direction` (n,) are numbers of DIRECTIONS. A depth of NaN makes a bore of no length. `on_axis`
    tells cuts, whose point is the middle of the wood.
    """
    on_axis = np.zeros(len(along_m), dtype=bool) if on_axis is None else on_axis
    forward, up, right, length = wood_axes(sticks.a, sticks.b)
    share = along_m / np.maximum(length, 1e-9)
    inside = (share >= 0) & (share <= 1)
    t = np.clip(share, 0.0, 1.0)
    axis_point = sticks.a + along_m[:, None] * forward

    sure_side = np.isfinite(clock_h)
    clock = np.where(sure_side, clock_h, 0.0)
    turn = np.radians(30.0 * clock)
    outward = np.cos(turn)[:, None] * up + np.sin(turn)[:, None] * right
    tangent = -np.sin(turn)[:, None] * up + np.cos(turn)[:, None] * right
    upright = sticks.upright_m[:, 0] + t * (sticks.upright_m[:, 1] - sticks.upright_m[:, 0])
    level = sticks.level_m[:, 0] + t * (sticks.level_m[:, 1] - sticks.level_m[:, 0])
    full = section_radius(clock, upright, level, sticks.square)
    radius_known = np.isfinite(full)
    is_end = direction == DIRECTIONS.index("end")
    radius = np.where(sure_side & radius_known & ~is_end & ~on_axis, full, 0.0)
    entry = axis_point + radius[:, None] * outward

    heading, sure_direction = _heading(
        direction, outward, up, right, forward, share, inclination_deg
    )
    sure_direction &= sure_side | is_end
    depth = np.nan_to_num(depth_m, nan=0.0)
    bottom = entry + depth[:, None] * heading

    # the larger of two possible answers: whatever the two ends' errors have in common, the spread
    # of a point between them is at most this mix of theirs
    spread = (1 - t)[:, None, None] * sticks.covariance_a + t[:, None, None] * sticks.covariance_b
    spread = spread + precision.along_sd_m**2 * _outer(forward)
    half = np.where(radius_known, full, _UNKNOWN_RADIUS_SD_M)
    uneven = np.abs(upright - level) / 4
    radial_sd = np.where(radius_known, np.hypot(precision.radius_sd_m, uneven), half)
    turned_sd = half * np.radians(30.0 * precision.clock_sd_h)
    known = spread + _scaled(radial_sd, outward) + _scaled(turned_sd, tangent)
    unknown = spread + _scaled(half / np.sqrt(2), up) + _scaled(half / np.sqrt(2), right)
    entry_covariance = np.where(sure_side[:, None, None], known, unknown)
    entry_covariance = np.where(on_axis[:, None, None], spread, entry_covariance)
    swing = depth * np.radians(np.where(sure_direction, _STRAIGHT_SD_DEG, _GUESSED_SD_DEG))
    across = np.eye(3) - _outer(heading)
    bottom_covariance = (entry_covariance + _scaled(np.full(len(t), _DEPTH_SD_M), heading)) + (
        swing**2
    )[:, None, None] * across
    return Bores(
        axis_point,
        entry,
        heading,
        bottom,
        entry_covariance,
        bottom_covariance,
        np.where(radius_known, full, np.nan),
        sure_side,
        sure_direction,
        inside,
    )


def _heading(
    direction: Ints,
    outward: Floats,
    up: Floats,
    right: Floats,
    forward: Floats,
    share: Floats,
    inclination_deg: Floats,
) -> tuple[Floats, Bools]:
    """Which way the drill went (n, 3), and where that did not have to be guessed.

    Without an inclination a drill goes square to the axis towards the middle. With one, radial and
    tangential holes stay in the cross-section and get that slope, on the side that goes into the
    wood; slanting ones, and holes in upright wood, keep their heading over ground and get that
    slope. End-grain holes go along the wood from the nearer end.
    """
    code = {name: direction == number for number, name in enumerate(DIRECTIONS)}
    inward = -outward
    given = np.isfinite(inclination_deg)
    slope = np.radians(np.where(given, inclination_deg, 0.0))

    # in the cross-section, with the wanted rise; `steep` is its steepest line
    steep = up[:, 2][:, None] * up + right[:, 2][:, None] * right
    most = np.linalg.norm(steep, axis=1)
    # on steep wood the level says nothing about the heading, so that the heading is kept instead
    reach = given & (most > np.cos(np.radians(UPRIGHT_DEG)))
    reach &= np.abs(slope) <= np.arcsin(np.minimum(most, 1.0)) + np.radians(_SLOPE_SLACK_DEG)
    steep_wood = given & (most <= np.cos(np.radians(UPRIGHT_DEG)))
    steep = steep / np.maximum(most, 1e-9)[:, None]
    flat = np.cross(forward, steep)
    rise = np.clip(np.sin(slope) / np.maximum(most, 1e-9), -1.0, 1.0)
    side = np.sqrt(1 - rise**2)
    ways = [rise[:, None] * steep + sign * side[:, None] * flat for sign in (1.0, -1.0)]
    nearer = np.einsum("ni,ni->n", ways[0] - ways[1], inward) >= 0
    in_section = np.where(nearer[:, None], ways[0], ways[1])
    in_section = np.where(reach[:, None], in_section, inward)

    ground = np.hypot(inward[:, 0], inward[:, 1])
    has_ground = ground > 1e-6
    over = inward[:, :2] / np.maximum(ground, 1e-9)[:, None]
    slanting = np.column_stack([np.cos(slope)[:, None] * over, np.sin(slope)])
    slanting = np.where((given & has_ground)[:, None], slanting, inward)

    along = np.where((share <= 0.5)[:, None], forward, -forward)
    heading = np.where((code["oblique"] | steep_wood)[:, None], slanting, in_section)
    heading = np.where(code["end"][:, None], along, heading)
    sure = code["radial"] & (reach | steep_wood | ~given)
    sure |= code["end"] | (code["tangential"] & reach)
    return heading, sure


def _outer(unit: Floats) -> Floats:
    return np.asarray(np.einsum("ni,nj->nij", unit, unit), dtype=np.float64)


def _scaled(sd: Floats, unit: Floats) -> Floats:
    scaled: Floats = (sd**2)[:, None, None] * _outer(unit)
    return scaled
