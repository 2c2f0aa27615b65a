"""Builds the wood of three invented buildings on one invented site, true to the millimetre."""

# ruff: noqa: E501 - the tables below read better with one piece a line

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

from invention.layout import barn, log_house, room_block

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
    stem_base: str = ""
    pith: str = ""
    origin: str = ""
    decoration: str = ""
    empty_joints: str = ""

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
        (LOG_HOUSE, log_house()),
        (ROOM_BLOCK, room_block()),
        (BARN, barn()),
    ):
        lines = list(plan)
        for number, (key, kind, place, note, a, b) in enumerate(lines, start=1):
            piece = _shaped(chance, building, number, len(lines), key, kind, place, note, a, b)
            story = _LOOKED_AT.get(piece.key, {}) | _OWN_STORY.get(piece.key, {})
            pieces.append(replace(piece, **story))
    return tuple(pieces)


_OWN_STORY: dict[str, dict[str, str]] = {
    # what tells one piece from its kind; older wood in a younger ceiling, and what has come loose
    "LH.C2": {
        "outer": "worn",
        "reused": "yes",
        "features": "0.60: empty mortise; 3.90: nail",
        "origin": "salvaged",
        "decoration": "chamfered",
        "empty_joints": "yes",
    },
    "LH.C3": {
        "outer": "worn",
        "reused": "yes",
        "features": "0.85: empty mortise",
        "origin": "salvaged",
        "decoration": "chamfered",
        "empty_joints": "yes",
    },
    "LH.C1": {"features": "2.30: iron hook", "decoration": "none", "empty_joints": "no"},
    "LH.N4": {"condition": "weathered", "outer": "worn"},
    "LH.L1": {"in_place": "loose", "condition": "weathered"},
    "LH.L2": {"in_place": "loose", "outer": "waney_edge"},
    "RB.B7": {
        "in_place": "repair",
        "reused": "yes",
        "outer": "worn",
        "features": "0.40: notch, serves nothing",
        "origin": "salvaged",
        "empty_joints": "yes",
    },
    "RB.B8": {"in_place": "repair", "outer": "bark", "empty_joints": "no"},
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
    "BN.B2S": {"in_place": "repair", "tools": "circular_saw", "origin": "brought_in"},
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


# what the crews looked at on some of the wood: where the tree stood, its heart, foot and ornament
_LOOKED_AT: dict[str, dict[str, str]] = {
    **{
        f"LH.{side}{course}": {"origin": "local", "pith": "yes" if course else "unknown"}
        for side in "NESW"
        for course in range(3)
    },
    "LH.N1": {"origin": "local", "pith": "yes", "stem_base": "yes"},
    "LH.S0": {"origin": "local", "pith": "yes", "stem_base": "yes"},
    "LH.E0": {"origin": "local", "pith": "yes", "stem_base": "yes"},
    **{f"LH.D{number}": {"decoration": "beaded"} for number in (1, 2)},
    **{f"RB.B{number}": {"origin": "brought_in", "decoration": "none"} for number in range(1, 9)},
    **{
        f"BN.P{frame}{side}": {
            "origin": "local",
            "pith": "yes",
            "decoration": "chamfered" if frame in (2, 3) else "none",
            "empty_joints": "no",
        }
        for frame in range(1, 5)
        for side in "SN"
    },
    "BN.P1S": {"origin": "local", "pith": "yes", "decoration": "none", "stem_base": "yes"},
    "BN.X1": {"empty_joints": "yes"},
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
