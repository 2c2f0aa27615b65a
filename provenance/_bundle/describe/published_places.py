"""Says as much of a record's places as descriptions made to be published may say."""

from __future__ import annotations

import math
from dataclasses import dataclass

from provenance._bundle.describe.editions import Edition
from provenance._record.cells import float_of
from provenance._record.package import Package
from provenance._record.snapshot import Row

COARSEST_EXACT_M = 500.0
"""A position known to within this leads to a place, so it is none that was made coarse."""
_METRES_A_DEGREE = 111_320.0  # of latitude, on a sphere as large as WGS 84
_DIGITS = 4


@dataclass(frozen=True)
class Box:
    """What lies between two meridians and two parallels, in degrees (WGS 84)."""

    south: float
    west: float
    north: float
    east: float


@dataclass(frozen=True)
class PublishedPlace:
    """A site by its public name, region and country code ('' where not known).

    `box` holds the place somewhere in it; None where nothing may be said.
    """

    name: str
    region: str
    country: str
    box: Box | None

    @property
    def words(self) -> str:
        """The place in words, from the near to the far."""
        return ", ".join(one for one in (self.name, self.region, self.country) if one)


def published_places(package: Package, edition: Edition) -> tuple[PublishedPlace, ...]:
    """The sites of a package, with open fields alone, and coarse positions in the public edition.

    The full edition's positions are exact, so none of them is given; nor is one in the public
    edition that is said to be good to `COARSEST_EXACT_M` or better, or says nothing of it.
    """
    return tuple(
        PublishedPlace(
            name=row["public_name"],
            region=row["region"],
            country=row["country"],
            box=_box(row) if edition.is_public else None,
        )
        for row in package.tables.rows("site")
    )


def _box(row: Row) -> Box | None:
    numbers = [
        float_of(row[name]) for name in ("latitude", "longitude", "coordinate_uncertainty_m")
    ]
    latitude, longitude, radius_m = numbers
    if latitude is None or longitude is None or radius_m is None:
        return None
    if not COARSEST_EXACT_M < radius_m < math.inf:
        return None
    if abs(latitude) > 90 or abs(longitude) > 180:
        return None
    up = radius_m / _METRES_A_DEGREE
    south, north = max(latitude - up, -90.0), min(latitude + up, 90.0)
    # a degree of longitude is shortest where the box is nearest to a pole
    shortest = math.cos(math.radians(max(abs(south), abs(north))))
    across = up / shortest if shortest > 1e-6 else 360.0
    if across >= 180:
        west, east = -180.0, 180.0
    else:
        # a box over the 180th meridian has the larger number in the west (RFC 7946 section 5.2)
        west, east = _wrapped(longitude - across), _wrapped(longitude + across)
    return Box(*(round(one, _DIGITS) for one in (south, west, north, east)))


def _wrapped(longitude: float) -> float:
    return (longitude + 180) % 360 - 180 if abs(longitude) > 180 else longitude
