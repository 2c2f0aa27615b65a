"""Finds codes of places near a protected one: each is decoded by a library and measured.

Sources: NGA.STND.0037 (MGRS) through mgrs; geohashes through pygeohash; Open Location Code through
openlocationcode; IARU locators through maidenhead; the letters of the grids of Great Britain and
Ireland (Ordnance Survey, A guide to coordinate systems in Great Britain) from memory.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from functools import cache, cached_property
from typing import TYPE_CHECKING

from provenance._disclosure.places.frames import METRES_A_DEGREE, WGS84, Area, Point

if TYPE_CHECKING:
    from pyproj import Transformer

_FIGURE = re.compile(r"[0-9]")
_FIGURES = r"((?:[0-9][\s-]?){3,10}[0-9])(?![0-9])"
_MILITARY = re.compile(
    rf"(?<![A-Z0-9])(?:([0-9]{{1,2}})[\s-]?([C-HJ-NP-X])[\s-]?)?([A-HJ-NP-Z]{{2}})[\s-]?{_FIGURES}",
    re.IGNORECASE,
)
_IRISH = re.compile(rf"(?<![A-Z0-9])([A-HJ-Z])[\s-]?{_FIGURES}", re.IGNORECASE)
_ALPHABET = "ABCDEFGHJKLMNOPQRSTUVWXYZ"
BRITISH_GRID, IRISH_GRID = 27700, 29903
_PLUS_SIGNS = "23456789CFGHJMPQRVWX"
_PLUS = re.compile(
    rf"(?<![A-Z0-9])([{_PLUS_SIGNS}]{{4,8}}\+[{_PLUS_SIGNS}]{{0,7}})(?![A-Z0-9])", re.IGNORECASE
)
_LOCATOR = re.compile(
    r"(?<![A-Z0-9])[A-R]{2}[0-9]{2}[A-X]{2}(?:[0-9]{2}(?:[A-X]{2})?)?(?![A-Z0-9])", re.IGNORECASE
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
            import pygeohash

            if self._is_near(*pygeohash.decode(match[0].lower())):
                yield *match.span(), "geohash"
        if "+" in text:
            for match in _PLUS.finditer(text):
                if self._is_plus_code_here(match[1].upper()):
                    yield *match.span(), "plus code"
        if not _FIGURE.search(text):
            return
        for match in _MILITARY.finditer(text):
            yield from self._military(match)
        if -11 < self._middle.longitude < -5 and 51 < self._middle.latitude < 56:
            for match in _IRISH.finditer(text):
                row, column = divmod(_ALPHABET.index(match[1].upper()), 5)
                if self._is_on(IRISH_GRID, column, 4 - row, match[2]):
                    yield *match.span(), "grid reference"
        for match in _LOCATOR.finditer(text):
            import maidenhead

            if self._is_near(*maidenhead.to_location(match[0].upper(), center=True)):
                yield *match.span(), "locator"

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
        from mgrs import MGRS

        squares: dict[str, set[str]] = {}
        for latitude, longitude in self._round(1.5):
            code = MGRS().toMGRS(latitude, longitude, MGRSPrecision=0).lstrip("0")
            squares.setdefault(code[-2:], set()).add(code[:-2])
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
        from mgrs import MGRS

        letters = match[3].upper()
        # without a zone and band, those of this place are meant; another zone is another place
        for zone in self._squares.get(letters, ()):
            if match[1] and f"{int(match[1])}{match[2].upper()}" != zone:
                continue
            codes = (f"{zone}{letters}{figures}" for figures in _even_parts(match[4]))
            if any(self._is_near(*MGRS().toLatLon(code)) for code in codes):
                yield match.start(), match.end(4), "grid reference"
                return
        if not match[1] and -9 < self._middle.longitude < 3 and 49 < self._middle.latitude < 61:
            first, second = map(_ALPHABET.index, letters)
            column = (first - 2) % 5 * 5 + second % 5
            row = 19 - first // 5 * 5 - second // 5
            if self._is_on(BRITISH_GRID, column, row, match[4]):
                yield match.start(3), match.end(4), "grid reference"

    def _is_on(self, grid: int, column: int, row: int, written: str) -> bool:
        """Whether figures within a square of a hundred kilometres are those of this place."""
        for figures in _even_parts(written):
            half = len(figures) // 2
            metres = 10.0 ** (5 - half)
            east = column * 1e5 + int(figures[:half]) * metres
            north = row * 1e5 + int(figures[half:]) * metres
            longitude, latitude = _to_degrees(grid).transform(east, north)
            if self._is_near(latitude, longitude):
                return True
        return False

    # -- other codes -----------------------------------------------------------------------------

    @cached_property
    def _geohash(self) -> re.Pattern[str]:
        import pygeohash

        cells = {pygeohash.encode(*one, precision=_HASH_PREFIX) for one in self._round(1)}
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


@cache
def _to_degrees(grid: int) -> Transformer:
    from pyproj import Transformer

    return Transformer.from_crs(grid, WGS84, always_xy=True)


def _even_parts(figures: str) -> Iterator[str]:
    """The figures of a reference, longest first: what stands behind may be another number."""
    bare = re.sub(r"[^0-9]", "", figures)
    for length in range(min(len(bare) // 2 * 2, 10), 3, -2):
        yield bare[:length]
