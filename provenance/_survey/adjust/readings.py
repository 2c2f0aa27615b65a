"""Turns the table of ties into scalar readings, and says which ties cannot be used and why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from provenance._base.findings import Finding
from provenance._record.declination import DECLINATION_REMEDY, FAR_YEARS, declinations_of_sites
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.observation import ELLIPSOID_95, Floats, Ints, Kind, Precision
from provenance._survey.parts.solve import Bools, Rows

_MEND = {
    "no_target": "Write the element with its end, or the sample, or the datum that was measured.",
    "two_targets": "Keep one: the end of an element, the sample, or the datum.",
    "no_end": "Write a or b beside the element.",
    "no_datum": "Write the code of a datum of the same site that is in the table datum.",
    "no_value": "Write the reading, or remove the line.",
    "no_reference": "Write magnetic, true or grid beside the bearing.",
    "no_declination": "Write the declination of that day in the site's row, or with the day in the "
    "table declination; east is positive.",
    "no_day": "Write the day the bearing was taken, since the declination changes.",
    "no_grid_north": "Write the bearing of the grid's y axis in the site's row; 0 for true north.",
    "itself": "A datum cannot be measured from itself; write the other one.",
}
_SAYS = {
    "no_target": "names no point that is in the record",
    "two_targets": "names two points at once",
    "no_end": "does not say which end of the element was measured",
    "no_datum": "is not measured from a datum of this site",
    "no_value": "lacks what was measured",
    "no_reference": "has a bearing but does not say from which north",
    "no_declination": "has a magnetic bearing, and the site has no declination",
    "no_day": "has a magnetic bearing but no date, and the site has several declinations",
    "no_grid_north": "has a bearing from true or magnetic north, and the site grid's own is blank",
    "itself": "is measured from the datum that it is to find",
}
_FIELD = {
    "no_target": "element_id",
    "two_targets": "sample_id",
    "no_end": "element_end",
    "no_datum": "from_datum_id",
    "no_value": "distance_m",
    "no_reference": "bearing_reference",
    "no_declination": "bearing_deg",
    "no_day": "measured_on",
    "no_grid_north": "bearing_deg",
    "itself": "target_datum_id",
}
MEASURED = {
    "distance": ("distance_m",),
    "offset": ("along_m", "offset_m"),
    "bearing": ("bearing_deg",),
    "height": ("height_m",),
    "coordinate": ("x_m", "y_m"),
}
"""Kind of a tie → the columns that hold what was measured."""


@dataclass(frozen=True)
class Readings:
    """`detail` ties points of the record, `control` ties datums, both by their row numbers."""

    detail: Rows
    control: Rows
    findings: tuple[Finding, ...]


def grid_bearing(
    bearing_deg: Floats, reference: Ints, declination_deg: Floats, grid_north_deg: Floats
) -> Floats:
    """Bearings clockwise from the site grid's y axis, in degrees.

    `reference` is 0 for magnetic, 1 for true, 2 for grid north. True = magnetic + declination with
    east positive; grid = true - bearing of the y axis. Common surveying convention.
    """
    true = bearing_deg + np.where(reference == 0, declination_deg, 0.0)
    return np.where(reference == 2, bearing_deg, true - grid_north_deg) % 360.0


def take_readings(record: FieldRecord, precision: Precision) -> Readings:
    """Every usable tie as one to three readings; heights beside other ties count as well."""
    values = {name: record.numbers("tie", name) for names in MEASURED.values() for name in names}
    own_sd, older = record.numbers("tie", "sd_m"), record.numbers("tie", "uncertainty_m")
    own_sd = np.where(np.isfinite(own_sd), own_sd, older)
    own_turn = record.numbers("tie", "sd_deg")
    kind = record.column("tie", "kind").to_numpy()
    start = record.number_of("datum", record.column("tie", "from_datum_id"))
    end = record.number_of("datum", record.column("tie", "to_datum_id"))
    point, target, faults = _targets(record)
    site = _site_numbers(record, point, target)

    def fault(name: str, which: Bools) -> None:
        faults[which & (faults == "")] = name

    datum_site = record.number_of("site", record.column("datum", "site_id"))
    needs_start = np.isin(kind, ("distance", "offset", "bearing"))
    far = (start < 0) | (_taken(datum_site, start) != site)
    fault("no_datum", needs_start & far)
    fault("no_datum", (kind == "offset") & ((end < 0) | (_taken(datum_site, end) != site)))
    fault("itself", needs_start & (target >= 0) & ((target == start) | (target == end)))
    known = np.isin(kind, tuple(MEASURED))
    fault("no_value", ~known)
    for name, needed in MEASURED.items():
        lacks = np.isnan(np.column_stack([values[one] for one in needed])).any(axis=1)
        fault("no_value", (kind == name) & lacks)
    reference = record.coded("tie", "bearing_reference", ("magnetic", "true", "grid"))
    north = _taken(record.numbers("site", "grid_north_deg"), site)
    is_bearing = kind == "bearing"
    fault("no_reference", is_bearing & (reference < 0))
    magnetic = is_bearing & (reference == 0)
    declination, away, recorded = _declinations(record, site, magnetic)
    fault("no_declination", magnetic & ~recorded)
    fault("no_day", magnetic & np.isnan(declination))
    fault("no_grid_north", is_bearing & (reference != 2) & np.isnan(north))
    bearing = grid_bearing(values["bearing_deg"], reference, declination, north)

    usable = faults == ""

    def sd(default: float) -> Floats:
        return np.where(np.isfinite(own_sd), own_sd, default)

    tape = sd(precision.tape_sd_m)
    offset, coordinate = sd(precision.offset_sd_m), sd(precision.coordinate_sd_m)
    beside = np.isin(kind, ("distance", "bearing"))
    turn = np.where(np.isfinite(own_turn), own_turn, precision.bearing_sd_deg)
    parts = (
        # order within a tie matters: see direct_places
        (Kind.BEARING, is_bearing, bearing, turn),
        (Kind.DISTANCE, beside, values["distance_m"], tape),
        (Kind.ALONG, kind == "offset", values["along_m"], offset),
        (Kind.ACROSS, kind == "offset", values["offset_m"], offset),
        (Kind.X, kind == "coordinate", values["x_m"], coordinate),
        (Kind.Y, kind == "coordinate", values["y_m"], coordinate),
        (Kind.HEIGHT, known, values["height_m"], sd(precision.height_sd_m)),
    )
    detail: list[Rows] = []
    control: list[Rows] = []
    for code, which, reading, spread in parts:
        at = np.flatnonzero(usable & which & np.isfinite(reading))
        for list_of, number in ((detail, point), (control, target)):
            mine = at[number[at] >= 0]
            list_of.append(
                Rows(
                    point=number[mine],
                    kind=np.full(len(mine), code),
                    start=start[mine],
                    end=np.where(kind[mine] == "offset", end[mine], -1),
                    reading=reading[mine],
                    sd=spread[mine],
                    tie=mine,
                )
            )
    findings = (*_fault_findings(record, faults), *_far_findings(record, site, usable, away))
    return Readings(_in_order(detail), _in_order(control), findings)


def _declinations(record: FieldRecord, site: Ints, magnetic: Bools) -> tuple[Floats, Floats, Bools]:
    """Declination of each tie, how many years from a recorded one, and whether the site has any.

    NaN where the tie has no magnetic bearing, or as `Declinations.on` says.
    """
    known = declinations_of_sites(
        zip(*_columns(record, "site", "visit_start", "visit_end"), strict=True),
        zip(*_columns(record, "declination", "valid_on"), strict=True),
    )
    degrees, away = np.full((2, len(site)), np.nan)
    recorded = np.zeros(len(site), dtype=bool)
    site_ids, days = record.column("site", "site_id"), record.column("tie", "measured_on")
    told: dict[tuple[int, str], tuple[float, float]] = {}
    for at in map(int, np.flatnonzero(magnetic & (site >= 0))):
        of_site = known.get(site_ids[int(site[at])])
        if of_site is not None:
            key = int(site[at]), days[at]
            if key not in told:
                told[key] = of_site.on(days[at])
            degrees[at], away[at] = told[key]
            recorded[at] = True
    return degrees, away, recorded


def _columns(record: FieldRecord, table: str, *days: str) -> tuple[Any, ...]:
    numbers = record.numbers(table, "declination_deg").tolist()
    return record.column(table, "site_id"), numbers, *(record.column(table, day) for day in days)


def _far_findings(
    record: FieldRecord, site: Ints, usable: Bools, away: Floats
) -> Iterator[Finding]:
    """Sites with bearings of days that are far from any that the declination is recorded for."""
    far = usable & (away > FAR_YEARS)
    for number in map(int, np.unique(site[far])):
        mine = far & (site == number)
        yield Finding(
            "note",
            "survey.declination_far",
            "site",
            record.record_number("site", number),
            record.cell("site", "site_id", number),
            "declination_deg",
            record.cell("site", "declination_deg", number),
            f"{int(mine.sum())} magnetic bearings were taken up to {away[mine].max():.0f} years "
            "from the nearest day that a declination is recorded for.",
            DECLINATION_REMEDY,
        )


def _in_order(parts: list[Rows]) -> Rows:
    """Sorted by point, then by tie; within a tie in the order of the parts."""
    whole = Rows.joined(*parts)
    return whole.only(np.lexsort((whole.tie, whole.point)))


def _targets(record: FieldRecord) -> tuple[Ints, Ints, np.ndarray]:
    """Point number, target datum number (-1 for none), and the first fault of each tie."""
    elements, samples, targets, sides = (
        record.column("tie", name)
        for name in ("element_id", "sample_id", "target_datum_id", "element_end")
    )
    element = record.number_of("element", elements)
    sample = record.number_of("sample", samples)
    target = record.number_of("datum", targets)
    side = record.coded("tie", "element_end", ("a", "b"))
    names_sample = (samples != "").to_numpy()
    names_datum = (targets != "").to_numpy()
    # the wood beside a sample only says where the hole is, unless an end is named as well
    names_end = (elements != "").to_numpy() & ~(names_sample & (sides == "").to_numpy())
    faults = np.full(len(sides), "", dtype=object)
    faults[names_end & (side < 0)] = "no_end"
    known = (names_end & (element >= 0)) | (names_sample & (sample >= 0))
    faults[~(known | (names_datum & (target >= 0)))] = "no_target"
    faults[names_end.astype(int) + names_sample + names_datum > 1] = "two_targets"
    point = np.where(names_sample, record.n_ends + sample, 2 * element + side)
    point = np.where(known & (faults == ""), point, -1)
    return point.astype(np.int64), np.where(names_datum, target, -1), faults


def _site_numbers(record: FieldRecord, point: Ints, target: Ints) -> Ints:
    of_element, of_sample, of_datum = (
        record.number_of("site", record.column(table, "site_id"))
        for table in ("element", "sample", "datum")
    )
    of_point = np.concatenate([np.repeat(of_element, 2), of_sample])
    site = np.where(target >= 0, _taken(of_datum, target), _taken(of_point, point))
    return np.asarray(site, dtype=np.int64)


def _taken(values: Any, at: Ints) -> Any:
    """values[at], with -1 or NaN where `at` is -1."""
    nothing = np.nan if values.dtype.kind == "f" else -1
    return np.append(values, nothing)[at]


def _fault_findings(record: FieldRecord, faults: np.ndarray) -> tuple[Finding, ...]:
    found = []
    for at in map(int, np.flatnonzero(faults != "")):
        fault = str(faults[at])
        name = _FIELD[fault]
        row = record.row("tie", at)
        if fault == "no_value":
            needed = MEASURED.get(row["kind"], ("kind",))
            name = next((one for one in needed if not row[one]), needed[0])
        found.append(
            Finding(
                severity="error",
                rule="survey.unusable_tie",
                table="tie",
                row=record.record_number("tie", at),
                key=row["tie_id"],
                field=name,
                value=row[name],
                message=f"The tie {row['tie_id']} {_SAYS[fault]}; it was not used.",
                remedy=_MEND[fault],
            )
        )
    return tuple(found)


def recorded_heights(record: FieldRecord, detail: Rows, precision: Precision) -> Rows:
    """Heights that the crew wrote elsewhere, for tied points that no tie gives a height.

    The height of an element's end in the site grid, and of a hole above its floor where the
    floor's own height is recorded.
    """
    xyz, radius = record.recorded_ends()
    height = xyz[:, 2]
    sd = np.where(radius > 0, radius / ELLIPSOID_95, precision.recorded_height_sd_m)
    floors = record.floor_heights
    place = np.array([floors.get(one, np.nan) for one in record.column("element", "place_id")])
    above = record.numbers("sample", "height_m")
    of_hole = _taken(place, record.number_of("element", record.column("sample", "element_id")))
    height[record.n_ends :] = above + of_hole
    tied = np.zeros(record.n_points, dtype=bool)
    tied[detail.point] = True
    tied[detail.point[detail.kind == Kind.HEIGHT]] = False
    points = np.flatnonzero(tied & np.isfinite(height))
    none = np.full(len(points), -1)
    kind = np.full(len(points), Kind.HEIGHT)
    return Rows(points, kind, none, none, height[points], sd[points], none)
