"""Adjusts the timber ends and the holes that were tied to datums, and judges each of them."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from provenance._record.trust import CONFLICT, FITS, LEFT_OUT, TWO_PLACES, UNCHECKED, WITHHELD
from provenance._survey.adjust.blunders import (
    BY_WOOD,
    DISMISSED,
    SURE,
    Alternative,
    Doubt,
    Weighed,
    alternatives_of,
    doubted_points,
    largest_residuals,
    misread_by,
    units_of,
    weigh,
    without,
)
from provenance._survey.adjust.control import Control
from provenance._survey.adjust.locate import locate_points
from provenance._survey.parts.datum_covariance import DatumCovariance
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.observation import (
    ELLIPSOID_95,
    LARGEST_RESIDUAL,
    RIVAL_CHI_SQUARE,
    Floats,
    Ints,
    Kind,
)
from provenance._survey.parts.outline import distance_outside, read_outline
from provenance._survey.parts.solve import BY_READING, SOLVED, Bools, Rows, Solution, solve_points

MOST_HIDDEN_M = 0.25
"""What an unnoticed blunder may move a point by before nothing is said to check it."""
_BESIDE_OUTLINE_M = 0.6
"""The wood of a room may lie in its walls, which the outline leaves out."""
_BELOW_FLOOR_M = 0.3
_SAME_M = 0.02
_BOW_SD_M = 0.02
"""Common practice, no source: how far wood strays from the line between its ends."""


@dataclass(frozen=True)
class Detail(Solution):
    """The measured points of a record, numbered as FieldRecord does.

    By point also `rival` (n, 3), `level` and `sharpness`, as in Located; `verdict`, '' where a
    point was not solved, and `doubt_share`. Where readings conflict the point is at the likeliest
    place. By reading also `rows` and `used`; a reading that was left out has as `residual` its
    distance from the position found without it. `datums` and `errors` are those of the datums, and
    behind them of holes by their wood.
    """

    rival: Floats
    level: Bools
    sharpness: Floats
    rows: Rows
    used: Bools
    datums: Floats
    errors: DatumCovariance
    verdict: npt.NDArray[np.object_]
    doubt_share: Floats
    doubts: tuple[Doubt, ...] = ()

    @property
    def tied(self) -> Bools:
        """Which points any reading was made to."""
        tied = np.zeros(len(self.xyz), dtype=bool)
        tied[self.rows.point] = True
        return tied

    def readings_of(self, point: int) -> Ints:
        """Numbers of the readings of a point that were used, but for its place by the wood."""
        first, last = map(int, np.searchsorted(self.rows.point, [point, point + 1]))
        used = self.used[first:last] & (self.rows.tie[first:last] != BY_WOOD)
        numbers: Ints = first + np.flatnonzero(used)
        return numbers

    @property
    def known(self) -> Bools:
        """Which points have a position, if only the likeliest of several."""
        known: Bools = self.status == SOLVED
        return known

    @property
    def one_place(self) -> Bools:
        """Which points have one position and no other that fits as well."""
        sole: Bools = self.known & ~np.isin(self.verdict, WITHHELD)
        return sole


def locate_detail(record: FieldRecord, rows: Rows, control: Control) -> Detail:
    """Solve every tied point from all its readings; nothing is judged yet."""
    chooser = _Chooser(record)
    found = locate_points(rows, control.xyz, control.errors, chooser.recorded, chooser.choose)
    n = record.n_points
    return Detail(
        **vars(found.solution),
        rival=found.rival,
        level=found.level,
        sharpness=found.sharpness,
        rows=found.rows,
        used=np.ones(len(rows), dtype=bool),
        datums=control.xyz,
        errors=control.errors,
        verdict=np.full(n, "", dtype=object),
        doubt_share=np.full(n, np.nan),
    )


def solved_again(detail: Detail, rows: Rows, control: Control) -> Detail:
    """The same points from readings whose standard deviations, or whose datums, have changed."""
    found = solve_points(
        rows, control.xyz, control.errors, detail.xyz, np.isfinite(detail.xyz[:, 2])
    )
    unsolved = detail.status != SOLVED
    found.status[unsolved] = detail.status[unsolved]
    return replace(detail, **vars(found), rows=rows, datums=control.xyz, errors=control.errors)


def judge(detail: Detail, points: Bools | None = None) -> Detail:
    """Say of every point (or of some) how far its readings agree, and leave out what is wrong."""
    points = detail.known if points is None else detail.known & points
    state = _copied(detail)
    state.verdict[points] = FITS
    state.doubt_share[points] = 0.0
    doubts = [one for one in detail.doubts if not points[one.point]]
    two = points & np.isfinite(detail.rival[:, 0])
    doubts += _two_places(state, np.flatnonzero(two))
    doubted = doubted_points(state.rows, state)
    doubted = doubted[(points & ~two)[doubted]]
    if doubted.size:
        doubts += _judge_doubted(state, doubted)
    unsure = points & (state.verdict == FITS)
    with np.errstate(invalid="ignore"):
        unseen = (state.redundancy == 0) | ~(state.hidden_m <= MOST_HIDDEN_M)
        unseen |= state.doubt_share > DISMISSED
    state.verdict[unsure & unseen] = UNCHECKED
    return replace(state, doubts=tuple(sorted(doubts, key=lambda one: one.point)))


def _copied(detail: Detail) -> Detail:
    """The same with arrays of its own, to be written into."""
    values: dict[str, Any] = vars(detail)
    arrays = {name: one.copy() for name, one in values.items() if isinstance(one, np.ndarray)}
    return Detail(**{**values, **arrays})


def _two_places(state: Detail, points: Ints) -> list[Doubt]:
    """Points that two places fit: each goes to the likelier one."""
    if not points.size:
        return []
    other, _, _ = without(
        state.rows, state.datums, state.errors, state.used, points, state.rival[points]
    )
    # a place that the readings do not hold has no covariance, and says nothing of its share
    gain = np.nan_to_num(other.log_evidence - state.log_evidence[points], nan=-1e3)
    share = 1 / (1 + np.exp(-np.clip(gain, -700, 700)))
    doubts = []
    for at, point in enumerate(points):
        here = Alternative(state.xyz[point].copy(), state.covariance[point].copy(), 1 - share[at])
        there = Alternative(state.rival[point], other.covariance[at], float(share[at]))
        places = tuple(sorted((here, there), key=lambda one: -one.share))
        _move(state, int(point), places, TWO_PLACES)
        doubts.append(Doubt(int(point), False, 0.0, places, {}))
    return doubts


def _move(state: Detail, point: int, places: tuple[Alternative, ...], verdict: str) -> None:
    state.xyz[point], state.covariance[point] = places[0].xyz, places[0].covariance
    state.verdict[point] = verdict
    state.doubt_share[point] = 1 - places[0].share
    state.hidden_m[point] = np.nan


def _judge_doubted(state: Detail, points: Ints) -> list[Doubt]:
    """Weigh the points and write into `state` where they are; what is to be said of misfits."""
    rows = state.rows
    weighed = weigh(rows, state.datums, state.errors, state, points)
    first = np.searchsorted(weighed.point, points)
    last = np.searchsorted(weighed.point, points, "right")
    largest = largest_residuals(rows, state)[points]
    none_best = weighed.wrong[first, 0] < 0
    misfit = ~none_best | (largest > LARGEST_RESIDUAL)
    state.doubt_share[points] = 1 - weighed.share[first]
    sure = np.flatnonzero(~none_best & (weighed.share[first] >= SURE))
    left_out = _leave_out(state, points[sure], weighed, first[sure])
    doubts = []
    for at in np.flatnonzero(misfit):
        point = int(points[at])
        kept = np.arange(first[at], last[at])
        kept = kept[:1] if point in left_out else kept[weighed.share[kept] > DISMISSED]
        places = alternatives_of(weighed, kept, rows, state.datums)
        sizes = {row: float(state.blunder_sd[row]) for place in places for row in place.wrong}
        doubts.append(Doubt(point, point in left_out, float(largest[at]), places, sizes))
        if point not in left_out:
            _move(state, point, places, CONFLICT)
    return doubts


def _leave_out(state: Detail, points: Ints, weighed: Weighed, which: Ints) -> set[int]:
    """Solve points without what is wrong by hypotheses `which`; those that fit then are told.

    A point that nothing would check any more does not tell which reading is wrong.
    """
    if not points.size:
        return set()
    rows = state.rows
    used = state.used.copy()
    used[np.isin(units_of(rows), weighed.wrong[which])] = False
    found, at, number = without(rows, state.datums, state.errors, used, points, weighed.xyz[which])
    largest = largest_residuals(replace(rows.only(at), point=number), found)
    good = (found.status == SOLVED) & (found.redundancy > 0) & (largest <= LARGEST_RESIDUAL)
    _write(state, points, found, at, number, good)
    state.verdict[points[good]] = LEFT_OUT
    left_out = np.flatnonzero(~used & state.used & np.isin(rows.point, points[good]))
    state.used[left_out] = False
    state.residual[left_out] = misread_by(
        rows, left_out, state.xyz[rows.point[left_out]], state.datums
    )
    return set(map(int, points[good]))


def _write(
    state: Detail, points: Ints, found: Solution, at: Ints, number: Ints, good: Bools
) -> None:
    """Put what `without` found of points into the arrays of `state`, where it is good."""
    for one in fields(Solution):
        here, which = (at, good[number]) if one.name in BY_READING else (points, good)
        getattr(state, one.name)[here[which]] = getattr(found, one.name)[which]


def with_wood(detail: Detail, holes: Ints, entry: Floats, covariance: Floats) -> Detail:
    """The points with one more witness of holes that were taped: the wood that they are in.

    `holes` (k,) are points that have a place and are not judged yet, `entry` (k, 3) and
    `covariance` (k, 3, 3) where their distance from end A, their clock and the size of the wood put
    them. Of two places that the tapes fit, the wood tells which.
    """
    if not holes.size:
        return detail
    number = len(detail.datums) + np.arange(len(holes))
    parts = [detail.rows]
    for axis, kind in enumerate((Kind.X, Kind.Y, Kind.HEIGHT)):
        at = np.flatnonzero(np.isfinite(entry[:, axis]) & np.isfinite(detail.xyz[holes, axis]))
        code, none, tie = (np.full(len(at), value) for value in (kind, -1, BY_WOOD))
        bow = np.full(len(at), _BOW_SD_M)
        parts.append(Rows(holes[at], code, none, number[at], np.zeros(len(at)), bow, tie))
    rows = Rows.joined(*parts)
    old = rows.tie != BY_WOOD
    by_reading: dict[str, Any] = {}
    for name in (*BY_READING, "used"):
        before = getattr(detail, name)
        by_reading[name] = np.ones(len(rows), dtype=before.dtype)
        by_reading[name][old] = before
    state = replace(
        _copied(detail),
        **by_reading,
        rows=rows,
        datums=np.vstack([detail.datums, entry]),
        errors=detail.errors.with_points(np.nan_to_num(covariance)),
    )
    case = rows, state.datums, state.errors, state.used, holes
    here, at, of = without(*case, detail.xyz[holes])
    there, _, _ = without(*case, detail.rival[holes])
    _write(state, holes, here, at, of, here.status == SOLVED)
    with np.errstate(invalid="ignore"):
        better = (there.status == SOLVED) & (there.chi_square < here.chi_square)
        told = np.abs(there.chi_square - here.chi_square) > RIVAL_CHI_SQUARE
    _write(state, holes, there, at, of, better)
    state.rival[holes] = np.where(better[:, None], here.xyz, there.xyz)
    state.rival[holes[told | (there.status != SOLVED)]] = np.nan
    return state


def wood_gaps(
    detail: Detail, holes: Ints, entry: Floats, covariance: Floats
) -> tuple[Floats, Floats]:
    """How far (k,) in m the tapes put holes from where the wood puts them, and what is allowed.

    NaN where the tapes alone give no place. Readings that were left out are not asked.
    """
    used = detail.used & (detail.rows.tie != BY_WOOD)
    case = detail.rows, detail.datums, detail.errors, used, holes
    found, _, _ = without(*case, detail.xyz[holes])
    known = found.status == SOLVED
    gap = np.sqrt(np.nansum((found.xyz - entry) ** 2, axis=1))
    both = np.einsum("nii->n", np.nan_to_num(found.covariance + covariance))
    limit = _SAME_M + ELLIPSOID_95 * np.sqrt(both)
    return np.where(known, gap, np.nan), np.where(known, limit, np.nan)


class _Chooser:
    """Tells two possible places of a point apart by what else the record says of it."""

    def __init__(self, record: FieldRecord) -> None:
        self.record = record
        self.recorded, _ = record.recorded_ends()
        self._floors = record.floor_heights

    def choose(self, point: int, one: Floats, two: Floats) -> int | None:
        """0, 1, or None: rough coordinates first, then outlines of the place, then its floor."""
        rough = self.recorded[point]
        if np.isfinite(rough[:2]).all():
            near = [float(np.hypot(*(place - rough)[:2])) for place in (one, two)]
            if min(near) < 0.5 * max(near):
                return int(near[1] < near[0])
        place_id = self.record.place_of(point)
        for at in self.record.line_of_places(place_id):
            outline = read_outline(self.record.cell("place", "outline", at))
            if outline is not None:
                fits = [distance_outside(outline, p) <= _BESIDE_OUTLINE_M for p in (one, two)]
                if fits[0] != fits[1]:
                    return int(fits[1])
        floor = self._floors.get(place_id)
        if floor is not None and np.isfinite([one[2], two[2]]).all():
            above = [place[2] > floor - _BELOW_FLOOR_M for place in (one, two)]
            if above[0] != above[1]:
                return int(above[1])
        return None
