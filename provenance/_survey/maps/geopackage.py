"""Writes wood, holes and datums as a GeoPackage, on WGS 84 or on the site grid as it is.

Source: OGC 12-128r18, GeoPackage Encoding Standard 1.3: the tables that it requires (1.1.2, 1.1.3,
2.1.5), the geometry blob (2.1.3) with ISO well-known binary, and the undefined Cartesian system -1.
"""

from __future__ import annotations

import sqlite3
import struct
from pathlib import Path

from provenance._base.disk import write_bytes
from provenance._record.package import Package
from provenance._survey.hole.known_points import known_points
from provenance._survey.maps.map_features import Layer, MapFeature, map_layers, on_wgs84
from provenance._survey.parts.geodetic import WGS_84, NotTied

SITE_GRID = -1
"""Number of the 'undefined Cartesian' system that every GeoPackage has."""

_APPLICATION_ID, _USER_VERSION = 0x47504B47, 10300
_WKB = {"Point": 1, "LineString": 2}
_Z = 1000
"""Added to the type of an ISO well-known binary geometry that has heights."""

_WGS_84_WKT = (
    'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,'
    'AUTHORITY["EPSG","7030"]],AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,'
    'AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],'
    'AUTHORITY["EPSG","4326"]]'
)
_TABLES = """
CREATE TABLE gpkg_spatial_ref_sys (
  srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY, organization TEXT NOT NULL,
  organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (
  table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE,
  description TEXT DEFAULT '',
  last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, geometry_type_name TEXT NOT NULL,
  srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
  CONSTRAINT uk_gc_table_name UNIQUE (table_name),
  CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
  CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
"""


def write_geopackage(
    package: Package, path: Path, *, place: str | None = None, level: int | None = None
) -> bool:
    """Write `path`, replacing it; True when it is on WGS 84, False when on the site grid."""
    known = known_points(package)
    site_id, layers = map_layers(package, known, place=place, level=level)
    system = WGS_84
    try:
        layers = on_wgs84(known, site_id, layers)
    except NotTied:
        system = SITE_GRID
    # given, so that the same package makes the same file
    changed = str(package.descriptor.get("created", "1970-01-01T00:00:00Z"))
    write_bytes(path, geopackage_bytes(layers, system, changed=changed))
    return system == WGS_84


def geopackage_bytes(layers: tuple[Layer, ...], system: int, *, changed: str) -> bytes:
    """A GeoPackage with one table a layer; `system` is WGS_84 or SITE_GRID."""
    connection = sqlite3.connect(":memory:")
    try:
        connection.executescript(_TABLES)
        connection.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {_USER_VERSION}")
        connection.executemany(
            "INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)",
            [
                ("Undefined Cartesian SRS", -1, "NONE", -1, "undefined", "site grid in meters"),
                ("Undefined geographic SRS", 0, "NONE", 0, "undefined", "undefined"),
                ("WGS 84", WGS_84, "EPSG", WGS_84, _WGS_84_WKT, "longitude/latitude in degrees"),
            ],
        )
        for layer in layers:
            _write_layer(connection, layer, system, changed)
        connection.commit()
        return bytes(connection.serialize())
    finally:
        connection.close()


def _write_layer(connection: sqlite3.Connection, layer: Layer, system: int, changed: str) -> None:
    columns = ", ".join(f'"{name}" {type_}' for name, type_ in layer.columns.items())
    connection.execute(
        f'CREATE TABLE "{layer.name}" (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, '
        f"geom {layer.geometry.upper()}, {columns})"
    )
    points = [point for one in layer.features for point in one.points]
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    box = (min(xs), min(ys), max(xs), max(ys)) if points else (None,) * 4
    connection.execute(
        "INSERT INTO gpkg_contents VALUES (?, 'features', ?, ?, ?, ?, ?, ?, ?, ?)",
        (layer.name, layer.name, layer.description, changed, *box, system),
    )
    connection.execute(
        # heights may be there or not: z = 2
        "INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, ?, 2, 0)",
        (layer.name, layer.geometry.upper(), system),
    )
    names = ", ".join(f'"{name}"' for name in layer.columns)
    marks = ", ".join("?" for _ in range(len(layer.columns) + 1))
    connection.executemany(
        f'INSERT INTO "{layer.name}" (geom, {names}) VALUES ({marks})',
        [
            (_blob(one, layer.geometry, system), *(one.facts.get(name) for name in layer.columns))
            for one in layer.features
        ],
    )


def _blob(one: MapFeature, geometry: str, system: int) -> bytes | None:
    """Header without envelope, little-endian, then ISO well-known binary; None without points."""
    if not one.points:
        return None
    axes = len(one.points[0])
    header = struct.pack("<2sBBi", b"GP", 0, 1, system)
    kind = _WKB[geometry] + (_Z if axes == 3 else 0)
    body = struct.pack("<BI", 1, kind)
    if geometry == "LineString":
        body += struct.pack("<I", len(one.points))
    for point in one.points:
        body += struct.pack(f"<{axes}d", *point)
    return header + body
