"""Writes a drawing as SVG 1.1, true to scale when printed at 100 %.

Source: W3C Scalable Vector Graphics (SVG) 1.1. Text carries its own length, so that labels keep to
their room whatever font the viewer has.
"""

from __future__ import annotations

import base64
from collections.abc import Callable
from xml.sax.saxutils import escape, quoteattr

from provenance._drawing.drawing import Disc, Group, Item, Line, Picture, Sheet, Text
from provenance._drawing.fonts import FACES, LONGEST_TEXT, printable
from provenance._identity.payload import one_line

Link = Callable[[str, str], tuple[str, str] | None]
"""From a row (table, key) to its address and its name in words; None for no link."""

_FONTS = {
    "plain": "'DejaVu Sans Condensed','Arial Narrow',Arial,sans-serif",
    "bold": "'DejaVu Sans Condensed','Arial Narrow',Arial,sans-serif",
    "mono": "'DejaVu Sans Mono',Consolas,monospace",
}
_ANCHORS = {"left": "start", "centre": "middle", "right": "end"}
_HALO_SHARE = 0.28
_REACH_MM = 1.6
"""How near to the middle of a linked hole a pointer may miss."""


def svg_of(sheet: Sheet, *, paper: bool = True) -> str:
    """The sheet as an SVG document with title and description, on white or without `paper`."""
    drawn = _Writer(sheet.height).drawn(sheet, paper=paper)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'version="1.1" width="{_n(sheet.width)}mm" height="{_n(sheet.height)}mm" '
        f'viewBox="0 0 {_n(sheet.width)} {_n(sheet.height)}" role="img">\n'
        f"<title>{escape(sheet.title)}</title>\n<desc>{escape(sheet.description)}</desc>\n"
        f"{drawn}\n</svg>\n"
    )


def svg_inside_page(sheet: Sheet, link: Link | None, *, name: str) -> str:
    """The sheet as an SVG element of an HTML page, what it shows linked to its rows.

    `name` sets its ids apart from those of other drawings on the page. A shape has the id
    `plan.TABLE.` and the last part of its address without '.html', so that a page can point at it.
    Without `link` it is one picture, whose description is for those who cannot see it; what its
    texts have in common then stands in the page's style sheet, for `.drawing`.
    """
    drawn = _Writer(sheet.height, link, name, styled=link is None).drawn(sheet)
    role, described, words = "group", "", ""
    if link is None:
        role, described = "img", f' aria-describedby="{name}-desc"'
        words = f'<desc id="{name}-desc">{escape(sheet.description)}</desc>\n'
    return (
        f'<svg viewBox="0 0 {_n(sheet.width)} {_n(sheet.height)}" role="{role}" '
        f'aria-labelledby="{name}-title"{described}>\n'
        f'<title id="{name}-title">{escape(sheet.title)}</title>\n{words}{drawn}\n</svg>\n'
    )


def _n(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".") if value else "0"


def _colour(grey: float | None) -> str:
    if grey is None:
        return "none"
    level = round(255 * min(max(grey, 0.0), 1.0))
    return f"#{level:02x}{level:02x}{level:02x}"


class _Writer:
    def __init__(
        self, height: float, link: Link | None = None, name: str = "", *, styled: bool = False
    ) -> None:
        self._height = height
        self._styled = styled
        self._link = link
        self._name = name
        self._shown: set[tuple[str, str]] = set()
        self.clips: list[str] = []

    def drawn(self, sheet: Sheet, *, paper: bool = True) -> str:
        """Everything on the sheet, on white where it has `paper`."""
        body = "\n".join(self.item(one) for one in sheet.items)
        clips = f"<defs>{''.join(self.clips)}</defs>\n" if self.clips else ""
        white = '<rect width="100%" height="100%" fill="#ffffff"/>\n' if paper else ""
        return f"{clips}{white}{body}"

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
        join = "" if self._styled else ' stroke-linejoin="round"'
        return f'<{name} points="{points}" {self._stroke(one)}{join}/>'

    def _disc(self, one: Disc) -> str:
        x, y = one.at
        return f'<circle cx="{_n(x)}" cy="{self._y(y)}" r="{_n(one.radius)}" {self._stroke(one)}/>'

    def _text(self, one: Text) -> str:
        face = FACES[one.face]
        # a viewer has more letters than the typefaces here, and turns scripts itself
        text = one_line(one.text, LONGEST_TEXT)
        width = face.width(printable(text, face), one.size)
        x, y = _n(one.at[0]), self._y(one.at[1])
        turn = f' transform="rotate({_n(-one.turn_deg)} {x} {y})"' if one.turn_deg else ""
        if self._styled:
            return self._styled_text(one, text, _n(width), turn)
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
            f'textLength="{_n(width)}" lengthAdjust="spacingAndGlyphs" '
            f'fill="{_colour(one.grey)}"{halo}{turn}>{escape(text)}</text>'
        )

    def _styled_text(self, one: Text, text: str, width: str, turn: str) -> str:
        """A text whose font, weight, anchor and halo the style sheet has."""
        names = [name for name in (one.face, one.align) if name not in ("plain", "centre")]
        named = f' class="{" ".join(names)}"' if names else ""
        halo = f' stroke-width="{_n(one.size * _HALO_SHARE)}"' if one.halo else ""
        return (
            f'<text x="{_n(one.at[0])}" y="{self._y(one.at[1])}" font-size="{_n(one.size)}"{named} '
            f'textLength="{width}" lengthAdjust="spacingAndGlyphs" fill="{_colour(one.grey)}"'
            f"{halo}{turn}>{escape(text)}</text>"
        )

    def _picture(self, one: Picture) -> str:
        x, y = one.at
        turn = (
            f' transform="rotate({_n(-one.turn_deg)} {_n(x)} {self._y(y)})"' if one.turn_deg else ""
        )
        data = f"data:{one.media_type};base64,{base64.b64encode(one.data).decode('ascii')}"
        address = f"href={quoteattr(one.href)}" if one.href else f'xlink:href="{data}"'
        return (
            f'<image x="{_n(x)}" y="{self._y(y + one.height)}" width="{_n(one.width)}" '
            f'height="{_n(one.height)}" opacity="{_n(one.strength)}" preserveAspectRatio="none" '
            f"{address}{turn}/>"
        )

    def _group(self, one: Group) -> str:
        inner = "\n".join(self.item(item) for item in one.items)
        if one.about and self._link:
            return self._linked(one, inner)
        if one.clip is None:
            return f"<g>\n{inner}\n</g>"
        left, bottom, width, height = one.clip
        name = f"{self._name}clip{len(self.clips) + 1}"
        self.clips.append(
            f'<clipPath id="{name}"><rect x="{_n(left)}" y="{self._y(bottom + height)}" '
            f'width="{_n(width)}" height="{_n(height)}"/></clipPath>'
        )
        return f'<g clip-path="url(#{name})">\n{inner}\n</g>'

    def _linked(self, one: Group, inner: str) -> str:
        found = self._link(*one.about) if self._link and one.about else None
        if found is None or one.about is None:
            return f"<g>\n{inner}\n</g>"
        href, words = quoteattr(found[0]), quoteattr(found[1])
        if one.is_label:
            # the shape is the link that a keyboard and a screen reader meet
            return f'<a href={href} tabindex="-1" aria-hidden="true">\n{inner}\n</a>'
        number = ""
        if one.about not in self._shown:
            self._shown.add(one.about)
            page = found[0].rpartition("/")[2].removesuffix(".html")
            number = f" id={quoteattr(f'plan.{one.about[0]}.{page}')}"
        reach = ""
        if one.about[0] == "sample":
            x, y = _middle(one)
            reach = (
                f'<circle cx="{_n(x)}" cy="{self._y(y)}" r="{_n(_REACH_MM)}" fill="none" '
                'pointer-events="all"/>'
            )
        return f"<a href={href} aria-label={words}{number}>\n{inner}{reach}\n</a>"


def _middle(one: Group) -> tuple[float, float]:
    """The middle of a symbol, which is drawn evenly about it."""
    points = [p for item in one.items if isinstance(item, Line) for p in item.points]
    points += [item.at for item in one.items if isinstance(item, Disc)]
    xs, ys = zip(*points, strict=True)
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
