"""Draws a drawing of strokes and level text as a PNG image, in greys."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._drawing.drawing import Item, Line, Sheet, Text
from provenance._drawing.fonts import FACES, printable

if TYPE_CHECKING:
    from PIL.ImageDraw import ImageDraw
    from PIL.ImageFont import FreeTypeFont

_DOTS_A_MM = 150 / 25.4
_FINER = 4
"""Drawn that much larger and then made smaller, so that slanting strokes are smooth."""
_MOST_DOTS = 60_000_000
"""Of a sheet that is taller than some ten metres the image gets coarser: viewers refuse more."""
_BAND_DOTS = 600
"""Rows drawn at a time, which bounds the memory."""
_HALO_SHARE = 0.14
_ANCHORS = {"left": "ls", "centre": "ms", "right": "rs"}


def png_of(sheet: Sheet) -> bytes:
    """The sheet as a PNG of 150 dots an inch; the title and the description lie in it as text.

    Raises TypeError for a drawing with circles, pictures, groups, dashes or turned text.
    """
    from PIL import Image, ImageDraw
    from PIL.PngImagePlugin import PngInfo

    dots = min(_DOTS_A_MM, (_MOST_DOTS / (sheet.width * sheet.height)) ** 0.5)
    size = (round(sheet.width * dots), round(sheet.height * dots))
    image = Image.new("L", size, 255)
    for top in range(0, size[1], _BAND_DOTS):
        rows = min(_BAND_DOTS, size[1] - top)
        band = Image.new("L", (size[0] * _FINER, rows * _FINER), 255)
        pen = _Pen(ImageDraw.Draw(band), dots * _FINER, sheet.height - top / dots)
        for one in sheet.items:
            low, high = _reach(one)
            if high >= pen.top - rows / dots and low <= pen.top:
                pen.draw(one)
        image.paste(band.reduce(_FINER), (0, top))
    info = PngInfo()
    info.add_itxt("Title", sheet.title, lang="en")
    info.add_itxt("Description", sheet.description, lang="en")
    buffer = io.BytesIO()
    image.save(buffer, "PNG", pnginfo=info, dpi=(dots * 25.4, dots * 25.4))
    return buffer.getvalue()


def _reach(one: Item) -> tuple[float, float]:
    """Between what heights of the sheet an item lies."""
    if isinstance(one, Line) and not one.dash:
        heights = [y for _, y in one.points]
        return min(heights) - one.width, max(heights) + one.width
    if isinstance(one, Text) and not one.turn_deg:
        return one.at[1] - one.size, one.at[1] + one.size
    raise TypeError(f"no PNG is drawn of {one!r}; strokes and level text alone")


class _Pen:
    """Draws on a band of the sheet whose upper edge lies at `top` (mm)."""

    def __init__(self, draw: ImageDraw, dots: float, top: float) -> None:
        self.top = top
        self._draw = draw
        self._dots = dots

    def draw(self, one: Item) -> None:
        if isinstance(one, Line):
            self._line(one)
        elif isinstance(one, Text):
            self._text(one)

    def _at(self, point: tuple[float, float]) -> tuple[float, float]:
        return point[0] * self._dots, (self.top - point[1]) * self._dots

    def _line(self, one: Line) -> None:
        points = [self._at(point) for point in one.points]
        if one.fill is not None:
            self._draw.polygon(points, fill=_level(one.fill))
        if one.grey is not None:
            run = [*points, points[0]] if one.closed else points
            width = max(1, round(one.width * self._dots))
            self._draw.line(run, fill=_level(one.grey), width=width, joint="curve")

    def _text(self, one: Text) -> None:
        face = FACES[one.face]
        size = one.size * self._dots
        self._draw.text(
            self._at(one.at),
            printable(one.text, face),
            font=_font(face.file, size),
            fill=_level(one.grey),
            anchor=_ANCHORS[one.align],
            stroke_width=round(size * _HALO_SHARE) if one.halo else 0,
            stroke_fill=255 if one.halo else None,
        )


def _level(grey: float) -> int:
    return round(255 * grey)


@cache
def _font(file: Path, size: float) -> FreeTypeFont:
    from PIL import ImageFont

    # the text is in visual order already, and one engine is everywhere
    return ImageFont.truetype(str(file), size, layout_engine=ImageFont.Layout.BASIC)
