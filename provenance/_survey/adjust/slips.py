"""Words a reading, what would be wrong with it, and the usual slip that would explain that."""

from __future__ import annotations

from fractions import Fraction

from provenance._model.measures import METRIC, SI, Measures
from provenance._survey.adjust.blunders import BY_WOOD, Alternative
from provenance._survey.adjust.scatter import OWN_COORDINATES
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.observation import KINDS, Kind
from provenance._survey.parts.solve import Rows

FOOT_M, INCH_M = 0.3048, 0.0254
"""International foot and inch, exact (NIST Special Publication 811)."""

_CM = Fraction(10)
_USUAL_SLIPS = (
    (FOOT_M, "1 ft"),
    (10 * FOOT_M, "10 ft"),
    (INCH_M, "1 in"),
    (1.0, "1 m"),
    (0.1, "10 cm"),
    (10.0, "10 m"),
)
# common practice, no source: the units a tape is misread by


def blunder_hint(kind: int, reading: float, size: float, sd: float, measures: Measures = SI) -> str:
    """A usual slip that would explain a blunder, as a clause, or ''.

    Digits are swapped only where the tape showed them: on a metric one.
    `reading`, `size` (reading minus truth) and `sd` (of the size) are in m, for bearings in deg.

    >>> blunder_hint(0, 5.21, -0.306, 0.006)
    'that is 1 ft'
    >>> blunder_hint(0, 12.57, -0.182, 0.006)
    'the tape may have shown 12.75 m'
    """
    near = 2.5 * max(sd, 1e-4)
    if kind == Kind.BEARING:
        if abs(abs(size) - 180.0) < near:
            return "the bearing may have been read at the wrong end of the needle"
        return ""
    if kind not in (Kind.DISTANCE, Kind.LEVEL_DISTANCE, Kind.ALONG, Kind.ACROSS):
        return ""
    for slip, name in _USUAL_SLIPS:
        # a slip as small as the readings scatter explains nothing
        if slip > 3 * sd and abs(abs(size) - slip) < near:
            return f"that is {name}"
    digits = f"{reading:.2f}" if measures.system == METRIC else ""
    for at in range(len(digits) - 1):
        one, two = digits[at], digits[at + 1]
        swapped = digits[:at] + two + one + digits[at + 2 :]
        if one == two or not (one + two).isdigit():
            continue
        if abs(float(swapped) - (reading - size)) < near:
            return f"the tape may have shown {measures.say(swapped, 'm', 'tape', step=_CM)}"
    if kind == Kind.ACROSS and abs(size - 2 * reading) < near:
        return "the offset may be on the other side of the baseline"
    return ""


def reading_name(record: FieldRecord, rows: Rows, at: int) -> str:
    """A reading as a person calls it: 'T042 (distance 5.204 m from D2)'."""
    kind, value = int(rows.kind[at]), float(rows.reading[at])
    tie = int(rows.tie[at])
    start = int(rows.start[at])
    number = f"{value:.1f}°" if kind == Kind.BEARING else _length(record, kind, value)
    origin = f" from {record.cell('datum', 'datum_id', start)}" if start >= 0 else ""
    what = f"{KINDS[kind]} {number}{origin}"
    if tie >= 0:
        return f"{record.cell('tie', 'tie_id', tie)} ({what})"
    if tie == BY_WOOD:
        return "the place by its distance from end A, the clock and the size of the wood"
    if tie == OWN_COORDINATES:
        return f"the recorded {KINDS[kind]} {number}"
    return f"the recorded height {number}"


def _length(record: FieldRecord, kind: int, metres: float) -> str:
    return record.measures.say(metres, "m", "survey" if kind in (Kind.X, Kind.Y) else "tape")


def _wrong_by(record: FieldRecord, rows: Rows, at: int, size: float) -> str:
    kind = int(rows.kind[at])
    by = _length(record, kind, abs(size))
    if rows.tie[at] == BY_WOOD:
        return f"{record.measures.say(abs(size), 'm', 'survey')} off"
    if kind == Kind.BEARING:
        return f"{abs(size):.1f}° too {'far clockwise' if size > 0 else 'far counterclockwise'}"
    if kind in (Kind.DISTANCE, Kind.LEVEL_DISTANCE):
        return f"{by} too {'long' if size > 0 else 'short'}"
    return f"{by} too {'large' if size > 0 else 'small'}"


def wrong_readings(
    record: FieldRecord, rows: Rows, place: Alternative, size_sd: dict[int, float]
) -> str:
    """Which readings would be wrong if a point lies there, by how much, and by which slip; or ''.

    'T042 (distance 5.204 m from D2) would be 0.305 m too long (that is 1 ft)'.
    """
    told = []
    for at, size in zip(place.wrong, place.size, strict=True):
        hint = ""
        if rows.tie[at] != BY_WOOD:
            sd = size_sd.get(at, 0.0)
            reading = float(rows.reading[at])
            hint = blunder_hint(int(rows.kind[at]), reading, size, sd, record.measures)
        told.append(
            f"{reading_name(record, rows, at)} would be {_wrong_by(record, rows, at, size)}"
            + (f" ({hint})" if hint else "")
        )
    return " and ".join(told)
