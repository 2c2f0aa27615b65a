"""Divides the surface of a page into boxes, so that nothing drawn in one reaches into another."""

from __future__ import annotations

from dataclasses import dataclass


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
