"""Words what a survey found: readings that do not fit, points that cannot be told, what to tape."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from provenance._base.findings import Finding
from provenance._record.trust import FITS, TWO_PLACES, UNCHECKED, grid_words
from provenance._survey.adjust.blunders import BY_WOOD, Doubt
from provenance._survey.adjust.control import Control
from provenance._survey.adjust.detail import Detail
from provenance._survey.adjust.positions import ellipse_95
from provenance._survey.adjust.slips import reading_name, wrong_readings
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.observation import LARGEST_RESIDUAL, Floats, Kind
from provenance._survey.parts.solve import NOT_CONVERGED, SOFT, SOLVED, TOO_FEW, Rows

_WEAK_M = 0.25
"""A 95 % half-axis longer than this does not find a dowel."""
_NOTABLE_M = 0.05
_MOST_PLACES = 4
"""A sentence names so many places; the table has them all."""
_OFF_LINE_DEG = 20.0
_REACH_M = 30.0
"""Length of a usual tape."""


def _where(record: FieldRecord, place: Floats) -> str:
    x, y, z = (float(one) for one in place)
    return grid_words((x, y, z if np.isfinite(z) else None), record.measures)


def _misfit_finding(
    record: FieldRecord, rows: Rows, doubt: Doubt, name: str, row: tuple[str, int, str]
) -> Finding:
    places = doubt.alternatives
    wrong = [wrong_readings(record, rows, place, doubt.size_sd) for place in places]
    test = f"standardised residual {doubt.w:.1f}, limit {LARGEST_RESIDUAL:.2f}"
    if doubt.left_out:
        rule = "survey.misfit"
        alone = len(places[0].wrong) == 1
        which, do, it = ("One reading", "does", "it") if alone else ("Two readings", "do", "them")
        message = (
            f"{which} to {name} {do} not fit the others: {wrong[0]}; {test}. "
            f"The point was computed without {it}."
        )
        remedy = "Tape it again, or correct the reading if the field sheet says otherwise."
    else:
        rule = "survey.misfit_unnamed"
        listed = "; or ".join(
            f"{words or 'nothing is misread'}, then it lies at {_where(record, place.xyz)} "
            f"({100 * place.share:.0f} in 100)"
            for words, place in zip(wrong[:_MOST_PLACES], places, strict=False)
        )
        more = len(places) - _MOST_PLACES
        listed += f"; and {more} more, in the table position_place" if more > 0 else ""
        message = (
            f"The readings to {name} do not fit each other ({test}), and there are too few to "
            f"tell which is wrong: {listed}. No 95 % range is given; do not rely on the point."
        )
        remedy = "Tape these again, or one more distance from another datum."
    table, number, key = row
    field, value = "", ""
    at = next((one for place in places for one in place.wrong), -1)
    tie = int(rows.tie[at]) if at >= 0 else -1
    if tie >= 0:
        table, number = "tie", record.record_number("tie", tie)
        key = record.cell("tie", "tie_id", tie)
        field = _FIELD_OF[int(rows.kind[at])]
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
    for doubt in control.doubts:
        row = _datum_row(record, doubt.point)
        yield _misfit_finding(record, control.rows, doubt, f"datum {row[2]}", row)
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


def detail_findings(
    record: FieldRecord, control: Control, detail: Detail, stretched: Floats
) -> Iterator[Finding]:
    """What is to be said of the points that were tied; `stretched` are covariances of ranges."""
    for doubt in detail.doubts:
        wrong = list(doubt.alternatives[0].wrong)
        by_wood = doubt.left_out and bool((detail.rows.tie[wrong] == BY_WOOD).all())
        if detail.verdict[doubt.point] == TWO_PLACES or by_wood:
            continue  # told as a mirror, or as a hole off its wood
        row, name = record.point_row(doubt.point), record.point_name(doubt.point)
        yield _misfit_finding(record, detail.rows, doubt, name, row)
    for point in np.flatnonzero(detail.tied & (detail.status != SOLVED)):
        yield _not_found(record, control, detail, int(point))
    for doubt in detail.doubts:
        if detail.verdict[doubt.point] == TWO_PLACES:
            yield _mirror(record, control, detail, doubt)
    major, _, bearing = ellipse_95(stretched)
    for point in np.flatnonzero(detail.one_place & (major > _WEAK_M)):
        yield point_finding(
            record,
            int(point),
            "survey.weak",
            f"is known to {record.measures.say(major[point], 'm', 'range')} only (95 %), along a "
            f"bearing of {bearing[point]:.0f}° from the grid's y axis: the tapes cross at a sharp "
            "angle",
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
    readings = ", ".join(reading_name(record, rows, int(one)) for one in at)
    status = int(detail.status[point])
    tapes = at[np.isin(rows.kind[at], (Kind.DISTANCE, Kind.LEVEL_DISTANCE))]
    rule = "survey.underdetermined"
    if status == SOFT and len(tapes) >= 2 and detail.sharpness[point] == 0:
        gap = _gap(record, control.xyz, rows, tapes[:2])
        rule = "survey.tapes_do_not_meet"
        says = f"cannot be found: its tapes do not meet ({readings}); {gap}"
    elif status == NOT_CONVERGED:
        says = f"cannot be found: its readings lead to no one place ({readings})"
    elif status in (TOO_FEW, SOFT):
        says = f"cannot be found from {readings or 'no usable reading'} alone"
    return point_finding(record, point, rule, says, next_tape(record, control, detail, point))


def _gap(record: FieldRecord, datums: Floats, rows: Rows, at: Sequence[int] | np.ndarray) -> str:
    one, two = (int(a) for a in at)
    apart = float(np.hypot(*(datums[rows.start[one], :2] - datums[rows.start[two], :2])))
    r1, r2 = float(rows.reading[one]), float(rows.reading[two])
    short = r1 + r2 < apart
    by = record.measures.say(apart - r1 - r2 if short else abs(r1 - r2) - apart, "m", "tape")
    if short:
        return f"together they are {by} shorter than the way between the datums"
    return f"one is {by} longer than the other and the way between them"


def _mirror(record: FieldRecord, control: Control, detail: Detail, doubt: Doubt) -> Finding:
    one, two = (_where(record, place.xyz) for place in doubt.alternatives)
    return point_finding(
        record,
        doubt.point,
        "survey.mirror",
        f"may lie at {one} or, mirrored in the line between its datums, at {two}; the readings fit "
        "both",
        next_tape(record, control, detail, doubt.point)
        + " Or write rough coordinates of the point, or the outline of its room.",
    )


def _unchecked(record: FieldRecord, detail: Detail) -> Iterator[Finding]:
    """One note a table, not thousands of them, on points where a misread tape stays unseen."""
    barely = (detail.verdict == FITS) & (detail.redundancy == 1)
    with np.errstate(invalid="ignore"):
        barely &= detail.hidden_m > _NOTABLE_M
    most = record.measures.say(detail.hidden_m[barely].max(initial=0.0), "m", "range")
    for rule, which, message, remedy in (
        (
            "survey.unchecked",
            detail.verdict == UNCHECKED,
            "Nothing checks the readings to {} points ({}), or not well enough: their 95 % ranges "
            "hold only if no tape was misread.",
            "Tape one distance more than is needed to each point.",
        ),
        (
            "survey.barely_checked",
            barely,
            "A single reading checks the others to {} points ({}): a small misreading of a tape "
            f"would not be noticed, and may have moved them by up to {most}.",
            "Tape these from one more datum, or search as far as search_m in the table position.",
        ),
        (
            "survey.tapes_taken_level",
            detail.known & detail.level,
            "The tapes to {} points were taken as level, because the height of the point or of a "
            "datum is not recorded ({}). A tape that rises 1 in 5 is 2 % longer than its level "
            "distance.",
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
