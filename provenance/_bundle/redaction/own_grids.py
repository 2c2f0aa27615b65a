"""Gives each building of a public edition its own zero and axes.

Whatever is shown of a building is then what a tape measures inside it. Where the building stands,
how it lies to north and to its neighbors, and how high, is in none of its numbers: moved and turned
as a whole, it would have the same ones.

The axes follow the building's walls, x along the longer side of its outline; the zero is the low
corner of the outline's box, and its floor is height nought. All of it comes from the row of the
building, so points that are added later move nothing. Which of the two ways along the walls x runs
is drawn from the edition key, because crews begin in the south-west more often than not.

Numbers written to the centimetre lie on a lattice, and a lattice shows how it was turned. So every
coordinate is moved inside its own centimetre first, by a share that is drawn from the edition key
and the number itself: the same number is moved alike in every table and every later edition.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

import numpy as np

from provenance._bundle.redaction.commitments import commit
from provenance._bundle.redaction.places import as_decimal, corners
from provenance._record.cells import read_booleans
from provenance._record.package import Package
from provenance._survey.adjust.bore import UPRIGHT_DEG, wood_axes
from provenance._survey.hole.known_points import KnownPoints, known_points
from provenance._survey.parts.observation import Floats, Ints

Point = tuple[float, float]
_NEEDED = {"site", "place", "datum", "tie", "element", "sample", "position"}
STEP_M = 0.01
"""The lattice that coordinates are written on; finer ones are parts of it."""
DECIMALS = 3
"""Coordinates are shown to the millimetre, so that no distance suffers from rounding."""
LOG_ENDS_M = 1.0
"""Logs may stick out of a wall by so much in all."""
_SAME_M = 1e-6
FARTHEST_M = 1e9
"""No coordinate of a map is larger."""


@dataclass(frozen=True)
class OwnGrid:
    """The grid of one building: its zero on the site grid in m, and how it is turned.

    `turn_deg` runs anticlockwise from the site's x axis to the building's. Coordinates are moved
    within their last figure by what is drawn from `seed`.
    """

    x_m: float
    y_m: float
    z_m: float
    turn_deg: float
    seed: str

    def level(self, x_m: float, y_m: float) -> Point:
        """A point of the site grid on this one."""
        return turned(x_m - self.x_m, y_m - self.y_m, -self.turn_deg)

    def shown(self, x_m: float, y_m: float) -> Point:
        """A point of the site grid on this one, as it is shown: moved within its last figure."""
        return self.level(x_m + self._moved("x", x_m), y_m + self._moved("y", y_m))

    def _moved(self, axis: str, value: float) -> float:
        drawn = int(commit(self.seed, axis, f"{value + 0.0:.4f}")[:8], 16)
        return (drawn / 2**32 - 0.5) * STEP_M

    @property
    def swaps_axes(self) -> bool:
        """Whether what lay along y lies nearer to x now."""
        return abs(math.cos(math.radians(self.turn_deg))) < math.sqrt(0.5)


def turned(x: float, y: float, degrees: float) -> Point:
    """A point turned anticlockwise about the zero.

    >>> turned(1.0, 0.0, 90.0)
    (0.0, 1.0)
    """
    quarters, rest = divmod(degrees % 360, 90)
    # quarter turns are exact, as sines and cosines of them are not
    for _ in range(int(quarters)):
        x, y = -y, x
    if rest:
        sine, cosine = math.sin(math.radians(rest)), math.cos(math.radians(rest))
        x, y = cosine * x - sine * y, sine * x + cosine * y
    return x + 0.0, y + 0.0


@dataclass(frozen=True)
class Size:
    """How large a building is on the ground, in m, and how many corners it has.

    A side that is not known is 0. `seen_exactly` says whether its wood, rooms or datums are shown,
    so that the size can be read from them however coarse the outline is; `long_wood` and
    `short_wood` whether it has wood about as long as that side.
    """

    long_m: float
    short_m: float
    corner_count: int
    seen_exactly: bool
    long_wood: bool = False
    short_wood: bool = False


@dataclass(frozen=True)
class Grids:
    """The own grids of a record, and which one each row is on.

    `on` maps table → key → the name of its grid; `grids` has the grid of that name. `upright` has
    the codes of upright wood, whose clock is read against the site grid. `sizes` maps site → its
    buildings' sizes.
    """

    on: Mapping[str, Mapping[str, str]]
    grids: Mapping[str, OwnGrid]
    upright: frozenset[str]
    sizes: Mapping[str, Mapping[str, Size]]


def own_grids(package: Package, key: str) -> Grids:
    """The own grid of every building, and of each piece of wood that is in none.

    `key` is the edition key. Wood in no building has its zero at end A and x along the wood; datums
    in no building have no grid. Of a site with one building everything is taken to be in it.
    """
    if not set(package.model.tables) >= _NEEDED:
        return Grids({}, {}, frozenset(), {})
    return _Gathering(package, key).grids()


class _Gathering:
    """Goes through the buildings of a record, one after the other."""

    def __init__(self, package: Package, key: str) -> None:
        self.key = key
        self.known: KnownPoints = known_points(package)
        self.record = self.known.record

    def grids(self) -> Grids:
        record = self.record
        of_places = record.buildings
        buildings = dict.fromkeys(of_places.values())
        grids = {one: self._of_building(one) for one in buildings}
        on: dict[str, dict[str, str]] = {"place": of_places}
        for table in ("element", "datum"):
            keys = record.column(table, f"{table}_id").to_list()
            names = record.buildings_of_rows[table].tolist()
            on[table] = {k: name for k, name in zip(keys, names, strict=True) if name}
        for at, element in enumerate(record.column("element", "element_id")):
            if element and element not in on["element"]:
                name = f"alone: {element}"
                on["element"][element] = name
                grids[name] = self._of_wood(at, name)
        on["sample"] = {
            sample: on["element"][element]
            for sample, element in zip(
                *(record.column("sample", name) for name in ("sample_id", "element_id")),
                strict=True,
            )
            if element in on["element"]
        }
        sizes: dict[str, dict[str, Size]] = defaultdict(dict)
        for one in buildings:
            if size := self._size(one, grids[one]):
                sizes[record.cell("place", "site_id", record.find("place", one))][one] = size
        return Grids(on, grids, self._upright(), sizes)

    # -- one building

    def _of_building(self, building: str) -> OwnGrid:
        outline = self._outline(building)
        points = self._points[building]
        if outline:
            turn = along_the_walls(outline) + 180.0 * (self._drawn(building) % 2)
            box = [turned(x, y, -turn) for x, y in outline]
            x, y = turned(min(x for x, _ in box), min(y for _, y in box), turn)
        elif points:
            (x, y), *others = points
            way = next((p for p in others if math.hypot(p[0] - x, p[1] - y) > _SAME_M), None)
            turn = 90.0 * (self._drawn(building) % 4)
            turn += math.degrees(math.atan2(way[1] - y, way[0] - x)) if way else 0.0
        else:
            x = y = turn = 0.0
        return OwnGrid(x, y, self._floor(building), turn % 360, self._seed(building))

    def _outline(self, building: str) -> list[Point]:
        text = self.record.cell("place", "outline", self.record.find("place", building))
        found = _corners_in(text)
        return found if len(found) >= 3 else []

    def _floor(self, building: str) -> float:
        """The height of the building's floor, else of its lowest room, datum or wood."""
        record = self.record
        own = record.numbers("place", "floor_height_m")
        at = record.find("place", building)
        inside = [
            record.find("place", one) for one, of in record.buildings.items() if of == building
        ]
        ways: tuple[Floats, ...] = (
            own[[at]],
            own[inside],
            self.known.datums[self._datums_in(building), 2],
            self.known.ends[self._ends_in(building), 2],
        )
        lowest = (float(one[np.isfinite(one)].min()) for one in ways if np.isfinite(one).any())
        return next(lowest, 0.0)

    def _datums_in(self, building: str) -> Ints:
        return np.flatnonzero(self.record.buildings_of_rows["datum"] == building)

    def _ends_in(self, building: str) -> Ints:
        inside = self.record.buildings_of_rows["element"] == building
        return np.flatnonzero(np.repeat(inside, 2))

    @cached_property
    def _points(self) -> Mapping[str, list[Point]]:
        """The known points of each building: datums, held ones first, then timber ends."""
        record, known = self.record, self.known
        found: dict[str, list[Point]] = defaultdict(list)
        rows = record.buildings_of_rows
        held = read_booleans(record.column("datum", "held")).fill_null(False).to_numpy()
        for at in np.argsort(~held, kind="stable"):
            if np.isfinite(known.datums[at, :2]).all():
                found[rows["datum"][at]].append((known.datums[at, 0], known.datums[at, 1]))
        for at, (x, y, _) in enumerate(known.ends):
            if np.isfinite([x, y]).all():
                found[rows["element"][at // 2]].append((x, y))
        return found

    def _size(self, building: str, grid: OwnGrid) -> Size | None:
        outline, points = self._outline(building), self._points[building]
        rooms = any(
            self.record.cell("place", "outline", self.record.find("place", place))
            for place, of in self.record.buildings.items()
            if of == building and place != building
        )
        lengths = self.record.numbers("element", "length_m")
        lengths = lengths[self.record.buildings_of_rows["element"] == building]
        shown = [grid.level(*point) for point in outline or points]
        if len(shown) < 2:
            # a single beam says little, but of several pieces the longest is a wall's or a ridge's
            measured = lengths[np.isfinite(lengths)]
            return Size(float(measured.max()), 0.0, 4, False, True) if len(measured) > 3 else None
        short, long = sorted(max(one) - min(one) for one in zip(*shown, strict=True))
        in_wood = [
            bool(((lengths > 0.95 * side) & (lengths < side + LOG_ENDS_M)).any())
            for side in (long, short)
        ]
        seen = bool(points) or rooms
        return Size(long, short, max(len(outline), 4), seen, in_wood[0], in_wood[1])

    # -- wood

    def _of_wood(self, at: int, name: str) -> OwnGrid:
        a, b = self.known.ends[2 * at], self.known.ends[2 * at + 1]
        if np.isnan([a[0], b[0]]).any():
            return OwnGrid(0.0, 0.0, 0.0, 0.0, "")
        if math.hypot(*(b - a)[:2]) > _SAME_M:
            turn = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
        else:
            turn = self._drawn(name) % 360
        height = float(np.nan_to_num(a[2]))
        return OwnGrid(float(a[0]), float(a[1]), height, turn % 360, self._seed(name))

    def _upright(self) -> frozenset[str]:
        sticks = self.known.sticks
        forward, _, _, _ = wood_axes(sticks.a, sticks.b)
        steep = np.abs(forward[:, 2]) > math.sin(math.radians(UPRIGHT_DEG))
        keys = self.record.column("element", "element_id").to_list()
        return frozenset(keys[at] for at in np.flatnonzero(steep))

    def _seed(self, name: str) -> str:
        return commit(self.key, "grid", name)

    def _drawn(self, name: str) -> int:
        """A number that nobody without the edition key can tell, the same one every time."""
        return int(self._seed(name)[:8], 16)


def along_the_walls(outline: Sequence[Point]) -> float:
    """The direction of a building's walls, of the longer side of its box, in degrees.

    Walls that stand square to each other count together, by their lengths. Of both ways along the
    longer side it is that of the first long wall, going anticlockwise from the first corner.
    """
    sides = [(x2 - x1, y2 - y1) for (x1, y1), (x2, y2) in closed(outline)]
    # four times the angle is the same for all sides of a rectangle
    angles = [(math.hypot(*side), 4 * math.atan2(side[1], side[0])) for side in sides]
    sine = sum(length**2 * math.sin(angle) for length, angle in angles)
    cosine = sum(length**2 * math.cos(angle) for length, angle in angles)
    turn = math.degrees(math.atan2(sine, cosine)) / 4
    box = [turned(x, y, -turn) for x, y in outline]
    wide, deep = (max(one) - min(one) for one in zip(*box, strict=True))
    turn += 90.0 if deep > wide else 0.0
    first, *others = outline
    round_it = [first, *others] if area_of(outline) >= 0 else [first, *reversed(others)]
    walls = [turned(x2 - x1, y2 - y1, -turn)[0] for (x1, y1), (x2, y2) in closed(round_it)]
    longest = max(map(abs, walls))
    way = next(one for one in walls if abs(one) >= 0.9 * longest)
    return turn + (180.0 if way < 0 else 0.0)


def area_of(outline: Sequence[Point]) -> float:
    """Twice the area, negative for corners that run clockwise."""
    return sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in closed(outline))


def closed(outline: Sequence[Point]) -> Iterable[tuple[Point, Point]]:
    """The sides of an outline."""
    return zip(outline, [*outline[1:], *outline[:1]], strict=True)


# -- texts ---------------------------------------------------------------------------------------


def number(value: float, decimals: int = DECIMALS) -> str:
    """A number with its figures, never '-0.000'."""
    return f"{round(value, decimals) + 0.0:.{decimals}f}"


def outline_on(grid: OwnGrid, text: str) -> str | None:
    """An outline on the building's own grid, None where it cannot be read.

    Its corners begin at the one next to the zero and run anticlockwise: where a crew began says
    how the building lies.
    """
    shown = [grid.shown(*one) for one in _corners_in(text)]
    if not shown:
        return None
    return ", ".join(f"{number(x)} {number(y)}" for x, y in in_order(shown))


def coarse_outline_on(grid: OwnGrid, text: str, step_m: int, *, box: bool = False) -> str | None:
    """A building's outline on its own grid, its corners moved outward to whole steps.

    With `box` only the rectangle round it. None where it cannot be read.
    """
    shown = [grid.level(*one) for one in _corners_in(text)]
    if not shown:
        return None
    xs, ys = zip(*shown, strict=True)
    if box:
        shown = [(x, y) for x in (min(xs), max(xs)) for y in (min(ys), max(ys))]
        shown[2:] = reversed(shown[2:])
    middle = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2

    def outward(value: float, axis: int) -> int:
        whole = math.floor if value < middle[axis] else math.ceil
        return step_m * whole(round(value / step_m, DECIMALS))

    moved = [(outward(x, 0), outward(y, 1)) for x, y in shown]
    kept = [one for one, after in closed(moved) if one != after]
    if len(set(kept)) < 3:
        return None
    return ", ".join(f"{x} {y}" for x, y in in_order(kept))


def in_order(outline: Sequence[Point]) -> list[Point]:
    """The corners anticlockwise, beginning at the one next to the zero."""
    right = list(outline) if area_of(outline) >= 0 else list(reversed(outline))
    first = min(range(len(right)), key=lambda at: (round(sum(right[at]), DECIMALS), right[at][1]))
    return right[first:] + right[:first]


def float_in(text: str) -> float | None:
    """A cell's number, None where it is none, or none that is on the earth."""
    value: Decimal | None = as_decimal(text)
    return None if value is None or abs(value) > FARTHEST_M else float(value)


def _corners_in(outline: str) -> list[Point]:
    """The corners of an outline, none where it cannot be read."""
    found = corners(outline) or []
    if any(abs(value) > FARTHEST_M for corner in found for value in corner):
        return []
    return [(float(x), float(y)) for x, y in found]
