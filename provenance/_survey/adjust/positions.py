"""Writes down the points of a survey as the rows of the tables 'position' and 'position_place'."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import polars as pl

from provenance._survey.adjust.blunders import BY_WOOD
from provenance._survey.adjust.control import Control
from provenance._survey.adjust.detail import Detail
from provenance._survey.adjust.scatter import OWN_COORDINATES
from provenance._survey.adjust.trust import PLACE_COLUMNS, Trust
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
    "found_by", "remark", "verdict", "left_out",
)  # fmt: skip
_MEASURES = (
    *(f"{axis}_m" for axis in "xyz"),
    *(f"sd_{axis}_m" for axis in "xyz"),
    *(f"corr_{pair}" for pair in ("xy", "xz", "yz")),
    *(f"u95_{name}" for name in ("major_m", "minor_m", "axis_deg", "height_m")),
    "largest_standard_residual", "doubt_share", "hidden_m", "search_m", "scatter_factor",
    "wood_gap_m", "wood_gap_limit_m",
)  # fmt: skip
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
    record: FieldRecord, detail: Detail, stretched: Floats, precision: Precision
) -> tuple[Floats, Floats, np.ndarray]:
    """Points of a record (n, 3), their covariances (n, 3, 3), and how each was found ('' if not).

    Adjusted where the readings give a place, else as the crew recorded it. `stretched` (n, 3, 3)
    are the covariances of `detail` as they give honest ranges.
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
    covariance = np.where(detail.known[:, None, None], stretched, covariance)
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
    of_datums: Trust,
    of_points: Trust,
    stretch: Floats,
) -> pl.DataFrame:
    """The table 'position' without latitude and longitude: datums, timber ends, holes.

    `stretch` (k,) is what covariances of datums are multiplied by, so that their ranges hold.
    """
    return pl.concat(
        [
            _datums(record, control, of_datums, stretch),
            _ends(record, detail, xyz, covariance, found, of_points),
            _holes(record, detail, xyz, covariance, found, holes, of_points),
        ]
    )


def place_frame(record: FieldRecord, of_datums: Trust, of_points: Trust) -> pl.DataFrame:
    """The table 'position_place': every place of points that may lie at more than one."""
    sites = {
        "datum": record.column("datum", "site_id"),
        "element": record.column("element", "site_id"),
        "sample": record.column("sample", "site_id"),
    }
    rows: list[dict[str, Any]] = []
    where: list[Floats] = []
    spread: list[Floats] = []
    for trust, keys, table_of in (
        (of_datums, record.datum_keys, lambda at: ("datum", at)),
        (of_points, record.point_keys, record.place_in_tables),
    ):
        for point in sorted(trust.places):
            table, at = table_of(point)
            for rank, place in enumerate(trust.places[point], start=1):
                rows.append(
                    {
                        "position_id": keys[point],
                        "place_rank": rank,
                        "site_id": sites[table][at],
                        # rounded down, so that they do not add up to more than 1
                        "place_share": math.floor(1000 * place.share + 1e-6) / 1000,
                        "wrong_readings": place.wrong_readings,
                    }
                )
                where.append(place.xyz)
                spread.append(place.covariance)
    if not rows:
        return pl.DataFrame(schema=PLACE_COLUMNS)
    columns = _coordinate_columns(np.array(where), np.array(spread))
    frame = pl.DataFrame(rows).with_columns(
        **{name: pl.Series(one) for name, one in columns.items()}
    )
    return frame.select(pl.col(name).cast(kind) for name, kind in PLACE_COLUMNS.items()).fill_nan(
        None
    )


def _point_columns(xyz: Floats, covariance: Floats, trust: Trust) -> dict[str, Any]:
    """Coordinates, ranges where there are any, and how far to trust them."""
    major, minor, bearing = ellipse_95(covariance)
    columns = _coordinate_columns(xyz, covariance) | trust.columns(xyz, major)
    for name, values in (
        ("major_m", major),
        ("minor_m", minor),
        ("axis_deg", bearing),
        ("height_m", NORMAL_95 * columns["sd_z_m"]),
    ):
        rounded = values if name == "axis_deg" else np.round(values, _MILLIMETRE_TENTHS)
        columns[f"u95_{name}"] = np.where(trust.ranged, rounded, np.nan)
    return columns


def _coordinate_columns(xyz: Floats, covariance: Floats) -> dict[str, Any]:
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
    return columns


def _frame(columns: dict[str, Any], which: Bools) -> pl.DataFrame:
    """Some of the rows, with every column in its place: texts '' and numbers null where blank."""
    frame = pl.DataFrame(
        {name: columns.get(name, [None] * len(which)) for name in _COLUMNS}, schema=_COLUMNS
    )
    return frame.filter(which).with_columns(pl.col(pl.String).fill_null("")).fill_nan(None)


def _datums(record: FieldRecord, control: Control, trust: Trust, stretch: Floats) -> pl.DataFrame:
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
    covariance = (
        np.where((found == "adjusted")[:, None, None], stretch[:, None, None], 1.0) * covariance
    )
    columns: dict[str, Any] = {
        "position_id": record.datum_keys,
        "site_id": record.column("datum", "site_id"),
        "point_kind": ["datum"] * n,
        "datum_id": record.column("datum", "datum_id"),
        "found_by": found.astype(object),
    } | _point_columns(control.xyz, covariance, trust)
    return _frame(columns, known)


def _ends(
    record: FieldRecord,
    detail: Detail,
    xyz: Floats,
    covariance: Floats,
    found: np.ndarray,
    trust: Trust,
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
    columns |= _point_columns(xyz[:n], covariance[:n], trust.part(0, n))
    columns |= _reading_columns(detail, 0, n)
    return _frame(columns, found[:n] != "")


def _reading_columns(detail: Detail, first: int, last: int) -> dict[str, Any]:
    n = len(detail.xyz)
    taken = detail.rows.tie != BY_WOOD
    used = np.bincount(detail.rows.point[detail.used & taken], minlength=n)[first:last]
    left_out = np.bincount(detail.rows.point[~detail.used & taken], minlength=n)[first:last]
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
    trust: Trust,
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
    columns |= _point_columns(place, spread, trust.part(first, first + n))
    columns |= _reading_columns(detail, first, first + n)
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
