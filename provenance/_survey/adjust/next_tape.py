"""Says what to measure next so that a point can be found, or found better."""

from __future__ import annotations

import numpy as np

from provenance._survey.adjust.control import Control
from provenance._survey.adjust.detail import Detail
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.observation import Floats, Kind

_OFF_LINE_DEG = 20.0
_REACH_M = 30.0
"""Length of a usual tape."""


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
