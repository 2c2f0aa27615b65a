"""Writes invented places in every notation that crews and their devices use, and harmless notes.

Grids are computed by pyproj (PROJ, EPSG Dataset); codes by reference libraries that the program
does not use for them: MGRS, geohashes and the letters of the British grid by pygeodesy. Plus codes
and locators are written by the libraries that read them (openlocationcode, maidenhead).
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import cycle, islice

import maidenhead
from openlocationcode import openlocationcode
from pygeodesy import geohash, toMgrs, toOsgr, toUtm8
from pyproj import Transformer

from provenance._disclosure.places.frames import Point

PLACES = (
    Point(37.48213, -108.51674, (26912,)),
    Point(51.47391, -1.28376, (27700,)),
    Point(51.48127, 0.00213, (27700,)),
    Point(-0.01237, 36.81945, (32737,)),
    Point(-41.27351, 174.77862, (2193,)),
    Point(-16.50123, 179.98412, (3460,)),
    Point(66.31241, -179.97311, (3571,)),
    Point(60.39112, 5.32418, (25832,)),
    Point(-33.44894, -70.66927, (32719,)),
)
"""On five continents, in all quarters, by the zero meridian, the equator and the antimeridian."""


@dataclass(frozen=True)
class Written:
    """A place as the notations below need it."""

    point: Point
    lat: float
    lon: float
    north: str
    east: str

    @property
    def utm(self) -> tuple[int, float, float]:
        """Zone, easting and northing."""
        zone = int((self.point.longitude + 180) // 6) + 1
        code = (32700 if self.point.latitude < 0 else 32600) + zone
        return zone, *self.on(code)

    def on(self, code: int) -> tuple[float, float]:
        """Easting and northing on a grid."""
        east, north = _grid(code).transform(self.point.longitude, self.point.latitude)
        return east, north

    @property
    def military(self) -> str:
        """MGRS to the metre."""
        return _military(self.point)


@cache
def _military(point: Point) -> str:
    code = toMgrs(toUtm8(point.latitude, point.longitude))
    return f"{code.zone}{code.band}{code.EN}{int(code.easting):05d}{int(code.northing):05d}"


@cache
def _grid(code: int) -> Transformer:
    return Transformer.from_crs(4326, code, always_xy=True)


def written(point: Point) -> Written:
    """A point with its signs taken off."""
    return Written(
        point, abs(point.latitude), abs(point.longitude),
        "S" if point.latitude < 0 else "N", "W" if point.longitude < 0 else "E",
    )  # fmt: skip


def _dms(value: float, form: str) -> str:
    """`form` takes d, m, s and, to the next smaller part, mm (minutes) and ss (seconds)."""
    tenths = round(value * 36000)
    degrees, rest = divmod(tenths, 36000)
    minutes, part = divmod(rest, 600)
    return form.format(d=degrees, m=minutes, ss=part / 10, s=part // 10, mm=minutes + part / 600)


def _both(form: str) -> Callable[[Written], str]:
    """Both halves in the same form, with n as the letter of the hemisphere."""

    def write(one: Written) -> str:
        north = _dms(one.lat, form.replace("(h)", one.north))
        return f"{north} {_dms(one.lon, form.replace('(h)', one.east))}"

    return write


def _decimal(form: str) -> Callable[[Written], str]:
    return lambda one: form.format(
        lat=one.lat, lon=one.lon, n=one.north, e=one.east,
        slat=one.point.latitude, slon=one.point.longitude,
        clat=f"{one.lat:.5f}".replace(".", ","), clon=f"{one.lon:.5f}".replace(".", ","),
        rlat=str(round(one.lat * 1e5)), rlon=str(round(one.lon * 1e5)),
        spread_lat=" ".join(f"{one.lat:.5f}"), spread_lon=" ".join(f"{one.lon:.5f}"),
    )  # fmt: skip


def _utm(form: str) -> Callable[[Written], str]:
    def write(one: Written) -> str:
        zone, east, north = one.utm
        band = one.military.lstrip("0123456789")[0]
        groups = {name: f"{value:,.0f}" for name, value in (("e", east), ("n", north))}
        return form.format(
            z=zone, b=band, e=east, n=north, ge=groups["e"].replace(",", " "),
            gn=groups["n"].replace(",", " "), ce=groups["e"], cn=groups["n"],
            ke=east / 1000, kn=north / 1000, te=east % 1e5, tn=north % 1e5,
            fe=int(east % 1e5) // 10, fn=int(north % 1e5) // 10,
            he=int(east % 1e5) // 100, hn=int(north % 1e5) // 100,
        )  # fmt: skip

    return write


def _mgrs(form: str) -> Callable[[Written], str]:
    def write(one: Written) -> str:
        code = one.military
        square, figures = code[:-10], code[-10:]
        return form.format(
            zone=square[:-2], sq=square[-2:], e=figures[:5], n=figures[5:],
            e4=figures[:4], n4=figures[5:9], e3=figures[:3], n3=figures[5:8],
        )  # fmt: skip

    return write


def _next_zone(point: Point) -> int:
    zone = int((point.longitude + 180) // 6) + 1
    return (32700 if point.latitude < 0 else 32600) + zone % 60 + 1


def _own_grid(form: str) -> Callable[[Written], str]:
    def write(one: Written) -> str:
        east, north = one.on(one.point.crs[0])
        return form.format(e=abs(east), n=abs(north))

    return write


_NUMBERS = {
    "tens": "zero ten twenty thirty forty fifty sixty seventy eighty ninety",
    "en": "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen "
          "fifteen sixteen seventeen eighteen nineteen point",
    "de": "null eins zwei drei vier fünf sechs sieben acht neun Komma",
    "fr": "zéro un deux trois quatre cinq six sept huit neuf virgule",
    "es": "cero uno dos tres cuatro cinco seis siete ocho nueve coma",
}  # fmt: skip
_TENS, _ONES = _NUMBERS["tens"].split(), _NUMBERS["en"].split()


def said(number: int) -> str:
    """A number below 1,000 in English words."""
    if number < 20:
        return _ONES[number]
    if number < 100:
        tens, ones = divmod(number, 10)
        return _TENS[tens] + (f"-{_ONES[ones]}" if ones else "")
    hundreds, rest = divmod(number, 100)
    return f"{_ONES[hundreds]} hundred" + (f" and {said(rest)}" if rest else "")


def _said_dms(one: Written) -> str:
    parts = []
    for value, way in ((one.lat, one.north), (one.lon, one.east)):
        degrees, minutes, seconds = map(int, _dms(value, "{d} {m} {s}").split())
        side = {"N": "north", "S": "south", "E": "east", "W": "west"}[way]
        parts.append(
            f"{said(degrees)} degrees {said(minutes)} minutes {said(seconds)} seconds {side}"
        )
    return " and ".join(parts)


def _said_decimal(one: Written) -> str:
    def words(value: float) -> str:
        whole, part = f"{value:.4f}".split(".")
        return f"{said(int(whole))} point {' '.join(_ONES[int(figure)] for figure in part)}"

    return f"{words(one.lat)} by {words(one.lon)}"


def _one_by_one(language: str) -> Callable[[Written], str]:
    names = _NUMBERS[language].split()
    names_of = dict(zip("0123456789.", names, strict=True))

    def write(one: Written) -> str:
        return " / ".join(
            " ".join(map(names_of.__getitem__, f"{value:.4f}")) for value in (one.lat, one.lon)
        )

    return write


def _short_plus(one: Written) -> str:
    code: str = openlocationcode.encode(one.point.latitude, one.point.longitude)
    return code[4:]


def _national_grid(one: Written) -> str:
    """The letters of Great Britain there, MGRS elsewhere."""
    if one.point.crs != (27700,):
        return one.military
    return str(toOsgr(one.point.latitude, one.point.longitude))


NOTATIONS: dict[str, Callable[[Written], str]] = {
    "decimal": _decimal("{lat:.5f} {lon:.5f}"),
    "decimal, signed": _decimal("{slat:.5f}, {slon:.5f}"),
    "decimal, other way round": _decimal("POINT({slon:.6f} {slat:.6f})"),
    "decimal, three places": _decimal("{lat:.3f}{n} {lon:.3f}{e}"),
    "decimal, letters before": _decimal("{n}{lat:.4f} {e}{lon:.4f}"),
    "decimal, letters behind": _decimal("{lat:.5f}°{n}, {lon:.5f}°{e}"),
    "decimal, with comma": _decimal("{clat} {clon}"),
    "decimal, comma, semicolon": _decimal("{clat}° {n}; {clon}° {e}"),
    "decimal, named": _decimal("lat {lat:.4f} long {lon:.4f}"),
    "decimal, in two places": _decimal("latitude is {lat:.4f} while the longitude is {lon:.4f}"),
    "decimal, one with words between": _decimal("{lat:.4f} up the hill and over {lon:.4f}"),
    "latitude alone": _decimal("northing in degrees {lat:.4f}"),
    "decimal, blank behind the point": _decimal("{lat:.0f}. {lat:.5f} {lon:.5f}"),
    "decimal, point dropped": _decimal("{rlat} {rlon}"),
    "decimal, letters and no point": _decimal("{n}{rlat}{e}{rlon}"),
    "decimal, figures apart": _decimal("{spread_lat} {spread_lon}"),
    "powers of ten": _decimal("{lat:.6e} {lon:.6e}"),
    "ISO 6709": _decimal("{slat:+.4f}{slon:+09.4f}/"),
    "GeoJSON": _decimal('"coordinates":[{slon:.6f},{slat:.6f}]'),
    "geo URI": _decimal("geo:{slat:.5f},{slon:.5f}"),
    "map link, at": _decimal("https://example.org/maps/@{slat:.6f},{slon:.6f},17z"),
    "map link, hash": _decimal("map.example.org/#map=17/{slat:.5f}/{slon:.5f}"),
    "degrees and decimal minutes": _both("{d}° {mm:.3f}' (h)"),
    "decimal minutes, letters before": _both("(h){d} {mm:.3f}"),
    "decimal minutes, comma": lambda one: _both("(h) {d}° {mm:.3f}")(one).replace(".", ","),
    "decimal minutes, packed": _both("{d}{mm:06.3f}(h)"),
    "NMEA": _both("{d:03d}{mm:07.4f},(h),"),
    "degrees, minutes, seconds": _both("{d}° {m}' {ss:.1f}\" (h)"),
    "primes": _both("{d}°{m:02d}′{ss:04.1f}″(h)"),
    "ordinal sign": _both("{d}º {m}′ {s}″"),
    "typographic quotes": _both("{d}° {m}’ {ss:.1f}” (h)"),
    "letters as signs": _both("{d}d{m}m{ss:.1f}s(h)"),
    "hyphens": _both("{d}-{m:02d}-{ss:04.1f}(h)"),
    "colons": _both("{d}:{m:02d}:{ss:04.1f}"),
    "points": _both("{d}.{m:02d}.{s:02d}.(h)"),
    "blanks": _both("{d} {m:02d} {ss:04.1f}"),
    "packed": _both("{d}{m:02d}{s:02d}(h)"),
    "packed, letters before": _both("(h){d:03d}{m:02d}{s:02d}"),
    "packed, with decimals": _both("{d}{m:02d}{ss:04.1f}(h)"),
    "stars": _both("{d}*{m:02d}'{ss:.1f}"),
    "words for signs": _both("{d} degrees {m} minutes {ss:.1f} seconds (h)"),
    "words for signs, German": _both("{d} Grad {m} Minuten {ss:.1f} Sekunden"),
    "words for signs, Spanish": _both("{d} grados {m} minutos {ss:.1f} segundos"),
    "words for signs, Polish": _both("{d} stopni {m} minut {ss:.1f} sekund"),
    "short words": _both("{d} deg {m} min {ss:.1f} sec (h)"),
    "in words": _said_dms,
    "in words, decimal": _said_decimal,
    "figure by figure, German": _one_by_one("de"),
    "figure by figure, French": _one_by_one("fr"),
    "figure by figure, Spanish": _one_by_one("es"),
    "UTM": _utm("{z}{b} {e:.0f} {n:.0f}"),
    "UTM, letters": _utm("{z}{b} {e:.0f}mE {n:.0f}mN"),
    "UTM, words": _utm("zone {z}, easting {e:.1f} m, northing {n:.1f} m"),
    "UTM, blanks": _utm("{ge} {gn}"),
    "UTM, commas": _utm("{ce} {cn}"),
    "UTM, leading zero": _utm("{e:07.0f} {n:08.0f}"),
    "UTM, comma between": _utm("E{e:.0f},N{n:.0f}"),
    "UTM, to ten metres": _utm("{e:.0f}E, about {n:.0f}N"),
    "UTM in kilometres": _utm("{ke:.3f} km E {kn:.3f} km N"),
    "UTM without the first figures": _utm("{te:05.0f} {tn:05.0f}"),
    "UTM, four figures each": _utm("grid {fe:04d} {fn:04d}"),
    "UTM, three figures each": _utm("grid ref {he:03d} {hn:03d}"),
    "UTM, in one run": _utm("{te:05.0f}{tn:05.0f}"),
    "key": lambda one: f"{one.north}{one.lat * 100:.0f}{one.east}{one.lon * 100:.0f}",
    "UTM, kilometres alone": _utm("UTM {ke:.0f} {kn:.0f}"),
    "UTM easting alone": _utm("easting {e:.0f}"),
    "UTM of the next zone": lambda one: "{:.0f} {:.0f}".format(*one.on(_next_zone(one.point))),
    "own grid": _own_grid("{e:.0f} {n:.0f}"),
    "own grid, decimals": _own_grid("E {e:.2f} / N {n:.2f}"),
    "own grid, two lines": _own_grid("x: {e:.1f}\ny: {n:.1f}"),
    "MGRS": _mgrs("{zone}{sq}{e}{n}"),
    "MGRS, blanks": _mgrs("{zone} {sq} {e} {n}"),
    "MGRS, small letters": lambda one: _mgrs("{zone} {sq} {e}{n}")(one).lower(),
    "MGRS, to ten metres": _mgrs("{zone} {sq} {e4} {n4}"),
    "MGRS, to a hundred": _mgrs("{zone}{sq}{e3}{n3}"),
    "MGRS without zone": _mgrs("{sq} {e} {n}"),
    "MGRS, hyphens": _mgrs("{zone}-{sq}-{e}-{n}"),
    "plus code": lambda one: openlocationcode.encode(one.point.latitude, one.point.longitude),
    "plus code, short": _short_plus,
    "plus code, small": lambda one: _short_plus(one).lower(),
    "geohash": lambda one: geohash.encode(one.point.latitude, one.point.longitude, 9),
    "geohash, short": lambda one: geohash.encode(one.point.latitude, one.point.longitude, 6),
    "locator": lambda one: maidenhead.to_maiden(one.point.latitude, one.point.longitude, 3),
    "locator, long": lambda one: maidenhead.to_maiden(one.point.latitude, one.point.longitude, 4),
    "National Grid": _national_grid,
    "township and range": lambda one: "T36N R18W sec. 14",
    "township and range, words": lambda one: "Township 36 North, Range 18 West",
    "quarter section": lambda one: "NW¼ SE¼ sec 14",
    "parcel of land": lambda one: "APN 5611-142-00-037",
    "three words": lambda one: "///filled.hollow.reaches",
}  # fmt: skip

_WIDE = str.maketrans("0123456789", "０１２３４５６７８９")
_ARABIC = str.maketrans("0123456789", "٠١٢٣٤٥٦٧٨٩")
CONTEXTS: dict[str, Callable[[str], str]] = {
    "alone": lambda text: text,
    "in a sentence": lambda text: f"The gate is at {text}, ask at the farm first.",
    "behind a number": lambda text: f"waypoint 3 {text}",
    "between numbers": lambda text: (
        f"12 cores and 3 slices; {text} ; 14.5 cm, 51 rings, felled 1871"
    ),
    "in brackets": lambda text: f"north barn ({text})",
    "behind a date": lambda text: f"2024-06-03 10:48 {text}",
    "full width": lambda text: text.translate(_WIDE),
    "digits of Arabic": lambda text: f"at {text.translate(_ARABIC)}",
    "hidden characters": lambda text: "\u200b".join(text),
    "over two lines": lambda text: f"parked by\n{text.replace(' ', chr(10), 1)}\nthen on foot",
}


def variants(point: Point, contexts: int = len(CONTEXTS)) -> Iterator[tuple[str, str, str]]:
    """(notation, context, text) of a place in every notation, each in so many contexts in turn."""
    one = written(point)
    turn = cycle(CONTEXTS.items())
    for name, notation in NOTATIONS.items():
        if name in ALONE and one.lat < 1:
            # by the equator and the zero meridian small numbers are met everywhere
            continue
        text = notation(one)
        for context, put in islice(turn, contexts):
            if not (context in ("full width", "digits of Arabic") and name.startswith(CODES)):
                yield name, context, put(text)


ALONE = frozenset({"latitude alone"})
CODES = ("plus code", "geohash", "locator", "map link", "geo URI")
"""These are typed or copied, never set in another script."""
BY_FORM = frozenset({
    "township and range", "township and range, words", "quarter section", "parcel of land",
    "three words", "map link, at", "map link, hash", "geo URI",
})  # fmt: skip
"""Found whatever place they mean."""


def harmless(number: int, seed: int = 1) -> list[str]:
    """Notes full of numbers as a record of wood has them; none means a place."""
    draw = random.Random(seed)
    made: list[Callable[[], str]] = [
        lambda: f"{draw.randint(3, 60)} by {draw.randint(3, 60)} cm, "
                f"{draw.uniform(0.5, 9):.2f} m long",
        lambda: f"felled {draw.randint(1400, 1990)}, {draw.randint(20, 320)} rings, "
                f"{draw.randint(0, 40)} of sapwood",
        lambda: f"specimen {draw.randint(100, 99999)}, plug {draw.randint(1, 999)}",
        lambda: f"{draw.randint(1990, 2024)}-{draw.randint(1, 12):02d}-{draw.randint(1, 28):02d} "
                f"{draw.randint(0, 23):02d}:{draw.randint(0, 59):02d}:{draw.randint(0, 59):02d}",
        lambda: f"mean ring width {draw.uniform(0.2, 4):.2f}, sensitivity {draw.uniform(0, 1):.3f}",
        lambda: f"t = {draw.uniform(2, 14):.1f} against {draw.randint(10, 240)} others, "
                f"{draw.randint(1500, 1900)}-{draw.randint(1600, 2000)}",
        lambda: f"{draw.randint(1, 14)} {draw.randint(1, 7)}/8 x {draw.randint(1, 14)} "
                f"{draw.randint(1, 15)}/16 in, {draw.randint(4, 40)}' {draw.randint(0, 11)}\" long",
        lambda: " ".join(str(draw.randint(8, 420)) for _ in range(draw.randint(4, 14))),
        lambda: f"moisture {draw.uniform(6, 40):.1f} %, {draw.uniform(2, 35):.1f} °C, "
                f"{draw.randint(20, 99)} % humidity",
        lambda: f"core {draw.randint(1, 400)} at {draw.uniform(0.1, 6):.2f} m above the floor, "
                f"bearing {draw.randint(0, 359)}",
        lambda: f"photo IMG_{draw.randint(1000, 9999)}.jpg, {draw.uniform(0.5, 9):.1f} MB, "
                f"f/{draw.uniform(1.8, 16):.1f} 1/{draw.randint(30, 2000)} s",
        lambda: f"x {draw.uniform(0, 60):.2f} y {draw.uniform(0, 60):.2f} "
                f"z {draw.uniform(0, 9):.2f}",
        lambda: f"box {draw.randint(1, 40)}, shelf {draw.randint(1, 12)}, "
                f"sheet {draw.randint(1, 90)}; account {draw.randint(10**5, 10**8)}",
        lambda: f"beam {draw.choice('ABC')}{draw.randint(1, 9)}-{draw.randint(1, 400):03d}, "
                f"{draw.randint(1, 31)} {draw.choice(['June', 'July'])} {draw.randint(1700, 2024)}",
        lambda: f"tree {draw.randint(1, 90)}: {draw.randint(1500, 1800)}p - "
                f"{draw.randint(1700, 1990)}B, count {draw.randint(80, 300)}",
    ]  # fmt: skip
    return [draw.choice(made)() for _ in range(number)]
