"""Carries site grid coordinates over to latitude and longitude, where the grid is tied to a map.

The grid's origin is taken from the map coordinates in the site's row; from there each point lies at
a true bearing and a ground distance, reduced to the ellipsoid by the site's height, along the
geodesic. So neither the map's own scale nor its grid north enters twice.

Source: PROJ (through pyproj) for projections, datums and geodesics (C. F. F. Karney, Algorithms for
geodesics, Journal of Geodesy 87, 2013); EPSG codes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from provenance._base.errors import TreenailError
from provenance._record.cells import float_of
from provenance._record.snapshot import Row
from provenance._survey.parts.observation import Floats

_NEEDED = ("grid_epsg", "easting_m", "northing_m", "grid_north_deg")
WGS_84 = 4326


class NotTied(TreenailError):
    """The site grid is not tied to a map grid, so nothing can be put on a map."""


@dataclass(frozen=True)
class MapTie:
    """How a site grid lies on the earth: origin, bearing of its y axis from true north, height."""

    epsg: int
    easting_m: float
    northing_m: float
    grid_north_deg: float
    elevation_m: float

    def wgs84(self, x_m: Floats, y_m: Floats) -> tuple[Floats, Floats]:
        """Latitude and longitude (n,) in degrees on WGS 84 of points on the site grid.

        Raises NotTied when the EPSG code is unknown or is not that of a map projection.
        """
        from pyproj import CRS, Transformer
        from pyproj.exceptions import CRSError

        try:
            crs = CRS.from_epsg(self.epsg)
        except CRSError as error:
            raise NotTied(f"grid_epsg {self.epsg} is not an EPSG code known here") from error
        if not crs.is_projected or crs.geodetic_crs is None:
            raise NotTied(
                f"grid_epsg {self.epsg} ({crs.name}) is not a map projection; "
                "give the code that the easting and northing were read in"
            )
        geodetic = crs.geodetic_crs
        metres = crs.axis_info[0].unit_conversion_factor
        longitude, latitude = Transformer.from_crs(crs, geodetic, always_xy=True).transform(
            self.easting_m / metres, self.northing_m / metres
        )
        if not np.isfinite([longitude, latitude]).all():
            raise NotTied(
                f"easting {self.easting_m} and northing {self.northing_m} lie outside "
                f"EPSG:{self.epsg} ({crs.name}); check them and the code"
            )
        geod = crs.get_geod()
        assert geod is not None
        bearing = self.grid_north_deg + np.degrees(np.arctan2(x_m, y_m))
        distance = np.hypot(x_m, y_m) * geod.a / (geod.a + self.elevation_m)
        there = geod.fwd(
            np.full_like(x_m, longitude), np.full_like(x_m, latitude), bearing, distance
        )
        to_wgs84 = Transformer.from_crs(geodetic, WGS_84, always_xy=True)
        longitudes, latitudes = to_wgs84.transform(there[0], there[1])
        return np.asarray(latitudes, dtype=float), np.asarray(longitudes, dtype=float)


def map_tie(site: Row) -> MapTie:
    """The tie in a site's row (texts); raises NotTied that names what is missing or unreadable."""
    values = {}
    for name in (*_NEEDED, "elevation_m"):
        text = site[name]
        if not text and name == "elevation_m":
            text = "0"
        number = float_of(text)
        if number is None or not np.isfinite(number):
            what = "is blank" if not text else f'is "{text}", which is not a number'
            raise NotTied(
                f"site {site['site_id']}: {name} {what}; latitude and longitude need "
                f"{', '.join(_NEEDED)}"
            )
        values[name] = number
    return MapTie(
        int(values["grid_epsg"]),
        values["easting_m"],
        values["northing_m"],
        values["grid_north_deg"],
        values["elevation_m"],
    )
