"""Draws a piece of wood from its side, to scale, with holes, cuts, joints and nails along it.

The strip shows the wood from its right (the 3 o'clock side), so end A is on the left and 12 is up.
Holes on the far side are open rings. Where a hole is drawn was measured on the wood; a question
mark says that what was taped to the hole itself does not agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, cos, radians

import numpy as np

from provenance._base.languages import _
from provenance._drawing.drawing import Disc, Group, Item, Line, Text, Transform
from provenance._drawing.fonts import MONO, PLAIN
from provenance._drawing.label_places import Wanted, place_labels, told_apart
from provenance._model.measures import Measures
from provenance._record.trust import NOT_JUDGED
from provenance._survey.adjust.bore import UPRIGHT_DEG, section_radius, wood_axes
from provenance._survey.hole.known_points import KnownPoints
from provenance._survey.parts.features import read_features
from provenance._survey.plan.plan_map import HOLE_MM, hole_symbol
from provenance._survey.plan.sheet_parts import best_scale, ground_unit, scale_words

Area = tuple[float, float, float, float]
_CAP = 0.73
_STAMP_SIZE, _FEATURE_SIZE, _TICK_SIZE = 2.5, 2.1, 1.9
_ROOM_ABOVE_MM, _ROOM_BELOW_MM = 9.0, 8.5
_RULER_STEPS = {"m": (0.1, 0.2, 0.5, 1.0, 2.0, 5.0), "ft": (0.5, 1.0, 2.0, 5.0)}


@dataclass(frozen=True)
class Strip:
    """A drawn strip, its scale as a divisor, and the labels that found no room."""

    items: tuple[Item, ...]
    scale: float
    unlabelled: tuple[str, ...]


def strip_title(known: KnownPoints, element: int, use: str = "") -> str:
    """Code, use (in words that are given, or its code) and how the wood stands, in one line."""
    row = known.record.row("element", element)
    parts = [row["element_id"], use or row["function"].replace("_", " ")]
    stick = known.sticks.at(np.array([element]))
    axes = wood_axes(stick.a, stick.b)
    forward, length = axes[0], axes[3]
    parts += [row["position_note"]] if row["position_note"] else []
    parts.append(known.record.measures.say(length[0], "m", "timber"))
    if abs(forward[0, 2]) > np.sin(np.radians(UPRIGHT_DEG)):
        below = forward[0, 2] > 0
        parts.append(_("upright, end A below") if below else _("upright, end A above"))
    return ", ".join(parts)


def draw_strip(
    known: KnownPoints,
    stamps: dict[str, str],
    element: int,
    area: Area,
    *,
    marked: str | None = None,
) -> Strip:
    """The side of one piece of wood in `area` (left, bottom, width, height in mm).

    `element` is a row number whose two ends are known; `stamps` maps samples to their stamps. The
    hole of the sample `marked` gets a ring.
    """
    left, bottom, width, height = area
    stick = known.sticks.at(np.array([element]))
    lengths = wood_axes(stick.a, stick.b)[3]
    length = float(lengths[0])
    size = np.nan_to_num(stick.upright_m[0], nan=0.04)
    thick = float(size.max())
    free_height = height - _ROOM_ABOVE_MM - _ROOM_BELOW_MM
    measures = known.record.measures
    scale = float(best_scale(length, thick, width - 14.0, free_height, measures))
    middle_y = bottom + _ROOM_BELOW_MM + free_height / 2
    drawn = length * 1000 / scale
    transform = Transform(scale, (0.0, 0.0), (left + (width - drawn) / 2, middle_y))
    items: list[Item] = list(_profile(transform, length, size))
    items += _ruler(transform, length, thick, measures)
    wanted: list[Wanted] = []
    texts: dict[str, tuple[str, str, float]] = {}
    anchors: dict[str, tuple[tuple[float, float], float]] = {}
    symbols = [
        (*transform(end, 0.0), 1.6)
        for end in (-2.6 / transform.mm_a_metre, length + 2.6 / transform.mm_a_metre)
    ]
    holes = list(_holes(known, element))
    keys = told_apart({hole[0]: f"hole {stamps.get(hole[0], hole[0])}" for hole in holes})
    for sample_id, along, up, near, is_hole in holes:
        at = transform(along, up)
        if near:
            items.extend(hole_symbol(at, is_hole))
        else:
            items.append(Disc(at, HOLE_MM, width=0.3, fill=1.0, dash=(0.5, 0.35)))
        reach = HOLE_MM
        if sample_id == marked:
            items += [Disc(at, 2.2, width=0.9, grey=1.0), Disc(at, 2.2, width=0.45)]
            reach = 2.4
        symbols.append((*at, reach))
        stamp = stamps.get(sample_id, sample_id)
        taped = known.trust(f"hole:{sample_id}") if known.is_taped(sample_id) else NOT_JUDGED
        doubt = " ?" if taped.is_doubted else ""
        at_along = measures.say(along, "m", "timber")
        text = _("{stamp} at {along}").format(stamp=stamp, along=at_along) + doubt
        label_width = MONO.width(text, _STAMP_SIZE)
        above = _half_at(size, along, length) * transform.mm_a_metre + middle_y + 2.6
        spots = tuple(
            (at[0] + shift, above + up_by, 0.0)
            for up_by in (0.0, 3.4)
            for shift in (0.0, label_width * 0.55, -label_width * 0.55)
        )
        label_height = _STAMP_SIZE * _CAP
        key = keys[sample_id]
        wanted.append(Wanted(key, label_width, label_height, at, reach, spots))
        anchors[key] = (at, reach)
        texts[key] = (text, "mono", _STAMP_SIZE)
    features = read_features(known.record.cell("element", "features", element))[0]
    for number, one in enumerate(features):
        place = (one.from_m + one.to_m) / 2
        top = transform(place, _half_at(size, place, length))
        foot = transform(place, -_half_at(size, place, length))
        items.append(Line((top, foot), width=0.2, dash=(0.6, 0.5)))
        key = f"{number} {one.what}"
        text = f"{one.what} {measures.say(one.from_m, 'm', 'timber')}"
        text_width = PLAIN.width(text, _FEATURE_SIZE)
        spots = tuple(
            (foot[0] + shift * text_width, foot[1] - 2.0, 0.0) for shift in (0.0, 0.55, -0.55)
        )
        wanted.append(Wanted(key, text_width, _FEATURE_SIZE * _CAP, top, 0.6, spots))
        texts[key] = (text, "plain", _FEATURE_SIZE)
    low = bottom + _ROOM_BELOW_MM - 3.6
    placed, homeless = place_labels(wanted, symbols, (left, low, width, bottom + height - low))
    for label in placed:
        if label.key in anchors and not label.leader:
            (x, y), reach = anchors[label.key]
            # straight up to a label above, aslant to one beside it
            near_x = min(max(x, label.x - 1.5), label.x + 1.5)
            items.append(Line(((x, y + reach), (near_x, label.y - 1.2)), width=0.1))
        if label.leader:
            items += [Line(label.leader, width=0.35, grey=1.0), Line(label.leader, width=0.1)]
    for label in placed:
        text, face, text_size = texts[label.key]
        at = (label.x, label.y - text_size * _CAP / 2)
        items.append(Text(at, text, text_size, face, "centre", halo=True))  # type: ignore[arg-type]  # a face's name
    return Strip((Group(tuple(items)),), scale, tuple(homeless))


def _half_at(size: np.ndarray, along: float, length: float) -> float:
    share = min(max(along / max(length, 1e-9), 0.0), 1.0)
    return float(size[0] + share * (size[1] - size[0])) / 2


def _profile(transform: Transform, length: float, size: np.ndarray) -> list[Item]:
    half_a, half_b = float(size[0]) / 2, float(size[1]) / 2
    corners = ((0, -half_a), (length, -half_b), (length, half_b), (0, half_a))
    points = tuple(transform(x, y) for x, y in corners)
    axis = (transform(0, 0), transform(length, 0))
    a, b = transform(0, 0), transform(length, 0)
    return [
        Line(points, closed=True, width=0.25, fill=0.90),
        Line((points[0], points[3]), width=0.6),
        Line(axis, width=0.1, grey=0.4, dash=(2.0, 0.8, 0.4, 0.8)),
        Text((a[0] - 2.6, a[1] - 1.1), "A", 3.0, "bold", "centre"),
        Text((b[0] + 2.6, b[1] - 1.1), "B", 3.0, "bold", "centre"),
    ]


def _ruler(transform: Transform, length: float, thick: float, measures: Measures) -> list[Item]:
    unit, metres = ground_unit(measures)
    factor = transform.mm_a_metre * metres
    step = next((s for s in _RULER_STEPS[unit] if s * factor >= 9.0), 10.0)
    y = transform(0, -thick / 2)[1] - 4.6
    start, end = transform(0, 0)[0], transform(length, 0)[0]
    items: list[Item] = [Line(((start, y), (end, y)), width=0.18)]
    for number in range(ceil(length / metres / step)):
        x = transform(number * step * metres, 0)[0]
        items.append(Line(((x, y), (x, y + 0.9)), width=0.18))
        items.append(Text((x, y - 2.2), f"{number * step:g}", _TICK_SIZE, align="centre", grey=0.2))
    items.append(Line(((end, y), (end, y + 0.9)), width=0.18))
    told = _("{unit} from A, {scale}").format(
        unit=unit, scale=scale_words(transform.scale, measures)
    )
    items.append(Text((end + 1.2, y - 0.6), told, _TICK_SIZE, grey=0.2))
    return items


def _holes(known: KnownPoints, element: int) -> list[tuple[str, float, float, bool, bool]]:
    """Sample, distance along, height over the axis in the view, on the near side, hole or cut."""
    holes = known.holes
    clocks = known.record.numbers("sample", "clock")
    alongs = known.record.numbers("sample", "along_m")
    stick = known.sticks.at(np.array([element]))
    found = []
    for at in np.flatnonzero(holes.element == element):
        sample = int(holes.sample[at])
        clock = float(clocks[sample])
        up, near = 0.0, True
        if holes.is_hole[at] and np.isfinite(clock):
            share = alongs[sample] / max(float(np.linalg.norm(stick.b - stick.a)), 1e-9)
            upright = stick.upright_m[:, 0] + share * (
                stick.upright_m[:, 1] - stick.upright_m[:, 0]
            )
            level = stick.level_m[:, 0] + share * (stick.level_m[:, 1] - stick.level_m[:, 0])
            radius = section_radius(np.array([clock]), upright, level, stick.square)
            up = float(np.nan_to_num(radius)[0]) * cos(radians(30 * clock))
            near = clock % 12 <= 6.0
        sample_id = known.record.cell("sample", "sample_id", sample)
        found.append((sample_id, float(alongs[sample]), up, near, bool(holes.is_hole[at])))
    return sorted(found, key=lambda one: one[1])
