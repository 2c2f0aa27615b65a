"""Knows the papers that are printed on, by measure, and divides their surface into boxes.

Sources: ISO 216 (A series), ANSI/ASME Y14.1 (size A, 8.5 in by 11 in); a point is 1/72 inch, as PDF
has it (ISO 32000-1, 8.3.2.3).
"""

from __future__ import annotations

from dataclasses import dataclass

from provenance._base.errors import TreenailError

INCH = 72.0
MM = INCH / 25.4
"""Points in a millimetre: drawing code works in points, whatever a person reads or writes in mm."""


@dataclass(frozen=True)
class Paper:
    """One sheet, upright; sizes in millimetres."""

    name: str
    width_mm: float
    height_mm: float

    @property
    def width(self) -> float:
        """Width in points."""
        return self.width_mm * MM

    @property
    def height(self) -> float:
        """Height in points."""
        return self.height_mm * MM

    def turned(self) -> Paper:
        """The same sheet lying on its long side."""
        return Paper(self.name, self.height_mm, self.width_mm)


PAPERS = (Paper("a4", 210.0, 297.0), Paper("letter", 215.9, 279.4))
"""The papers that every command knows by name."""


def paper_named(name: str) -> Paper:
    """The paper of that name; raises TreenailError that lists the names.

    >>> paper_named("letter").width_mm
    215.9
    """
    for paper in PAPERS:
        if paper.name == name.lower():
            return paper
    raise TreenailError(
        f"there is no paper '{name}'; there are {', '.join(paper.name for paper in PAPERS)}"
    )


@dataclass(frozen=True)
class Box:
    """An upright rectangle in points; x and y are its lower left corner, y grows upwards."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """The x of the right edge."""
        return self.x + self.width

    @property
    def top(self) -> float:
        """The y of the upper edge."""
        return self.y + self.height

    @property
    def middle_x(self) -> float:
        """The x of the centre."""
        return self.x + self.width / 2

    @property
    def middle_y(self) -> float:
        """The y of the centre."""
        return self.y + self.height / 2

    def inset(self, across: float, upright: float | None = None) -> Box:
        """The box that remains inside margins left and right, and above and below."""
        up = across if upright is None else upright
        return Box(self.x + across, self.y + up, self.width - 2 * across, self.height - 2 * up)

    def cut_left(self, width: float, gap: float = 0.0) -> tuple[Box, Box]:
        """A box of that width from the left side, and the rest behind the gap."""
        rest = self.width - width - gap
        return (
            Box(self.x, self.y, width, self.height),
            Box(self.x + width + gap, self.y, rest, self.height),
        )

    def cut_top(self, height: float, gap: float = 0.0) -> tuple[Box, Box]:
        """A box of that height from the upper side, and the rest below the gap."""
        rest = self.height - height - gap
        return (
            Box(self.x, self.top - height, self.width, height),
            Box(self.x, self.y, self.width, rest),
        )
