"""Draws the parts that a drawing to scale needs round the map: scale bar, north, ticks, legend."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import ceil, cos, radians, sin

from provenance._drawing.drawing import Disc, Item, Line, Text, Transform
from provenance._drawing.fonts import PLAIN
from provenance._survey.plan.plan_map import datum_symbol, hole_symbol, place_symbol

SCALES = (5, 10, 20, 25, 50, 75, 100, 125, 200, 250, 500, 1000, 2000, 5000, 10000)
"""Scales that a scale rule has; common practice, no source."""

_STEPS_M = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)


def best_scale(width_m: float, height_m: float, width_mm: float, height_mm: float) -> int:
    """The largest usual scale (as its divisor) at which the ground fits on the paper."""
    for scale in SCALES:
        if width_m * 1000 / scale <= width_mm and height_m * 1000 / scale <= height_mm:
            return scale
    return SCALES[-1]


def scale_bar(x: float, y: float, scale: float, most_mm: float = 55.0) -> tuple[Item, ...]:
    """A bar in black and white from (x, y) to the right, with its length and the scale."""
    fitting = [step for step in _STEPS_M if step * 1000 / scale <= most_mm]
    whole = fitting[-1] if fitting else _STEPS_M[0]
    parts = 4 if whole in (0.2, 2.0, 20.0, 200.0) else 5
    part = whole * 1000 / scale / parts
    items: list[Item] = []
    for i in range(parts):
        left = x + i * part
        corners = ((left, y), (left + part, y), (left + part, y + 1.6), (left, y + 1.6))
        items.append(Line(corners, closed=True, width=0.2, fill=0.0 if i % 2 == 0 else 1.0))
    items.append(Text((x, y + 2.4), "0", 2.2, align="centre"))
    items.append(Text((x + parts * part, y + 2.4), f"{whole:g} m", 2.2, align="centre"))
    items.append(Text((x, y - 3.6), f"1 : {scale:g}", 3.0, "bold"))
    items.append(Text((x + 16, y - 3.4), "when printed at 100 %", 2.0, grey=0.25))
    return tuple(items)


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
    area: tuple[float, float, float, float], transform: Transform
) -> tuple[tuple[Item, ...], float]:
    """The frame with ticks and site grid numbers outside it, and the step of the ticks in m."""
    left, bottom, width, height = area
    step = next((s for s in _STEPS_M if s * transform.mm_a_metre >= 18.0), _STEPS_M[-1])
    right, top = left + width, bottom + height
    corners = ((left, bottom), (right, bottom), (right, top), (left, top))
    items: list[Item] = [Line(corners, closed=True, width=0.25)]
    factor = transform.mm_a_metre
    for axis, start, length in ((0, left, width), (1, bottom, height)):
        low = transform.origin[axis] + (start - transform.at[axis]) / factor
        high = low + length / factor
        number = ceil(low / step - 1e-9)
        while number * step <= high + 1e-9:
            value = round(number * step, 6)
            place = transform.at[axis] + (value - transform.origin[axis]) * factor
            if axis == 0:
                items.append(Line(((place, bottom), (place, bottom - 1.2)), width=0.2))
                text_at = (place, bottom - 3.6)
                items.append(Text(text_at, f"{value:g}", 2.0, align="centre", grey=0.25))
            else:
                items.append(Line(((left, place), (left - 1.2, place)), width=0.2))
                at = (left - 1.7, place)
                items.append(Text(at, f"{value:g}", 2.0, align="centre", turn_deg=90, grey=0.25))
            number += 1
    return tuple(items), step


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
