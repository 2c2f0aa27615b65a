"""Adjusts the datums among themselves before anything is measured from them.

A held datum defines the grid. The coordinates of any other datum are readings like the ties to it,
as good as the uncertainty written beside them. Datums without coordinates are found from ties.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from provenance._record.cells import read_booleans
from provenance._survey.adjust.blunders import (
    DISMISSED,
    SURE,
    Alternative,
    Doubt,
    single_shares,
)
from provenance._survey.adjust.locate import locate_points
from provenance._survey.adjust.scatter import OWN_COORDINATES, Scatter
from provenance._survey.parts.datum_covariance import DatumCovariance
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.observation import (
    ELLIPSE_95,
    ELLIPSOID_95,
    LARGEST_RESIDUAL,
    Floats,
    Ints,
    Kind,
    Precision,
    misclosure,
    predict,
)
from provenance._survey.parts.solve import SOLVED, Bools, Rows, hidden_shift

_MOST_ROUNDS = 30
_AXES = (Kind.X, Kind.Y, Kind.HEIGHT)


@dataclass(frozen=True)
class Control:
    """The datums of a record: `xyz` (k, 3) in m, NaN where not found, and how far to trust them.

    `errors` holds their covariances, grown so that they cover what conflicting readings allow;
    `held`, `conflict`, `left_out`, `hidden_m`, `doubt_share` (k,) say of each datum what a point's
    verdict says; `rows` are the readings with `residual`, `standard_residual`, `check`, `blunder`,
    `blunder_sd` and `used` beside them; `redundancy` is of the whole adjustment and `chi_square`
    what it left.
    """

    xyz: Floats
    errors: DatumCovariance
    held: Bools
    conflict: Bools
    left_out: Bools
    hidden_m: Floats
    doubt_share: Floats
    rows: Rows
    residual: Floats
    standard_residual: Floats
    check: Floats
    blunder: Floats
    blunder_sd: Floats
    used: Bools
    redundancy: int
    chi_square: float
    doubts: tuple[Doubt, ...]


def adjust_control(
    record: FieldRecord, ties: Rows, precision: Precision, scatter: Scatter | None = None
) -> Control:
    """Adjust every group of datums that ties link; see the module for what holds the grid.

    `scatter` widens all readings.
    """
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

    if scatter is not None:
        site = record.datum_sites
        own = scatter.widened(own, site[own.point])
        ties = scatter.widened(ties, site[ties.point])
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


def _block(cofactor: Floats, column: Ints) -> Floats:
    """The covariance (3, 3) of one datum, NaN for a height that is not known."""
    block = np.full((3, 3), np.nan)
    known = np.flatnonzero(column >= 0)
    block[np.ix_(known, known)] = cofactor[np.ix_(column[known], column[known])]
    return block


class _Result:
    """The adjustment of all groups, filled in one group after the other."""

    def __init__(self, rows: Rows, xyz: Floats, held: Bools) -> None:
        self.rows, self.xyz, self.held = rows, xyz, held
        self.residual, self.standard_residual, self.check, self.blunder, self.blunder_sd = (
            np.full(len(rows), np.nan) for _ in range(5)
        )
        self.used = np.ones(len(rows), dtype=bool)
        self.doubts: list[Doubt] = []
        self.conflict, self.left_out = (np.zeros(len(xyz), dtype=bool) for _ in range(2))
        self.hidden_m = np.zeros(len(xyz))
        self.doubt_share = np.zeros(len(xyz))
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
        moves = np.zeros((*column.shape, len(rows)))
        moves[column >= 0] = (cofactor @ (design.T * weight))[column[column >= 0]]
        members = np.flatnonzero((column >= 0).any(axis=1))
        self.hidden_m[members] = hidden_shift(moves[members], check * weight, check)
        # the single blunder that explains most is weighed against the others and against none
        share = single_shares(rows.kind, w, self.blunder[at], self.blunder_sd[at])
        best = int(share.argmax())
        misfit = best < len(rows) or np.abs(w).max(initial=0.0) > LARGEST_RESIDUAL
        if best < len(rows) and share[best] >= SURE and len(rows) - size > 1:
            self.used[at[best]] = False
            self._note_left_out(int(at[best]), share[best])
            return cofactor, True
        self.redundancy += len(rows) - size
        self.chi_square += float(weight @ gap**2)
        if misfit:
            cofactor = self._cover(at, share, moves, column, members, cofactor)
        return cofactor, False

    def _datums_of(self, row: int) -> list[int]:
        linked = (self.rows.point[row], self.rows.start[row], self.rows.end[row])
        return sorted({int(d) for d in linked if d >= 0 and not self.held[d]})

    def _note_left_out(self, row: int, share: float) -> None:
        point = int(self.rows.point[row])
        none = np.full((3, 3), np.nan)
        place = Alternative(
            self.xyz[point].copy(), none, float(share), (row,), (float(self.blunder[row]),)
        )
        sd = {row: float(self.blunder_sd[row])}
        w = float(abs(self.standard_residual[row]))
        self.doubts.append(Doubt(point, True, w, (place,), sd))
        self.left_out[self._datums_of(row)] = True

    def _cover(
        self,
        at: Ints,
        share: Floats,
        moves: Floats,
        column: Ints,
        members: Ints,
        cofactor: Floats,
    ) -> Floats:
        """Move the datums to where the likeliest blunder puts them; what covers all the others.

        Without a reading the datums lie where it did not move them by its blunder.
        """
        listed = np.flatnonzero(share > DISMISSED)
        listed = listed[np.argsort(-share[listed], kind="stable")]
        wrong = [int(at[one]) if one < len(at) else -1 for one in listed]
        shift = np.zeros((len(listed), *column.shape))
        for number, one in enumerate(listed):
            if one < len(at):
                shift[number] = -moves[:, :, one] * self.blunder[at[one]]
        self.xyz += shift[0, :-1]
        shift = shift - shift[0]
        flat = np.zeros((len(listed), len(cofactor)))
        flat[:, column[column >= 0]] = shift[:, column >= 0]
        weight = share[listed] / share[listed].sum()
        covered = cofactor + np.einsum("h,hi,hj->ij", weight, flat, flat)
        sizes = {row: float(self.blunder_sd[row]) for row in wrong if row >= 0}
        largest = float(np.abs(self.standard_residual[at]).max())
        worst = int(self.rows.point[at[np.abs(self.standard_residual[at]).argmax()]])
        spread = {int(one): _block(cofactor, column[one]) for one in members}
        moved = {}
        for datum, block in spread.items():
            reach = ELLIPSE_95 * np.sqrt(np.nansum(np.diag(block)[:2]))
            moved[datum] = bool(np.hypot(*shift[:, datum, :2].T).max() > reach)
            self.conflict[datum] = moved[datum]
            self.doubt_share[datum] = 1 - share[listed[0]]
        for datum in [one for one in spread if moved[one]] or [worst]:
            places = tuple(
                Alternative(
                    self.xyz[datum] + np.where(column[datum] >= 0, shift[number, datum], 0.0),
                    spread.get(datum, np.zeros((3, 3))),
                    float(share[one]),
                    (row,) if row >= 0 else (),
                    (float(self.blunder[row]),) if row >= 0 else (),
                )
                for number, (one, row) in enumerate(zip(listed, wrong, strict=True))
            )
            self.doubts.append(Doubt(datum, False, largest, places, sizes))
        return np.asarray(covered, dtype=np.float64)

    def control(self, errors: DatumCovariance) -> Control:
        """What came of it, once every group is adjusted."""
        names = {one.name for one in fields(Control)} - {"errors", "doubts"}
        found = {name: getattr(self, name) for name in names}
        return Control(errors=errors, doubts=tuple(self.doubts), **found)
