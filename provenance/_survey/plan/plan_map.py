"""Draws the map part of a plan: places, wood, holes and datums with their labels, to scale."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, radians, sin

import numpy as np

from provenance._drawing.drawing import Disc, Group, Item, Line, Picture, Text, Transform
from provenance._drawing.fonts import FACES, PLAIN
from provenance._drawing.label_places import Placed, Wanted, place_labels, told_apart
from provenance._record.trust import share_words
from provenance._survey.parts.outline import distance_outside
from provenance._survey.plan.plan_content import (
    PlanContent,
    PlanDoubt,
    PlanHole,
    PlanWood,
    Underlay,
)

HOLE_MM, DATUM_MM, PLACE_MM = 0.75, 1.3, 1.2
_LEAST_RING_MM = 1.6
_STAMP_SIZE, _WOOD_SIZE, _DATUM_SIZE, _PLACE_SIZE = 2.5, 2.0, 2.2, 2.4
_STACKED_M = 0.25
_CAP = 0.73
Area = tuple[float, float, float, float]
Tape = tuple[tuple[float, float], tuple[float, float], str]


@dataclass(frozen=True)
class MapDrawing:
    """What to draw, and what found no room for its label."""

    items: tuple[Item, ...]
    unlabelled: tuple[str, ...]


def hole_symbol(
    at: tuple[float, float], is_hole: bool = True, is_doubted: bool = False
) -> tuple[Item, ...]:
    """A filled dot for a hole, an open one where its place is in doubt, a cross for a cut."""
    if is_hole and is_doubted:
        return (Disc(at, HOLE_MM, width=0.3, fill=1.0),)
    if is_hole:
        return (Disc(at, HOLE_MM, width=0.25, grey=1.0, fill=0.0),)
    x, y = at
    arm = HOLE_MM
    strokes = (((x - arm, y - arm), (x + arm, y + arm)), ((x - arm, y + arm), (x + arm, y - arm)))
    white = [Line(stroke, width=0.8, grey=1.0) for stroke in strokes]
    return (*white, *(Line(stroke, width=0.35) for stroke in strokes))


def datum_symbol(at: tuple[float, float]) -> tuple[Item, ...]:
    """A triangle with a dot."""
    x, y = at
    half = DATUM_MM
    corners = ((x - half, y - 0.6 * half), (x + half, y - 0.6 * half), (x, y + 1.15 * half))
    return (Line(corners, closed=True, width=0.3, fill=1.0), Disc(at, 0.25, grey=None, fill=0.0))


def place_symbol(at: tuple[float, float]) -> Line:
    """A diamond at a place where a point in doubt may be."""
    x, y = at
    half = PLACE_MM
    corners = ((x - half, y), (x, y - half), (x + half, y), (x, y + half))
    return Line(corners, closed=True, width=0.3, fill=1.0)


def _doubt_shapes(doubt: PlanDoubt, transform: Transform) -> list[Item]:
    """The ring that a point is looked for in, and the places that it may be at."""
    at, reach = transform(*doubt.at), (doubt.trust.search_m or 0.0) * transform.mm_a_metre
    shapes: list[Item] = []
    if reach:
        radius = max(reach, _LEAST_RING_MM)
        shapes.append(Disc(at, radius, width=0.7, grey=1.0))
        shapes.append(Disc(at, radius, width=0.25, dash=(1.0, 0.6)))
    return [*shapes, *(place_symbol(transform(*place)) for place in doubt.places)]


def draw_map(
    content: PlanContent,
    transform: Transform,
    area: Area,
    *,
    marked: str | None = None,
    tapes: Sequence[Tape] = (),
    named: Collection[str] | None = None,
    ground: Picture | None = None,
) -> MapDrawing:
    """The map inside `area` (left, bottom, width, height in mm), clipped to it.

    The hole of the sample `marked` gets a ring if it has one place; `tapes` are dashed lines
    between grid points, with their texts. Labels stay inside the area and off each other; `named`
    are the only pieces of wood that get one (all when None). `ground` is what `draw_ground` draws,
    as a picture in its place.
    """
    shapes: list[Item] = [ground] if ground else [*_ground(content, transform)]
    for start, end, _ in tapes:
        line = (transform(*start), transform(*end))
        shapes += [Line(line, width=0.7, grey=1.0), Line(line, width=0.22, dash=(1.4, 0.9))]
    symbols: list[tuple[float, float, float]] = []
    for doubt in content.doubts:
        shapes += _doubt_shapes(doubt, transform)
        symbols += [(*transform(*place), PLACE_MM) for place in doubt.places]
    for hole in content.holes:
        at = transform(*hole.at)
        if not ground or hole.sample_id == marked:
            shapes.append(_hole_shape(hole, transform))
        symbols.append((*at, HOLE_MM))
        if hole.sample_id == marked and not hole.trust.is_withheld:
            shapes.append(Disc(at, 2.2, width=0.9, grey=1.0))
            shapes.append(Disc(at, 2.2, width=0.45))
            symbols.append((*at, 2.5))
    taped = {start for start, _, _ in tapes}
    for datum in content.datums:
        at = transform(*datum.at)
        if not ground or datum.at in taped:
            shapes.extend(datum_symbol(at))
        symbols.append((*at, DATUM_MM + 0.2))
    labels, unlabelled = _labels(content, transform, area, symbols, marked, tapes, named)
    return MapDrawing((Group(tuple(shapes), clip=area), *labels), unlabelled)


def draw_ground(content: PlanContent, transform: Transform) -> tuple[Item, ...]:
    """What is on the map whichever hole is asked for: places, wood, holes and datums, unnamed."""
    shapes = [*_ground(content, transform)]
    shapes += [_hole_shape(hole, transform) for hole in content.holes]
    for datum in content.datums:
        shapes += datum_symbol(transform(*datum.at))
    return tuple(shapes)


def _ground(content: PlanContent, transform: Transform) -> Iterator[Item]:
    """What lies below tapes and symbols."""
    yield from (_underlay(one, transform) for one in content.underlays)
    for place in content.places:
        points = tuple(transform(*point) for point in place.outline)
        yield Line(points, closed=True, width=0.13, grey=0.45, dash=(1.6, 0.7, 0.3, 0.7))
    for wood in content.woods:
        drawn = tuple(_wood_shapes(wood, transform))
        yield Group(drawn, about=("element", wood.element_id))
    for hole in content.holes:
        at, bottom = transform(*hole.at), transform(*hole.bottom)
        if hypot(bottom[0] - at[0], bottom[1] - at[1]) > HOLE_MM:
            yield Line((at, bottom), width=0.3)


def _hole_shape(hole: PlanHole, transform: Transform) -> Group:
    symbol = hole_symbol(transform(*hole.at), hole.is_hole, hole.trust.is_doubted)
    return Group(symbol, about=("sample", hole.sample_id))


def _underlay(one: Underlay, transform: Transform) -> Picture:
    factor = transform.mm_a_metre
    return Picture(
        transform(*one.at),
        one.width_m * factor,
        one.height_m * factor,
        one.turn_deg,
        one.data,
        one.media_type or "image/png",
        strength=0.45,
    )


def _wood_shapes(wood: PlanWood, transform: Transform) -> list[Item]:
    points = tuple(transform(*point) for point in wood.outline)
    fill = 0.80 if wood.sampled else 0.93
    dash = (0.9, 0.6) if wood.loose else ()
    shapes: list[Item] = [Line(points, closed=True, width=0.2, fill=fill, dash=dash)]
    if wood.upright:
        # crossed corners tell a post's section from a short piece
        xs, ys = zip(*points, strict=True)
        left, right, low, high = min(xs), max(xs), min(ys), max(ys)
        k = 0.0 if len(points) == 4 else 0.1464466
        dx, dy = k * (right - left), k * (high - low)
        shapes.append(Line(((left + dx, low + dy), (right - dx, high - dy)), width=0.13))
        shapes.append(Line(((left + dx, high - dy), (right - dx, low + dy)), width=0.13))
    else:
        # end A, where measuring begins, has a short stroke square to the axis
        shapes.append(Line((points[0], points[3]), width=0.5))
    return shapes


def _labels(
    content: PlanContent,
    transform: Transform,
    area: Area,
    symbols: list[tuple[float, float, float]],
    marked: str | None,
    tapes: Sequence[Tape],
    named: Collection[str] | None,
) -> tuple[list[Item], tuple[str, ...]]:
    wanted: list[Wanted] = []
    texts: dict[str, tuple[str, str, float, float]] = {}
    about: dict[str, tuple[str, str]] = {}

    def want(
        key: str,
        text: str,
        face: str,
        size: float,
        grey: float,
        anchor: tuple[float, float],
        reach: float,
        inside: tuple[tuple[float, float, float], ...] = (),
    ) -> None:
        if not _in(anchor, area):
            return
        width = FACES[face].width(text, size)
        wanted.append(Wanted(key, width, size * _CAP, anchor, reach, inside))
        texts[key] = (text, face, size, grey)

    keys = told_apart({hole.sample_id: f"hole {hole.stamp}" for hole in content.holes})
    for hole in sorted(content.holes, key=lambda hole: hole.sample_id != marked):
        at = transform(*hole.at)
        reach = 2.6 if hole.sample_id == marked else HOLE_MM
        key = keys[hole.sample_id]
        want(key, hole.stamp, "mono", _STAMP_SIZE, 0.0, at, reach)
        about[key] = ("sample", hole.sample_id)
    for datum in content.datums:
        at = transform(*datum.at)
        want(f"datum {datum.datum_id}", datum.datum_id, "bold", _DATUM_SIZE, 0.0, at, DATUM_MM)
    for doubt in content.doubts:
        for rank, allowed in enumerate(doubt.trust.places, start=1):
            at = transform(*allowed.at[:2])
            # a sheet about one hole has the shares beside the map, which is small
            text = f"{rank}" if marked else f"{rank}: {share_words(allowed)}"
            key = f"place {rank} of {doubt.trust.about}"
            want(key, text, "plain", _DATUM_SIZE, 0.0, at, PLACE_MM)
    for start, end, text in tapes:
        spots = _along(transform(*start), transform(*end), area)
        if spots:
            want(f"tape {text}", text, "bold", _DATUM_SIZE, 0.0, spots[0][:2], 0.5, spots)
    covers = _Covers(content.woods)
    labelled = [wood for wood in content.woods if named is None or wood.element_id in named]
    for group in _stacks(labelled):
        text = joined_codes([wood.element_id for wood in group])
        top = group[-1]
        inside = () if top.upright else _along(transform(*top.a), transform(*top.b), area)
        half = PLAIN.width(text, _WOOD_SIZE) / 2 / transform.mm_a_metre
        # where other wood lies over it, a label would seem to name that
        hidden = [covers.hide(spot, half, top, transform) for spot in inside]
        inside = tuple(
            spot
            for covered in (False, True)
            for spot, one in zip(inside, hidden, strict=True)
            if one is covered
        )
        anchor = inside[0][:2] if inside else transform(*_middle(top))
        want(f"wood {text}", text, "plain", _WOOD_SIZE, 0.15, anchor, 0.8, inside)
        about[f"wood {text}"] = ("element", top.element_id)
    for place in content.places:
        if place.place_id == content.building_id:
            continue
        xs, ys = zip(*(transform(*p) for p in place.outline), strict=True)
        middle = ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
        text = place.place_id
        want(f"place {text}", text, "bold", _PLACE_SIZE, 0.4, middle, 0.0, ((*middle, 0.0),))
        about[f"place {text}"] = ("place", place.place_id)
    placed, homeless = place_labels(wanted, symbols, area)
    items: list[Item] = []
    for one in placed:
        if one.leader:
            items.append(Line(one.leader, width=0.35, grey=1.0))
            items.append(Line(one.leader, width=0.1, grey=0.2))
    for one in placed:
        label = _label(one, *texts[one.key])
        row = about.get(one.key)
        items.append(Group((label,), about=row, is_label=True) if row else label)
    return items, tuple(homeless)


def _label(one: Placed, text: str, face: str, size: float, grey: float) -> Text:
    down = size * _CAP / 2
    turn = radians(one.turn_deg)
    at = (one.x + down * sin(turn), one.y - down * cos(turn))
    return Text(at, text, size, face, "centre", one.turn_deg, grey, halo=True)  # type: ignore[arg-type]  # a face's name


def _in(point: tuple[float, float], area: Area) -> bool:
    left, bottom, width, height = area
    return left <= point[0] <= left + width and bottom <= point[1] <= bottom + height


def _middle(wood: PlanWood) -> tuple[float, float]:
    return (wood.a[0] + wood.b[0]) / 2, (wood.a[1] + wood.b[1]) / 2


def _along(
    a: tuple[float, float], b: tuple[float, float], area: Area
) -> tuple[tuple[float, float, float], ...]:
    """Places for a label on a line, the middle first, to be read from below or right."""
    turn = degrees(atan2(b[1] - a[1], b[0] - a[0]))
    if turn > 100 or turn <= -80:
        turn += 180 if turn < 0 else -180
    shares = (0.5, 0.35, 0.65, 0.25, 0.75, 0.15, 0.85)
    spots = [(a[0] + (b[0] - a[0]) * s, a[1] + (b[1] - a[1]) * s) for s in shares]
    return tuple((*spot, turn) for spot in spots if _in(spot, area))


class _Covers:
    """The lying wood of a plan in its order, upper last, to ask what hides a place on it."""

    def __init__(self, woods: Sequence[PlanWood]) -> None:
        self._places = {wood.element_id: place for place, wood in enumerate(woods)}
        self._outlines = [np.array(wood.outline) for wood in woods]
        self._lying = np.array([not wood.upright for wood in woods], dtype=bool)
        self._low = np.array([one.min(axis=0) for one in self._outlines]).reshape(-1, 2)
        self._high = np.array([one.max(axis=0) for one in self._outlines]).reshape(-1, 2)

    def hide(
        self, spot: tuple[float, float, float], half_m: float, wood: PlanWood, transform: Transform
    ) -> bool:
        """Whether wood above this one lies over a label of that half length at the spot."""
        x, y, turn = spot
        factor = transform.mm_a_metre
        middle = np.array(
            [
                transform.origin[0] + (x - transform.at[0]) / factor,
                transform.origin[1] + (y - transform.at[1]) / factor,
            ]
        )
        along = np.array([cos(radians(turn)), sin(radians(turn))])
        points = middle + np.outer((-1.0, -0.5, 0.0, 0.5, 1.0), half_m * along)
        first = self._places[wood.element_id] + 1
        # only what a point lies within the bounds of needs a closer look
        near = (
            (self._low[first:, None] <= points).all(axis=2)
            & (points <= self._high[first:, None]).all(axis=2)
        ) & self._lying[first:, None]
        return any(
            distance_outside(self._outlines[first + at], points[number]) == 0
            for at, number in np.argwhere(near)
        )


def _stacks(woods: Sequence[PlanWood]) -> list[list[PlanWood]]:
    """Pieces that lie over each other on the plan, as logs of a wall do, share a label."""
    stacks: list[list[PlanWood]] = []
    for wood in woods:
        for stack in stacks:
            if _lies_over(stack[0], wood):
                stack.append(wood)
                break
        else:
            stacks.append([wood])
    return stacks


def _lies_over(one: PlanWood, other: PlanWood) -> bool:
    def near(p: tuple[float, float], q: tuple[float, float]) -> bool:
        return hypot(p[0] - q[0], p[1] - q[1]) < _STACKED_M

    return (near(one.a, other.a) and near(one.b, other.b)) or (
        near(one.a, other.b) and near(one.b, other.a)
    )


def joined_codes(codes: Sequence[str]) -> str:
    """Codes in few characters: LH-003, LH-004, LH-005, LH-009 become 'LH-003…005, 009'.

    >>> joined_codes(["LH-003", "LH-004", "LH-005", "LH-009"])
    'LH-003…005, 009'
    """
    parts = [re.fullmatch(r"(.*?)(\d+)", code) for code in sorted(codes)]
    if not all(parts) or len({part[1] for part in parts if part}) != 1:
        return ", ".join(sorted(codes))
    numbers = [part[2] for part in parts if part]
    runs: list[list[str]] = []
    for number in numbers:
        if runs and int(number) == int(runs[-1][-1]) + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    told = [run[0] if len(run) == 1 else f"{run[0]}…{run[-1]}" for run in runs]
    prefix = parts[0][1] if parts[0] else ""
    return prefix + ", ".join(told)
