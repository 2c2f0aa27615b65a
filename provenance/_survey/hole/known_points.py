"""Holds where everything is, as the last survey left it, for questions about single holes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from provenance._model.schema import Model
from provenance._record.package import Package
from provenance._record.trust import NOT_JUDGED, PLACES, Place, Trust, trust_of
from provenance._survey.adjust.adjustment import TABLE, adjust_survey
from provenance._survey.adjust.bore import Sticks
from provenance._survey.adjust.positions import ellipse_95
from provenance._survey.adjust.wood import HoleSet, set_holes, take_sticks
from provenance._survey.parts.field_record import FieldRecord, read_field_record
from provenance._survey.parts.observation import NORMAL_95, Floats, Precision

_TOLD_TO_M = 1e-4
"""Ranges are written to a tenth of a millimetre."""


@dataclass(frozen=True)
class KnownPoints:
    """Positions of a package by row number, NaN where not known.

    `ends` (2E, 3) and `ends_covariance` (2E, 3, 3) as FieldRecord numbers them, `datums` (k, 3)
    with `datums_covariance`; `sticks` and `holes` are the wood and the holes built on them, a hole
    that was taped itself standing where it was taped; `found` says how each point was found and
    `judged` what the survey says about it, both by the keys of the table 'position'. Covariances
    are as wide as the 95 % ranges of that table.
    """

    record: FieldRecord
    ends: Floats
    ends_covariance: Floats
    datums: Floats
    datums_covariance: Floats
    sticks: Sticks
    holes: HoleSet
    found: dict[str, str]
    judged: Mapping[str, Trust]

    def trust(self, key: str) -> Trust:
        """What the survey says about a point; nothing for one that it did not judge."""
        return self.judged.get(key, NOT_JUDGED)

    def is_taped(self, sample_id: str) -> bool:
        """Whether the hole of a sample was tied itself, and not computed from its wood."""
        return self.found.get(f"hole:{sample_id}") == "adjusted"


def known_points(package: Package, *, precision: Precision | None = None) -> KnownPoints:
    """From the table 'position', or, where no survey has been written, from one made now.

    The table is taken as it stands: survey again after ties or sizes have been corrected.
    """
    precision = precision or Precision()
    record = read_field_record(package)
    surveyed = TABLE in package.model.tables and package.tables.count(TABLE) > 0
    if surveyed:
        frame = package.tables[TABLE]
        places = package.tables[PLACES] if PLACES in package.model.tables else pl.DataFrame()
    else:
        result = adjust_survey(package, precision=precision)
        frame, places = result.position_table, result.place_table
    xyz, covariance = _coordinates(frame)
    covariance = _as_wide_as_told(frame, covariance)
    keys = {key: at for at, key in enumerate(frame["position_id"])}
    judged = _judged(frame, places)
    for key, trust in judged.items():
        if trust.places and np.isnan(xyz[keys[key], 0]):
            # no one place is told; what is drawn and built on it stands at the likeliest
            xyz[keys[key]] = [np.nan if one is None else one for one in trust.places[0].at]
            covariance[keys[key]] = 0.0

    def taken(names: list[str]) -> tuple[Floats, Floats]:
        at = np.array([keys.get(name, -1) for name in names], dtype=np.int64)
        nothing = np.full((1, 3), np.nan), np.full((1, 3, 3), np.nan)
        return np.vstack([xyz, nothing[0]])[at], np.concatenate([covariance, nothing[1]])[at]

    ends, ends_covariance = taken(record.point_keys[: record.n_ends])
    datums, datums_covariance = taken(record.datum_keys)
    found = dict(frame.select(pl.col("position_id", "found_by").fill_null("")).iter_rows())
    record = _along_from_ties(record, ends, taken(record.point_keys[record.n_ends :])[0], found)
    holes = set_holes(record, package.model, ends, ends_covariance, precision)
    names = [record.point_keys[record.n_ends + at] for at in holes.sample]
    tied = np.array([found.get(name) == "adjusted" for name in names], dtype=bool)
    return KnownPoints(
        record,
        ends,
        ends_covariance,
        datums,
        datums_covariance,
        take_sticks(record, ends, ends_covariance),
        _moved(holes, tied, *taken(names)),
        found,
        judged,
    )


def laid_down(known: KnownPoints, model: Model) -> KnownPoints:
    """With wood that has no position but a length laid level, so that it alone can be drawn.

    Where it lies says nothing; what lies along and round each piece does.
    """
    length = known.record.numbers("element", "length_m")
    loose = np.isnan(known.ends[0::2, 0]) | np.isnan(known.ends[1::2, 0])
    loose &= np.isfinite(length) & (length > 0)
    ends = known.ends.copy()
    ends[0::2][loose] = 0.0
    ends[1::2][loose] = np.column_stack([length, 0 * length, 0 * length])[loose]
    covariance = np.nan_to_num(known.ends_covariance)
    return replace(
        known,
        ends=ends,
        sticks=take_sticks(known.record, ends, covariance),
        holes=set_holes(known.record, model, ends, covariance, Precision()),
    )


def _numbers(frame: pl.DataFrame, name: str) -> Floats:
    """A column as numbers, NaN where blank or not there."""
    if name not in frame.columns:
        return np.full(len(frame), np.nan)
    # a survey made now has blank texts in the columns that it does not fill
    return frame[name].cast(pl.Float64, strict=False).to_numpy()


def _coordinates(frame: pl.DataFrame) -> tuple[Floats, Floats]:
    xyz = np.column_stack([_numbers(frame, f"{axis}_m") for axis in "xyz"])
    sd = np.column_stack([_numbers(frame, f"sd_{axis}_m") for axis in "xyz"])
    ratio = np.tile(np.eye(3), (len(frame), 1, 1))
    for i, j, name in ((0, 1, "xy"), (0, 2, "xz"), (1, 2, "yz")):
        ratio[:, i, j] = ratio[:, j, i] = np.nan_to_num(_numbers(frame, f"corr_{name}"))
    return xyz, ratio * sd[:, :, None] * sd[:, None, :]


def _as_wide_as_told(frame: pl.DataFrame, covariance: Floats) -> Floats:
    """The covariances widened or narrowed to the 95 % ranges that the table tells.

    The survey widens ranges where readings scatter more than was assumed or few check each other;
    standard deviations alone would tell less. Where no range is told they stay as they are.
    """
    major, _, _ = ellipse_95(covariance)
    height = NORMAL_95 * np.sqrt(covariance[:, 2, 2])
    factor = np.ones((len(frame), 3))
    for axes, name, found in (([0, 1], "major", major), ([2], "height", height)):
        told = _numbers(frame, f"u95_{name}_m")
        differs = (np.abs(told - found) > _TOLD_TO_M) & (found > 0)
        factor[:, axes] = np.where(differs, told / np.where(found > 0, found, 1), 1.0)[:, None]
    return covariance * factor[:, :, None] * factor[:, None, :]


_TEXTS = (
    "position_id", "point_kind", "element_id", "element_end", "sample_id", "datum_id", "verdict",
    "left_out",
)  # fmt: skip
_SIZES = ("hidden_m", "search_m", "wood_gap_m", "wood_gap_limit_m")


def _judged(frame: pl.DataFrame, places: pl.DataFrame) -> dict[str, Trust]:
    """What the survey says about each point of which it says anything."""
    allowed: dict[str, list[Place]] = defaultdict(list)
    if len(places):
        for row in places.sort("position_id", "place_rank").iter_rows(named=True):
            at = (row["x_m"], row["y_m"], row["z_m"])
            if row["x_m"] is not None and row["y_m"] is not None:
                allowed[row["position_id"]].append(
                    Place(at, row["place_share"] or 0.0, row["wrong_readings"] or "")
                )
    if "verdict" not in frame.columns:
        return {}
    sizes = {name: _numbers(frame, name) for name in _SIZES}
    # a misreading that nothing would notice may hide any distance
    blank = {name: np.where(np.isfinite(size), size, np.nan) for name, size in sizes.items()}
    said = frame.select(
        *_TEXTS, *(pl.Series(name, size).fill_nan(None) for name, size in blank.items())
    ).filter(
        (pl.col("verdict").fill_null("") != "")
        | pl.any_horizontal(pl.col(name).is_not_null() for name in _SIZES)
    )
    return {
        row["position_id"]: trust_of(row, allowed[row["position_id"]])
        for row in said.iter_rows(named=True)
    }


def _moved(holes: HoleSet, tied: np.ndarray, xyz: Floats, covariance: Floats) -> HoleSet:
    """The holes as certain as the table tells, those that were taped themselves where it has them.

    `xyz` and `covariance` are those of the table, NaN for a hole that is not in it.
    """
    bores = holes.bores
    told = np.isfinite(xyz[:, 0])
    shift = np.where((tied & told)[:, None], xyz - bores.entry, 0.0)
    grown = bores.bottom_covariance - bores.entry_covariance
    entry_covariance = np.where(told[:, None, None], covariance, bores.entry_covariance)
    moved = replace(
        bores,
        entry=bores.entry + shift,
        bottom=bores.bottom + shift,
        entry_covariance=entry_covariance,
        bottom_covariance=entry_covariance + grown,
    )
    return replace(holes, bores=moved)


def _along_from_ties(
    record: FieldRecord, ends: Floats, holes: Floats, found: dict[str, str]
) -> FieldRecord:
    """The record with distances from end A for tied holes that nobody measured along the wood.

    `holes` (n, 3) are the holes of the samples where they were found.
    """
    tied = [found.get(key) == "adjusted" for key in record.point_keys[record.n_ends :]]
    wood = record.number_of("element", record.column("sample", "element_id"))
    lacks = np.isnan(record.numbers("sample", "along_m")) & np.array(tied, dtype=bool) & (wood >= 0)
    if not lacks.any():
        return record
    a, b, at = ends[2 * wood], ends[2 * wood + 1], holes.copy()
    flat = np.isnan(a[:, 2] + b[:, 2] + at[:, 2])
    for points in (a, b, at):
        points[flat, 2] = 0.0
    length = np.linalg.norm(b - a, axis=1)
    along = np.einsum("ij,ij->i", at - a, b - a) / np.where(length > 0, length, np.nan)
    # ends are as uncertain as the hole: one drawn a little beyond its wood is at its end
    along = np.clip(along, 0.0, length)
    written = [
        f"{value:.2f}" if lack and np.isfinite(value) else text
        for text, value, lack in zip(record.column("sample", "along_m"), along, lacks, strict=True)
    ]
    samples = record.tables["sample"].with_columns(along_m=pl.Series(written, dtype=pl.String))
    with_along = {**record.tables, "sample": samples}
    return FieldRecord(with_along, record.grid_a_building, record.measures)
