"""GeoJSON by RFC 7946 and GeoPackage by OGC, read by other programs."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import numpy as np
import pytest
from geojson_pydantic import FeatureCollection
from pyproj import Transformer

from provenance._base.errors import UnusableInput
from provenance._record.package import Package
from provenance._survey.maps.geojson import write_geojson
from provenance._survey.maps.geopackage import write_geopackage
from tests.survey.test_plan import a_house


@pytest.fixture
def house(tmp_path: Path) -> Package:
    return a_house(tmp_path).package


@pytest.fixture
def tied(house: Package) -> Package:
    site = house.table("site")
    site["grid_epsg"], site["easting_m"], site["northing_m"] = "32612", "421300", "4100200"
    house.write_table("site", site)
    return house


def test_geojson_is_what_rfc_7946_says(tied: Package, tmp_path: Path) -> None:
    """Validated by geojson-pydantic; places against the projection (pyproj)."""
    path = write_geojson(tied, tmp_path / "x.geojson")
    raw = json.loads(path.read_text("utf-8"))
    collection = FeatureCollection.model_validate(raw)
    assert "crs" not in raw
    layers = [one.properties["layer"] for one in collection.features]
    assert (layers.count("elements"), layers.count("holes"), layers.count("datums")) == (4, 3, 4)
    origin = next(one for one in collection.features if one.id == "datums/D1")
    expected = Transformer.from_crs(32612, 4326, always_xy=True).transform(421300, 4100200)
    assert tuple(origin.geometry.coordinates[:2]) == pytest.approx(expected, abs=1e-7)
    wood = next(one for one in collection.features if one.id == "elements/B1-001")
    assert wood.geometry.type == "LineString"
    hole = next(one for one in collection.features if one.id == "holes/232")
    assert hole.properties["stamp"] == "86"


def test_an_untied_site_is_refused_as_geojson(house: Package, tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match=r"site\.csv.*gpkg"):
        write_geojson(house, tmp_path / "x.geojson")
    assert not (tmp_path / "x.geojson").exists()


def test_gdal_reads_the_geopackage_on_the_site_grid(house: Package, tmp_path: Path) -> None:
    """pyogrio, which is GDAL; lengths on the site grid are metres."""
    import pyogrio
    import shapely

    path = tmp_path / "x.gpkg"
    assert write_geopackage(house, path) is False
    names = {name for name, _ in pyogrio.list_layers(path)}
    assert names == {"elements", "holes", "datums"}
    info = pyogrio.read_info(path, layer="elements", force_feature_count=True)
    assert (info["features"], info["geometry_type"]) == (4, "LineString Z")
    assert "Undefined" in str(info["crs"]) or info["crs"] is None
    meta, _, geometry, fields = pyogrio.raw.read(path, layer="elements")
    lines = shapely.from_wkb(geometry)
    assert shapely.has_z(lines).all()
    assert shapely.length(lines)[:3] == pytest.approx([4.4] * 3)
    columns = dict(zip(meta["fields"], fields, strict=True))
    assert list(columns["element_id"]) == ["B1-001", "B1-002", "B1-003", "B1-004"]
    _, _, points, _ = pyogrio.raw.read(path, layer="holes")
    first = shapely.get_coordinates(shapely.from_wkb(points), include_z=True)[0]
    assert first == pytest.approx((1.6, 1.3, 2.4))


def test_gdal_reads_the_geopackage_on_wgs_84(tied: Package, tmp_path: Path) -> None:
    import pyogrio
    import shapely

    path = tmp_path / "x.gpkg"
    assert write_geopackage(tied, path) is True
    assert pyogrio.read_info(path, layer="datums")["crs"] == "EPSG:4326"
    _, _, points, _ = pyogrio.raw.read(path, layer="datums")
    first = shapely.get_coordinates(shapely.from_wkb(points))[0]
    expected = Transformer.from_crs(32612, 4326, always_xy=True).transform(421300, 4100200)
    assert first == pytest.approx(expected, abs=1e-7)
    box = pyogrio.read_info(path, layer="elements")["total_bounds"]
    assert np.isfinite(box).all()


def test_the_geopackage_has_what_the_standard_requires(house: Package, tmp_path: Path) -> None:
    """OGC 12-128r18: requirements 2 (application id), 11 (three systems), 21 and 37 (tables)."""
    path = tmp_path / "x.gpkg"
    write_geopackage(house, path)
    connection = sqlite3.connect(path)
    try:
        assert connection.execute("PRAGMA application_id").fetchone()[0] == 0x47504B47
        assert connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        systems = {row[0] for row in connection.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")}
        assert {-1, 0, 4326} <= systems
        contents = connection.execute("SELECT table_name, data_type FROM gpkg_contents").fetchall()
        assert set(contents) == {(n, "features") for n in ("elements", "holes", "datums")}
        blob = connection.execute("SELECT geom FROM holes").fetchone()[0]
        assert blob[:2] == b"GP"
    finally:
        connection.close()


def test_the_same_package_gives_the_same_geopackage(house: Package, tmp_path: Path) -> None:
    write_geopackage(house, tmp_path / "one.gpkg")
    write_geopackage(house, tmp_path / "two.gpkg")
    assert (tmp_path / "one.gpkg").read_bytes() == (tmp_path / "two.gpkg").read_bytes()


def test_one_building_alone_can_be_written_but_not_a_level_of_all(
    tied: Package, tmp_path: Path
) -> None:
    path = write_geojson(tied, tmp_path / "x.geojson", place="B1")
    assert len(json.loads(path.read_text("utf-8"))["features"]) == 11
    with pytest.raises(UnusableInput, match="--place"):
        write_geojson(tied, tmp_path / "y.geojson", level=0)
