"""Says where one hole is, which way it goes, and how to find it with a tape."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from provenance._base.errors import UnusableInput
from provenance._base.languages import _
from provenance._model.measures import Measures
from provenance._record.package import Package
from provenance._record.trust import Place, Trust
from provenance._survey.adjust.positions import ellipse_95
from provenance._survey.hole.doubt import hole_trust
from provenance._survey.hole.known_points import KnownPoints, known_points
from provenance._survey.parts.observation import ELLIPSOID_95, NORMAL_95, Floats

_REACH_M = 30.0
"""Length of a usual tape."""
_MOST_PLACES = 4
"""Tapes to more places than these would confuse more than help."""
_CHOICE = 10
"""The three best datums are looked for among this many of the nearest."""


@dataclass(frozen=True)
class TapeTo:
    """What a tape from a datum to the hole would show, with its 95 % range.

    Where the hole may be at several places, `u95_m` is None and `to_places_m` has the distance to
    each of them, in the order of the places.
    """

    datum_id: str
    description: str
    distance_m: float
    u95_m: float | None
    to_places_m: tuple[float, ...] = ()

    def shown(self, measures: Measures) -> list[tuple[str, str]]:
        """Each distance that is told; its range and the same in the other system, or the place.

        No digit is told that the range leaves open.
        """
        if self.u95_m is None and self.to_places_m:
            numbered = enumerate(self.to_places_m[:_MOST_PLACES], start=1)
            return [
                (measures.say(one, "m", "tape"), _("place {number}").format(number=number))
                for number, one in numbered
            ]
        # never to less than a centimeter or half an inch, which would add to the range
        u95_mm = min(self.u95_m * 1000, 20.0) if self.u95_m is not None else None
        one, other = (
            system.say(self.distance_m, "m", "tape", u95_mm=u95_mm)
            for system in (measures, measures.other)
        )
        if self.u95_m is None:
            return [(one, other)]
        return [(one, f"± {measures.say(self.u95_m, 'm', 'range')} ({other})")]


@dataclass(frozen=True)
class NearHole:
    """The recorded hole whose drill line comes nearest, and how much lies between the two bores."""

    sample_id: str
    element_id: str
    between_m: float
    same_wood: bool


@dataclass(frozen=True)
class HolePosition:
    """Where a hole (or the middle of a cut) is, in site grid metres.

    `entry_m` is the point on the surface, `axis_m` the point of the wood's axis at that distance,
    `direction` the unit vector of the drill (None for a cut), `bottom_m` the end of the bore (equal
    to the entry where no depth is known). `u95_major_m`, `u95_minor_m`, `u95_axis_deg` give the
    level 95 % ellipse of the entry, `u95_height_m` its range in height (None where no height is
    known), `u95_bottom_m` the longest 95 % half-axis at the end of the bore; all are None where
    `trust` says that readings conflict or fit two places, and the entry is then the likeliest one.
    `bearing_deg` is clockwise from the grid's y axis. `notes` say what had to be assumed.
    """

    sample_id: str
    element_id: str
    is_hole: bool
    found_by: str
    along_m: float
    entry_m: tuple[float, float, float | None]
    axis_m: tuple[float, float, float | None]
    bottom_m: tuple[float, float, float | None]
    direction: tuple[float, float, float] | None
    bearing_deg: float | None
    inclination_deg: float | None
    depth_m: float | None
    radius_m: float | None
    trust: Trust
    u95_major_m: float | None
    u95_minor_m: float | None
    u95_axis_deg: float | None
    u95_height_m: float | None
    u95_bottom_m: float | None
    height_above_floor_m: float | None
    tapes: tuple[TapeTo, ...]
    nearest: NearHole | None
    notes: tuple[str, ...]


def hole_position(
    package: Package, sample_id: str, *, known: KnownPoints | None = None
) -> HolePosition:
    """Where the hole of a sample is; give `known` when many are asked about.

    Raises UnusableInput that says what is missing when the hole cannot be placed.
    """
    known = known or known_points(package)
    at = _hole_number(package, known, sample_id)
    holes, bores = known.holes, known.holes.bores
    sample = known.record.row("sample", int(holes.sample[at]))
    entry, direction = bores.entry[at], bores.direction[at]
    covariance = np.nan_to_num(bores.entry_covariance[at : at + 1])
    major, minor, axis = ellipse_95(covariance)
    bottom = np.linalg.eigvalsh(np.nan_to_num(bores.bottom_covariance[at]))[-1]
    is_hole = bool(holes.is_hole[at])
    level = float(np.hypot(direction[0], direction[1]))
    height = _height_above_floor(known, at)
    trust = hole_trust(known, at)

    def told(value: float) -> float | None:
        return None if trust.is_withheld else _known(value)

    return HolePosition(
        sample_id=sample_id,
        element_id=sample["element_id"],
        is_hole=is_hole,
        found_by=known.found.get(f"hole:{sample_id}", "geometry"),
        along_m=float(known.record.numbers("sample", "along_m")[holes.sample[at]]),
        entry_m=_point(entry),
        axis_m=_point(bores.axis_point[at]),
        bottom_m=_point(bores.bottom[at]),
        direction=(
            (float(direction[0]), float(direction[1]), float(direction[2])) if is_hole else None
        ),
        bearing_deg=(
            float(np.degrees(np.arctan2(direction[0], direction[1])) % 360)
            if is_hole and level > 0.02
            else None
        ),
        inclination_deg=(
            float(np.degrees(np.arcsin(np.clip(direction[2], -1, 1)))) if is_hole else None
        ),
        depth_m=_known(holes.depth_m[at]),
        radius_m=_known(bores.radius_m[at]),
        trust=trust,
        u95_major_m=told(major[0]),
        u95_minor_m=told(minor[0]),
        u95_axis_deg=told(axis[0]),
        u95_height_m=(
            told(NORMAL_95 * np.sqrt(covariance[0, 2, 2])) if np.isfinite(entry[2]) else None
        ),
        u95_bottom_m=told(ELLIPSOID_95 * np.sqrt(bottom)),
        height_above_floor_m=height,
        tapes=tapes_to(known, entry, covariance[0], sample["element_id"], trust),
        nearest=nearest_hole(
            known,
            bores.entry[at],
            bores.bottom[at],
            float(np.nan_to_num(holes.bore_m[at])),
            element=int(holes.element[at]),
            but=at,
        ),
        notes=_notes(known, at, height),
    )


def _hole_number(package: Package, known: KnownPoints, sample_id: str) -> int:
    record = known.record
    path = package.table_path("sample")
    number = record.find("sample", sample_id)
    if number < 0:
        raise UnusableInput(f"{path}: there is no sample '{sample_id}'; check the number")
    found = np.flatnonzero(known.holes.sample == number)
    if found.size:
        return int(found[0])
    where = f"{path}, row {record.record_number('sample', number)}: the hole of {sample_id}"
    raise UnusableInput(f"{where} cannot be placed: {why_not_placed(known, number)}")


def why_not_placed(known: KnownPoints, number: int) -> str:
    """What is missing to place the hole of a sample (a row number), and what to do about it."""
    record = known.record
    row = record.row("sample", number)
    element = record.find("element", row["element_id"])
    if element < 0:
        return f"its element '{row['element_id']}' is not in the table"
    if not np.isfinite(record.numbers("sample", "along_m")[number]):
        return (
            f'its distance from end A (along_m) is "{row["along_m"]}"; '
            "measure it along the wood from end A"
        )
    missing = [
        f"end {side}" for end, side in enumerate("ab") if np.isnan(known.ends[2 * element + end, 0])
    ]
    return (
        f"{' and '.join(missing)} of {row['element_id']} "
        f"{'has' if len(missing) == 1 else 'have'} no position; tie "
        f"{'it' if len(missing) == 1 else 'them'} to datums and run the survey"
    )


def _point(xyz: Floats) -> tuple[float, float, float | None]:
    return float(xyz[0]), float(xyz[1]), _known(xyz[2])


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _height_above_floor(known: KnownPoints, at: int) -> float | None:
    place = known.record.cell("element", "place_id", int(known.holes.element[at]))
    floor = known.record.floor_heights.get(place)
    height = float(known.holes.bores.entry[at, 2])
    if floor is not None and np.isfinite(height):
        return height - floor
    return _known(known.record.numbers("sample", "height_m")[known.holes.sample[at]])


def tapes_to(
    known: KnownPoints, point: Floats, covariance: Floats, element_id: str, trust: Trust
) -> tuple[TapeTo, ...]:
    """Tape distances to a point from the three datums whose tapes would fix it best.

    Without ranges, but with the distances to each place that it may be at, where `trust` says that
    no one place may be told. Datums of the same building come first; three are chosen so that the
    weakest direction of the point is held as well as can be. Fewer when there are fewer within
    reach.
    """
    record = known.record
    element = record.find("element", element_id)
    wood = record.row("element", element)
    house = record.places_round(wood["place_id"])
    axes = 3 if np.isfinite(point[2]) else 2
    ray = point[:axes] - known.datums[:, :axes]
    length = np.sqrt((ray**2).sum(axis=1))
    usable = record.on_grid_of("datum", element)
    usable = usable & (length < _REACH_M) & (length > 0.1)
    # a tape from a datum that may lie elsewhere leads elsewhere
    usable &= ~np.array([known.trust(one).is_withheld for one in record.datum_keys], dtype=bool)
    inside = record.column("datum", "place_id").is_in(house).to_numpy()
    if (usable & inside).sum() >= 3:
        usable &= inside
    near = np.flatnonzero(usable)
    near = near[np.argsort(length[near], kind="stable")][:_CHOICE]
    unit = ray / np.maximum(length, 1e-9)[:, None]

    def weakest(chosen: tuple[int, ...]) -> float:
        picked = unit[list(chosen)]
        return float(np.linalg.eigvalsh(picked.T @ picked)[0])

    choices = list(combinations(map(int, near), min(3, len(near))))
    best = max(choices, key=weakest) if choices else ()
    tapes = []
    for datum in best:
        spread = covariance[:axes, :axes] + np.nan_to_num(
            known.datums_covariance[datum, :axes, :axes]
        )
        sd = float(np.sqrt(unit[datum] @ spread @ unit[datum]))
        tapes.append(
            TapeTo(
                record.cell("datum", "datum_id", datum),
                record.cell("datum", "description", datum),
                float(length[datum]),
                None if trust.is_withheld else float(NORMAL_95 * sd),
                tuple(_apart(known.datums[datum], place, axes) for place in trust.places),
            )
        )
    return tuple(sorted(tapes, key=lambda tape: tape.distance_m))


def _apart(datum: Floats, place: Place, axes: int) -> float:
    there = np.array([np.nan if one is None else one for one in place.at])
    axes = axes if np.isfinite(there[2]) else 2
    return float(np.linalg.norm((there - datum)[:axes]))


def segment_gap(p1: Floats, q1: Floats, p2: Floats, q2: Floats) -> Floats:
    """Least distance (n,) in m between the segments p1-q1 and p2-q2, each (n, 3) or (3,).

    Source: closed form by clamping both parameters, as in C. Ericson, Real-Time Collision
    Detection, 2005, section 5.1.9 (from memory).
    """
    p1, q1, p2, q2 = np.broadcast_arrays(
        *(np.atleast_2d(np.asarray(one, dtype=float)) for one in (p1, q1, p2, q2))
    )
    d1, d2, r = q1 - p1, q2 - p2, p1 - p2
    a, e, f = ((d * o).sum(axis=1) for d, o in ((d1, d1), (d2, d2), (d2, r)))
    b, c = (d1 * d2).sum(axis=1), (d1 * r).sum(axis=1)
    safe_a, safe_e = np.maximum(a, 1e-18), np.maximum(e, 1e-18)
    square = a * e - b * b
    parallel = square <= 1e-12 * np.maximum(a * e, 1e-30)
    s = np.where(parallel, 0.0, np.clip((b * f - c * e) / np.where(parallel, 1.0, square), 0, 1))
    t = np.where(e > 1e-18, (b * s + f) / safe_e, 0.0)
    s = np.where(t < 0, np.clip(-c / safe_a, 0, 1), s)
    s = np.where(t > 1, np.clip((b - c) / safe_a, 0, 1), s)
    s = np.where(a > 1e-18, s, 0.0)
    t = np.clip(np.where(e > 1e-18, (b * s + f) / safe_e, 0.0), 0, 1)
    s = np.where(a > 1e-18, np.clip((b * t - c) / safe_a, 0, 1), 0.0)
    gap = p1 + s[:, None] * d1 - p2 - t[:, None] * d2
    return np.asarray(np.sqrt((gap**2).sum(axis=1)), dtype=np.float64)


def nearest_hole(
    known: KnownPoints, entry: Floats, bottom: Floats, bore_m: float, *, element: int, but: int
) -> NearHole | None:
    """The recorded hole that a drill line from `entry` to `bottom` comes nearest to, or None.

    `element` is the wood of that line, `but` the number of its own hole.
    """
    holes = known.holes
    others = holes.is_hole & np.isfinite(holes.bores.entry[:, 0])
    others &= known.record.on_grid_of("element", element)[holes.element]
    others[but] = False
    at = np.flatnonzero(others)
    if not at.size:
        return None
    flat = np.nan_to_num
    gap = segment_gap(
        flat(entry), flat(bottom), flat(holes.bores.entry[at]), flat(holes.bores.bottom[at])
    )
    gap = gap - (bore_m + np.nan_to_num(holes.bore_m[at])) / 2
    best = int(at[np.argmin(gap)])
    sample = known.record.row("sample", int(holes.sample[best]))
    return NearHole(
        sample["sample_id"],
        sample["element_id"],
        float(max(gap.min(), 0.0)),
        int(holes.element[best]) == element,
    )


def _notes(known: KnownPoints, at: int, height: float | None) -> tuple[str, ...]:
    holes, bores = known.holes, known.holes.bores
    sample = known.record.row("sample", int(holes.sample[at]))
    notes = []
    if holes.is_hole[at]:
        if not bores.sure_side[at]:
            notes.append(_("The clock position is not recorded: the hole may be on any side."))
        if not bores.sure_direction[at]:
            notes.append(
                _("The drill's direction is not certain: taken as straight to the middle.")
            )
        if not np.isfinite(bores.radius_m[at]):
            notes.append(_("The size of the wood is not recorded: the hole was put on its axis."))
        if not sample["depth_mm"] and np.isfinite(holes.depth_m[at]):
            notes.append(_("The depth is not recorded: taken as the length of the core."))
    if not bores.inside[at]:
        notes.append(_("The distance from end A is longer than the wood between its ends."))
    if not np.isfinite(bores.entry[at, 2]):
        notes.append(_("No height is known; distances are level ones."))
    recorded = float(known.record.numbers("sample", "height_m")[holes.sample[at]])
    say = known.record.measures.say
    if height is not None and np.isfinite(recorded) and abs(recorded - height) > 0.10:
        notes.append(
            _(
                "The height above the floor was recorded as {recorded}, but the wood puts it at "
                "{computed}."
            ).format(recorded=say(recorded, "m", "timber"), computed=say(height, "m", "timber"))
        )
    return tuple(notes)
