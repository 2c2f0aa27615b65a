"""Holds where everything is, as the last survey left it, for questions about single holes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from provenance._record.package import Package
from provenance._survey.adjust.adjustment import TABLE, adjust_survey
from provenance._survey.adjust.bore import Sticks
from provenance._survey.adjust.wood import HoleSet, set_holes, take_sticks
from provenance._survey.parts.field_record import FieldRecord, read_field_record
from provenance._survey.parts.observation import Floats, Precision


@dataclass(frozen=True)
class KnownPoints:
    """Positions of a package by row number, NaN where not known.

    `ends` (2E, 3) and `ends_covariance` (2E, 3, 3) as FieldRecord numbers them, `datums` (k, 3)
    with `datums_covariance`; `sticks` and `holes` are the wood and the holes built on them, a hole
    that was taped itself standing where it was taped; `found` says how each point was found, by
    the keys of the table 'position'.
    """

    record: FieldRecord
    ends: Floats
    ends_covariance: Floats
    datums: Floats
    datums_covariance: Floats
    sticks: Sticks
    holes: HoleSet
    found: dict[str, str]


def known_points(package: Package, *, precision: Precision | None = None) -> KnownPoints:
    """From the table 'position', or, where no survey has been written, from one made now.

    The table is taken as it stands: survey again after ties or sizes have been corrected.
    """
    precision = precision or Precision()
    record = read_field_record(package)
    surveyed = TABLE in package.model.tables and package.tables.count(TABLE) > 0
    frame = (
        package.tables[TABLE]
        if surveyed
        else adjust_survey(package, precision=precision).position_table
    )
    xyz, covariance = _coordinates(frame)
    keys = {key: at for at, key in enumerate(frame["position_id"])}

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
    )


def _coordinates(frame: pl.DataFrame) -> tuple[Floats, Floats]:
    def numbers(name: str) -> Floats:
        nothing = np.full(len(frame), np.nan)
        return frame[name].to_numpy() if name in frame.columns else nothing

    xyz = np.column_stack([numbers(f"{axis}_m") for axis in "xyz"])
    sd = np.column_stack([numbers(f"sd_{axis}_m") for axis in "xyz"])
    ratio = np.tile(np.eye(3), (len(frame), 1, 1))
    for i, j, name in ((0, 1, "xy"), (0, 2, "xz"), (1, 2, "yz")):
        ratio[:, i, j] = ratio[:, j, i] = np.nan_to_num(numbers(f"corr_{name}"))
    return xyz, ratio * sd[:, :, None] * sd[:, None, :]


def _moved(holes: HoleSet, tied: np.ndarray, xyz: Floats, covariance: Floats) -> HoleSet:
    """The holes with those that were taped themselves shifted to where they were taped."""
    if not tied.any():
        return holes
    bores = holes.bores
    shift = np.where(tied[:, None], xyz - bores.entry, 0.0)
    grown = bores.bottom_covariance - bores.entry_covariance
    entry_covariance = np.where(tied[:, None, None], covariance, bores.entry_covariance)
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
    return FieldRecord({**record.tables, "sample": samples}, record.grid_a_building)
