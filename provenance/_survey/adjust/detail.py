"""Adjusts the ends of wood and the holes that were tied to datums, and sets misfits aside."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from provenance._survey.adjust.control import Control
from provenance._survey.adjust.locate import locate_points
from provenance._survey.adjust.snooping import Misfit, doubted_readings
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.observation import LARGEST_RESIDUAL, Floats, Ints, misclosure, predict
from provenance._survey.parts.outline import distance_outside, read_outline
from provenance._survey.parts.solve import BY_READING, SOLVED, Bools, Rows, Solution, solve_points

_BESIDE_OUTLINE_M = 0.6
"""The wood of a room may lie in its walls, which the outline leaves out."""
_BELOW_FLOOR_M = 0.3


@dataclass(frozen=True)
class Detail(Solution):
    """The measured points of a record, numbered as FieldRecord does.

    By point also `rival` (n, 3), `level` and `sharpness`, as in Located. By reading also `rows` and
    `used`; a reading that was left out has as `residual` its distance from the position found
    without it.
    """

    rival: Floats
    level: Bools
    sharpness: Floats
    rows: Rows
    used: Bools
    misfits: tuple[Misfit, ...] = ()

    @property
    def tied(self) -> Bools:
        """Which points any reading was made to."""
        tied = np.zeros(len(self.xyz), dtype=bool)
        tied[self.rows.point] = True
        return tied

    def readings_of(self, point: int) -> Ints:
        """Numbers of the readings of a point that were used."""
        first, last = map(int, np.searchsorted(self.rows.point, [point, point + 1]))
        used: Ints = first + np.flatnonzero(self.used[first:last])
        return used

    @property
    def known(self) -> Bools:
        """Which points have one position and no other that fits as well."""
        known: Bools = (self.status == SOLVED) & np.isnan(self.rival[:, 0])
        return known


def adjust_detail(record: FieldRecord, rows: Rows, control: Control) -> Detail:
    """Solve every tied point; readings that do not fit are left out one at a time."""
    n = record.n_points
    chooser = _Chooser(record)
    state = Detail(
        **vars(Solution.blank(n, len(rows))),
        rival=np.full((n, 3), np.nan),
        level=np.zeros(n, dtype=bool),
        sharpness=np.full(n, np.nan),
        rows=rows,
        used=np.ones(len(rows), dtype=bool),
    )
    misfits: list[Misfit] = []
    kinds = rows.kind.copy()
    points = np.unique(rows.point)
    first = np.searchsorted(rows.point, np.arange(n + 1))
    while points.size:
        _solve(state, control, points, chooser, kinds)
        size = np.nan_to_num(np.abs(state.standard_residual), nan=0.0)
        bad = (size > LARGEST_RESIDUAL) & state.used
        again = []
        for point in np.intersect1d(rows.point[bad], points):
            at = np.arange(first[point], first[point + 1])
            doubted = doubted_readings(state.standard_residual, at[state.used[at]])
            alone = len(doubted) == 1
            judged = state.blunder, state.standard_residual, state.blunder_sd
            misfits.append(Misfit.of(int(point), doubted, *judged, alone))
            if alone:
                state.used[doubted] = False
                again.append(point)
        points = np.array(again, dtype=np.int64)
    _measure_left_out(state, control)
    kept = replace(rows, kind=kinds)
    misfits = _resized(state, control, kept, misfits)
    return replace(state, misfits=tuple(misfits), rows=kept)


def _solve(state: Detail, control: Control, points: Ints, chooser: _Chooser, kinds: Ints) -> None:
    """Solve some points and write what comes out into the arrays of `state`."""
    number = np.full(len(state.xyz), -1, dtype=np.int64)
    number[points] = np.arange(len(points))
    at = np.flatnonzero(state.used & (number[state.rows.point] >= 0))
    rows = state.rows.only(at)
    rows = replace(rows, point=number[rows.point])

    def prefer(point: int, one: Floats, two: Floats) -> int | None:
        return chooser.choose(int(points[point]), one, two)

    found = locate_points(rows, control.xyz, control.errors, chooser.recorded[points], prefer)
    solution = found.solution
    for one in fields(solution):
        where = at if one.name in BY_READING else points
        getattr(state, one.name)[where] = getattr(solution, one.name)
    state.rival[points] = found.rival
    state.level[points] = found.level
    state.sharpness[points] = found.sharpness
    kinds[at] = found.rows.kind


def _resized(state: Detail, control: Control, rows: Rows, misfits: list[Misfit]) -> list[Misfit]:
    """The misfits with each size as it comes out when the point is solved without that reading.

    The test's own estimate takes the equations as straight, which a foot in a short tape is not.
    """
    doubted = [(misfit.point, row) for misfit in misfits for row in misfit.rows]
    if not doubted:
        return misfits
    # each doubted reading makes a problem of its own, and all are solved at once
    used = [state.readings_of(point) for point, _ in doubted]
    others = [at[at != row] for at, (_, row) in zip(used, doubted, strict=True)]
    number = np.repeat(np.arange(len(doubted)), [len(at) for at in others])
    points = np.array([point for point, _ in doubted])
    begin = state.xyz[points]
    found = solve_points(
        replace(rows.only(np.concatenate(others)), point=number),
        control.xyz,
        control.errors,
        begin,
        np.isfinite(begin[:, 2]),
    )
    alone = rows.only(np.array([row for _, row in doubted]))
    places = np.vstack([control.xyz, np.full((1, 3), np.nan)])
    there = predict(alone.kind, found.xyz, places[alone.start], places[alone.end])
    sizes = iter(misclosure(alone.kind, alone.reading, there.value))
    return [
        replace(
            misfit,
            size=tuple(
                float(new) if np.isfinite(new) else old
                for old, new in zip(misfit.size, sizes, strict=False)
            ),
        )
        for misfit in misfits
    ]


def _measure_left_out(state: Detail, control: Control) -> None:
    at = np.flatnonzero(~state.used)
    rows = state.rows.only(at)
    places = np.vstack([control.xyz, np.full((1, 3), np.nan)])
    there = predict(rows.kind, state.xyz[rows.point], places[rows.start], places[rows.end])
    state.residual[at] = misclosure(rows.kind, rows.reading, there.value)


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
