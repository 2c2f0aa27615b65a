"""From the site grid to latitude and longitude, against the projection itself."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pyproj import CRS, Proj, Transformer

from provenance._survey.adjust.adjustment import survey_package
from provenance._survey.parts.geodetic import MapTie, NotTied, map_tie
from tests.survey.scenes import a_room, position_of

UTM_12N = 32612
"""WGS 84 / UTM zone 12N; the points are invented."""


@pytest.mark.parametrize("north", [0.0, 4.0, 137.5])
@pytest.mark.parametrize("height", [0.0, 2100.0])
def test_a_point_lies_where_convergence_and_scale_put_it(north: float, height: float) -> None:
    """The other way round: turn by grid north less the map's convergence, scale, and unproject.

    Reference: PROJ's own factors (pyproj.Proj.get_factors) and inverse projection.
    """
    easting, northing = 421_300.0, 4_100_200.0
    x, y = np.array([0.0, 120.0, -35.0]), np.array([0.0, 260.0, 80.0])
    latitude, longitude = MapTie(UTM_12N, easting, northing, north, height).wgs84(x, y)
    projection = Proj(CRS.from_epsg(UTM_12N))
    here = projection(easting, northing, inverse=True)
    factors = projection.get_factors(*here)
    # meridian convergence: bearing of the map's own north
    turn = np.radians(north - factors.meridian_convergence)
    k = factors.meridional_scale * 6378137.0 / (6378137.0 + height)
    east = easting + k * (x * np.cos(turn) + y * np.sin(turn))
    up = northing + k * (-x * np.sin(turn) + y * np.cos(turn))
    back = Transformer.from_crs(4326, UTM_12N, always_xy=True).transform(longitude, latitude)
    assert back[0] == pytest.approx(east, abs=2e-3)
    assert back[1] == pytest.approx(up, abs=2e-3)


def test_a_map_in_feet_is_read_in_metres_all_the_same() -> None:
    """EPSG:2230 counts US survey feet; its origin given in m must come out where it is."""
    projection = Transformer.from_crs(4326, 2230, always_xy=True)
    feet = projection.transform(-116.5, 33.0)
    metres = [value * 1200 / 3937 for value in feet]
    latitude, longitude = MapTie(2230, *metres, 0.0, 0.0).wgs84(np.zeros(1), np.zeros(1))
    assert (latitude[0], longitude[0]) == pytest.approx((33.0, -116.5), abs=1e-5)


def test_an_untied_site_names_what_is_missing() -> None:
    site = {"site_id": "HOLL", "grid_epsg": "32612", "easting_m": "421300", "northing_m": ""}
    with pytest.raises(NotTied, match="northing_m is blank"):
        map_tie(site)
    for north in ("north", "NaN", "-inf"):
        with pytest.raises(NotTied, match=f'grid_north_deg is "{north}", which is not a number'):
            map_tie(site | {"northing_m": "4100200", "grid_north_deg": north})


def test_a_code_that_is_no_projection_is_refused() -> None:
    for code, says in ((4326, "not a map projection"), (1, "not an EPSG code")):
        with pytest.raises(NotTied, match=says):
            MapTie(code, 0, 0, 0, 0).wgs84(np.zeros(1), np.zeros(1))


def test_positions_of_a_tied_site_have_latitude_and_longitude(tmp_path: Path) -> None:
    building = a_room(tmp_path)
    package = building.package
    site = package.table("site")
    site["grid_epsg"], site["easting_m"], site["northing_m"] = "32612", "421300", "4100200"
    package.write_table("site", site)
    result = survey_package(package)
    assert "survey.not_on_map" not in [one.rule for one in result.findings]
    row = position_of(package, "datum:D1")
    expected = Transformer.from_crs(UTM_12N, 4326, always_xy=True).transform(421300, 4100200)
    assert (row["longitude"], row["latitude"]) == pytest.approx(expected, abs=1e-7)


def test_positions_of_an_untied_site_have_none_and_the_reason(tmp_path: Path) -> None:
    package = a_room(tmp_path).package
    result = survey_package(package)
    notes = [one for one in result.findings if one.rule == "survey.not_on_map"]
    assert len(notes) == 1
    assert "grid_epsg" in notes[0].message
    assert package.table("position")["latitude"].eq("").all()
