"""Writes wood, holes and datums as GeoJSON for a map.

Source: RFC 7946. It knows WGS 84 only, so a site grid that is not tied to a map grid is refused
rather than written as something that every reader would put into the sea off Africa.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from provenance._base.disk import write_text
from provenance._base.errors import UnusableInput
from provenance._record.package import Package
from provenance._survey.hole.known_points import known_points
from provenance._survey.maps.map_features import Layer, map_layers, on_wgs84
from provenance._survey.parts.geodetic import NotTied


def geojson_of(layers: tuple[Layer, ...]) -> dict[str, Any]:
    """One FeatureCollection of layers that are in longitude and latitude.

    Each feature says its layer; a wood is a LineString from A to B, anything else a Point, and null
    where it cannot be told where it is (RFC 7946, 3.2). Heights are a property, because those of
    the site grid are not above the ellipsoid.
    """
    features: list[dict[str, Any]] = []
    for layer in layers:
        for one in layer.features:
            points = [list(point[:2]) for point in one.points]
            geometry = {
                "type": layer.geometry,
                "coordinates": points[0] if points and layer.geometry == "Point" else points,
            }
            features.append(
                {
                    "type": "Feature",
                    "id": f"{layer.name}/{one.id}",
                    "geometry": geometry if points else None,
                    "properties": {"layer": layer.name, **one.facts},
                }
            )
    return {"type": "FeatureCollection", "features": features}


def write_geojson(
    package: Package, path: Path, *, place: str | None = None, level: int | None = None
) -> Path:
    """Write `path`; raises UnusableInput where the site grid is not tied to a map grid."""
    known = known_points(package)
    site_id, layers = map_layers(package, known, place=place, level=level)
    try:
        carried = on_wgs84(known, site_id, layers)
    except NotTied as error:
        raise UnusableInput(
            f"{package.table_path('site')}: GeoJSON needs latitude and longitude. {error}. "
            "Until then write a GeoPackage (--format gpkg), which can hold the site grid as it is"
        ) from error
    text = json.dumps(geojson_of(carried), ensure_ascii=False, indent=1, allow_nan=False)
    write_text(path, text + "\n")
    return path
