"""Finds codes of places near a protected one: each is decoded by a library and measured.

Sources: NGA.STND.0037 (MGRS, Georef, GARS) and the letters of the Ordnance Survey National Grid and
of geohashes through pygeodesy; Open Location Code through openlocationcode; IARU locators through
maidenhead; the letters of the Irish Grid (EPSG:29903) from memory.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from functools import cached_property

from provenance._disclosure.places.frames import METRES_A_DEGREE, Area, Point

_FIGURES = r"((?:[0-9][\s-]?){3,10}[0-9])(?![0-9])"
_MILITARY = re.compile(
    rf"(?<![A-Z0-9])(?:([0-9]{{1,2}})[\s-]?([C-HJ-NP-X])[\s-]?)?([A-HJ-NP-Z]{{2}})[\s-]?{_FIGURES}",
    re.IGNORECASE,
)
_IRISH = re.compile(rf"(?<![A-Z0-9])([A-HJ-Z])[\s-]?{_FIGURES}", re.IGNORECASE)
IRISH_GRID = 29903
_PLUS_SIGNS = "23456789CFGHJMPQRVWX"
_PLUS = re.compile(
    rf"(?<![A-Z0-9])([{_PLUS_SIGNS}]{{4,8}}\+[{_PLUS_SIGNS}]{{0,7}})(?![A-Z0-9])", re.IGNORECASE
)
_LOCATOR = re.compile(
    r"(?<![A-Z0-9])[A-R]{2}[0-9]{2}[A-X]{2}(?:[0-9]{2}(?:[A-X]{2})?)?(?![A-Z0-9])", re.IGNORECASE
)
_GARS = re.compile(r"(?<![A-Z0-9])[0-9]{3}[A-HJ-NP-Z]{2}[1-4][1-9]?(?![A-Z0-9])", re.IGNORECASE)
_GEOREF = re.compile(
    r"(?<![A-Z0-9])[A-HJ-NP-Z]{2}[A-HJ-NP-Q]{2}(?:[0-9]{2}){2,5}(?![A-Z0-9])", re.IGNORECASE
)
_HASH_SIGNS = "0-9b-hjkmnp-z"
_HASH_PREFIX = 4
"""So many signs of a geohash stand for some 30 km; longer ones are looked for."""

Found = tuple[int, int, str]
"""Start, end, and what was found there."""


class Codes:
    """The codes that stand for places near the points of one area."""

    def __init__(self, area: Area) -> None:
        self._middle = area.middle

    def find(self, text: str) -> Iterator[Found]:
        """Every code in a text, as `plain` gives it, of a place within reach."""
        for match in self._geohash.finditer(text):
            from pygeodesy import geohash

            if self._is_near(*geohash.decode2(match[0].lower())[:2]):
                yield *match.span(), "geohash"
        if "+" in text:
            for match in _PLUS.finditer(text):
                if self._is_plus_code_here(match[1].upper()):
                    yield *match.span(), "plus code"
        if not any(map(str.isdigit, text)):
            return
        for match in _MILITARY.finditer(text):
            yield from self._military(match)
        if -11 < self._middle.longitude < -5 and 51 < self._middle.latitude < 56:
            for match in _IRISH.finditer(text):
                yield from self._irish(match)
        for match in _LOCATOR.finditer(text):
            import maidenhead

            if self._is_near(*maidenhead.to_location(match[0].upper(), center=True)):
                yield *match.span(), "locator"
        for form, name in ((_GARS, "GARS"), (_GEOREF, "Georef")):
            for match in form.finditer(text):
                if self._is_square_here(name, match[0].upper()):
                    yield *match.span(), f"{name} code"

    def _is_near(self, latitude: float, longitude: float) -> bool:
        here = self._middle
        north = latitude - here.latitude
        east = (longitude - here.longitude + 180) % 360 - 180
        east *= math.cos(math.radians(here.latitude))
        return math.hypot(north, east) * METRES_A_DEGREE <= here.reach_m

    # -- letters and figures ---------------------------------------------------------------------

    @cached_property
    def _squares(self) -> dict[str, set[str]]:
        """The letters of the MGRS squares round the points → zone and band."""
        from pygeodesy import toMgrs, toUtm8

        squares: dict[str, set[str]] = {}
        for latitude, longitude in self._round(1.5):
            if -80 <= latitude < 84:
                square = toMgrs(toUtm8(latitude, longitude))
                squares.setdefault(square.EN, set()).add(f"{square.zone:02d}{square.band}")
        return squares

    def _round(self, times: float) -> Iterator[tuple[float, float]]:
        """The middle, and points round it at so many times the reach."""
        here: Point = self._middle
        north = times * here.reach_m / METRES_A_DEGREE
        east = north / max(math.cos(math.radians(here.latitude)), 0.05)
        for up in (-1, 0, 1):
            for right in (-1, 0, 1):
                longitude = (here.longitude + right * east + 180) % 360 - 180
                yield min(max(here.latitude + up * north, -90), 90), longitude

    def _military(self, match: re.Match[str]) -> Iterator[Found]:
        letters = match[3].upper()
        # without a zone and band, those of this place are meant; another zone is another place
        for zone in self._squares.get(letters, ()):
            if match[1] and f"{int(match[1]):02d}{match[2].upper()}" != zone:
                continue
            for figures in _even_parts(match[4]):
                if self._is_here(f"{zone}{letters}{figures}"):
                    yield match.start(), match.end(4), "MGRS"
                    return
        if not match[1] and -9 < self._middle.longitude < 3 and 49 < self._middle.latitude < 61:
            for figures in _even_parts(match[4]):
                if self._is_on_british_grid(f"{letters}{figures}"):
                    yield match.start(3), match.end(4), "national grid reference"
                    return

    def _is_here(self, code: str) -> bool:
        from pygeodesy import MGRSError, parseMGRS

        try:
            point = parseMGRS(code).toLatLon()
        except MGRSError:
            return False
        return self._is_near(point.lat, point.lon)

    def _is_on_british_grid(self, code: str) -> bool:
        from pygeodesy import OSGRError, parseOSGR

        try:
            point = parseOSGR(code).toLatLon()
        except OSGRError:
            return False
        return self._is_near(point.lat, point.lon)

    def _irish(self, match: re.Match[str]) -> Iterator[Found]:
        from pyproj import Transformer

        row, column = divmod("ABCDEFGHJKLMNOPQRSTUVWXYZ".index(match[1].upper()), 5)
        for figures in _even_parts(match[2]):
            half = len(figures) // 2
            metres = 10.0 ** (5 - half)
            east = column * 1e5 + int(figures[:half]) * metres
            north = (4 - row) * 1e5 + int(figures[half:]) * metres
            to_degrees = Transformer.from_crs(IRISH_GRID, 4326, always_xy=True)
            longitude, latitude = to_degrees.transform(east, north)
            if self._is_near(latitude, longitude):
                yield match.start(), match.end(), "Irish grid reference"
                return

    # -- other codes -----------------------------------------------------------------------------

    @cached_property
    def _geohash(self) -> re.Pattern[str]:
        from pygeodesy import geohash

        cells = {geohash.encode(*one, _HASH_PREFIX) for one in self._round(1)}
        return re.compile(
            rf"(?<![A-Za-z0-9])(?:{'|'.join(sorted(cells))})[{_HASH_SIGNS}]{{1,8}}(?![A-Za-z0-9])",
            re.IGNORECASE,
        )

    def _is_plus_code_here(self, code: str) -> bool:
        from openlocationcode import openlocationcode

        here = self._middle
        if openlocationcode.isShort(code):
            code = openlocationcode.recoverNearest(code, here.latitude, here.longitude)
        if not openlocationcode.isFull(code):
            return False
        area = openlocationcode.decode(code)
        return self._is_near(area.latitudeCenter, area.longitudeCenter)

    def _is_square_here(self, system: str, code: str) -> bool:
        from pygeodesy import gars, wgrs

        try:
            found = gars.decode3(code) if system == "GARS" else wgrs.decode3(code)
        except ValueError:
            return False
        return self._is_near(float(found[0]), float(found[1]))


def _even_parts(figures: str) -> Iterator[str]:
    """The figures of a reference, longest first: what stands behind may be another number."""
    bare = re.sub(r"[^0-9]", "", figures)
    for length in range(min(len(bare) // 2 * 2, 10), 3, -2):
        yield bare[:length]
