"""Says of every point of a survey how far its readings agree, and where else it may lie."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from provenance._record.trust import CONFLICT, FITS, LEFT_OUT, TWO_PLACES, UNCHECKED, WITHHELD
from provenance._survey.adjust.blunders import BY_WOOD, DISMISSED, Doubt
from provenance._survey.adjust.control import Control
from provenance._survey.adjust.detail import MOST_HIDDEN_M, Detail
from provenance._survey.adjust.scatter import OWN_COORDINATES, Scatter
from provenance._survey.adjust.slips import wrong_readings
from provenance._survey.adjust.wood import HoleSet
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.observation import ELLIPSE_95, Floats, Ints
from provenance._survey.parts.solve import Bools, Rows

_WORST_FIRST = (CONFLICT, TWO_PLACES, UNCHECKED, LEFT_OUT)


@dataclass(frozen=True)
class Place:
    """One of several places where a point may be: the likeliest has the number 1 in the table."""

    xyz: Floats
    covariance: Floats
    share: float
    wrong_readings: str


@dataclass(frozen=True)
class Trust:
    """How far to trust n points: `verdict` '' where no reading checks or contradicts one.

    Numbers are NaN where there is nothing to say: `doubt_share`, `hidden_m` (also where a misread
    tape is never noticed), `scatter_factor`, `wood_gap_m` with its limit. `left_out` are the ties
    that were, by semicolons. `places` are those of points that have more than one.
    """

    verdict: npt.NDArray[np.object_]
    doubt_share: Floats
    hidden_m: Floats
    scatter_factor: Floats
    left_out: npt.NDArray[np.object_]
    wood_gap_m: Floats
    wood_gap_limit_m: Floats
    places: dict[int, tuple[Place, ...]]

    @property
    def ranged(self) -> Bools:
        """Which points have a 95 % range."""
        ranged: Bools = ~np.isin(self.verdict, WITHHELD)
        return ranged

    def columns(self, xyz: Floats, major: Floats) -> dict[str, Any]:
        """Columns of the table 'position'; `major` (n,) is the long half-axis of the 95 % ellipse.

        What is searched is the range and what a misreading may hide, or all places with the range
        of each. Nothing is said where a misread tape would never be noticed.
        """
        search = major + np.where(self.verdict == "", np.nan_to_num(self.hidden_m), self.hidden_m)
        for point, places in self.places.items():
            far = [
                float(np.hypot(*(one.xyz - xyz[point])[:2])) + _half_axis(one.covariance)
                for one in places
            ]
            search[point] = max(far)
        return {
            "verdict": self.verdict,
            "doubt_share": np.round(self.doubt_share, 3),
            "hidden_m": np.round(self.hidden_m, 4),
            "search_m": np.round(search, 4),
            "scatter_factor": np.round(self.scatter_factor, 2),
            "left_out": self.left_out,
            "wood_gap_m": np.round(self.wood_gap_m, 4),
            "wood_gap_limit_m": np.round(self.wood_gap_limit_m, 4),
        }

    def part(self, first: int, last: int) -> Trust:
        """Of points `first` to before `last`, numbered anew."""
        values = {
            name: one[first:last] for name, one in vars(self).items() if isinstance(one, np.ndarray)
        }
        places = {at - first: one for at, one in self.places.items() if first <= at < last}
        return Trust(**values, places=places)


def _half_axis(covariance: Floats) -> float:
    """Long half-axis of the level 95 % ellipse in m; 0 where the readings do not hold a place."""
    (xx, xy), (_, yy) = np.nan_to_num(covariance[:2, :2])
    return float(ELLIPSE_95 * np.sqrt((xx + yy) / 2 + np.hypot((xx - yy) / 2, xy)))


def _nothing(n: int) -> Trust:
    blank = np.full(n, np.nan)
    texts = np.full(n, "", dtype=object)
    return Trust(
        texts, blank, blank.copy(), blank.copy(), texts.copy(), blank.copy(), blank.copy(), {}
    )


def _tie_ids(record: FieldRecord, rows: Rows, out: Bools, n: int) -> npt.NDArray[np.object_]:
    names: npt.NDArray[np.object_] = np.full(n, "", dtype=object)
    ties = record.column("tie", "tie_id")
    found: dict[int, list[str]] = {}
    for at in np.flatnonzero(out & (rows.tie >= 0)):
        mine = found.setdefault(int(rows.point[at]), [])
        name = str(ties[int(rows.tie[at])])
        if name not in mine:
            mine.append(name)
    for point, mine in found.items():
        names[point] = ";".join(mine)
    return names


def _worst_factor(scatter: Scatter, rows: Rows, site: Ints, used: Bools, n: int) -> Floats:
    factor = np.full(n, np.nan)
    at = np.flatnonzero(used & (rows.tie != BY_WOOD) & (rows.tie != OWN_COORDINATES))
    mine = rows.only(at)
    np.fmax.at(factor, mine.point, scatter.factors(mine, site[mine.point]))
    return factor


def _places(
    record: FieldRecord, rows: Rows, doubts: tuple[Doubt, ...], stretch: Floats
) -> dict[int, tuple[Place, ...]]:
    return {
        doubt.point: tuple(
            Place(
                one.xyz,
                one.covariance * stretch[doubt.point],
                one.share,
                wrong_readings(record, rows, one, doubt.size_sd),
            )
            for one in doubt.alternatives
        )
        for doubt in doubts
        if not doubt.left_out
    }


def datum_trust(record: FieldRecord, control: Control, scatter: Scatter) -> Trust:
    """Of the datums; those that were held, or only recorded, have no verdict."""
    n = record.count("datum")
    rows = control.rows
    tied = np.zeros(n, dtype=bool)
    for datums in (rows.point, rows.start, rows.end):
        tied[datums[(rows.tie != OWN_COORDINATES) & (datums >= 0)]] = True
    judged = tied & ~control.held & np.isfinite(control.xyz[:, 0])
    verdict = np.full(n, "", dtype=object)
    verdict[judged] = FITS
    verdict[judged & ~(control.hidden_m <= MOST_HIDDEN_M)] = UNCHECKED
    verdict[judged & control.left_out] = LEFT_OUT
    verdict[judged & control.conflict] = CONFLICT
    stretch = scatter.stretch(record.datum_sites)
    factor = _worst_factor(scatter, rows, record.datum_sites, control.used, n)
    hidden = np.where(np.isfinite(control.hidden_m), control.hidden_m, np.nan)
    places = _places(record, rows, control.doubts, stretch)
    conflict = judged & control.conflict
    return replace(
        _nothing(n),
        verdict=verdict,
        doubt_share=np.where(judged, control.doubt_share, np.nan),
        hidden_m=np.where(judged & ~conflict, hidden, np.nan),
        scatter_factor=np.where(judged, factor, np.nan),
        left_out=_tie_ids(record, rows, ~control.used, n),
        places={at: one for at, one in places.items() if conflict[at]},
    )


def point_trust(
    record: FieldRecord,
    detail: Detail,
    scatter: Scatter,
    holes: HoleSet,
    ends: Floats,
    gaps: tuple[Floats, Floats],
) -> Trust:
    """Of the timber ends and the holes; a hole placed by its wood inherits what doubts its ends.

    `ends` (2E, 3) are where the ends are, `gaps` what `wood_gaps` says of all points (n,).
    """
    n = record.n_points
    known = detail.known
    places = _places(record, detail.rows, detail.doubts, scatter.stretch(record.point_sites))
    factor = _worst_factor(scatter, detail.rows, record.point_sites, detail.used, n)
    trust = Trust(
        verdict=np.where(known, detail.verdict, "").astype(object),
        doubt_share=np.where(known, detail.doubt_share, np.nan),
        hidden_m=np.where(known & np.isfinite(detail.hidden_m), detail.hidden_m, np.nan),
        scatter_factor=np.where(known, factor, np.nan),
        left_out=_tie_ids(record, detail.rows, ~detail.used, n),
        wood_gap_m=gaps[0],
        wood_gap_limit_m=gaps[1],
        places={at: one for at, one in places.items() if known[at]},
    )
    _inherit(record, trust, known, holes, ends)
    return trust


def _inherit(record: FieldRecord, trust: Trust, known: Bools, holes: HoleSet, ends: Floats) -> None:
    """Carry what is doubted about the timber ends to the holes that are placed from them.

    What moves end A along the wood moves the hole as far, what moves end B by its share of the
    length. Each pair of places of the ends makes a place of the hole.
    """
    along = record.numbers("sample", "along_m")[holes.sample]
    points = record.n_ends + holes.sample
    for at in np.flatnonzero(~known[points]):
        point, two = int(points[at]), [2 * int(holes.element[at]) + end for end in (0, 1)]
        of_ends = [trust.verdict[end] for end in two]
        if not any(of_ends):
            continue
        trust.verdict[point] = next((v for v in _WORST_FIRST if v in of_ends), "")
        trust.left_out[point] = ";".join(filter(None, (trust.left_out[end] for end in two)))
        a, b = ends[two]
        share = along[at] / max(float(np.sqrt(np.nansum((b - a) ** 2))), 1e-9)
        hidden = [0.0 if trust.verdict[end] == "" else trust.hidden_m[end] for end in two]
        trust.hidden_m[point] = hidden[0] + share * hidden[1]
        if trust.verdict[point] in WITHHELD:
            trust.hidden_m[point] = np.nan
            entry, spread = holes.bores.entry[at], holes.bores.entry_covariance[at]
            before = _on_axis(a, b, along[at])
            found = [
                Place(
                    entry + _on_axis(first.xyz, second.xyz, along[at]) - before,
                    spread,
                    first.share * second.share,
                    " and ".join(filter(None, (first.wrong_readings, second.wrong_readings))),
                )
                for first in _places_of_end(trust, two[0], a)
                for second in _places_of_end(trust, two[1], b)
            ]
            found.sort(key=lambda place: -place.share)
            kept = [place for place in found if place.share > DISMISSED] or found[:1]
            trust.places[point] = tuple(kept)
            trust.doubt_share[point] = 1 - kept[0].share


def _places_of_end(trust: Trust, end: int, xyz: Floats) -> tuple[Place, ...]:
    return trust.places.get(end) or (Place(xyz, np.zeros((3, 3)), 1.0, ""),)


def _on_axis(a: Floats, b: Floats, along: float) -> Floats:
    """The point at that distance from A on the way to B; without heights both lie level."""
    axis = b - a
    if not np.isfinite(axis[2]):
        axis = np.array([axis[0], axis[1], 0.0])
    on_axis: Floats = a + along * axis / max(float(np.linalg.norm(axis)), 1e-9)
    return on_axis


PLACE_COLUMNS: dict[str, pl.DataType] = {
    "position_id": pl.String(),
    "place_rank": pl.Int64(),
    "site_id": pl.String(),
    "place_share": pl.Float64(),
    "wrong_readings": pl.String(),
    **dict.fromkeys(
        (
            *(f"{axis}_m" for axis in "xyz"),
            *(f"sd_{axis}_m" for axis in "xyz"),
            *(f"corr_{pair}" for pair in ("xy", "xz", "yz")),
        ),
        pl.Float64(),
    ),
}
"""Columns of the table 'position_place'."""
