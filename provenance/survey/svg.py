"""Writes a drawing as SVG 1.1, true to scale when printed at 100 %.

Source: W3C Scalable Vector Graphics (SVG) 1.1. Text carries its own length, so that labels keep to
their room whatever font the viewer has.
"""

from __future__ import annotations

import base64
from xml.sax.saxutils import escape, quoteattr

from provenance.printing.fonts import Typefaces, load_typefaces, printable
from provenance.survey.drawing import Disc, Group, Item, Line, Picture, Sheet, Text

__all__ = ["svg_of"]

_FONTS = {
    "plain": "'DejaVu Sans Condensed','Arial Narrow',Arial,sans-serif",
    "bold": "'DejaVu Sans Condensed','Arial Narrow',Arial,sans-serif",
    "mono": "'DejaVu Sans Mono',Consolas,monospace",
}
_ANCHORS = {"left": "start", "centre": "middle", "right": "end"}
_HALO_SHARE = 0.28


def svg_of(sheet: Sheet) -> str:
    """The sheet as an SVG document with title and description."""
    writer = _Writer(sheet.height, load_typefaces())
    body = "\n".join(writer.item(one) for one in sheet.items)
    clips = f"<defs>{''.join(writer.clips)}</defs>\n" if writer.clips else ""
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'version="1.1" width="{_n(sheet.width)}mm" height="{_n(sheet.height)}mm" '
        f'viewBox="0 0 {_n(sheet.width)} {_n(sheet.height)}" role="img">\n'
        f"<title>{escape(sheet.title)}</title>\n<desc>{escape(sheet.description)}</desc>\n"
        f'{clips}<rect width="100%" height="100%" fill="#ffffff"/>\n{body}\n</svg>\n'
    )


def _n(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".") if value else "0"


def _colour(grey: float | None) -> str:
    if grey is None:
        return "none"
    level = round(255 * min(max(grey, 0.0), 1.0))
    return f"#{level:02x}{level:02x}{level:02x}"


class _Writer:
    def __init__(self, height: float, faces: Typefaces) -> None:
        self._height = height
        self._faces = faces
        self.clips: list[str] = []

    def item(self, one: Item) -> str:
        if isinstance(one, Line):
            return self._line(one)
        if isinstance(one, Disc):
            return self._disc(one)
        if isinstance(one, Text):
            return self._text(one)
        if isinstance(one, Picture):
            return self._picture(one)
        return self._group(one)

    def _y(self, y: float) -> str:
        return _n(self._height - y)

    def _stroke(self, one: Line | Disc) -> str:
        dash = f' stroke-dasharray="{",".join(map(_n, one.dash))}"' if one.dash else ""
        return (
            f'fill="{_colour(one.fill)}" stroke="{_colour(one.grey)}" '
            f'stroke-width="{_n(one.width)}"{dash}'
        )

    def _line(self, one: Line) -> str:
        points = " ".join(f"{_n(x)},{self._y(y)}" for x, y in one.points)
        name = "polygon" if one.closed else "polyline"
        return f'<{name} points="{points}" {self._stroke(one)} stroke-linejoin="round"/>'

    def _disc(self, one: Disc) -> str:
        x, y = one.at
        return f'<circle cx="{_n(x)}" cy="{self._y(y)}" r="{_n(one.radius)}" {self._stroke(one)}/>'

    def _text(self, one: Text) -> str:
        face = getattr(self._faces, one.face)
        text = printable(one.text, face)
        x, y = _n(one.at[0]), self._y(one.at[1])
        turn = f' transform="rotate({_n(-one.turn_deg)} {x} {y})"' if one.turn_deg else ""
        weight = ' font-weight="bold"' if one.face != "plain" else ""
        halo = (
            f' stroke="#ffffff" stroke-width="{_n(one.size * _HALO_SHARE)}" paint-order="stroke" '
            'stroke-linejoin="round"'
            if one.halo
            else ""
        )
        return (
            f'<text x="{x}" y="{y}" font-family={quoteattr(_FONTS[one.face])} '
            f'font-size="{_n(one.size)}"{weight} text-anchor="{_ANCHORS[one.align]}" '
            f'textLength="{_n(face.width(text, one.size))}" lengthAdjust="spacingAndGlyphs" '
            f'fill="{_colour(one.grey)}"{halo}{turn}>{escape(text)}</text>'
        )

    def _picture(self, one: Picture) -> str:
        x, y = one.at
        turn = (
            f' transform="rotate({_n(-one.turn_deg)} {_n(x)} {self._y(y)})"' if one.turn_deg else ""
        )
        data = base64.b64encode(one.data).decode("ascii")
        return (
            f'<image x="{_n(x)}" y="{self._y(y + one.height)}" width="{_n(one.width)}" '
            f'height="{_n(one.height)}" opacity="{_n(one.strength)}" preserveAspectRatio="none" '
            f'xlink:href="data:{one.media_type};base64,{data}"{turn}/>'
        )

    def _group(self, one: Group) -> str:
        inner = "\n".join(self.item(item) for item in one.items)
        if one.clip is None:
            return f"<g>\n{inner}\n</g>"
        left, bottom, width, height = one.clip
        name = f"clip{len(self.clips) + 1}"
        self.clips.append(
            f'<clipPath id="{name}"><rect x="{_n(left)}" y="{self._y(bottom + height)}" '
            f'width="{_n(width)}" height="{_n(height)}"/></clipPath>'
        )
        return f'<g clip-path="url(#{name})">\n{inner}\n</g>'
