"""Takes 45 invented samples from the invented wood and grows the rings in them."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from invention.timber import SEED, Point, Wood, all_wood

HALF_INCH_MM, FIVE_EIGHTHS_MM, SEVEN_EIGHTHS_MM = 12.7, 15.875, 22.225


@dataclass(frozen=True)
class _Plan:
    """What is to come out of one sample; `ring_mm` is the mean ring width of its tree.

    `reach` is the share of the radius that the drill went through (1 is the pith). `outer_year` is
    None for a sample that stays undated, `reason` then says why.
    """

    number: int
    wood: str
    bore_mm: float
    share: float
    clock: float | None
    reach: float
    ring_mm: float
    outer_year: int | None
    outer_signs: str
    surface: str
    reason: str = ""
    remark: str = ""


FLOOR_M = {"LH": 0.20, "RB": 0.05, "BN": 0.20}

_H, _F, _S, _CUT = HALF_INCH_MM, FIVE_EIGHTHS_MM, SEVEN_EIGHTHS_MM, 0.0

_PLANS = (
    # log house: built of trees of 1870 and 1871, roofed anew with trees of 1902 after a fire,
    # two ceiling beams came out of an older building
    _Plan(201, "LH.S0", _H, 0.22, 9.0, 0.90, 1.15, 1858, "vv", "dressed"),
    _Plan(202, "LH.N1", _H, 0.31, 9.0, 1.02, 1.05, 1871, "B", "bark"),
    _Plan(203, "LH.N1", _F, 0.74, 9.0, 0.95, 1.05, 1871, "r", "waney_edge"),
    _Plan(204, "LH.N3", _H, 0.40, 9.0, 0.88, 1.20, 1871, "r", "waney_edge"),
    _Plan(205, "LH.E1", _H, 0.55, 9.0, 1.01, 0.98, 1870, "B", "bark"),
    _Plan(206, "LH.E3", _H, 0.30, 9.0, 0.72, 1.10, 1871, "r", "waney_edge"),
    _Plan(207, "LH.W2", _H, 0.62, 3.0, 0.94, 1.02, 1870, "v", "waney_edge"),
    _Plan(208, "LH.PN", _H, 0.80, 6.5, 0.86, 1.12, 1871, "B", "bark"),
    _Plan(209, "LH.C1", _H, 0.35, 6.0, 1.02, 0.92, 1871, "B", "bark"),
    _Plan(210, "LH.C2", _F, 0.47, 6.0, 1.03, 0.85, 1829, "vv", "worn"),
    _Plan(211, "LH.C3", _F, 0.55, 6.0, 0.96, 0.82, 1831, "vv", "worn"),
    _Plan(212, "LH.R1", _H, 0.40, 6.0, 1.04, 0.95, 1902, "B", "bark"),
    _Plan(213, "LH.R3", _H, 0.35, 6.0, 1.03, 0.90, 1902, "B", "bark"),
    _Plan(214, "LH.RB", _H, 0.25, 6.0, 0.98, 0.88, 1902, "v", "waney_edge"),
    _Plan(215, "LH.L1", _CUT, 0.60, None, 1.0, 1.18, 1871, "c", "waney_edge"),
    _Plan(216, "LH.N4", _H, 0.52, 9.0, 0.61, 2.60, None, "", "worn", "complacent"),
    # barn: one felling, oak; two later pieces
    _Plan(217, "BN.T1", _F, 0.42, 3.0, 0.95, 1.30, 1884, "B", "bark"),
    _Plan(218, "BN.T2", _F, 0.36, 3.0, 1.01, 1.22, 1884, "r", "waney_edge"),
    _Plan(219, "BN.T3", _F, 0.58, 9.0, 0.82, 1.35, None, "", "waney_edge", "broken"),
    _Plan(220, "BN.P1S", _F, 0.48, 12.0, 0.93, 1.28, 1884, "v", "waney_edge"),
    _Plan(221, "BN.P2N", _S, 0.40, 6.0, 1.02, 1.19, 1884, "B", "bark"),
    _Plan(222, "BN.P3N", _F, 0.55, 6.0, 0.90, 1.24, 1883, "v", "waney_edge"),
    _Plan(223, "BN.B2S", _H, 0.50, 3.0, 0.80, 2.10, None, "", "dressed", "too_few_rings"),
    _Plan(224, "BN.WS", _F, 0.20, 6.0, 0.96, 1.16, 1884, "r", "waney_edge"),
    _Plan(225, "BN.US", _H, 0.66, 6.0, 0.99, 0.86, 1884, "B", "bark"),
    _Plan(226, "BN.R1", _H, 0.30, 6.0, 1.02, 0.84, None, "", "bark"),
    _Plan(227, "BN.R5", _H, 0.30, 6.0, 1.03, 0.88, 1921, "B", "bark"),
    _Plan(228, "BN.X1", _CUT, 0.45, None, 1.0, 1.25, 1872, "vv", "worn"),
    # room block: built with trees of 1688 and 1689, room 4 roofed anew with trees of 1742
    _Plan(301, "RB.B1", _H, 0.33, 6.0, 1.02, 0.78, 1689, "B", "bark"),
    _Plan(302, "RB.B2", _H, 0.28, 6.0, 0.97, 0.74, 1689, "L", "patina"),
    _Plan(303, "RB.B3", _H, 0.50, 6.0, 0.93, 0.76, 1689, "v", "patina"),
    _Plan(304, "RB.B4", _F, 0.62, 6.0, 1.01, 0.80, 1688, "B;comp", "bark"),
    _Plan(305, "RB.B5", _H, 0.37, 6.0, 0.95, 0.73, 1689, "L", "patina"),
    _Plan(306, "RB.B6", _H, 0.45, 6.0, 0.70, 0.77, 1685, "vv", "patina"),
    _Plan(307, "RB.B7", _F, 0.50, 6.0, 1.03, 0.70, 1655, "vv", "worn"),
    _Plan(308, "RB.B8", _F, 0.40, 6.0, 1.02, 0.81, 1742, "B", "bark"),
    _Plan(309, "RB.P3", _H, 0.30, 6.0, 1.03, 0.72, 1689, "L", "patina"),
    _Plan(310, "RB.P9", _CUT, 0.08, None, 1.0, 0.70, 1689, "L", "patina"),
    _Plan(311, "RB.P14", _H, 0.42, 6.0, 1.01, 0.68, 1687, "v", "patina"),
    _Plan(312, "RB.P20", _H, 0.78, 6.0, 1.00, 1.60, None, "", "patina", "species"),
    _Plan(313, "RB.O1", _H, 0.50, 6.0, 0.85, 0.88, None, "", "dressed", "no_reference"),
    _Plan(314, "RB.O3", _H, 0.42, 6.0, 0.88, 0.75, 1671, "+;vv", "dressed"),
    _Plan(315, "RB.X1", _CUT, 0.30, None, 1.0, 0.80, None, "", "worn"),
    _Plan(316, "RB.X2", _CUT, 0.70, None, 1.0, 0.80, None, "", "worn"),
    _Plan(317, "RB.D1", _CUT, 0.95, None, 1.0, 1.10, None, "", "patina"),
)

CUT_IN_PLACE_AUTHORITY = "Letter OOB-2023-17 (invented), to renew the end of the pole"


@dataclass(frozen=True)
class Specimen:
    """One sample as taken, with what its plug got and what its rings are."""

    sample_id: str
    wood: Wood
    kind: str
    bore_mm: float
    length_mm: int
    pieces: int
    along_m: float
    clock: float | None
    direction: str
    inclination_deg: int | None
    depth_mm: int | None
    height_m: float | None
    surface: str
    pith: str
    rings_field: int
    condition: str
    authority: str
    collected_on: str
    collected_by: str
    ring_count: int
    outer_year: int | None
    outer_signs: str
    inner_signs: str
    reason: str
    widths_hundredth_mm: tuple[int, ...]

    @property
    def is_core(self) -> bool:
        """Whether a hole was left."""
        return self.kind == "core"

    @property
    def inner_year(self) -> int | None:
        """Year of the innermost ring; there is a year 0 for nobody here."""
        return None if self.outer_year is None else self.outer_year - self.ring_count + 1

    @property
    def hole(self) -> Point:
        """Where the drill went in, on the surface, in site grid metres; a cut's is on the axis."""
        middle = self.wood.axis_at(self.along_m)
        if not self.is_core:
            return middle
        radius_m = self.wood.diameter_at(self.along_m) / 200
        outward = _outward(self.wood, self.clock or 0.0)
        x, y, z = (at + radius_m * step for at, step in zip(middle, outward, strict=True))
        return x, y, z


def all_specimens() -> tuple[Specimen, ...]:
    """The 45 samples in the order of their numbers: 39 cores and 6 cross-sections."""
    by_key = {piece.key: piece for piece in all_wood()}
    return tuple(_taken(plan, by_key[plan.wood]) for plan in _PLANS)


def sampled_keys() -> frozenset[str]:
    """The scenario's keys of the wood that was sampled."""
    return frozenset(plan.wood for plan in _PLANS)


def _outward(wood: Wood, clock: float) -> Point:
    """The direction from the axis to a clock position, seen from end A towards end B.

    12 is up, square to the wood; on upright wood 12 is the y axis of the site grid.
    """
    along = tuple((q - p) / wood.length_m for p, q in zip(wood.a, wood.b, strict=True))
    top = (0.0, 1.0, 0.0) if abs(along[2]) > 0.99 else (0.0, 0.0, 1.0)
    lean = sum(one * other for one, other in zip(top, along, strict=True))
    square = [one - lean * other for one, other in zip(top, along, strict=True)]
    up = [part / math.hypot(*square) for part in square]
    right = (
        along[1] * up[2] - along[2] * up[1],
        along[2] * up[0] - along[0] * up[2],
        along[0] * up[1] - along[1] * up[0],
    )
    turn = math.radians(30 * clock)
    x, y, z = (math.cos(turn) * u + math.sin(turn) * r for u, r in zip(up, right, strict=True))
    return x, y, z


def _taken(plan: _Plan, wood: Wood) -> Specimen:
    # one stream of chance a sample, so that a change to one leaves the others as they are
    chance = random.Random(SEED * 1000 + plan.number)
    core = plan.bore_mm > 0
    along = round(wood.length_m * plan.share, 2)
    radius_mm = wood.diameter_at(along) * 5
    length = round(radius_mm * plan.reach) if core else chance.randint(35, 60)
    # the outermost ring never begins right at the end of the core, and the pith has a width
    rings = math.floor((radius_mm * min(plan.reach, 1.0) - 2.0) / plan.ring_mm)
    pieces = 2 if plan.number in (216, 223, 307) else 1
    return Specimen(
        sample_id=str(plan.number),
        wood=wood,
        kind="core" if core else "cross_section",
        bore_mm=plan.bore_mm,
        length_mm=length,
        pieces=pieces,
        along_m=along,
        clock=plan.clock,
        direction="radial" if core else "",
        inclination_deg=_inclination(plan, wood) if core else None,
        depth_mm=length + chance.randint(6, 14) if core else None,
        height_m=_height(plan, wood, along) if core else None,
        surface=plan.surface,
        pith="yes" if plan.reach >= 1 else "no",
        rings_field=max(12, rings + chance.randint(-6, 4)),
        condition="whole" if pieces == 1 else "in_pieces",
        authority=CUT_IN_PLACE_AUTHORITY if plan.number == 310 else "",
        collected_on=_collected_on(wood),
        collected_by={"LH": "TQ", "RB": "AP", "BN": "MB"}[wood.building],
        ring_count=rings,
        outer_year=plan.outer_year,
        outer_signs=plan.outer_signs,
        inner_signs=_inner_signs(plan.reach),
        reason=plan.reason,
        widths_hundredth_mm=_widths(chance, rings, plan.ring_mm),
    )


def _collected_on(wood: Wood) -> str:
    last = {"LH": "2023-06-08", "RB": "2023-06-10", "BN": "2023-06-15"}
    return last[wood.building]


def _inner_signs(reach: float) -> str:
    if reach >= 1:
        return "p"
    if reach >= 0.93:
        return "np"
    return "fp" if reach < 0.75 else ""


def _inclination(plan: _Plan, wood: Wood) -> int:
    """Degrees above (+) the level; a hole drilled from straight below points up by 90."""
    return round(math.degrees(math.asin(-_outward(wood, plan.clock or 0.0)[2])))


def _height(plan: _Plan, wood: Wood, along: float) -> float:
    """From the floor to the hole; what lies under the floor boards counts as on it."""
    radius_m = wood.diameter_at(along) / 200
    up = wood.axis_at(along)[2] + radius_m * _outward(wood, plan.clock or 0.0)[2]
    return round(max(up - FLOOR_M[wood.building], 0.0), 2)


def _widths(chance: random.Random, rings: int, mean_mm: float) -> tuple[int, ...]:
    """Ring widths in 0.01 mm, innermost first: wide in youth, each like the one before."""
    raw, memory = [], 0.0
    for ring in range(rings):
        memory = 0.45 * memory + chance.gauss(0, 0.22)
        raw.append((0.75 + 0.8 * math.exp(-ring / 25)) * math.exp(memory))
    scale = mean_mm * 100 * rings / sum(raw) if raw else 0.0
    return tuple(max(8, math.floor(width * scale)) for width in raw)
