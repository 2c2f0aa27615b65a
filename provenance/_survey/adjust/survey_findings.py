"""Words what a survey found: readings that do not fit, points that cannot be told, what to tape."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from provenance._base.findings import Finding
from provenance._survey.adjust.control import OWN_COORDINATES, Control
from provenance._survey.adjust.detail import Detail
from provenance._survey.adjust.positions import ellipse_95
from provenance._survey.adjust.snooping import Misfit, blunder_hint
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.observation import KINDS, LARGEST_RESIDUAL, Floats, Kind
from provenance._survey.parts.solve import NOT_CONVERGED, SOFT, SOLVED, TOO_FEW, Rows

_WEAK_M = 0.25
"""A 95 % half-axis longer than this does not find a dowel."""
_OFF_LINE_DEG = 20.0
_REACH_M = 30.0
"""Length of a usual tape."""


def _reading(record: FieldRecord, rows: Rows, at: int) -> str:
    """A reading as a person calls it: 'T042 (distance 5.204 m from D2)'."""
    kind, value = int(rows.kind[at]), float(rows.reading[at])
    tie = int(rows.tie[at])
    start = int(rows.start[at])
    unit = "°" if kind == Kind.BEARING else " m"
    number = f"{value:.1f}" if kind == Kind.BEARING else f"{value:.3f}"
    origin = f" from {record.cell('datum', 'datum_id', start)}" if start >= 0 else ""
    what = f"{KINDS[kind]} {number}{unit}{origin}"
    if tie >= 0:
        return f"{record.cell('tie', 'tie_id', tie)} ({what})"
    if tie == OWN_COORDINATES:
        return f"the recorded {KINDS[kind]} {number} m"
    return f"the recorded height {number} m"


def _size(kind: int, size: float) -> str:
    if kind == Kind.BEARING:
        return f"{abs(size):.1f}° too {'far clockwise' if size > 0 else 'far anticlockwise'}"
    if kind in (Kind.DISTANCE, Kind.LEVEL_DISTANCE):
        return f"{abs(size):.3f} m too {'long' if size > 0 else 'short'}"
    return f"{abs(size):.3f} m too {'large' if size > 0 else 'small'}"


def _misfit_finding(
    record: FieldRecord, rows: Rows, misfit: Misfit, name: str, row: tuple[str, int, str]
) -> Finding:
    hints = [
        blunder_hint(int(rows.kind[at]), float(rows.reading[at]), size, sd)
        for at, size, sd in zip(misfit.rows, misfit.size, misfit.sd, strict=True)
    ]
    told = []
    for at, size, hint in zip(misfit.rows, misfit.size, hints, strict=True):
        told.append(f"{_reading(record, rows, at)} would be {_size(int(rows.kind[at]), size)}")
        told[-1] += f" ({hint})" if hint else ""
    w = abs(misfit.w[0])
    test = f"standardised residual {w:.1f}, limit {LARGEST_RESIDUAL:.2f}"
    if misfit.left_out:
        rule = "survey.misfit"
        message = (
            f"One reading to {name} does not fit the others: {told[0]}; {test}. "
            "The point was computed without it."
        )
        remedy = "Tape it again, or correct the reading if the field sheet says otherwise."
    else:
        rule = "survey.misfit_unnamed"
        message = (
            f"The readings to {name} do not fit each other ({test}), and there are too few to "
            f"tell which is wrong: {'; or '.join(told)}. All were used; do not rely on the point."
        )
        remedy = "Tape these again, or one more distance from another datum."
    table, number, key = row
    field, value = "", ""
    tie = int(rows.tie[misfit.rows[0]])
    if tie >= 0:
        table, number = "tie", record.record_number("tie", tie)
        key = record.cell("tie", "tie_id", tie)
        field = _FIELD_OF[int(rows.kind[misfit.rows[0]])]
        value = record.cell("tie", field, tie)
    return Finding("warning", rule, table, number, key, field, value, message, remedy)


_FIELD_OF = (
    "distance_m", "distance_m", "along_m", "offset_m", "bearing_deg", "x_m", "y_m", "height_m"
)  # fmt: skip
"""Columns of the table of ties by the codes of Kind."""


def _datum_row(record: FieldRecord, datum: int) -> tuple[str, int, str]:
    return "datum", record.record_number("datum", datum), record.cell("datum", "datum_id", datum)


def control_findings(record: FieldRecord, control: Control, ties: Rows) -> Iterator[Finding]:
    """What is to be said of the datums: misfits, and datums that nothing places."""
    for misfit in control.misfits:
        row = _datum_row(record, misfit.point)
        yield _misfit_finding(record, control.rows, misfit, f"datum {row[2]}", row)
    needed = np.zeros(record.count("datum"), dtype=bool)
    for datums in (ties.start, ties.end):
        needed[datums[datums >= 0]] = True
    for datum in np.flatnonzero(np.isnan(control.xyz[:, 0])):
        table, number, key = _datum_row(record, int(datum))
        loss = " Ties from it were not used." if needed[datum] else ""
        yield Finding(
            "warning",
            "survey.datum_not_found",
            table,
            number,
            key,
            "x_m",
            "",
            f"Datum {key} has no coordinates, and ties to it do not give one place.{loss}",
            "Write its coordinates (rough ones with a large uncertainty will do to begin with), "
            "or tape it from two datums that have some. In a new grid call one datum 0 0, hold "
            "it, and lay the x axis through a second one.",
        )


def detail_findings(record: FieldRecord, control: Control, detail: Detail) -> Iterator[Finding]:
    """What is to be said of the points that were tied."""
    for misfit in detail.misfits:
        row = record.point_row(misfit.point)
        name = record.point_name(misfit.point)
        yield _misfit_finding(record, detail.rows, misfit, name, row)
    for point in np.flatnonzero(detail.tied & (detail.status != SOLVED)):
        yield _not_found(record, control, detail, int(point))
    for point in np.flatnonzero((detail.status == SOLVED) & np.isfinite(detail.rival[:, 0])):
        yield _mirror(record, control, detail, int(point))
    major, _, bearing = ellipse_95(detail.covariance)
    for point in np.flatnonzero(detail.known & (major > _WEAK_M)):
        yield point_finding(
            record,
            int(point),
            "survey.weak",
            f"is known to {major[point]:.2f} m only (95 %), along a bearing of "
            f"{bearing[point]:.0f}° from the grid's y axis: the tapes cross at a sharp angle",
            next_tape(record, control, detail, int(point), along_deg=float(bearing[point])),
        )
    yield from _unchecked(record, detail)


def point_finding(
    record: FieldRecord, point: int, rule: str, says: str, remedy: str, field: str = ""
) -> Finding:
    """A warning of a point, in a sentence that begins with its name; `field` is of its table."""
    table, row, key = record.point_row(point)
    name = record.point_name(point)
    value = record.cell(table, field, record.place_in_tables(point)[1]) if field else ""
    message = f"{name[:1].upper()}{name[1:]} {says}."
    return Finding("warning", rule, table, row, key, field, value, message, remedy)


def _not_found(record: FieldRecord, control: Control, detail: Detail, point: int) -> Finding:
    at = detail.readings_of(point)
    rows = detail.rows
    readings = ", ".join(_reading(record, rows, int(one)) for one in at)
    status = int(detail.status[point])
    tapes = at[np.isin(rows.kind[at], (Kind.DISTANCE, Kind.LEVEL_DISTANCE))]
    rule = "survey.underdetermined"
    if status == SOFT and len(tapes) >= 2 and detail.sharpness[point] == 0:
        gap = _gap(control.xyz, rows, tapes[:2])
        rule = "survey.tapes_do_not_meet"
        says = f"cannot be found: its tapes do not meet ({readings}); {gap}"
    elif status == NOT_CONVERGED:
        says = f"cannot be found: its readings lead to no one place ({readings})"
    elif status in (TOO_FEW, SOFT):
        says = f"cannot be found from {readings or 'no usable reading'} alone"
    return point_finding(record, point, rule, says, next_tape(record, control, detail, point))


def _gap(datums: Floats, rows: Rows, at: Sequence[int] | np.ndarray) -> str:
    one, two = (int(a) for a in at)
    apart = float(np.hypot(*(datums[rows.start[one], :2] - datums[rows.start[two], :2])))
    r1, r2 = float(rows.reading[one]), float(rows.reading[two])
    if r1 + r2 < apart:
        return f"together they are {apart - r1 - r2:.3f} m shorter than the way between the datums"
    return f"one is {abs(r1 - r2) - apart:.3f} m longer than the other and the way between them"


def _mirror(record: FieldRecord, control: Control, detail: Detail, point: int) -> Finding:
    def told(place: Floats) -> str:
        height = f", height {place[2]:.2f}" if np.isfinite(place[2]) else ""
        return f"x {place[0]:.2f}, y {place[1]:.2f}{height}"

    return point_finding(
        record,
        point,
        "survey.mirror",
        f"may lie at {told(detail.xyz[point])} or, mirrored in the line between its datums, at "
        f"{told(detail.rival[point])}; the readings fit both",
        next_tape(record, control, detail, point)
        + " Or write rough coordinates of the point, or the outline of its room.",
    )


def _unchecked(record: FieldRecord, detail: Detail) -> Iterator[Finding]:
    """One note a table, not thousands of them, on points where a misread tape stays unseen."""
    for rule, which, message, remedy in (
        (
            "survey.unchecked",
            detail.known & (detail.redundancy == 0),
            "Nothing checks the readings to {} points ({}): a misread tape would not be noticed.",
            "Tape one distance more than is needed to each point.",
        ),
        (
            "survey.tapes_taken_level",
            detail.known & detail.level,
            "The tapes to {} points were taken as level, because the height of the point or of a "
            "datum is not recorded ({}). A tape that slopes 1 m in 5 m is 0.10 m longer than its "
            "level distance.",
            "Record heights of the datums and of these points.",
        ),
    ):
        points = np.flatnonzero(which)
        if points.size:
            names = ", ".join(record.point_name(int(one)) for one in points[:5])
            names += f" and {len(points) - 5} more" if len(points) > 5 else ""
            said = message.format(len(points), names)
            yield Finding("note", rule, "tie", 0, "", "", "", said, remedy)


# -- what to tape ---------------------------------------------------------------------------------


def next_tape(
    record: FieldRecord,
    control: Control,
    detail: Detail,
    point: int,
    *,
    along_deg: float | None = None,
) -> str:
    """One sentence on what to tape: from which datum, and why that one.

    `along_deg` is the bearing along which a point that has been found is known worst.
    """
    rows = detail.rows
    mine = detail.readings_of(point)
    has_height = bool((rows.kind[mine] == Kind.HEIGHT).any())
    used = np.unique(rows.start[mine][rows.start[mine] >= 0])
    choices = _others(record, control, point, used)
    if along_deg is not None:
        best = _towards(control.xyz, choices, detail.xyz[point], along_deg)
        if best is not None:
            return (
                f"Tape it also from {_name(record, best)}, "
                "which lies in the direction that is known worst."
            )
        return f"Tape it from a datum that lies about {along_deg:.0f}° or the opposite way from it."
    if len(used) >= 2:
        off = [d for d in choices if _off_line(control.xyz, used, d)]
        names = " or ".join(_name(record, d) for d in off[:2])
        where = names or "a new datum"
        return f"Tape it from a third datum off the line between the others, such as {where}."
    wanted = 2 - len(used)
    names = " and ".join(_name(record, d) for d in choices[:wanted])
    where = names or "datums that have coordinates"
    height = "" if has_height else " and read its height"
    count = "one more tape" if wanted == 1 else "two tapes"
    return f"Take {count}, from {where}, so that the tapes cross near a right angle{height}."


def _name(record: FieldRecord, datum: int) -> str:
    return record.cell("datum", "datum_id", datum)


def _others(record: FieldRecord, control: Control, point: int, used: np.ndarray) -> list[int]:
    """Datums with coordinates that the point was not taped from: those of its building first."""
    table, at = record.place_in_tables(point)
    site = record.cell(table, "site_id", at)
    house = record.places_round(record.place_of(point))
    free = (record.column("datum", "site_id") == site).to_numpy() & np.isfinite(control.xyz[:, 0])
    free[used] = False
    near = record.column("datum", "place_id").is_in(house).to_numpy()
    return [*map(int, np.flatnonzero(free & near)), *map(int, np.flatnonzero(free & ~near))]


def _off_line(datums: Floats, used: np.ndarray, other: int) -> bool:
    one, two = datums[used[0], :2], datums[used[1], :2]
    base, ray = two - one, datums[other, :2] - one
    turn = abs(float(base[0] * ray[1] - base[1] * ray[0]))
    limit = float(np.sin(np.radians(_OFF_LINE_DEG)) * np.hypot(*base) * np.hypot(*ray))
    return turn > limit


def _towards(datums: Floats, choices: list[int], place: Floats, along_deg: float) -> int | None:
    """The datum within reach whose tape runs most nearly along a bearing; None if none helps."""
    along = np.array([np.sin(np.radians(along_deg)), np.cos(np.radians(along_deg))])
    best, best_share = None, 0.7
    for datum in choices:
        ray = place[:2] - datums[datum, :2]
        length = float(np.hypot(*ray))
        share = abs(float(ray @ along)) / max(length, 1e-9)
        if share > best_share and length < _REACH_M:
            best, best_share = datum, share
    return best
