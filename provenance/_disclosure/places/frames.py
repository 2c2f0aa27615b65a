"""Says what the coordinates of protected points are: degrees, own grids, and any grid of the area.

Source: EPSG Dataset as shipped with PROJ (through pyproj) for the grids, their areas and datums.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

REACH_M = 10_000.0
"""A position so near tells more than the cell that the public edition shows by default."""
WGS84, WEB_MERCATOR, UTM_NORTH, UTM_SOUTH = 4326, 3857, 32600, 32700
METRES_A_DEGREE = 111_320.0
SMALLEST_MAP_FIGURE = 10_000.0
"""A coordinate below this is one of a site's own grid, and leads nowhere."""
OTHER_GRID_BITS = 5.0
"""What it costs to try the thirty or so grids that nobody said are used here."""
DATUM_SHIFT_M = 2_000.0
"""More than any two datums of one area differ."""
FEET = 3.3
"""The smallest units of grids, in a metre."""
_ONE_GROUP_M = 500.0
_SMALL = math.log(10_000)
_SMALLEST_DEGREE = 0.01


@dataclass(frozen=True, order=True)
class Point:
    """A protected point in degrees, on the datum `geodetic`; `crs` are the EPSG codes of its grids.

    Within `reach_m` metres of it a position is taken for it.
    """

    latitude: float
    longitude: float
    crs: tuple[int, ...] = ()
    reach_m: float = REACH_M
    geodetic: int = WGS84


@dataclass(frozen=True)
class Stretch:
    """Where the protected points lie on an axis, without signs.

    `span` is the length over which a number met by chance would be spread, `cost` in bits.
    """

    low: float
    high: float
    frame: tuple[int, int]
    axis: int
    span: float
    reach: float
    cost: float = 0.0

    def bits(self, value: float, half: float, finest: float) -> float | None:
        """How unlikely it is that a number met by chance comes so near; None beyond reach."""
        off = max(self.low - value, value - self.high, 0.0)
        if max(off, half) > self.reach:
            return None
        width = self.high - self.low + 2 * max(off, half, finest)
        return math.log2(self.span / width) - self.cost


class Line:
    """Stretches of one kind of axis in order, to be asked by value."""

    def __init__(self, stretches: Iterable[Stretch]) -> None:
        self.stretches = sorted(stretches, key=lambda one: (one.low, one.high))
        self._lows = [one.low for one in self.stretches]
        self._widest = max((one.high - one.low for one in self.stretches), default=0.0)
        self._reach = max((one.reach for one in self.stretches), default=0.0)

    def between(self, low: float, high: float) -> Iterator[Stretch]:
        """Those that come within reach of a value from `low` to `high`."""
        place = bisect_right(self._lows, high + self._reach) - 1
        while place >= 0 and self._lows[place] >= low - self._reach - self._widest:
            one = self.stretches[place]
            if one.low - one.reach <= high and low <= one.high + one.reach:
                yield one
            place -= 1


@dataclass(frozen=True)
class Area:
    """Points that lie together, as the box that holds them."""

    points: tuple[Point, ...]

    @property
    def middle(self) -> Point:
        """The middle of the box."""
        lats, lons = self.latitudes, self.longitudes
        return replace(self.points[0], latitude=sum(lats) / 2, longitude=sum(lons) / 2)

    @property
    def latitudes(self) -> tuple[float, float]:
        """Lowest and highest."""
        found = [one.latitude for one in self.points]
        return min(found), max(found)

    @property
    def longitudes(self) -> tuple[float, float]:
        """Lowest and highest."""
        found = [one.longitude for one in self.points]
        return min(found), max(found)


def areas_of(points: Iterable[Point]) -> list[Area]:
    """The points in groups of what lies within some hundred metres, so that each is computed once.

    Points out of range are nowhere, and left out.
    """
    groups: list[list[Point]] = []
    for one in dict.fromkeys(points):
        if not (abs(one.latitude) <= 90 and abs(one.longitude) <= 180):
            continue
        for group in groups:
            first = group[0]
            north = (one.latitude - first.latitude) * METRES_A_DEGREE
            east = (one.longitude - first.longitude) * METRES_A_DEGREE * _narrowing(one.latitude)
            alike = (one.crs, one.reach_m, one.geodetic) == (
                first.crs, first.reach_m, first.geodetic,
            )  # fmt: skip
            if alike and math.hypot(north, east) <= _ONE_GROUP_M:
                group.append(one)
                break
        else:
            groups.append([one])
    return [Area(tuple(group)) for group in groups]


def _narrowing(latitude: float) -> float:
    return max(math.cos(math.radians(latitude)), 0.05)


# -- degrees -------------------------------------------------------------------------------------


def degrees(
    areas: Iterable[Area], latitudes: Iterable[float] = (), longitudes: Iterable[float] = ()
) -> Line:
    """The latitudes (axis 0) and longitudes (axis 1) of points and of those that stand alone."""
    found: list[Stretch] = []
    narrow = 1.0
    for area in areas:
        reach = area.points[0].reach_m / METRES_A_DEGREE
        narrow = min(narrow, _narrowing(area.middle.latitude))
        found.append(_of_degrees(area.latitudes, 0, reach))
        found.append(_of_degrees(area.longitudes, 1, reach / _narrowing(area.middle.latitude)))
    lone = [abs(one) for one in latitudes if abs(one) <= 90]
    narrow = min([narrow, *map(_narrowing, lone)])
    reach = REACH_M / METRES_A_DEGREE
    found += [_of_degrees(one, 0, reach) for one in _runs(lone, reach / 20)]
    lone = [abs(one) for one in longitudes if abs(one) <= 180]
    found += [_of_degrees(one, 1, reach / narrow) for one in _runs(lone, reach / 20)]
    return Line(dict.fromkeys(found))


def _of_degrees(ends: tuple[float, float], axis: int, reach: float) -> Stretch:
    low, high = _without_sign(ends)
    # small numbers are met far more often than large ones: as often in each power of ten
    span = min((90.0, 180.0)[axis], _SMALL * max(low, _SMALLEST_DEGREE))
    return Stretch(low, high, (-1, 0), axis, span, reach)


def _without_sign(ends: Sequence[float]) -> tuple[float, float]:
    low, high = min(ends), max(ends)
    return (0.0 if low < 0 < high else min(abs(low), abs(high))), max(abs(low), abs(high))


def _runs(values: Iterable[float], gap: float) -> list[tuple[float, float]]:
    """Lowest and highest of each run of values with no gap between them."""
    runs: list[list[float]] = []
    for value in sorted(values):
        if runs and value - runs[-1][1] <= gap:
            runs[-1][1] = value
        else:
            runs.append([value, value])
    return [(low, high) for low, high in runs]


# -- grids ---------------------------------------------------------------------------------------


def own_metres(metres: Iterable[float]) -> list[Stretch]:
    """Map coordinates as the record has them; which axis each is on may not be known, so both."""
    large = [abs(one) for one in metres if abs(one) >= SMALLEST_MAP_FIGURE]
    return [
        _of_metres(run, (-2, 0), axis, REACH_M)
        for run in _runs(large, _ONE_GROUP_M)
        for axis in (0, 1)
    ]


def grids_here(number: int, area: Area) -> list[Stretch]:
    """Eastings and northings on the grids of the record and in UTM."""
    middle = area.middle
    codes = [*middle.crs, _utm(middle, 0)]
    return [one for code in dict.fromkeys(codes) for one in on_grid(number, area, code)]


def other_grids(number: int, area: Area) -> list[Stretch]:
    """The same on the UTM zones beside it, in Web Mercator, and on every grid whose area holds it.

    Datum shifts are left out, which makes it quick: whoever meets a number near one of these asks
    `on_grid` for the exact place.
    """
    from pyproj import Proj
    from pyproj.aoi import AreaOfInterest
    from pyproj.database import query_crs_info
    from pyproj.enums import PJType
    from pyproj.exceptions import ProjError

    middle = area.middle
    here = AreaOfInterest(*(middle.longitude, middle.latitude) * 2)
    listed = query_crs_info("EPSG", [PJType.PROJECTED_CRS], here, contains=True)
    codes = [_utm(middle, -1), _utm(middle, 1), WEB_MERCATOR]
    codes += [int(one.code) for one in listed if not one.deprecated]
    known = {*middle.crs, _utm(middle, 0)}
    found: list[Stretch] = []
    seen: set[tuple[int, int]] = set()
    for code in dict.fromkeys(codes):
        if code in known:
            continue
        try:
            east, north = Proj(code)(*_corners(area))
        except ProjError:
            # EPSG lists whole families of grids ("grid system"), which are none themselves
            continue
        near = _pair(number, code, east, north, area, OTHER_GRID_BITS)
        place = (round(min(east)), round(min(north)))
        if near and place not in seen:
            seen.add(place)
            found += [replace(one, reach=(one.reach + DATUM_SHIFT_M) * FEET) for one in near]
    return found


def on_grid(number: int, area: Area, code: int, cost: float = 0.0) -> list[Stretch]:
    """Easting and northing of an area on one grid; none where it has no place on it."""
    from pyproj import Transformer
    from pyproj.exceptions import CRSError, ProjError

    try:
        transformer = Transformer.from_crs(area.middle.geodetic, code, always_xy=True)
    except (CRSError, ProjError):
        # a number that stands for no grid is a finding of 'check'
        return []
    east, north = transformer.transform(*_corners(area))
    unit = (
        transformer.target_crs.axis_info[0].unit_conversion_factor if transformer.target_crs else 1
    )
    found = _pair(number, code, east, north, area, cost)
    return [replace(one, reach=one.reach / unit) for one in found]


def point_on_grid(easting: float, northing: float, code: int) -> Point | None:
    """The point that map coordinates stand for; None where they stand for none."""
    from pyproj import Transformer
    from pyproj.exceptions import CRSError, ProjError

    try:
        to_degrees = Transformer.from_crs(code, WGS84, always_xy=True)
    except (CRSError, ProjError):
        return None
    longitude, latitude = to_degrees.transform(easting, northing)
    is_there = math.isfinite(latitude) and math.isfinite(longitude)
    return Point(latitude, longitude, (code,)) if is_there else None


def _utm(point: Point, aside: int) -> int:
    zone = int((point.longitude + 180) // 6)
    return (UTM_SOUTH if point.latitude < 0 else UTM_NORTH) + (zone + aside) % 60 + 1


def _corners(area: Area) -> tuple[list[float], list[float]]:
    (south, north), (west, east) = area.latitudes, area.longitudes
    return [west, west, east, east], [south, north, south, north]


def _pair(
    number: int, code: int, east: Sequence[float], north: Sequence[float], area: Area, cost: float
) -> list[Stretch]:
    if not all(map(math.isfinite, (*east, *north))):
        return []
    reach = area.points[0].reach_m
    ends = (_without_sign(east), _without_sign(north))
    return [
        replace(_of_metres(one, (number, code), axis, reach), cost=cost)
        for axis, one in enumerate(ends)
        if one[1] >= SMALLEST_MAP_FIGURE
    ]


def _of_metres(
    ends: tuple[float, float], frame: tuple[int, int], axis: int, reach: float
) -> Stretch:
    span = 10.0 ** math.ceil(math.log10(max(ends[1], 10.0)))
    return Stretch(*ends, frame, axis, span, reach)


def last_figures(stretches: Iterable[Stretch], figures: int) -> Line:
    """The same coordinates without what stands before their last figures, as crews write them.

    Only so near as a site is large: without their first figures they are met everywhere.
    """
    whole = 10.0**figures
    found = []
    for one in stretches:
        if one.span <= whole:
            continue
        low = one.low % whole
        for turn in (0.0, -whole):
            end = low + one.high - one.low + turn
            if end >= 0:
                found.append(replace(one, low=low + turn, high=end, span=whole, reach=100.0))
    return Line(found)
