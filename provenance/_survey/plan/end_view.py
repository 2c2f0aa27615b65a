"""Draws a piece of wood from its end, to scale: its section where a hole is, and the drill's way.

The wood is seen from end A towards end B with 12 up, as the table sample has the clock.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import cos, hypot, radians, sin

import numpy as np

from provenance._base.languages import _
from provenance._drawing.drawing import Disc, Group, Item, Line, Point, Text, Transform
from provenance._drawing.fonts import MONO, PLAIN
from provenance._drawing.label_places import Wanted, place_labels
from provenance._model.measures import Measures
from provenance._survey.adjust.bore import section_radius, wood_axes
from provenance._survey.hole.known_points import KnownPoints
from provenance._survey.parts.observation import Floats
from provenance._survey.plan.plan_map import Area

NEAR_M = 0.5
"""Holes so near along the wood are drawn too."""
_STAMP_SIZE, _NEAR_SIZE, _HOUR_SIZE = 2.5, 2.1, 2.6
_CAP = 0.73
_ROOM_SIDES_MM, _ROOM_ABOVE_MM, _ROOM_BELOW_MM = 15.0, 6.5, 13.0
_SCALES = (1, 2, 2.5, 3, 4, 5, 6, 8, 10, 12, 15, 20, 30, 50, 100)
"""Round ones; sizes are written beside it, so that nobody needs a scale rule."""
_BESIDE_MM, _SIDE_SIZE_MM = 2.4, 8.0
_UNMEASURED_M, _UNRECORDED_BORE_M = 0.2, 0.012
_ALONG = 0.9
"""A drill whose direction has more of the wood's own than this went into its end."""


@dataclass(frozen=True)
class EndView:
    """The drawing, its scale as a divisor, and what it shows in sentences."""

    items: tuple[Item, ...]
    scale: float
    words: str


@dataclass(frozen=True)
class _Drill:
    """A hole in the section, metres to the right and up from the axis; `off_m` is towards B."""

    sample_id: str
    entry: Point
    bottom: Point
    depth_m: float
    bore_m: float
    off_m: float
    into_end: bool
    sure: bool
    mine: bool


def draw_end(known: KnownPoints, stamps: dict[str, str], at: int, area: Area) -> EndView:
    """The section at hole `at` (a number of `known.holes`) in `area` (left, bottom, width, height).

    `stamps` maps samples to their stamps. Wood without a diameter is drawn as a dashed circle.
    """
    left, bottom, width, height = area
    measures = known.record.measures
    element = int(known.holes.element[at])
    stick = known.sticks.at(np.array([element]))
    axes = wood_axes(stick.a, stick.b)
    along = float(known.record.numbers("sample", "along_m")[known.holes.sample[at]])
    share = min(max(along / max(float(axes[3][0]), 1e-9), 0.0), 1.0)
    upright, level = (
        float(size[0, 0] + share * (size[0, 1] - size[0, 0]))
        for size in (stick.upright_m, stick.level_m)
    )
    measured, square = bool(np.isfinite(upright + level)), bool(stick.square[0])
    if not measured:
        upright = level = _UNMEASURED_M

    def surface(hours: float) -> Point:
        at_hour, twelve, three = (np.array([one]) for one in (hours, upright, level))
        squared = np.array([square and measured])
        radius = float(section_radius(at_hour, twelve, three, squared)[0])
        return radius * sin(radians(30 * hours)), radius * cos(radians(30 * hours))

    free = (width - 2 * _ROOM_SIDES_MM, height - _ROOM_ABOVE_MM - _ROOM_BELOW_MM)
    least = max(level * 1000 / free[0], upright * 1000 / free[1])
    scale = float(next((one for one in _SCALES if one >= least), _SCALES[-1]))
    middle = (left + width / 2, bottom + _ROOM_BELOW_MM + free[1] / 2)
    paper = Transform(scale, (0.0, 0.0), middle)
    if square and measured:
        half = (level / 2, upright / 2)
        corners = [(x * half[0], y * half[1]) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    else:
        corners = [surface(number / 6) for number in range(72)]
    outline = tuple(paper(*one) for one in corners)
    outline_left = min(x for x, _ in outline)
    dash = () if measured else (1.2, 0.8)
    items: list[Item] = [Line(outline, closed=True, width=0.4, fill=0.92, dash=dash)]
    items += _hours(paper, surface)
    if measured:
        items += _sizes(paper, upright, level, measures)
    drills = _drills(known, at, axes, surface)
    taken = [(*_outside(paper(*surface(hour)), middle, 4.2), 1.8) for hour in (3, 6, 9, 12)]
    side_x = outline_left - _SIDE_SIZE_MM - 1.2
    taken += [(side_x, middle[1] + step, 1.5) for step in (-4.0, -1.5, 1.5, 4.0)]
    wanted, texts = [], {}
    for drill in drills:
        mine = drill.mine
        entry, end = paper(*drill.entry), paper(*drill.bottom)
        items += _drawn(drill, entry, end, drill.bore_m * paper.mm_a_metre)
        taken += [(*entry, 2.3 if mine else 1.0)]
        taken += [
            (entry[0] + part * (end[0] - entry[0]), entry[1] + part * (end[1] - entry[1]), 1.2)
            for part in (0.2, 0.4, 0.6, 0.8, 1.0)
        ]
        stamp = stamps.get(drill.sample_id, drill.sample_id)
        text = stamp if mine else f"{stamp}, {_off(drill.off_m, measures)}"
        if mine and drill.depth_m:
            depth = measures.say(drill.depth_m, "m", "core")
            text = _("{stamp}, {depth} deep").format(stamp=stamp, depth=depth)
        face, size = (MONO, _STAMP_SIZE) if mine else (PLAIN, _NEAR_SIZE)
        reach = 2.4 if mine else 1.0
        room = face.width(text, size), size * _CAP
        spots = _beside(entry, end, room) if mine else ()
        wanted.append(Wanted(drill.sample_id, *room, entry, reach, spots))
        texts[drill.sample_id] = text, size, "mono" if mine else "plain"
    placed, _unplaced = place_labels(wanted, taken, area)
    for label in placed:
        if label.leader:
            items += [Line(label.leader, width=0.35, grey=1.0), Line(label.leader, width=0.1)]
    for label in placed:
        text, size, name = texts[label.key]
        spot = (label.x, label.y - size * _CAP / 2)
        items.append(Text(spot, text, size, name, "centre", halo=True))  # type: ignore[arg-type]  # a face's name
    scale_text = f"1 : {scale:g}" if measured else _("not to scale: no diameter is recorded")
    items.append(Text((left + width / 2, bottom + 0.8), scale_text, 1.9, align="centre", grey=0.2))
    words = _words(upright, level, measured, drills, stamps, measures)
    return EndView((Group(tuple(items), clip=area),), scale, words)


def _beside(
    entry: Point, end: Point, label: tuple[float, float]
) -> tuple[tuple[float, float, float], ...]:
    """Places for a label beside a drill, on either side of its middle."""
    along = hypot(end[0] - entry[0], end[1] - entry[1])
    if not along:
        return ()
    across = (end[1] - entry[1]) / along, -(end[0] - entry[0]) / along
    off = abs(across[0]) * label[0] / 2 + abs(across[1]) * label[1] / 2 + _BESIDE_MM
    middle = (entry[0] + end[0]) / 2, (entry[1] + end[1]) / 2
    return tuple(
        (middle[0] + side * off * across[0], middle[1] + side * off * across[1], 0.0)
        for side in (1, -1)
    )


def _outside(point: Point, middle: Point, by: float) -> Point:
    across, up = point[0] - middle[0], point[1] - middle[1]
    length = max(hypot(across, up), 1e-9)
    return point[0] + across / length * by, point[1] + up / length * by


def _hours(paper: Transform, surface: Callable[[float], Point]) -> list[Item]:
    """Strokes at the surface for each hour, with 12, 3, 6 and 9 outside it, and the axis."""
    x, y = paper.at
    cross = (((x - 1.2, y), (x + 1.2, y)), ((x, y - 1.2), (x, y + 1.2)))
    items: list[Item] = [Line(one, width=0.13, grey=0.3) for one in cross]
    for hour in range(1, 13):
        at = paper(*surface(hour))
        main = hour % 3 == 0
        ends = (_outside(at, paper.at, -1.6 if main else -0.9), at)
        items.append(Line(ends, width=0.35 if main else 0.18))
        if main:
            right, up = _outside(at, paper.at, 4.0)
            text_at = (right, up - _HOUR_SIZE * _CAP / 2)
            items.append(Text(text_at, str(hour), _HOUR_SIZE, align="centre"))
    return items


def _sizes(paper: Transform, upright: float, level: float, measures: Measures) -> list[Item]:
    """The two diameters with their measures, level below and upright on the left."""
    (right, top), (x, y) = paper(level / 2, upright / 2), paper(-level / 2, -upright / 2)
    low, side = y - 7.5, x - _SIDE_SIZE_MM
    items: list[Item] = [Line(((x, low), (right, low)), width=0.13)]
    items += [Line(((end, low - 0.8), (end, low + 0.8)), width=0.13) for end in (x, right)]
    middle = ((x + right) / 2, low - 2.6)
    items.append(Text(middle, _across(level, measures), _NEAR_SIZE, align="centre"))
    items.append(Line(((side, y), (side, top)), width=0.13))
    items += [Line(((side - 0.8, end), (side + 0.8, end)), width=0.13) for end in (y, top)]
    middle = (side - 1.2, (y + top) / 2)
    words = _across(upright, measures)
    items.append(Text(middle, words, _NEAR_SIZE, align="centre", turn_deg=90))
    return items


def _drills(
    known: KnownPoints,
    at: int,
    axes: tuple[Floats, Floats, Floats, Floats],
    surface: Callable[[float], Point],
) -> list[_Drill]:
    """The hole and those near it in the same wood whose clock position is recorded, its own last.

    Built on the section from clock, direction and depth, so that it needs no heights.
    """
    holes, record = known.holes, known.record
    forward, up, right, _ = (one[0] for one in axes)
    clocks, alongs = (record.numbers("sample", name) for name in ("clock", "along_m"))
    off = alongs[holes.sample] - alongs[holes.sample[at]]
    near = np.flatnonzero(
        (holes.element == holes.element[at])
        & holes.is_hole
        & (np.abs(off) <= NEAR_M)
        & np.isfinite(clocks[holes.sample])
    )
    found = []
    for one in sorted(map(int, near), key=lambda one: (one == at, off[one])):
        way = np.nan_to_num(holes.bores.direction[one])
        into_end = abs(float(way @ forward)) > _ALONG
        entry = (0.0, 0.0) if into_end else surface(float(clocks[holes.sample[one]]))
        depth = float(np.nan_to_num(holes.depth_m[one]))
        bottom = entry[0] + depth * float(way @ right), entry[1] + depth * float(way @ up)
        bore = float(holes.bore_m[one])
        found.append(
            _Drill(
                record.cell("sample", "sample_id", int(holes.sample[one])),
                entry,
                bottom,
                depth,
                bore if np.isfinite(bore) else _UNRECORDED_BORE_M,
                float(off[one]),
                into_end,
                bool(holes.bores.sure_direction[one]),
                one == at,
            )
        )
    return found


def _drawn(drill: _Drill, entry: Point, end: Point, bore: float) -> list[Item]:
    """The bore as wide and deep as it is: dark for the hole itself, an open outline for others."""
    grey, fill = (0.0, 0.45) if drill.mine else (0.35, None)
    dash = () if drill.mine and drill.sure else (0.7, 0.5)
    items: list[Item] = []
    along = hypot(end[0] - entry[0], end[1] - entry[1])
    if drill.into_end:
        arm = bore / 2 * 0.7
        cross = (((-arm, -arm), (arm, arm)), ((-arm, arm), (arm, -arm)))
        items.append(Disc(entry, max(bore / 2, 0.8), width=0.3, grey=grey, fill=1.0, dash=dash))
        for start, stop in cross:
            ends = (
                (entry[0] + start[0], entry[1] + start[1]),
                (entry[0] + stop[0], entry[1] + stop[1]),
            )
            items.append(Line(ends, width=0.3, grey=grey))
    elif along > 0:
        across = (
            -(end[1] - entry[1]) / along * bore / 2,
            (end[0] - entry[0]) / along * bore / 2,
        )
        corners = tuple(
            (point[0] + side * across[0], point[1] + side * across[1])
            for point, side in ((entry, 1), (end, 1), (end, -1), (entry, -1))
        )
        items.append(Line(corners, closed=True, width=0.25, grey=grey, fill=fill, dash=dash))
    if drill.mine:
        items += [Disc(entry, 2.2, width=0.9, grey=1.0), Disc(entry, 2.2, width=0.45)]
    return items


def _across(size_m: float, measures: Measures) -> str:
    """A size of the section, which lies between two that were measured: no finer than 1 cm."""
    return measures.say(size_m, "m", "diameter", u95_mm=15.0)


def _off(off_m: float, measures: Measures) -> str:
    towards = _("{distance} toward B") if off_m > 0 else _("{distance} toward A")
    return towards.format(distance=measures.say(abs(off_m), "m", "timber"))


def _words(
    upright: float,
    level: float,
    measured: bool,
    drills: list[_Drill],
    stamps: dict[str, str],
    measures: Measures,
) -> str:
    sizes = (
        _("Section there: {upright} from 12 to 6 o'clock, {level} from 3 to 9.").format(
            upright=_across(upright, measures), level=_across(level, measures)
        )
        if measured
        else _("No diameter of this wood is recorded.")
    )
    others = [
        f"{stamps.get(one.sample_id, one.sample_id)} ({_off(one.off_m, measures)})"
        for one in drills
        if not one.mine
    ]
    reach = measures.say(NEAR_M, "m", "range")
    near = _(" Dashed, holes within {reach} along the wood: {holes}.").format(
        reach=reach, holes=", ".join(others)
    )
    return sizes + (near if others else "")
