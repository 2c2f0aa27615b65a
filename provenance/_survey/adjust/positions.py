"""Writes down the points of a survey as the rows of the table 'position'."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from provenance._survey.adjust.control import OWN_COORDINATES, Control
from provenance._survey.adjust.detail import Detail
from provenance._survey.adjust.wood import HoleSet
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.geodetic import NotTied, map_tie
from provenance._survey.parts.observation import (
    ELLIPSE_95,
    ELLIPSOID_95,
    NORMAL_95,
    Floats,
    Precision,
)
from provenance._survey.parts.solve import Bools

_TEXTS = (
    "position_id", "site_id", "point_kind", "element_id", "element_end", "sample_id", "datum_id",
    "found_by", "remark",
)  # fmt: skip
_MEASURES = (
    *(f"{axis}_m" for axis in "xyz"),
    *(f"sd_{axis}_m" for axis in "xyz"),
    *(f"corr_{pair}" for pair in ("xy", "xz", "yz")),
    *(f"u95_{name}" for name in ("major_m", "minor_m", "axis_deg", "height_m")),
    "largest_standard_residual",
)
_COUNTS = ("reading_count", "left_out_count", "redundancy")
_COLUMNS: dict[str, pl.DataType] = (
    dict.fromkeys(_TEXTS, pl.String())
    | dict.fromkeys(_MEASURES, pl.Float64())
    | dict.fromkeys(_COUNTS, pl.Int64())
)
_MILLIMETRE_TENTHS, _HUNDREDTHS_OF_MM, _ON_MAP = 4, 5, 8


def ellipse_95(covariance: Floats) -> tuple[Floats, Floats, Floats]:
    """Half-axes (n,) in m of the level 95 % ellipse, and the bearing of the long one from y.

    `covariance` (n, 3, 3) in m². The bearing is in degrees, 0 to below 180.
    """
    xx, yy, xy = covariance[:, 0, 0], covariance[:, 1, 1], covariance[:, 0, 1]
    middle = (xx + yy) / 2
    swing = np.hypot((xx - yy) / 2, xy)
    major = ELLIPSE_95 * np.sqrt(np.maximum(middle + swing, 0.0))
    minor = ELLIPSE_95 * np.sqrt(np.maximum(middle - swing, 0.0))
    bearing = 90.0 - np.degrees(np.arctan2(2 * xy, xx - yy)) / 2
    # a circle has no long axis, and a bearing that rounds to 180 is 0
    bearing = np.where(swing <= 1e-9 * middle, 0.0, np.round(bearing % 180.0, 1) % 180.0)
    return major, minor, np.where(np.isnan(middle), np.nan, bearing)


def end_positions(
    record: FieldRecord, detail: Detail, precision: Precision
) -> tuple[Floats, Floats, np.ndarray]:
    """Points of a record (n, 3), their covariances (n, 3, 3), and how each was found ('' if not).

    Adjusted where the readings give one place, else as the crew recorded it.
    """
    recorded, radius = record.recorded_ends()
    xyz = np.where(detail.known[:, None], detail.xyz, recorded)
    has = np.isfinite(recorded[:, :2]).all(axis=1)
    xyz[~detail.known & ~has] = np.nan
    found = np.where(detail.known, "adjusted", np.where(has, "recorded", "")).astype(object)
    in_space = np.isfinite(recorded[:, 2])
    sd = np.where(in_space, radius / ELLIPSOID_95, radius / ELLIPSE_95)
    sd = np.where(np.isfinite(radius), sd, precision.coordinate_sd_m)
    covariance = (sd**2)[:, None, None] * np.eye(3)
    covariance[~in_space, 2, :] = covariance[~in_space, :, 2] = np.nan
    covariance = np.where(detail.known[:, None, None], detail.covariance, covariance)
    covariance[found == ""] = np.nan
    return xyz, covariance, found


def position_frame(
    record: FieldRecord,
    control: Control,
    detail: Detail,
    xyz: Floats,
    covariance: Floats,
    found: np.ndarray,
    holes: HoleSet,
) -> pl.DataFrame:
    """The table 'position' without latitude and longitude: datums, ends of wood, holes."""
    return pl.concat(
        [
            _datums(record, control),
            _ends(record, detail, xyz, covariance, found),
            _holes(record, detail, xyz, covariance, found, holes),
        ]
    )


def _point_columns(xyz: Floats, covariance: Floats) -> dict[str, Any]:
    major, minor, bearing = ellipse_95(covariance)
    variance = np.einsum("nii->ni", covariance)
    sd = np.sqrt(np.maximum(variance, 0.0))
    columns: dict[str, Any] = {
        f"{axis}_m": np.round(xyz[:, i], _MILLIMETRE_TENTHS) for i, axis in enumerate("xyz")
    }
    columns |= {
        f"sd_{axis}_m": np.round(sd[:, i], _HUNDREDTHS_OF_MM) for i, axis in enumerate("xyz")
    }
    for i, j, name in ((0, 1, "xy"), (0, 2, "xz"), (1, 2, "yz")):
        product = sd[:, i] * sd[:, j]
        ratio = np.where(product > 0, covariance[:, i, j] / np.where(product > 0, product, 1), 0.0)
        ratio = np.where(np.isnan(product), np.nan, ratio)
        columns[f"corr_{name}"] = np.clip(np.round(ratio, 4), -1, 1)
    columns["u95_major_m"] = np.round(major, _MILLIMETRE_TENTHS)
    columns["u95_minor_m"] = np.round(minor, _MILLIMETRE_TENTHS)
    columns["u95_axis_deg"] = bearing
    columns["u95_height_m"] = np.round(NORMAL_95 * sd[:, 2], _MILLIMETRE_TENTHS)
    return columns


def _frame(columns: dict[str, Any], which: Bools) -> pl.DataFrame:
    """Some of the rows, with every column in its place: texts '' and numbers null where blank."""
    frame = pl.DataFrame(
        {name: columns.get(name, [None] * len(which)) for name in _COLUMNS}, schema=_COLUMNS
    )
    return frame.filter(which).with_columns(pl.col(pl.String).fill_null("")).fill_nan(None)


def _datums(record: FieldRecord, control: Control) -> pl.DataFrame:
    n = record.count("datum")
    number = np.arange(n)
    covariance = control.errors.between(number, number)
    covariance[np.isnan(control.xyz[:, 2]), 2, :] = np.nan
    covariance[np.isnan(control.xyz[:, 2]), :, 2] = np.nan
    tied = np.zeros(n, dtype=bool)
    rows = control.rows
    for datums in (rows.point, rows.start, rows.end):
        tied[datums[(rows.tie != OWN_COORDINATES) & (datums >= 0)]] = True
    found = np.where(control.held, "held", np.where(tied, "adjusted", "recorded"))
    known = np.isfinite(control.xyz[:, 0])
    columns: dict[str, Any] = {
        "position_id": record.datum_keys,
        "site_id": record.column("datum", "site_id"),
        "point_kind": ["datum"] * n,
        "datum_id": record.column("datum", "datum_id"),
        "found_by": found.astype(object),
    } | _point_columns(control.xyz, covariance)
    return _frame(columns, known)


def _ends(
    record: FieldRecord, detail: Detail, xyz: Floats, covariance: Floats, found: np.ndarray
) -> pl.DataFrame:
    n = record.n_ends
    wood = np.arange(n) // 2
    columns: dict[str, Any] = {
        "position_id": record.point_keys[:n],
        "site_id": record.column("element", "site_id").gather(wood),
        "point_kind": ["element_end"] * n,
        "element_id": record.column("element", "element_id").gather(wood),
        "element_end": ["a", "b"] * (n // 2),
        "found_by": found[:n],
    }
    columns |= _point_columns(xyz[:n], covariance[:n]) | _reading_columns(detail, 0, n)
    return _frame(columns, found[:n] != "")


def _reading_columns(detail: Detail, first: int, last: int) -> dict[str, Any]:
    n = len(detail.xyz)
    used = np.bincount(detail.rows.point[detail.used], minlength=n)[first:last]
    left_out = np.bincount(detail.rows.point[~detail.used], minlength=n)[first:last]
    largest = np.zeros(n)
    size = np.nan_to_num(np.abs(detail.standard_residual))
    np.maximum.at(largest, detail.rows.point[detail.used], size[detail.used])
    known = detail.known[first:last]
    tied = detail.tied[first:last]
    redundancy = detail.redundancy[first:last]
    remark = np.where(known & detail.level[first:last], "tapes taken as level", "")
    return {
        name: pl.Series(values, dtype=_COLUMNS[name]).set(pl.Series(~mask), None)
        for name, values, mask in (
            ("reading_count", used, known),
            ("left_out_count", left_out, tied),
            ("redundancy", redundancy, known),
            ("largest_standard_residual", np.round(largest[first:last], 2), known),
        )
    } | {"remark": remark.astype(object)}


def _holes(
    record: FieldRecord,
    detail: Detail,
    xyz: Floats,
    covariance: Floats,
    found: np.ndarray,
    holes: HoleSet,
) -> pl.DataFrame:
    first, n = record.n_ends, record.count("sample")
    place, spread = xyz[first:].copy(), covariance[first:].copy()
    how = found[first:].copy()
    computed = np.zeros(n, dtype=bool)
    computed[holes.sample] = True
    computed &= how == ""
    take = computed[holes.sample]
    at = holes.sample[take]
    place[at], spread[at] = holes.bores.entry[take], holes.bores.entry_covariance[take]
    flat = np.isnan(place[:, 2])
    spread[flat, 2, :] = spread[flat, :, 2] = np.nan
    how[at] = "geometry"
    columns: dict[str, Any] = {
        "position_id": record.point_keys[first:],
        "site_id": record.column("sample", "site_id"),
        "point_kind": ["hole"] * n,
        "element_id": record.column("sample", "element_id"),
        "sample_id": record.column("sample", "sample_id"),
        "found_by": how,
    }
    columns |= _point_columns(place, spread) | _reading_columns(detail, first, first + n)
    remark = columns["remark"]
    unsure = at[holes.is_hole[take] & ~holes.bores.sure_side[take]]
    remark[unsure] = "side of the wood not recorded; taken at the axis"
    return _frame(columns, how != "")


def place_on_map(record: FieldRecord, frame: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, str]]:
    """The frame with latitude and longitude, and for each site without them the reason."""
    on_map = np.full((2, len(frame)), np.nan)
    x, y = frame["x_m"].to_numpy(), frame["y_m"].to_numpy()
    reasons: dict[str, str] = {}
    for at in range(record.count("site")):
        site = record.row("site", at)
        mine = (frame["site_id"] == site["site_id"]).to_numpy()
        try:
            on_map[:, mine] = np.round(map_tie(site).wgs84(x[mine], y[mine]), _ON_MAP)
        except NotTied as error:
            reasons[site["site_id"]] = str(error)
    latitude, longitude = map(pl.Series, on_map)
    placed = frame.with_columns(latitude=latitude, longitude=longitude)
    return placed.fill_nan(None), reasons
