"""Measures the invented buildings with an invented tape: datums, ties, and one misreading."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from fractions import Fraction

from invention.specimens import all_specimens
from invention.timber import BUILDINGS, SEED, Point, all_wood

BLUNDER_M = 0.3048
"""One foot, read wrong off the tape."""

TAPE_SPREAD_M, TAPE_LIMIT_M = 0.0018, 0.0034


@dataclass(frozen=True)
class Datum:
    """A mark that can be found again, in site grid metres."""

    datum_id: str
    building: str
    kind: str
    where: str
    at: Point
    held: bool


@dataclass(frozen=True)
class Tie:
    """One tape distance or height to an element end or a hole; the truth stands beside it."""

    tie_id: str
    kind: str
    datum_id: str
    element_id: str
    end: str
    sample_id: str
    target: Point
    reading_m: float
    true_m: float
    on: str
    by: str


_DATUMS = (
    # building, kind, where, along, across, height
    ("LH", "nail", "Nail in the door post, outside, knee high", 3.58, -0.02, 0.62),
    ("LH", "cut", "Cross cut into the sill at the south-west corner", -0.02, -0.02, 0.21),
    ("LH", "screw", "Brass screw in the east gable log, outside", 7.42, 2.61, 1.93),
    ("LH", "nail", "Nail in the north wall plate above the window", 1.55, 5.22, 2.08),
    ("RB", "corner", "South-west corner of the block, top of the footing", 0.0, 0.0, 0.30),
    ("RB", "pin", "Steel pin in front of the door of room 3", 10.60, -1.40, 0.02),
    ("RB", "screw", "Brass screw in the north wall of room 2, above the bench", 6.90, 3.80, 1.31),
    ("RB", "cut", "Cross cut on the lintel stone at the east end", 17.20, 2.10, 1.88),
    ("BN", "nail", "Nail in post 1 south, inner face", 0.27, 0.25, 1.20),
    ("BN", "nail", "Nail in post 4 south, inner face", 11.74, 0.26, 2.75),
    ("BN", "screw", "Brass screw in post 3 north, inner face", 7.95, 6.72, 0.66),
    ("BN", "paint", "White cross on the threshing floor", 5.98, 3.50, 0.11),
)


def all_datums() -> tuple[Datum, ...]:
    """Four marks a building; the first of each defines the grid and is held."""
    count: dict[str, int] = {}
    datums = []
    for building, kind, where, *place in _DATUMS:
        count[building] = number = count.get(building, 0) + 1
        at = BUILDINGS[building].on_grid(*place)
        datums.append(Datum(f"{building}-D{number}", building, kind, where, at, number == 1))
    return tuple(datums)


# what the crews taped: sampled wood of the log house and the barn, and a control in the room block
_TAPED = (
    *("LH.S0", "LH.N1", "LH.N3", "LH.E1", "LH.E3", "LH.W2", "LH.PN"),
    *("LH.C1", "LH.C2", "LH.C3", "LH.R1", "LH.RB"),
    *("RB.B1", "RB.B4", "RB.B7"),
    *("BN.T1", "BN.T2", "BN.T3", "BN.P1S", "BN.P2N", "BN.WS", "BN.R5"),
)
_TAPED_HOLES = ("209", "210", "304", "307", "217", "224")
_BLUNDER_AT = ("BN.T2", "b", "BN-D2")


def taped_keys() -> frozenset[str]:
    """The scenario's keys of the wood whose ends were taped."""
    return frozenset(_TAPED)


def in_feet(building: str) -> bool:
    """Whether the building was taped in feet and inches (else in metres)."""
    return building != "RB"


def all_ties() -> tuple[Tie, ...]:
    """Four tape distances and a height to every taped point; one of them is a foot too short."""
    chance = random.Random(SEED + 1)
    wood = {piece.key: piece for piece in all_wood()}
    targets: list[tuple[str, str, str, str, str, Point]] = []
    for key in _TAPED:
        piece = wood[key]
        for end, at in (("a", piece.a), ("b", piece.b)):
            targets.append((key, piece.building, piece.element_id, end, "", at))
    holes = {one.sample_id: one for one in all_specimens()}
    for number in _TAPED_HOLES:
        hole = holes[number]
        targets.append((hole.wood.key, hole.wood.building, "", "", number, hole.hole))
    ties: list[Tie] = []
    for key, building, element, end, sample, at in targets:
        on, by = _when_and_who(building)
        for datum in (one for one in all_datums() if one.building == building):
            true = math.dist(datum.at, at)
            read = true + max(-TAPE_LIMIT_M, min(TAPE_LIMIT_M, chance.gauss(0, TAPE_SPREAD_M)))
            if (key, end, datum.datum_id) == _BLUNDER_AT:
                read -= BLUNDER_M
            number = f"T{len(ties) + 1:03d}"
            ties.append(
                Tie(
                    number, "distance", datum.datum_id, element, end, sample, at, read, true, on, by
                )
            )
        level = at[2] + max(-TAPE_LIMIT_M, min(TAPE_LIMIT_M, chance.gauss(0, TAPE_SPREAD_M)))
        number = f"T{len(ties) + 1:03d}"
        ties.append(Tie(number, "height", "", element, end, sample, at, level, at[2], on, by))
    return tuple(ties)


def blunder() -> Tie:
    """The one reading that does not fit."""
    return max(all_ties(), key=lambda tie: abs(tie.reading_m - tie.true_m))


def _when_and_who(building: str) -> tuple[str, str]:
    return {"LH": ("2023-06-09", "TQ"), "RB": ("2023-06-10", "AP"), "BN": ("2023-06-16", "MB")}[
        building
    ]


def feet_and_inches(metres: float, parts: int = 8) -> str:
    """A length as a tape shows it, to the nearest part of an inch.

    >>> feet_and_inches(3.8227)
    '12\\' 6 1/2"'
    """
    inches = Fraction(round(metres / 0.0254 * parts), parts)
    feet, rest = divmod(inches, 12)
    return f"{int(feet)}' {inch_fraction(rest)}\""


def inch_fraction(inches: Fraction) -> str:
    """A number of inches as on a rule: 6 1/2, 3/8, 10."""
    whole, part = divmod(inches, 1)
    if not part:
        return str(int(whole))
    fraction = f"{part.numerator}/{part.denominator}"
    return f"{int(whole)} {fraction}" if whole else fraction
