"""Draws a drawing on a PDF canvas, in millimetres from a corner that the caller gives."""

from __future__ import annotations

import io
from collections.abc import Iterable
from typing import Any

from provenance._drawing.drawing import Disc, Group, Item, Line, Picture, Text
from provenance._drawing.fonts import FACES, printable
from provenance._drawing.paper import MM

_HALO_SHARE = 0.28
_FILLED, _OUTLINE = 0, 1
"""Text rendering modes of PDF (ISO 32000-1, 9.3.6)."""


def draw_items(canvas: Any, items: Iterable[Item], *, x: float = 0.0, y: float = 0.0) -> None:
    """Draw items on the canvas; `x`, `y` (points) is where their lower left corner goes."""
    canvas.saveState()
    canvas.translate(x, y)
    canvas.scale(MM, MM)
    canvas.setLineJoin(1)
    for one in items:
        _draw(canvas, one)
    canvas.restoreState()


def _draw(canvas: Any, one: Item) -> None:
    if isinstance(one, Group):
        canvas.saveState()
        if one.clip is not None:
            path = canvas.beginPath()
            path.rect(*one.clip)
            canvas.clipPath(path, stroke=0, fill=0)
        for item in one.items:
            _draw(canvas, item)
        canvas.restoreState()
    elif isinstance(one, Text):
        _draw_text(canvas, one)
    elif isinstance(one, Picture):
        _draw_picture(canvas, one)
    else:
        _draw_shape(canvas, one)


def _draw_shape(canvas: Any, one: Line | Disc) -> None:
    canvas.setLineWidth(one.width)
    canvas.setDash(list(one.dash) if one.dash else [])
    if one.grey is not None:
        canvas.setStrokeGray(one.grey)
    if one.fill is not None:
        canvas.setFillGray(one.fill)
    stroke, fill = int(one.grey is not None), int(one.fill is not None)
    if isinstance(one, Disc):
        canvas.circle(*one.at, one.radius, stroke=stroke, fill=fill)
        return
    path = canvas.beginPath()
    path.moveTo(*one.points[0])
    for point in one.points[1:]:
        path.lineTo(*point)
    if one.closed:
        path.close()
    canvas.drawPath(path, stroke=stroke, fill=fill)


def _draw_text(canvas: Any, one: Text) -> None:
    face = FACES[one.face]
    text = printable(one.text, face)
    share = {"left": 0.0, "centre": 0.5, "right": 1.0}[one.align]
    canvas.saveState()
    canvas.translate(*one.at)
    canvas.rotate(one.turn_deg)
    start = -share * face.width(text, one.size)
    if one.halo:
        # the way text is drawn outlives a text object, so that it is put back with the state
        canvas.saveState()
        canvas.setDash([])
        canvas.setStrokeGray(1)
        canvas.setLineWidth(one.size * _HALO_SHARE)
        _write(canvas, face.name, one.size, start, text, _OUTLINE)
        canvas.restoreState()
    canvas.setFillGray(one.grey)
    _write(canvas, face.name, one.size, start, text, _FILLED)
    canvas.restoreState()


def _write(canvas: Any, font: str, size: float, start: float, text: str, mode: int) -> None:
    written = canvas.beginText(start, 0)
    written.setFont(font, size)
    written.setTextRenderMode(mode)
    written.textOut(text)
    canvas.drawText(written)


def _draw_picture(canvas: Any, one: Picture) -> None:
    from reportlab.lib.utils import ImageReader

    canvas.saveState()
    canvas.translate(*one.at)
    canvas.rotate(one.turn_deg)
    canvas.setFillAlpha(one.strength)
    canvas.drawImage(
        ImageReader(io.BytesIO(one.data)), 0, 0, width=one.width, height=one.height, mask="auto"
    )
    canvas.restoreState()
