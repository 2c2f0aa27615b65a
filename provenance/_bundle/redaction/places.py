"""Makes latitudes and longitudes coarse.

They become the middle of the cell of a fixed grid that they lie in, and the uncertainty a radius
that holds the whole cell and whatever was uncertain before. Whoever knows the grid learns the cell,
and nothing more.

Every cell lies whole inside one cell of each larger size, so that editions made with different
sizes tell together what the finest of them told alone. Sites near each other are all shown in the
cell of the first: where their cells meet, the place of each would be told by the others.

Source: Darwin Core, dataGeneralizations and coordinateUncertaintyInMeters; the radius of a cell is
half its diagonal, as in A. D. Chapman and J. R. Wieczorek, Georeferencing Best Practices (2020),
quoted from memory.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

from provenance._base.errors import UnusableInput
from provenance._record.cells import decimal_of

DEFAULT_GRID = Decimal("0.1")
CELLS = tuple(map(Decimal, ("0.01", "0.02", "0.1", "0.2", "1", "2", "10")))
"""The sizes in degrees that cells may have; each divides the next."""
NO_COORDINATES = "drop"
METRES_A_DEGREE = 111_700
"""Not less than a degree of latitude, or of longitude at the equator, anywhere on WGS 84."""
ROUNDED_TO_M = 100
_PAIR = re.compile(r"\s*(\S+)\s+(\S+)\s*")


def read_grid(text: str | None) -> Decimal | None:
    """The size of a cell in degrees, None for 'drop'; the default where nothing is said.

    Raises UnusableInput for anything else.

    >>> read_grid("0.20"), read_grid("drop"), read_grid(None)
    (Decimal('0.2'), None, Decimal('0.1'))
    """
    if text is None:
        return DEFAULT_GRID
    if text == NO_COORDINATES:
        return None
    size = as_decimal(text)
    if size not in CELLS:
        raise UnusableInput(
            f"the grid {text!r} is not a size of a cell: write one of "
            f"{', '.join(map(str, CELLS))} (degrees; 0.01 is about a kilometer), or "
            f"'{NO_COORDINATES}' for no coordinates. Cells of other sizes would overlap with those "
            "of an edition made before, and both together tell more than either"
        )
    return CELLS[CELLS.index(size)]


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


@dataclass(frozen=True)
class Cell:
    """The middle of the cell that a site is shown in, in degrees.

    `reach` is the number of cells that a site shown there may lie away from it.
    """

    latitude: Decimal
    longitude: Decimal
    reach: int

    def radius_m(self, grid: Decimal, uncertainty_m: Decimal | None) -> int:
        """A radius in metres that holds all cells within reach; see `cell_radius_m`."""
        return cell_radius_m(self.latitude, grid * (2 * self.reach + 1), uncertainty_m)


def cells_of(
    points: Sequence[tuple[Decimal | None, Decimal | None]], grid: Decimal
) -> list[Cell | None]:
    """The cell that each site (latitude, longitude) is shown in; None for one that is nowhere.

    Sites not farther from each other than a cell is wide, or linked by others that are not, are
    shown in the cell of the first one of them, with a reach of a cell for each link. Both follow
    from how the sites lie to each other, so that somebody who knows that learns the cell alone.
    """
    found: list[Cell | None] = [None] * len(points)
    known = {}
    for place, (latitude, longitude) in enumerate(points):
        if latitude is not None and longitude is not None:
            middle = (middle_of_cell(latitude, grid, 90), middle_of_cell(longitude, grid, 180))
            if middle[0] is not None and middle[1] is not None:
                known[place] = ((latitude, longitude), (middle[0], middle[1]))
    waiting = list(known)
    while waiting:
        links = {waiting.pop(0): 0}
        group = list(links)
        for one in group:
            near = [two for two in waiting if _cells_apart(known[one][0], known[two][0], grid) <= 1]
            links |= dict.fromkeys(near, links[one] + 1)
            group += near
            waiting = [two for two in waiting if two not in links]
        middle = known[group[0]][1]
        for one in group:
            found[one] = Cell(*middle, max(links.values()))
    return found


def _cells_apart(
    one: tuple[Decimal, Decimal], two: tuple[Decimal, Decimal], grid: Decimal
) -> Decimal:
    """How many cells two points lie apart, along a meridian or a parallel, whichever is more."""
    east = abs(one[1] - two[1])
    return max(abs(one[0] - two[0]), min(east, 360 - east)) / grid


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
