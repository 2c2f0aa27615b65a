"""Codes of places: decoded as their publishers and other libraries have them."""

from __future__ import annotations

import random

import pytest
from pygeodesy import geohash, parseMGRS, toMgrs, toOsgr, toUtm8
from pyproj import Transformer

from provenance._disclosure.places.codes import Codes
from provenance._disclosure.places.frames import Point, areas_of, grids_here


def codes_near(latitude: float, longitude: float) -> Codes:
    return Codes(areas_of([Point(latitude, longitude)])[0])


def test_the_worked_example_of_the_national_grid() -> None:
    """Ordnance Survey, A guide to coordinate systems in Great Britain, annexe C: TG 51409 13177.

    Its latitude and longitude on OSGB36 are 52° 39' 27.2531" N, 1° 43' 4.5177" E; from memory.
    """
    change = Transformer.from_crs(4277, 4326, always_xy=True)
    longitude, latitude = change.transform(
        1 + 43 / 60 + 4.5177 / 3600, 52 + 39 / 60 + 27.2531 / 3600
    )
    codes = codes_near(latitude, longitude)
    for text in ("TG 51409 13177", "tg5114013177"[:2] + "514131", "TG 51 13"):
        assert [what for _, _, what in codes.find(f"at {text}, by the tower")] == ["grid reference"]
    for text in ("TG 71409 13177", "SG 51409 13177", "TF 51409 13177"):
        assert list(codes.find(text)) == []


def test_the_letters_of_grids_are_those_of_other_libraries() -> None:
    """Against pygeodesy, which the program does not use."""
    draw = random.Random(8)
    for _ in range(12):
        latitude, longitude = draw.uniform(50.5, 58), draw.uniform(-5, 1)
        codes = codes_near(latitude, longitude)
        written = [
            str(toOsgr(latitude, longitude)),
            str(toMgrs(toUtm8(latitude, longitude))),
            geohash.encode(latitude, longitude, 7),
        ]
        for text in written:
            assert [text[start:end] for start, end, _ in codes.find(text)] == [text]


def test_the_square_of_the_irish_grid() -> None:
    """The spire in Dublin stands at about O 159 346 (53.3498, -6.2603; from memory)."""
    codes = codes_near(53.3498, -6.2603)
    assert list(codes.find("by O 159 346")) == [(3, 12, "grid reference")]
    assert list(codes.find("by N 159 346, J 159 346")) == []


@pytest.mark.parametrize("place", [(37.48213, -108.51674), (-41.27351, 174.77862), (0.31, -179.99)])
def test_utm_and_its_military_letters_agree(place: tuple[float, float]) -> None:
    """Against pygeodesy: the figures of the grid are those behind the letters."""
    east, north = grids_here(0, areas_of([Point(*place)])[0])
    code = toMgrs(toUtm8(*place))
    assert east.low % 1e5 == pytest.approx(code.easting, abs=0.01)
    assert north.low % 1e5 == pytest.approx(code.northing, abs=0.01)
    point = parseMGRS(str(code)).toLatLon()
    assert (point.lat, point.lon) == pytest.approx(place, abs=2e-5)


def test_another_zone_or_another_square_is_another_place() -> None:
    codes = codes_near(37.48213, -108.51674)
    assert list(codes.find("12S YG 19565 51255"))
    for text in ("13S YG 19565 51255", "12S YH 19565 51255", "12S YG 59565 51255", "YG 12"):
        assert list(codes.find(text)) == []
