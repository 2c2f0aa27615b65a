"""Adjusts the datums among themselves before anything is measured from them.

A held datum defines the grid. The coordinates of any other datum are readings like the ties to it,
as good as the uncertainty written beside them. Datums without coordinates are found from ties.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from provenance._record.cells import read_booleans
from provenance._survey.adjust.locate import locate_points
from provenance._survey.adjust.snooping import Misfit, doubted_readings
from provenance._survey.parts.datum_covariance import DatumCovariance
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.observation import (
    ELLIPSOID_95,
    Floats,
    Ints,
    Kind,
    Precision,
    misclosure,
    predict,
)
from provenance._survey.parts.solve import SOLVED, Bools, Rows

OWN_COORDINATES = -2
"""`tie` of a reading that is the datum's own recorded coordinate."""

_MOST_ROUNDS = 30
_AXES = (Kind.X, Kind.Y, Kind.HEIGHT)


@dataclass(frozen=True)
class Control:
    """The datums of a record: `xyz` (k, 3) in m, NaN where not found, and how far to trust them.

    `errors` holds their covariances; `held` (k,); `rows` are the readings with `residual`,
    `standard_residual`, `check`, `blunder`, `blunder_sd` and `used` beside them; `redundancy` is of
    the whole adjustment and `chi_square` what it left.
    """

    xyz: Floats
    errors: DatumCovariance
    held: Bools
    rows: Rows
    residual: Floats
    standard_residual: Floats
    check: Floats
    blunder: Floats
    blunder_sd: Floats
    used: Bools
    redundancy: int
    chi_square: float
    misfits: tuple[Misfit, ...]


def adjust_control(record: FieldRecord, ties: Rows, precision: Precision) -> Control:
    """Adjust every group of datums that ties link; see the module for what holds the grid."""
    n = record.count("datum")
    xyz = np.column_stack([record.numbers("datum", f"{axis}_m") for axis in "xyz"])
    xyz[np.isnan(xyz[:, :2]).any(axis=1)] = np.nan
    written = read_booleans(record.column("datum", "held")).fill_null(False)
    held = written.to_numpy() & np.isfinite(xyz[:, 0])
    radius = record.numbers("datum", "uncertainty_m")
    sd = np.where(np.isfinite(radius), radius / ELLIPSOID_95, precision.datum_sd_m)
    # an uncertainty of nought would be a weight without end; it means as good as held
    sd = np.maximum(sd, 1e-5)
    own = _own_coordinates(xyz, held, sd)
    xyz = _first_places(xyz, ties)

    rows = Rows.joined(own, _as_level(ties, xyz))
    located = np.isfinite(np.append(xyz[:, 0], 0.0))
    rows = rows.only(located[rows.point] & located[rows.start] & located[rows.end])
    result = _Result(rows, xyz.copy(), held)
    groups = []
    for members in _groups(rows, n, held, np.isfinite(xyz[:, 0])):
        groups.append((members, result.adjust(np.array(members))))
    return result.control(DatumCovariance.of_groups(n, groups))


def _own_coordinates(xyz: Floats, held: Bools, sd: Floats) -> Rows:
    parts = []
    for axis, kind in enumerate(_AXES):
        at = np.flatnonzero(~held & np.isfinite(xyz[:, axis]))
        none = np.full(len(at), -1)
        own = np.full(len(at), OWN_COORDINATES)
        parts.append(Rows(at, np.full(len(at), kind), none, none, xyz[at, axis], sd[at], own))
    return Rows.joined(*parts)


def _as_level(ties: Rows, xyz: Floats) -> Rows:
    height = np.append(xyz[:, 2], 0.0)
    flat = np.isnan(height[ties.start]) | np.isnan(height[ties.point])
    level = (ties.kind == Kind.DISTANCE) & flat
    return replace(ties, kind=np.where(level, Kind.LEVEL_DISTANCE, ties.kind))


def _first_places(xyz: Floats, ties: Rows) -> Floats:
    """Rough places of the datums that have no coordinates, found outwards from those that have."""
    xyz = xyz.copy()
    heights = np.full(len(xyz), np.nan)
    at = ties.kind == Kind.HEIGHT
    heights[ties.point[at]] = ties.reading[at]
    missing_height = np.isfinite(xyz[:, 0]) & np.isnan(xyz[:, 2])
    xyz[missing_height, 2] = heights[missing_height]
    errors = DatumCovariance.of_groups(len(xyz), [])
    while True:
        known = np.isfinite(np.append(xyz[:, 0], 0.0))
        rows = ties.only(~known[ties.point] & known[ties.start] & known[ties.end])
        if not len(rows):
            return xyz
        found = locate_points(rows, xyz, errors, np.full_like(xyz, np.nan))
        good = (found.solution.status == SOLVED) & np.isnan(found.rival[:, 0])
        if not good.any():
            return xyz
        xyz[good] = found.solution.xyz[good]


def _groups(rows: Rows, n: int, held: Bools, located: Bools) -> list[list[int]]:
    """Datums that are not held, in groups that ties link."""
    parent = list(range(n))

    def root(one: int) -> int:
        while parent[one] != one:
            parent[one] = parent[parent[one]]
            one = parent[one]
        return one

    for point, start, end in zip(rows.point, rows.start, rows.end, strict=True):
        linked = [int(d) for d in (point, start, end) if d >= 0 and not held[d]]
        for other in linked[1:]:
            parent[root(other)] = root(linked[0])
    groups: dict[int, list[int]] = {}
    for one in range(n):
        if located[one] and not held[one]:
            groups.setdefault(root(one), []).append(one)
    return list(groups.values())


class _Result:
    """The adjustment of all groups, filled in one group after the other."""

    def __init__(self, rows: Rows, xyz: Floats, held: Bools) -> None:
        self.rows, self.xyz, self.held = rows, xyz, held
        self.residual, self.standard_residual, self.check, self.blunder, self.blunder_sd = (
            np.full(len(rows), np.nan) for _ in range(5)
        )
        self.used = np.ones(len(rows), dtype=bool)
        self.misfits: list[Misfit] = []
        self.redundancy, self.chi_square = 0, 0.0
        self.by_datum: dict[int, list[int]] = {}
        for at, linked in enumerate(zip(rows.point, rows.start, rows.end, strict=True)):
            for datum in set(map(int, linked)) - {-1}:
                if not held[datum]:
                    self.by_datum.setdefault(datum, []).append(at)

    def adjust(self, members: Ints) -> Floats:
        """Adjust one group; its covariance (3k, 3k) with zeros for heights that are not known."""
        at = np.array(sorted({a for d in members for a in self.by_datum.get(int(d), [])}))
        while True:
            column = np.full((len(self.xyz) + 1, 3), -1)
            unknown = np.isfinite(self.xyz[members])
            column[members] = np.where(unknown, np.cumsum(unknown).reshape(-1, 3) - 1, -1)
            used = at[self.used[at]]
            cofactor, cleared = self._solve(used, column, int(unknown.sum()))
            if not cleared:
                break
        whole = np.zeros((3 * len(members), 3 * len(members)))
        where = np.flatnonzero(unknown.ravel())
        whole[np.ix_(where, where)] = cofactor
        return whole

    def _solve(self, at: Ints, column: Ints, size: int) -> tuple[Floats, bool]:
        rows = self.rows.only(at)
        places = np.vstack([self.xyz, np.full((1, 3), np.nan)])
        weight = 1.0 / rows.sd**2
        for _ in range(_MOST_ROUNDS):
            there = predict(rows.kind, places[rows.point], places[rows.start], places[rows.end])
            design = np.zeros((len(rows), size))
            for who, slope in (
                (rows.point, there.by_point),
                (rows.start, there.by_start),
                (rows.end, there.by_end),
            ):
                row, axis = np.nonzero(column[who] >= 0)
                np.add.at(design, (row, column[who][row, axis]), slope[row, axis])
            gap = misclosure(rows.kind, rows.reading, there.value)
            normal = design.T @ (weight[:, None] * design)
            cofactor = np.asarray(np.linalg.inv(normal), dtype=np.float64)
            step = cofactor @ (design.T @ (weight * gap))
            moved = column >= 0
            places[moved] += step[column[moved]]
            if np.abs(step).max(initial=0.0) < 1e-8:
                break
        self.xyz[:] = places[:-1]
        # the last step was nought, so design and gap belong to the place that was found
        check = 1.0 - np.einsum("ij,jk,ik->i", design, cofactor, design) * weight
        checked = check > 1e-6
        safe = np.where(checked, check, 1.0)
        self.residual[at], self.check[at] = gap, np.clip(check, 0.0, 1.0)
        w = np.where(checked, gap / (rows.sd * np.sqrt(safe)), 0.0)
        self.standard_residual[at] = w
        self.blunder[at] = np.where(checked, gap / safe, np.nan)
        self.blunder_sd[at] = np.where(checked, rows.sd / np.sqrt(safe), np.nan)
        doubted = doubted_readings(self.standard_residual, at)
        if doubted.size:
            again = len(doubted) == 1
            point = int(self.rows.point[doubted[0]])
            judged = self.blunder, self.standard_residual, self.blunder_sd
            self.misfits.append(Misfit.of(point, doubted, *judged, again))
            if again:
                self.used[doubted] = False
                return cofactor, True
        self.redundancy += len(rows) - size
        self.chi_square += float(weight @ gap**2)
        return cofactor, False

    def control(self, errors: DatumCovariance) -> Control:
        """What came of it, once every group is adjusted."""
        names = {one.name for one in fields(Control)} - {"errors", "misfits"}
        found = {name: getattr(self, name) for name in names}
        return Control(errors=errors, misfits=tuple(self.misfits), **found)
