"""Lays a figure out on a sheet: title, key, what is drawn, and below it n, rule and caution.

A figure is drawn from the top down, so heights are below 0 until the sheet is as long as it needs
to be. Black, greys and strokes only: they survive a photocopier and colour-blind eyes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from provenance._base.visible import visible
from provenance._derive.figures.axes import Axis
from provenance._drawing.drawing import Align, Face, Item, Line, Sheet, Text
from provenance._drawing.fitting import fit_block, fit_line
from provenance._drawing.fonts import FACES, Typeface, printable

WIDTH, MARGIN = 190.0, 4.0
LEFT, RIGHT = MARGIN, WIDTH - MARGIN
TITLE, TEXT, SMALL = 4.4, 2.9, 2.6
"""Sizes of text in mm: on a sheet of 190 mm they are read on a screen and on A4."""
GRID_GREY = 0.85
_LEADING = 1.3
_OUTLINE = 0.18
_KEY_BOX = (4.2, 2.4)

Strokes = Literal["", "rising", "falling", "crossed", "upright", "level"]
Box = tuple[float, float, float, float]
"""Left, bottom, width, height in mm."""


@dataclass(frozen=True)
class Fill:
    """What is inside a box: a grey (1 is white), and strokes over it `pitch` mm apart."""

    grey: float = 1.0
    strokes: Strokes = ""
    pitch: float = 1.2

    def lines(self, box: Box) -> list[Line]:
        """The box with its outline, filled."""
        left, bottom, width, height = box
        right, top = left + width, bottom + height
        corners = ((left, bottom), (right, bottom), (right, top), (left, top))
        kinds: tuple[Strokes, ...] = (self.strokes,) if self.strokes else ()
        if self.strokes == "crossed":
            kinds = ("rising", "falling")
        strokes = [line for kind in kinds for line in _strokes(kind, box, self.pitch)]
        return [Line(corners, closed=True, width=_OUTLINE, fill=self.grey), *strokes]


def _strokes(kind: Strokes, box: Box, pitch: float) -> list[Line]:
    """Parallel strokes that end at the sides of a box."""
    left, bottom, width, height = box
    ends: list[tuple[float, float, float, float]] = []
    if kind == "level":
        ends = [(0, y, width, y) for y in _steps(0, height, pitch)]
    elif kind == "upright":
        ends = [(x, 0, x, height) for x in _steps(0, width, pitch)]
    else:
        for foot in _steps(-height, width, pitch * 2**0.5):
            # from where the stroke leaves the lower or left side to the upper or right one
            x0, x1 = max(0.0, foot), min(width, foot + height)
            ends.append((x0, x0 - foot, x1, x1 - foot))
        if kind == "falling":
            ends = [(width - x0, y0, width - x1, y1) for x0, y0, x1, y1 in ends]
    return [
        Line(((left + x0, bottom + y0), (left + x1, bottom + y1)), width=_OUTLINE)
        for x0, y0, x1, y1 in ends
    ]


def _steps(low: float, high: float, pitch: float) -> list[float]:
    count = max(1, int((high - low) / pitch))
    first = low + (high - low - (count - 1) * pitch) / 2
    return [first + number * pitch for number in range(count)]


class _AsPrinted(Typeface):
    """A face that measures a text as it is printed: what it lacks is substituted."""

    def width(self, text: str, size: float) -> float:
        """How wide the text runs in that size."""
        return super().width(printable(text, self), size)


class ChartPage:
    """A figure in the making; `y` is the height that is still free, from the top downwards."""

    def __init__(self, title: str) -> None:
        self._faces = {kind: _AsPrinted(face.name, face.file.name) for kind, face in FACES.items()}
        self._title = title
        self._items: list[Item] = []
        self.y = -MARGIN
        self.paragraph(title, TITLE, "bold")
        self.y -= 1.6

    def add(self, *items: Item) -> None:
        """Put items on the page; what comes later lies above."""
        self._items += items

    def width(self, text: str, size: float = SMALL, face: Face = "plain") -> float:
        """How wide a text runs."""
        return self._faces[face].width(visible(text), size)

    def write(
        self,
        at: tuple[float, float],
        text: str,
        size: float = SMALL,
        face: Face = "plain",
        align: Align = "left",
        *,
        most: float | None = None,
        grey: float = 0.0,
        halo: bool = False,
    ) -> float:
        """One line of text with its baseline at `at`, cut with '…' behind `most` mm.

        Returns how wide it runs.
        """
        shown = visible(text)
        if most is not None:
            lines = fit_line(shown, self._faces[face], most, largest=size, smallest=size).lines
            shown = "".join(lines)
        if shown:
            self.add(Text(at, shown, size, face, align, grey=grey, halo=halo))
        return self.width(shown, size, face)

    def paragraph(
        self, text: str, size: float = SMALL, face: Face = "plain", left: float = LEFT
    ) -> None:
        """Lines from the free height downwards, as wide as the sheet, however long the text is."""
        fitted = fit_block(
            visible(text), self._faces[face], RIGHT - left, 1e9, largest=size, smallest=size
        )
        for line in fitted.lines:
            self.y -= _LEADING * size
            self.add(Text((left, self.y), line, size, face))

    def key(self, entries: Iterable[tuple[Fill, str]]) -> None:
        """What the fills mean, one beside the other, in as many lines as they need."""
        across, high = _KEY_BOX
        row = _LEADING * TEXT
        x = LEFT
        self.y -= row
        for fill, words in entries:
            room = RIGHT - LEFT - across - 1.2
            width = across + 1.2 + min(self.width(words, SMALL), room)
            if x > LEFT and x + width > RIGHT:
                x = LEFT
                self.y -= row
            self.add(*fill.lines((x, self.y - 0.25, across, high)))
            self.write((x + across + 1.2, self.y), words, SMALL, most=room)
            x += width + 5.0
        self.y -= 1.0

    def years(self, axis: Axis, top: float, bottom: float, *, above: bool = False) -> None:
        """Upright lines at the ticks of an axis, from `top` to `bottom`, their words at the foot.

        With `above` the words stand over the lines as well.
        """
        for value, words in axis.ticks:
            x = axis(value)
            self.add(Line(((x, bottom - 0.8), (x, top)), width=0.15, grey=GRID_GREY))
            self.write((x, bottom - 1.6 - SMALL), words, align="centre")
            if above:
                self.write((x, top + 0.8), words, align="centre")
        self.add(Line(((axis.start, bottom), (axis.end, bottom)), width=0.25))

    def counts(self, axis: Axis, left: float, right: float) -> None:
        """Level lines at the ticks of an upright axis, with their numbers before `left`."""
        for value, words in axis.ticks:
            y = axis(value)
            self.add(Line(((left, y), (right, y)), width=0.15, grey=GRID_GREY))
            self.write((left - 1.2, y - 0.36 * SMALL), words, align="right")

    def sheet(self, caption: Sequence[str], description: str) -> Sheet:
        """The page with the words below it, each on lines of its own."""
        self.y -= 1.5
        for words in caption:
            self.paragraph(words)
        height = MARGIN - self.y
        raised = tuple(_raised(one, height) for one in self._items)
        return Sheet(WIDTH, height, raised, self._title, visible(description))


def _raised(one: Item, by: float) -> Item:
    if isinstance(one, Text):
        return replace(one, at=(one.at[0], one.at[1] + by))
    assert isinstance(one, Line)
    return replace(one, points=tuple((x, y + by) for x, y in one.points))


def widest(texts: Iterable[str], measure: Callable[[str], float], most: float) -> float:
    """The room that a column of texts needs, at most `most` mm."""
    return min(max(map(measure, texts), default=0.0), most)
