"""Makes coordinates coarse, and counts site grids from another zero point.

A latitude and a longitude become the middle of the cell of a fixed grid that they lie in, and the
uncertainty a radius that holds the whole cell and whatever was uncertain before. Whoever knows the
grid learns the cell, and nothing more.

Coordinates on a site grid keep their distances from each other, but are counted from the lowest one
of their site, in whole metres: crews use map coordinates as a site grid, whole or without their
first figures, and then any one of them would lead to the place.

Source: Darwin Core, dataGeneralizations and coordinateUncertaintyInMeters; the radius of a cell is
half its diagonal, as in A. D. Chapman and J. R. Wieczorek, Georeferencing Best Practices (2020),
quoted from memory.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from decimal import ROUND_FLOOR, Decimal

from provenance._base.errors import UnusableInput
from provenance._record.cells import decimal_of

DEFAULT_GRID = Decimal("0.1")
SMALLEST_GRID, LARGEST_GRID = Decimal("0.01"), Decimal(10)
NO_COORDINATES = "drop"
METRES_A_DEGREE = 111_700
"""Not less than a degree of latitude, or of longitude at the equator, anywhere on WGS 84."""
ROUNDED_TO_M = 100
_PAIR = re.compile(r"\s*(\S+)\s+(\S+)\s*")


def read_grid(text: str | None) -> Decimal | None:
    """The size of a cell in degrees, None for 'drop'; the default where nothing is said.

    Raises UnusableInput for anything else.

    >>> read_grid("0.5"), read_grid("drop"), read_grid(None)
    (Decimal('0.5'), None, Decimal('0.1'))
    """
    if text is None:
        return DEFAULT_GRID
    if text == NO_COORDINATES:
        return None
    size = as_decimal(text)
    if size is None or not SMALLEST_GRID <= size <= LARGEST_GRID:
        raise UnusableInput(
            f"the grid {text!r} is no size of a cell: write degrees from {SMALLEST_GRID} (about a "
            f"kilometre) to {LARGEST_GRID}, as in 0.1, or '{NO_COORDINATES}' for no coordinates"
        )
    return size


def as_decimal(text: str) -> Decimal | None:
    """A cell's number, None where it is none."""
    number = decimal_of(text)
    return number if number is not None and number.is_finite() else None


def middle_of_cell(degrees: Decimal, grid: Decimal, limit: int) -> Decimal | None:
    """The middle of the cell that `degrees` lies in, cells counted from 0.

    None where it lies beyond `limit` (90 or 180); the last cell ends there.

    >>> middle_of_cell(Decimal("51.4739"), Decimal("0.1"), 90)
    Decimal('51.45')
    """
    if abs(degrees) > limit:
        return None
    number = (degrees / grid).to_integral_value(ROUND_FLOOR)
    if number * grid >= limit:
        number -= 1
    middle = number * grid + grid / 2
    return min(max(middle, Decimal(-limit)), Decimal(limit)).normalize() + 0


def cell_radius_m(latitude: Decimal, grid: Decimal, uncertainty_m: Decimal | None) -> int:
    """A radius round the middle of a cell, in metres, that holds it whole and what was uncertain.

    `latitude` is that of the middle. Rounded up to whole hundreds, so that nobody reads the old
    uncertainty out of it.

    >>> cell_radius_m(Decimal("51.45"), Decimal("0.1"), Decimal(25))
    6700
    """
    half = float(grid) / 2
    widest = math.cos(math.radians(max(abs(float(latitude)) - half, 0)))
    radius = METRES_A_DEGREE * half * math.hypot(1, widest) + float(uncertainty_m or 0)
    return math.ceil(radius / ROUNDED_TO_M) * ROUNDED_TO_M


# -- site grids ----------------------------------------------------------------------------------


def corners(outline: str) -> list[tuple[Decimal, Decimal]] | None:
    """The corners of an outline ('x y, x y, …'), None where it cannot be read."""
    found = []
    for part in outline.split(","):
        match = _PAIR.fullmatch(part)
        x, y = (as_decimal(match[1]), as_decimal(match[2])) if match else (None, None)
        if x is None or y is None:
            return None
        found.append((x, y))
    return found


def zero_of(values: Iterable[Decimal]) -> Decimal:
    """The new zero of an axis: its lowest value, down to the whole metre; 0 where there is none."""
    lowest = min(values, default=Decimal(0))
    return lowest.to_integral_value(ROUND_FLOOR)


def counted_from(text: str, zero: Decimal) -> str | None:
    """A coordinate counted from another zero, with the figures it was written with.

    >>> counted_from("500013.580", Decimal(500009))
    '4.580'
    """
    value = as_decimal(text)
    return None if value is None else _plain(value - zero)


def outline_from(outline: str, zero_x: Decimal, zero_y: Decimal) -> str | None:
    """An outline counted from another zero, None where it cannot be read."""
    found = corners(outline)
    if found is None:
        return None
    return ", ".join(f"{_plain(x - zero_x)} {_plain(y - zero_y)}" for x, y in found)


def _plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text[1:] if re.fullmatch(r"-0(\.0+)?", text) else text
