"""Draws the parts that a drawing to scale needs round the map: scale bar, north, ticks, legend."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import ceil, cos, radians, sin
from types import MappingProxyType

from provenance._base.errors import TreenailError
from provenance._base.languages import _
from provenance._drawing.drawing import Disc, Item, Line, Text, Transform
from provenance._drawing.fonts import FACES, PLAIN
from provenance._model.measures import FEET_INCHES, FOOT, METRIC, Measures
from provenance._survey.plan.plan_map import datum_symbol, hole_symbol, place_symbol

_METRIC_SCALES = (5, 10, 20, 25, 50, 75, 100, 125, 200, 250, 500, 1000, 2000, 5000, 10000)
_ARCHITECTS = {4: "3", 8: "1 1/2", 12: "1", 16: "3/4", 24: "1/2", 48: "1/4", 96: "1/8", 192: "1/16"}
"""Divisor → inches on paper to the foot."""
_ENGINEERS_FT = (5, 10, 20, 30, 40, 50, 60, 100, 200, 500, 1000)
"""Feet to the inch on paper; these scales are what rules have: common practice, no source."""
_PARTS_OF_BAR: Mapping[str, Mapping[float, int]] = MappingProxyType(
    {
        "m": {0.1: 5, 0.2: 4, 0.5: 5, 1: 5, 2: 4, 5: 5, 10: 5, 20: 4, 50: 5, 100: 5, 200: 4},
        "ft": {1: 4, 2: 4, 5: 5, 10: 5, 20: 2, 40: 4, 50: 5, 100: 10, 200: 4, 500: 5, 1000: 5},
    }
)
"""Lengths of bars, and their parts; those in feet go by tens where they are long enough."""
_STEPS = MappingProxyType(
    {"m": tuple(_PARTS_OF_BAR["m"]), "ft": (1, 2, 5, 10, 20, 50, 100, 200, 500)}
)
"""From tick to tick of a frame."""


def ground_unit(measures: Measures) -> tuple[str, float]:
    """The unit that plans count in, 'm' or 'ft', and its length in m."""
    return ("m", 1.0) if measures.system == METRIC else ("ft", float(FOOT) / 1000)


def scales_of(measures: Measures) -> tuple[int, ...]:
    """The scales that a rule of the record has, as divisors, the largest first."""
    if measures.system == METRIC:
        return _METRIC_SCALES
    return tuple(sorted([*_ARCHITECTS, *(12 * feet for feet in _ENGINEERS_FT)]))


def scale_words(scale: float, measures: Measures) -> str:
    """A scale as it is said.

    >>> scale_words(50, Measures()), scale_words(240, Measures("feet_inches"))
    ('1 : 50', '1 in = 20 ft')
    >>> scale_words(48, Measures("feet_inches")), scale_words(50, Measures("feet_inches"))
    ('1/4 in = 1 ft', '1 : 50')
    """
    if measures.system != METRIC and scale in _ARCHITECTS:
        return f"{_ARCHITECTS[int(scale)]} in = 1 ft"
    if measures.system != METRIC and scale / 12 in _ENGINEERS_FT:
        return f"1 in = {scale / 12:g} ft"
    return f"1 : {scale:g}"


def scale_named(name: str) -> int:
    """The divisor of a scale that somebody asks for; raises TreenailError that lists those known.

    >>> scale_named("1:50"), scale_named("1in=20ft"), scale_named("1/4 in = 1 ft")
    (50, 240, 48)
    """
    wanted = name.lower().replace(" ", "")
    feet, metric = Measures(FEET_INCHES), Measures()
    known = {
        scale_words(scale, measures): scale
        for measures in (metric, feet)
        for scale in scales_of(measures)
    }
    for words, scale in known.items():
        if words.replace(" ", "") == wanted:
            return scale
    raise TreenailError(f"'{name}' is not a scale of plans; choose one of {', '.join(known)}")


def best_scale(
    width_m: float, height_m: float, width_mm: float, height_mm: float, measures: Measures
) -> int:
    """The largest usual scale (as its divisor) at which the ground fits on the paper."""
    scales = scales_of(measures)
    for scale in scales:
        if width_m * 1000 / scale <= width_mm and height_m * 1000 / scale <= height_mm:
            return scale
    return scales[-1]


def scale_bar(
    x: float, y: float, scale: float, measures: Measures, most_mm: float = 55.0
) -> tuple[Item, ...]:
    """A bar in black and white from (x, y) to the right, with its length and the scale.

    One in feet has a line in meters below it.
    """
    unit, metres = ground_unit(measures)
    whole, parts = _bar_of(unit, metres * 1000 / scale, most_mm)
    part = whole * metres * 1000 / scale / parts
    items: list[Item] = []
    for i in range(parts):
        left = x + i * part
        corners = ((left, y), (left + part, y), (left + part, y + 1.6), (left, y + 1.6))
        items.append(Line(corners, closed=True, width=0.2, fill=0.0 if i % 2 == 0 else 1.0))
    items.append(Text((x, y + 2.4), "0", 2.2, align="centre"))
    items.append(Text((x + parts * part, y + 2.4), f"{whole:g} {unit}", 2.2, align="centre"))
    lower = y
    if unit != "m":
        lower = y - 1.2
        items += _metric_line(x, y - 0.5, scale, parts * part)
    words = scale_words(scale, measures)
    items.append(Text((x, lower - 3.6), words, 3.0, "bold"))
    beside = x + max(16.0, FACES["bold"].width(words, 3.0) + 2.0)
    items.append(Text((beside, lower - 3.4), _("when printed at 100 %"), 2.0, grey=0.25))
    return tuple(items)


def _bar_of(unit: str, unit_mm: float, most_mm: float) -> tuple[float, int]:
    """The longest bar of at most that length on paper, and its parts."""
    bars = _PARTS_OF_BAR[unit]
    whole = max((one for one in bars if one * unit_mm <= most_mm), default=min(bars))
    return whole, bars[whole]


def _metric_line(x: float, y: float, scale: float, most_mm: float) -> list[Item]:
    """A line with ticks below a bar in feet, for whoever has a metric rule."""
    whole, parts = _bar_of("m", 1000 / scale, most_mm)
    long = whole * 1000 / scale
    items: list[Item] = [Line(((x, y), (x + long, y)), width=0.2)]
    for number in range(parts + 1):
        at = x + long * number / parts
        items.append(Line(((at, y), (at, y - 0.9)), width=0.2))
    return [*items, Text((x + long + 0.8, y - 1.6), f"{whole:g} m", 2.0)]


def north_arrow(x: float, y: float, size: float, grid_north_deg: float | None) -> tuple[Item, ...]:
    """An arrow about (x, y), to true north if the grid's own bearing is known, else along y."""
    turn = radians(-(grid_north_deg or 0.0))
    along, right = (sin(turn), cos(turn)), (cos(turn), -sin(turn))

    def at(forward: float, side: float) -> tuple[float, float]:
        return (x + forward * along[0] + side * right[0], y + forward * along[1] + side * right[1])

    half = size / 2
    items: list[Item] = [
        Line((at(half, 0), at(-half, -half * 0.45), at(-half * 0.6, 0)), True, 0.25, fill=0.0),
        Line((at(half, 0), at(-half, half * 0.45), at(-half * 0.6, 0)), True, 0.25, fill=1.0),
    ]
    letter = at(half + 2.0, 0)
    name = "N" if grid_north_deg is not None else "y"
    items.append(Text((letter[0], letter[1] - 1.1), name, 3.2, "bold", "centre"))
    return tuple(items)


def frame_ticks(
    area: tuple[float, float, float, float], transform: Transform, measures: Measures
) -> tuple[tuple[Item, ...], str]:
    """The frame with ticks and site grid numbers outside it, and the step of the ticks in words."""
    left, bottom, width, height = area
    unit, metres = ground_unit(measures)
    steps = _STEPS[unit]
    factor = transform.mm_a_metre * metres
    step = next((s for s in steps if s * factor >= 18.0), steps[-1])
    right, top = left + width, bottom + height
    corners = ((left, bottom), (right, bottom), (right, top), (left, top))
    items: list[Item] = [Line(corners, closed=True, width=0.25)]
    for axis, start, length in ((0, left, width), (1, bottom, height)):
        low = transform.origin[axis] / metres + (start - transform.at[axis]) / factor
        high = low + length / factor
        number = ceil(low / step - 1e-9)
        while number * step <= high + 1e-9:
            value = round(number * step, 6)
            place = transform.at[axis] + (value - transform.origin[axis] / metres) * factor
            if axis == 0:
                items.append(Line(((place, bottom), (place, bottom - 1.2)), width=0.2))
                text_at = (place, bottom - 3.6)
                items.append(Text(text_at, f"{value:g}", 2.0, align="centre", grey=0.25))
            else:
                items.append(Line(((left, place), (left - 1.2, place)), width=0.2))
                at = (left - 1.7, place)
                items.append(Text(at, f"{value:g}", 2.0, align="centre", turn_deg=90, grey=0.25))
            number += 1
    return tuple(items), f"{step:g} {unit}"


def legend(x: float, y: float, *, doubts: bool = False) -> tuple[Item, ...]:
    """What the symbols mean, downwards from (x, y), in two columns.

    `doubts` says whether any point is drawn as one in doubt.
    """
    rows: tuple[tuple[tuple[Item, ...], str], ...] = (
        (hole_symbol((0, 0)), "hole, with the stamp on its plug"),
        (hole_symbol((0, 0), is_hole=False), "cut (slice or wedge taken)"),
        (datum_symbol((0, 0)), "datum"),
        ((_bit(0.80), _end_a()), "wood that was sampled"),
        ((_bit(0.93), _end_a()), "other wood; thick stroke: end A"),
        ((_bit(0.93, loose=True),), "loose or fallen wood"),
    )
    if doubts:
        ring = Disc((0, 0), 1.5, width=0.25, dash=(1.0, 0.6))
        rows = (
            *rows[:3],
            ((ring, *hole_symbol((0, 0), is_doubted=True)), "in doubt: search in the ring"),
            *rows[3:],
            ((place_symbol((0, 0)),), "where it may be, and how likely"),
        )
    items: list[Item] = []
    for number, (symbol, words) in enumerate(rows):
        column, line = divmod(number, len(rows) // 2)
        at_x, at_y = x + 3 + column * 48, y - 2.0 - line * (4.0 if doubts else 4.6)
        items.extend(_moved(one, at_x, at_y) for one in symbol)
        items.append(Text((at_x + 4.4, at_y - 0.75), words, 2.2))
    return tuple(items)


def _bit(fill: float, loose: bool = False) -> Line:
    corners = ((-2.6, -0.9), (2.6, -0.8), (2.6, 0.8), (-2.6, 0.9))
    return Line(corners, True, 0.2, fill=fill, dash=(0.9, 0.6) if loose else ())


def _end_a() -> Line:
    return Line(((-2.6, -0.9), (-2.6, 0.9)), width=0.5)


def _moved(one: Item, x: float, y: float) -> Item:
    if isinstance(one, Disc):
        return replace(one, at=(one.at[0] + x, one.at[1] + y))
    assert isinstance(one, Line)
    return replace(one, points=tuple((px + x, py + y) for px, py in one.points))


def wrapped(text: str, size: float, width: float, most_lines: int) -> tuple[str, ...]:
    """Text in lines of at most `width` mm; what is beyond the last line is cut with '…'."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if PLAIN.width(longer, size) <= width or not line:
            line = longer
        else:
            lines.append(line)
            line = word
    lines += [line] if line else []
    if len(lines) > most_lines:
        lines = [*lines[: most_lines - 1], lines[most_lines - 1] + " …"]
    return tuple(lines)


def text_lines(
    lines: Sequence[str], x: float, top: float, size: float, grey: float = 0.0
) -> tuple[Item, ...]:
    """Lines of plain text downwards from `top`."""
    return tuple(
        Text((x, top - size * (0.8 + 1.3 * number)), line, size, grey=grey)
        for number, line in enumerate(lines)
    )
