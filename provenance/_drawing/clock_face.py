"""Draws the end of a piece of wood as a clock face, to show or to mark where a drill went in.

The face is seen from end A towards end B with 12 up, as the table sample has it.
"""

from __future__ import annotations

from math import cos, pi, sin
from typing import Any

from provenance._drawing.fitting import draw_line
from provenance._drawing.fonts import CAP_HEIGHT, PLAIN


def clock_point(x: float, y: float, radius: float, hours: float) -> tuple[float, float]:
    """The point at an hour (0 to 12, halves and quarters too) on a circle round x, y.

    >>> clock_point(0, 0, 1, 3)
    (1.0, 0.0)
    """
    angle = hours / 12 * 2 * pi
    return round(x + radius * sin(angle), 9), round(y + radius * cos(angle), 9)


def draw_clock_face(
    canvas: Any,
    x: float,
    y: float,
    radius: float,
    *,
    hours: float | None = None,
    direction: str | None = None,
) -> None:
    """Draw the face round x, y (points); with `hours` also the drill's way in.

    `radius` is that of the wood; the hours 12, 3, 6 and 9 stand outside it and take a third of
    the radius more. `direction` is a code of the vocabulary drill_direction: 'radial' points to the
    middle, 'tangential' passes it, 'oblique' is drawn dashed towards the middle, 'end' as a cross
    seen along the drill; any other or none gives a dot at the surface.
    """
    canvas.saveState()
    canvas.setStrokeGray(0)
    canvas.setFillGray(0)
    canvas.setLineWidth(0.9)
    canvas.circle(x, y, radius)
    canvas.setLineWidth(0.4)
    canvas.circle(x, y, radius * 0.035, fill=1)
    size = max(5.0, radius * 0.24)
    for hour in range(1, 13):
        long = hour % 3 == 0
        canvas.setLineWidth(0.8 if long else 0.4)
        inner = radius * (0.86 if long else 0.92)
        canvas.line(*clock_point(x, y, inner, hour), *clock_point(x, y, radius, hour))
        if long:
            at_x, at_y = clock_point(x, y, radius + size * 0.85, hour)
            baseline = at_y - size * CAP_HEIGHT / 2
            draw_line(canvas, str(hour), PLAIN, size, at_x, baseline, align="centre")
    if hours is not None:
        _draw_way_in(canvas, x, y, radius, hours, direction)
    canvas.restoreState()


def _draw_way_in(
    canvas: Any, x: float, y: float, radius: float, hours: float, direction: str | None
) -> None:
    start = clock_point(x, y, radius, hours)
    canvas.circle(*start, radius * 0.09, stroke=0, fill=1)
    if direction == "end":
        arm = radius * 0.2
        at = clock_point(x, y, radius * 0.6, hours)
        canvas.setLineWidth(1.2)
        canvas.line(at[0] - arm, at[1] - arm, at[0] + arm, at[1] + arm)
        canvas.line(at[0] - arm, at[1] + arm, at[0] + arm, at[1] - arm)
        canvas.circle(*at, arm * 1.45)
        return
    if direction not in ("radial", "oblique", "tangential"):
        return
    if direction == "tangential":
        # past the middle by half a radius, so that nobody takes it for a radial one
        end = clock_point(*clock_point(x, y, radius * 0.5, hours + 3), radius * 0.45, hours)
    else:
        end = clock_point(x, y, radius * 0.22, hours)
    canvas.setLineWidth(1.6)
    if direction == "oblique":
        canvas.setDash(3, 2)
    canvas.line(*start, *end)
    canvas.setDash()
    _draw_arrow_head(canvas, start, end, radius * 0.16)


def _draw_arrow_head(
    canvas: Any, start: tuple[float, float], end: tuple[float, float], length: float
) -> None:
    along_x, along_y = end[0] - start[0], end[1] - start[1]
    whole = (along_x**2 + along_y**2) ** 0.5
    ux, uy = along_x / whole, along_y / whole
    back_x, back_y = end[0] - ux * length, end[1] - uy * length
    path = canvas.beginPath()
    path.moveTo(end[0] + ux * length * 0.3, end[1] + uy * length * 0.3)
    path.lineTo(back_x - uy * length * 0.5, back_y + ux * length * 0.5)
    path.lineTo(back_x + uy * length * 0.5, back_y - ux * length * 0.5)
    path.close()
    canvas.drawPath(path, stroke=0, fill=1)
