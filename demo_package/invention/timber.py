"""Builds the wood of three invented buildings on one invented site, true to the millimetre."""

# ruff: noqa: E501 - the tables below read better with one piece a line

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace

SEED = 20230605
Point = tuple[float, float, float]


@dataclass(frozen=True)
class Building:
    """A building's own frame in the site grid: origin in m, turned anticlockwise by degrees."""

    code: str
    east_m: float
    north_m: float
    turn_deg: float

    def on_grid(self, along_m: float, across_m: float, height_m: float) -> Point:
        """A point of the building's frame in site grid metres, rounded to the millimetre."""
        turn = math.radians(self.turn_deg)
        east = self.east_m + along_m * math.cos(turn) - across_m * math.sin(turn)
        north = self.north_m + along_m * math.sin(turn) + across_m * math.cos(turn)
        return round(east, 3), round(north, 3), round(height_m, 3)


LOG_HOUSE = Building("LH", 10.0, 20.0, 0.0)
ROOM_BLOCK = Building("RB", 32.0, 18.0, 10.0)
BARN = Building("BN", 14.0, 40.0, -6.0)
BUILDINGS = {one.code: one for one in (LOG_HOUSE, ROOM_BLOCK, BARN)}


@dataclass(frozen=True)
class Wood:
    """One piece of wood as it truly is; the crews' words and units come later.

    `key` names it inside this scenario ('LH.N3'), `element_id` is its number on the tag. `a`, `b`
    are the ends of its axis in site grid metres, diameters are in cm.
    """

    key: str
    element_id: str
    place_id: str
    function: str
    note: str
    a: Point
    b: Point
    dia_a1_cm: float
    dia_a2_cm: float
    dia_b1_cm: float
    dia_b2_cm: float
    shape: str
    end_a: str
    end_b: str
    tools: str
    outer: str
    species: str
    condition: str
    load_bearing: str
    in_place: str
    reused: str
    features: str
    remarks: str
    recorded_on: str
    recorded_by: str

    @property
    def building(self) -> str:
        """Code of the building it is in."""
        return self.element_id.split("-")[0]

    @property
    def length_m(self) -> float:
        """Distance between the ends."""
        return math.dist(self.a, self.b)

    def diameter_at(self, along_m: float) -> float:
        """Mean diameter in cm at a distance from end A."""
        end_a = (self.dia_a1_cm + self.dia_a2_cm) / 2
        end_b = (self.dia_b1_cm + self.dia_b2_cm) / 2
        return end_a + (end_b - end_a) * along_m / self.length_m

    def axis_at(self, along_m: float) -> Point:
        """Point of the axis at a distance from end A."""
        share = along_m / self.length_m
        x, y, z = (p + (q - p) * share for p, q in zip(self.a, self.b, strict=True))
        return x, y, z


@dataclass(frozen=True)
class _Kind:
    """What pieces of one sort share: size at the thick end, taper and looks."""

    function: str
    shape: str
    thick_cm: float
    taper_cm_per_m: float
    end_a: str
    end_b: str
    tools: str
    outer: str
    species: str
    load: str


# fmt: off
_KINDS = {
    # the log house
    "sill": _Kind("sill", "hewn", 30.0, 0.55, "axe_cut", "axe_cut", "metal_axe;adze", "dressed", "PSME", "yes"),
    "log": _Kind("wall_log", "hewn_two_sides", 27.0, 0.55, "axe_cut", "axe_cut", "metal_axe", "waney_edge", "PSME", "yes"),
    "plate": _Kind("wall_plate", "hewn", 25.0, 0.45, "axe_cut", "axe_cut", "metal_axe;adze", "waney_edge", "PSME", "yes"),
    "ceiling": _Kind("main_beam", "round", 22.0, 0.70, "axe_cut", "axe_cut", "metal_axe", "bark", "PIPO", "yes"),
    "floor": _Kind("joist", "hewn_two_sides", 17.5, 0.50, "axe_cut", "sawn", "metal_axe", "waney_edge", "PSME", "yes"),
    "pole_rafter": _Kind("rafter", "round", 13.5, 0.80, "axe_cut", "axe_cut", "metal_axe", "bark", "PIPO", "yes"),
    "ridge": _Kind("ridge", "round", 20.0, 0.60, "sawn", "sawn", "metal_axe;pit_saw", "waney_edge", "PIPO", "yes"),
    "lintel": _Kind("lintel", "hewn", 21.0, 0.60, "sawn", "sawn", "pit_saw;adze", "dressed", "PSME", "yes"),
    "jamb": _Kind("door_frame", "sawn", 12.0, 0.15, "sawn", "sawn", "sash_saw", "dressed", "PSME", "no"),
    "loose_log": _Kind("loose", "hewn_two_sides", 25.5, 0.60, "axe_cut", "sawn", "metal_axe", "waney_edge", "PSME", "no"),
    # the room block
    "beam": _Kind("main_beam", "round", 25.0, 0.75, "axe_cut", "axe_cut", "metal_axe", "patina", "PIPO", "yes"),
    "pole": _Kind("ceiling_pole", "round", 11.8, 0.60, "axe_cut", "axe_cut", "metal_axe", "patina", "POTR", "yes"),
    "opening": _Kind("lintel", "split", 14.0, 0.60, "axe_cut", "axe_cut", "metal_axe", "dressed", "PIPO", "yes"),
    "threshold": _Kind("threshold", "hewn", 16.0, 0.50, "axe_cut", "axe_cut", "adze", "worn", "PIPO", "no"),
    "ladder": _Kind("ladder", "round", 10.4, 0.50, "whittled", "axe_cut", "drawknife", "patina", "ABCO", "no"),
    "loose_beam": _Kind("loose", "round", 23.5, 0.75, "axe_cut", "broken", "metal_axe", "worn", "PIPO", "no"),
    # the barn
    "post": _Kind("post", "hewn", 22.0, 0.30, "sawn", "sawn", "broadaxe", "waney_edge", "QUAL", "yes"),
    "tie_beam": _Kind("tie_beam", "hewn", 25.0, 0.30, "sawn", "sawn", "broadaxe", "waney_edge", "QUAL", "yes"),
    "ground_sill": _Kind("sill", "hewn", 26.0, 0.25, "sawn", "sawn", "broadaxe", "dressed", "QUAL", "yes"),
    "wall_plate": _Kind("wall_plate", "hewn", 22.0, 0.25, "sawn", "sawn", "broadaxe", "waney_edge", "QUAL", "yes"),
    "brace": _Kind("brace", "sawn", 12.5, 0.30, "sawn", "sawn", "sash_saw", "dressed", "QUAL", "yes"),
    "purlin": _Kind("purlin", "round", 19.0, 0.35, "sawn", "sawn", "metal_axe", "waney_edge", "PSME", "yes"),
    "rafter": _Kind("rafter", "round", 14.0, 0.75, "sawn", "axe_cut", "metal_axe", "bark", "PSME", "yes"),
    "plank": _Kind("plank", "sawn", 10.5, 0.10, "sawn", "sawn", "sash_saw", "dressed", "QUAL", "no"),
    "loose_post": _Kind("loose", "hewn", 21.0, 0.40, "sawn", "broken", "broadaxe", "worn", "QUAL", "no"),
}
# fmt: on

_DAYS = {
    "LH": ("2023-06-05", "2023-06-06", "2023-06-07"),
    "RB": ("2023-06-05", "2023-06-07", "2023-06-08", "2023-06-09"),
    "BN": ("2023-06-12", "2023-06-13", "2023-06-14"),
}
_RECORDERS = {"LH": ("MB", "TQ"), "RB": ("ZF", "AP"), "BN": ("TQ", "MB")}


def all_wood() -> tuple[Wood, ...]:
    """The 120 pieces: 46 in the log house, 40 in the room block, 34 in the barn."""
    chance = random.Random(SEED)
    pieces: list[Wood] = []
    for building, plan in (
        (LOG_HOUSE, _log_house()),
        (ROOM_BLOCK, _room_block()),
        (BARN, _barn()),
    ):
        lines = list(plan)
        for number, (key, kind, place, note, a, b) in enumerate(lines, start=1):
            piece = _shaped(chance, building, number, len(lines), key, kind, place, note, a, b)
            pieces.append(replace(piece, **_OWN_STORY.get(piece.key, {})))
    return tuple(pieces)


_OWN_STORY: dict[str, dict[str, str]] = {
    # what tells one piece from its kind; older wood in a younger ceiling, and what has come loose
    "LH.C2": {"outer": "worn", "reused": "yes", "features": "0.60: empty mortise; 3.90: nail"},
    "LH.C3": {"outer": "worn", "reused": "yes", "features": "0.85: empty mortise"},
    "LH.C1": {"features": "2.30: iron hook"},
    "LH.N4": {"condition": "weathered", "outer": "worn"},
    "LH.L1": {"in_place": "loose", "condition": "weathered"},
    "LH.L2": {"in_place": "loose", "outer": "waney_edge"},
    "RB.B7": {
        "in_place": "repair",
        "reused": "yes",
        "outer": "worn",
        "features": "0.40: notch, serves nothing",
    },
    "RB.B8": {"in_place": "repair", "outer": "bark"},
    "RB.B1": {"outer": "bark"},
    "RB.B4": {"outer": "bark"},
    "RB.D1": {"in_place": "loose"},
    "RB.D2": {"in_place": "loose"},
    "RB.X1": {"in_place": "loose", "condition": "burned"},
    "RB.X2": {"in_place": "loose", "reused": "unknown"},
    "RB.P3": {"species": "PSME"},
    "RB.P9": {
        "species": "PSME",
        "load_bearing": "no",
        "remarks": "hangs free, nothing rests on it",
    },
    "RB.P14": {"species": "PSME"},
    "BN.X1": {"in_place": "loose", "condition": "decayed"},
    "BN.T2": {"features": "0.40: mortise; 3.48: mortise; 6.60: mortise"},
    "BN.R5": {"in_place": "repair", "reused": "unknown"},
    "BN.B2S": {"in_place": "repair", "tools": "circular_saw"},
    # the sample decides what the best-kept stretch of the outside is
    "LH.N1": {"outer": "bark"},
    "LH.E1": {"outer": "bark"},
    "LH.PN": {"outer": "bark"},
    "BN.T1": {"outer": "bark"},
    "BN.P2N": {"outer": "bark"},
    "BN.US": {"outer": "bark"},
    # set in after the fire, and after the roof of room 4 fell
    **{f"LH.R{number}": {"in_place": "repair"} for number in (1, 2, 3, 4)},
    "LH.RB": {"in_place": "repair"},
    **{f"RB.P{number}": {"in_place": "repair"} for number in (18, 19, 20, 21, 22)},
}


def _shaped(
    chance: random.Random,
    building: Building,
    number: int,
    count: int,
    key: str,
    kind_name: str,
    place: str,
    note: str,
    a: tuple[float, float, float],
    b: tuple[float, float, float],
) -> Wood:
    kind = _KINDS[kind_name]
    end_a, end_b = building.on_grid(*a), building.on_grid(*b)
    length = math.dist(end_a, end_b)
    thick = kind.thick_cm * chance.uniform(0.94, 1.06)
    thin = thick - kind.taper_cm_per_m * length * chance.uniform(0.8, 1.15)
    # nothing grows quite round, and a hewn stick is a little taller than wide
    oval = 1 + chance.uniform(0.015, 0.045)
    days, crew = _DAYS[building.code], _RECORDERS[building.code]
    code = f"W{number:02d}" if building is ROOM_BLOCK else f"{number:03d}"
    return Wood(
        key=key,
        element_id=f"{building.code}-{code}",
        place_id=place,
        function=kind.function,
        note=note,
        a=end_a,
        b=end_b,
        dia_a1_cm=round(thick * oval, 1),
        dia_a2_cm=round(thick / oval, 1),
        dia_b1_cm=round(thin * oval, 1),
        dia_b2_cm=round(thin / oval, 1),
        shape=kind.shape,
        end_a=kind.end_a,
        end_b=kind.end_b,
        tools=kind.tools,
        outer=kind.outer,
        species=kind.species,
        condition="sound",
        load_bearing=kind.load,
        in_place="in_place",
        reused="no",
        features="",
        remarks="",
        recorded_on=days[(number - 1) * len(days) // count],
        recorded_by=crew[number % 2],
    )


_Line = tuple[str, str, str, str, tuple[float, float, float], tuple[float, float, float]]


def _log_house() -> Iterator[_Line]:
    """7.40 by 5.20 m, logs squared on two sides; wall axes lie 0.13 m inside the outer face."""
    for side, place, a, b in (
        ("N", "LH-WN", (0.02, 5.07), (7.38, 5.07)),
        ("E", "LH-WE", (7.27, 0.02), (7.27, 5.18)),
        ("S", "LH-WS", (0.02, 0.13), (2.45, 0.13)),
        ("W", "LH-WW", (0.13, 0.02), (0.13, 5.18)),
    ):
        for course in range(6):
            height = 0.20 + 0.27 * course + (0.135 if side in "EW" else 0.0)
            kind = "log" if course else "sill"
            # the sill runs on under the door
            far = (7.38, 0.13) if side == "S" and not course else b
            note = "lowest log" if not course else f"log {course + 1} counted from the sill"
            yield f"LH.{side}{course}", kind, place, note, (*a, height), (*far, height)
    yield "LH.PN", "plate", "LH-WN", "on the north wall", (0.02, 5.07, 2.05), (7.38, 5.07, 2.05)
    yield "LH.PS", "plate", "LH-WS", "on the south wall", (0.02, 0.13, 2.05), (7.38, 0.13, 2.05)
    for number, (room, along) in enumerate(
        (("R1", 0.9), ("R1", 1.8), ("R1", 2.7), ("R1", 3.6), ("R2", 5.6)), start=1
    ):
        note = f"floor joist {number} from the west"
        yield (
            f"LH.J{number}",
            "floor",
            f"LH-{room}",
            note,
            (along, 0.28, 0.10),
            (along, 4.92, 0.10),
        )
    for number, (room, along) in enumerate((("R1", 1.6), ("R1", 3.2), ("R2", 5.8)), start=1):
        note = f"ceiling beam {number} from the west"
        yield (
            f"LH.C{number}",
            "ceiling",
            f"LH-{room}",
            note,
            (along, 0.28, 2.12),
            (along, 4.92, 2.12),
        )
    for number, (along, south) in enumerate(
        ((1.2, True), (1.2, False), (5.2, True), (5.2, False)), start=1
    ):
        foot = (along, 0.15, 2.25) if south else (along, 5.05, 2.25)
        side = "south" if south else "north"
        note = f"pair {(number + 1) // 2} from the west, {side} side"
        yield f"LH.R{number}", "pole_rafter", "LH-RF", note, foot, (along, 2.60, 3.92)
    yield "LH.RB", "ridge", "LH-RF", "whole ridge", (0.10, 2.60, 3.95), (7.30, 2.60, 3.95)
    yield "LH.DL", "lintel", "LH-WS", "over the door", (2.40, 0.13, 1.92), (3.75, 0.13, 1.92)
    yield "LH.D1", "jamb", "LH-WS", "door, west side", (2.55, 0.13, 0.35), (2.55, 0.13, 1.80)
    yield "LH.D2", "jamb", "LH-WS", "door, east side", (3.60, 0.13, 0.35), (3.60, 0.13, 1.80)
    yield "LH.V1", "lintel", "LH-WN", "over the window", (0.90, 5.07, 1.75), (2.20, 5.07, 1.75)
    yield "LH.V2", "lintel", "LH-WE", "over the window", (7.27, 1.70, 1.75), (7.27, 3.05, 1.75)
    yield "LH.L1", "loose_log", "LH-R2", "on the floor", (4.75, 0.90, 0.36), (6.95, 0.95, 0.36)
    yield "LH.L2", "loose_log", "LH-R2", "on the floor", (4.75, 1.60, 0.35), (6.60, 1.75, 0.35)


ROOM_WIDTH_M, ROOM_STEP_M = 3.8, 4.2


def _room_block() -> Iterator[_Line]:
    """Four rooms in a row, walls 0.40 m thick; beams are measured between the wall faces."""
    for room in range(4):
        west = 0.40 + ROOM_STEP_M * room
        for number, step in ((2 * room + 1, 1.25), (2 * room + 2, 2.55)):
            yield (
                f"RB.B{number}",
                "beam",
                f"RB-R{room + 1}",
                f"beam {number - 2 * room} from the west",
                (west + step, 0.41, 2.24),
                (west + step, 3.79, 2.24),
            )
    number = 0
    for room, poles in enumerate((6, 6, 5, 5)):
        west = 0.40 + ROOM_STEP_M * room
        for place in range(poles):
            number += 1
            across = 0.65 + 0.55 * place
            yield (
                f"RB.P{number}",
                "pole",
                f"RB-R{room + 1}",
                f"pole {place + 1} from the south, above the beams",
                (west + 0.02, across, 2.42),
                (west + ROOM_WIDTH_M - 0.02, across, 2.42),
            )
    for door in range(3):
        middle = 0.40 + ROOM_STEP_M * door + ROOM_WIDTH_M + 0.20
        yield (
            f"RB.O{door + 1}",
            "opening",
            f"RB-W{door + 1}{door + 2}",
            f"over the opening between rooms {door + 1} and {door + 2}",
            (middle, 1.55, 1.58),
            (middle, 2.70, 1.58),
        )
    for room in (1, 3):
        west = 0.40 + ROOM_STEP_M * (room - 1)
        yield (
            f"RB.O{4 if room == 1 else 5}",
            "opening",
            "RB-WS",
            f"over the outer door of room {room}",
            (west + 1.30, 0.20, 1.62),
            (west + 2.45, 0.20, 1.62),
        )
    yield (
        "RB.H1",
        "threshold",
        "RB-WS",
        "outer door of room 1",
        (1.75, 0.20, 0.08),
        (2.80, 0.20, 0.08),
    )
    yield (
        "RB.D1",
        "ladder",
        "RB-R2",
        "leans on the north wall, west",
        (5.20, 2.60, 0.10),
        (5.25, 3.70, 2.55),
    )
    yield (
        "RB.D2",
        "ladder",
        "RB-R2",
        "leans on the north wall, east",
        (5.65, 2.60, 0.10),
        (5.62, 3.70, 2.55),
    )
    yield "RB.X1", "loose_beam", "RB-R4", "on the floor", (13.30, 1.00, 0.12), (15.10, 1.15, 0.12)
    yield "RB.X2", "loose_beam", "RB-R4", "on the floor", (13.40, 1.60, 0.12), (15.80, 1.75, 0.12)


FRAMES_M = (0.15, 4.05, 7.95, 11.85)


def _barn() -> Iterator[_Line]:
    """Four cross frames of post, tie beam and brace; 12.00 by 7.00 m over the sills."""
    for frame, along in enumerate(FRAMES_M, start=1):
        for side, across in (("S", 0.15), ("N", 6.85)):
            where = "south" if side == "S" else "north"
            note = f"frame {frame} from the west, {where}"
            foot, head = (along, across, 0.30), (along, across, 3.12)
            yield f"BN.P{frame}{side}", "post", f"BN-F{frame}", note, foot, head
        yield (
            f"BN.T{frame}",
            "tie_beam",
            f"BN-F{frame}",
            f"frame {frame} from the west",
            (along, 0.02, 3.24),
            (along, 6.98, 3.24),
        )
        for side, low, high in (("S", 0.28, 1.20), ("N", 6.72, 5.80)):
            where = "south" if side == "S" else "north"
            note = f"frame {frame}, {where}, post to tie beam"
            foot, head = (along, low, 2.20), (along, high, 3.10)
            yield f"BN.B{frame}{side}", "brace", f"BN-F{frame}", note, foot, head
    for side, across in (("S", 0.15), ("N", 6.85)):
        where = "south" if side == "S" else "north"
        note = f"whole {where} side"
        yield f"BN.G{side}", "ground_sill", "BN", note, (0.03, across, 0.16), (11.97, across, 0.16)
        yield f"BN.W{side}", "wall_plate", "BN", note, (0.03, across, 3.46), (11.97, across, 3.46)
    for side, across in (("S", 1.90), ("N", 5.10)):
        where = "south" if side == "S" else "north"
        yield (
            f"BN.U{side}",
            "purlin",
            "BN-RF",
            f"{where} slope",
            (0.05, across, 4.72),
            (11.95, across, 4.72),
        )
    for number, (along, south) in enumerate(
        ((2.1, True), (2.1, False), (6.0, True), (6.0, False), (9.9, True), (9.9, False)), start=1
    ):
        across = 0.15 if south else 6.85
        side = "south" if south else "north"
        note = f"middle of bay {(number + 1) // 2}, {side} slope"
        yield f"BN.R{number}", "rafter", "BN-RF", note, (along, across, 3.58), (along, 3.50, 5.82)
    yield "BN.F1", "plank", "BN-B2", "threshing floor", (4.30, 2.10, 0.06), (7.70, 2.10, 0.06)
    yield (
        "BN.X1",
        "loose_post",
        "BN-B3",
        "lies by the north wall",
        (8.30, 5.90, 0.12),
        (10.60, 6.00, 0.12),
    )
