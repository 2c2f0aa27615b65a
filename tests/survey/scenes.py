"""Builds small invented surveys for the tests, and readings in bulk."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from provenance._record.package import Package
from provenance._survey.adjust.adjustment import survey_package
from provenance._survey.parts.datum_covariance import DatumCovariance
from provenance._survey.parts.observation import Floats, Kind, predict
from provenance._survey.parts.solve import Rows
from tests.builders import PackageBuilder, a_package

ROOM = {"D1": (0.0, 0.0, 1.0), "D2": (6.0, 0.0, 0.8), "D3": (6.2, 4.8, 1.4), "D4": (0.0, 5.0, 2.0)}
"""Four invented datums round a room, x, y and height in m."""


def a_room(folder: Path, *, datums: dict[str, tuple[float, ...]] | None = None) -> PackageBuilder:
    """A package with the site, a building without outline, and held datums."""
    building = a_package(folder).with_row("site", declination_deg=10, grid_north_deg=4)
    building = building.with_row("place", floor_height_m=0.2)
    for datum_id, place in (ROOM if datums is None else datums).items():
        building = building.with_row("datum", datum_id=datum_id, held=True, **at(place))
    return building


def at(place: tuple[float, ...], names: str = "{}_m") -> dict[str, Any]:
    """The columns of a point: x_m, y_m and, with three numbers, z_m."""
    return {names.format(axis): value for axis, value in zip("xyz", place, strict=False)}


def tape(tie_id: str, datum: str, distance: float, end: str = "a", **more: Any) -> dict[str, Any]:
    """A tape distance to an end of the wood B1-014."""
    return {
        "tie_id": tie_id,
        "kind": "distance",
        "from_datum_id": datum,
        "element_id": "B1-014",
        "element_end": end,
        "distance_m": distance,
    } | more


def taped(
    building: PackageBuilder,
    point: tuple[float, ...],
    *,
    end: str = "a",
    datums: dict[str, tuple[float, ...]] | None = None,
    wrong: dict[str, float] | None = None,
    height: bool = True,
) -> PackageBuilder:
    """Exact tapes to an end of B1-014 from every datum, `wrong` by so much where it says so."""
    for number, (datum, place) in enumerate((datums or ROOM).items(), start=1):
        axes = min(len(place), len(point))
        distance = float(np.linalg.norm(np.subtract(point[:axes], place[:axes])))
        distance += (wrong or {}).get(datum, 0.0)
        row = tape(f"T{end}{number}", datum, round(distance, 4), end)
        building = building.with_bare_row("tie", **row)
    if height and len(point) == 3:
        building = building.with_bare_row(
            "tie",
            tie_id=f"T{end}H",
            kind="height",
            element_id="B1-014",
            element_end=end,
            height_m=point[2],
        )
    return building


def position_of(package: Package, key: str) -> dict[str, Any]:
    """The row of the table position with that key, numbers as such."""
    frame = package.typed("position")
    return dict(frame[frame["position_id"] == key].iloc[0])


def no_errors(n: int) -> DatumCovariance:
    """Datums that are all certain."""
    return DatumCovariance.of_groups(n, [])


def tape_rows(
    datums: Floats, points: Floats, sd: float, chance: np.random.Generator, *, height: bool = False
) -> Rows:
    """Noisy tapes (n points by k datums) and, if asked for, heights, sorted by point."""
    n, k = len(points), len(datums)
    point, start = np.repeat(np.arange(n), k), np.tile(np.arange(k), n)
    kind = np.full(n * k, Kind.DISTANCE if datums.shape[1] == 3 and height else Kind.LEVEL_DISTANCE)
    there = predict(kind, points[point], datums[start], datums[start])
    none = np.full(n * k, -1)
    reading = there.value + chance.normal(0, sd, n * k)
    tapes = Rows(point, kind, start, none, reading, np.full(n * k, sd), np.arange(n * k))
    if not height:
        return tapes
    number = np.arange(n)
    blank = np.full(n, -1)
    levels = Rows(
        number,
        np.full(n, Kind.HEIGHT),
        blank,
        blank,
        points[:, 2] + chance.normal(0, sd, n),
        np.full(n, sd),
        number + n * k,
    )
    return Rows.joined(tapes, levels)


JUDGED = ("verdict", "doubt_share", "hidden_m", "search_m", "left_out")
TOLD = ("u95_major_m", "u95_minor_m", "u95_axis_deg", "u95_height_m")
PLACES_SAID = tuple(
    (share, f"the tape from {datum} (Ta{datum[1]}) would be 0.30 m too long")
    for share, datum in ((0.62, "D2"), (0.31, "D3"))
)
"""Of a point in doubt: how likely each place is, and what was misread then."""


def judged(package: Package, key: str, verdict: str, **more: Any) -> Package:
    """The package with a verdict written by hand to one point, and places where it takes them.

    A hole is taken to have been taped itself. Verdicts that a survey gave before are gone.
    """
    withheld = verdict in ("conflict", "two_places")
    row = {"verdict": verdict, "hidden_m": "0.031", "search_m": "0.42"} | more
    positions = package.table("position")
    for name in (*JUDGED, "wood_gap_m", "wood_gap_limit_m"):
        positions[name] = ""
    mine = positions["position_id"] == key
    for name, value in (row | (dict.fromkeys(TOLD, "") if withheld else {})).items():
        positions.loc[mine, name] = value
    hole = positions["point_kind"] == "hole"
    positions.loc[hole, "found_by"] = "geometry"
    positions.loc[hole & mine, "found_by"] = "adjusted"
    places = package.table("position_place").iloc[:0]
    x, y, z = (float(positions.loc[mine, f"{axis}_m"].iloc[0] or "nan") for axis in "xyz")
    for rank, (share, wrong) in enumerate(PLACES_SAID if withheld else (), start=1):
        places.loc[rank] = dict.fromkeys(places.columns, "") | {
            "position_id": key,
            "place_rank": str(rank),
            "site_id": "HOLL",
            "place_share": str(share),
            "wrong_readings": "" if verdict == "two_places" else wrong,
            "x_m": f"{x + 0.30 * (rank - 1):.4f}",
            "y_m": f"{y - 0.14 * (rank - 1):.4f}",
            "z_m": f"{z:.4f}" if z == z else "",
        }
    package.write_table("position", positions)
    package.write_table("position_place", places)
    return package


def a_misread_room(folder: Path) -> Package:
    """A surveyed room whose beam has a hole, with one tape to its end A read 30 cm too long."""
    building = a_room(folder)
    ends = {"xb_m": 3.1, "yb_m": 4.6, "zb_m": 2.4, "position_uncertainty_m": 0.02}
    building = taped(building.with_row("element", **ends), (2.9, 0.4, 2.4), wrong={"D2": 0.30})
    building = building.with_row("sample").with_row("plug")
    site = building.package.table("site")
    site["grid_epsg"], site["easting_m"], site["northing_m"] = "32612", "421300", "4100200"
    building.package.write_table("site", site)
    for table in ("party", "custody"):
        building = building.with_row(table)
    survey_package(building.package)
    return building.package
