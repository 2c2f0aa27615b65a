"""Describes a drawing to scale as plain values, which any page format can be made from.

Everything is in millimetres on paper, x to the right and y up, from the lower left corner. Only
black, white and greys are used, and what matters differs by shape, so that a poor copier and any
eye can tell things apart.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Point = tuple[float, float]
Face = Literal["plain", "bold", "mono"]
Align = Literal["left", "centre", "right"]


@dataclass(frozen=True)
class Line:
    """A run of straight strokes; `grey` 0 is black; `fill` is a grey or None; dash in mm."""

    points: tuple[Point, ...]
    closed: bool = False
    width: float = 0.18
    grey: float | None = 0.0
    fill: float | None = None
    dash: tuple[float, ...] = ()


@dataclass(frozen=True)
class Disc:
    """A circle; `grey` None leaves the rim away."""

    at: Point
    radius: float
    width: float = 0.18
    grey: float | None = 0.0
    fill: float | None = None
    dash: tuple[float, ...] = ()


@dataclass(frozen=True)
class Text:
    """One line of text, `size` mm high from baseline to baseline, turned anticlockwise about `at`.

    `at` lies on the baseline at the left, middle or right end; `halo` clears what lies behind it.
    """

    at: Point
    text: str
    size: float
    face: Face = "plain"
    align: Align = "left"
    turn_deg: float = 0.0
    grey: float = 0.0
    halo: bool = False


@dataclass(frozen=True)
class Picture:
    """An image: lower left corner, size in mm, turned anticlockwise about that corner.

    With `href` it is not carried along but lies at that address, which a page of HTML alone can
    show.
    """

    at: Point
    width: float
    height: float
    turn_deg: float
    data: bytes = field(repr=False)
    media_type: str = "image/png"
    strength: float = 1.0
    href: str = ""


@dataclass(frozen=True)
class Group:
    """Items drawn in order; `clip` (left, bottom, width, height) hides what lies outside.

    `about` is the row (table, key) that they show, for formats that can link to it; `is_label` says
    that they name it only.
    """

    items: tuple[Item, ...]
    clip: tuple[float, float, float, float] | None = None
    about: tuple[str, str] | None = None
    is_label: bool = False


Item = Line | Disc | Text | Picture | Group


@dataclass(frozen=True)
class Sheet:
    """One page: its size in mm, what is on it, and words for those who cannot see it."""

    width: float
    height: float
    items: tuple[Item, ...]
    title: str
    description: str


@dataclass(frozen=True)
class Transform:
    """From site grid metres to paper: 1 : `scale`, with grid point `origin` at paper point `at`."""

    scale: float
    origin: Point
    at: Point

    @property
    def mm_a_metre(self) -> float:
        """Paper millimetres for one metre."""
        return 1000.0 / self.scale

    def __call__(self, x_m: float, y_m: float) -> Point:
        """Where a grid point lies on the paper."""
        factor = self.mm_a_metre
        return (
            self.at[0] + (x_m - self.origin[0]) * factor,
            self.at[1] + (y_m - self.origin[1]) * factor,
        )
