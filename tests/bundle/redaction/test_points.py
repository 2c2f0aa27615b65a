"""The points that a package's tables tell, with the grids that they are on."""

from __future__ import annotations

from pathlib import Path

import pytest

from provenance._bundle.redaction.forms import public_forms
from provenance._bundle.redaction.gathering import gather_known
from provenance._bundle.redaction.points import protected_points
from provenance._disclosure.places.frames import Point
from tests.builders import PackageBuilder, a_package


def with_site(builder: PackageBuilder, **values: object) -> PackageBuilder:
    return builder.with_row("site", **values)


def points_of(builder: PackageBuilder) -> list[Point]:
    package = builder.package
    return protected_points(package, public_forms(package.model))


def test_a_site_and_its_computed_positions_are_points_on_the_grid_of_the_site(
    tmp_path: Path,
) -> None:
    builder = with_site(
        a_package(tmp_path), latitude="51.47391", longitude="-101.28376", grid_epsg="32614",
        geodetic_epsg="4269",
    ).with_bare_row(
        "position", position_id="hole:1", site_id="HOLL", latitude="51.47399",
        longitude="-101.28361",
    ).with_bare_row("position", position_id="hole:2", site_id="HOLL", latitude="51.4")  # fmt: skip
    assert points_of(builder) == [
        Point(51.47391, -101.28376, (32614,), geodetic=4269),
        Point(51.47399, -101.28361, (32614,), geodetic=4269),
    ]


@pytest.mark.parametrize("where", ["the site", "a datum"])
def test_map_coordinates_alone_are_carried_over(tmp_path: Path, where: str) -> None:
    """EPSG:32614 with PROJ: 51.47391 N 101.28376 W is 341397 E 5705001 N, to the metre."""
    builder = a_package(tmp_path)
    if where == "the site":
        with_site(builder, easting_m="341397", northing_m="5705001", grid_epsg="32614")
    else:
        with_site(builder, grid_epsg="32614")
        builder.with_row("datum", x_m="341397", y_m="5705001")
    (point,) = points_of(builder)
    assert (point.latitude, point.longitude) == pytest.approx((51.47391, -101.28376), abs=2e-5)
    masker = gather_known(builder.package).masker
    for text in ("N51 28.435 W101 17.026", "14U LC 41396 05001", "341 397, 5 705 001"):
        assert not masker.is_clean(f"the gate is at {text}")


@pytest.mark.parametrize(
    "values",
    [
        {"easting_m": "341397", "northing_m": "5705001"},
        {"easting_m": "341397", "northing_m": "5705001", "grid_epsg": "999999"},
        {"easting_m": "341397", "grid_epsg": "32614"},
        {"easting_m": "12", "northing_m": "7", "grid_epsg": "32614"},
        {"latitude": "51.4", "longitude": "west", "grid_epsg": "32614"},
        {},
    ],
)
def test_what_gives_no_point_is_no_point(tmp_path: Path, values: dict[str, str]) -> None:
    assert points_of(with_site(a_package(tmp_path), **values)) == []


def test_a_package_whose_schemas_know_no_grid_has_points_all_the_same(tmp_path: Path) -> None:
    import json

    builder = with_site(a_package(tmp_path), latitude="51.47391", longitude="-101.28376")
    folder = builder.package.folder
    schema = folder / "schemas" / "site.json"
    described = json.loads(schema.read_text(encoding="utf-8"))
    gone = {"grid_epsg", "geodetic_epsg", "easting_m", "northing_m"}
    described["fields"] = [one for one in described["fields"] if one["name"] not in gone]
    schema.write_text(json.dumps(described), encoding="utf-8")
    table = folder / "tables" / "site.csv"
    header, row = table.read_text(encoding="utf-8").splitlines()
    kept = [place for place, name in enumerate(header.split(",")) if name not in gone]
    lines = [",".join(line.split(",")[place] for place in kept) for line in (header, row)]
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert points_of(builder) == [Point(51.47391, -101.28376)]
    assert not gather_known(builder.package).masker.is_clean("51-28-26.1N 101-17-01.5W")
