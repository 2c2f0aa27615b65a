"""Rules about where on the earth a site lies, as far as coordinates can contradict themselves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

if TYPE_CHECKING:
    from pyproj import CRS

EPSG_DATASET = "EPSG Geodetic Parameter Dataset (IOGP), as shipped with PROJ"
GEOREFERENCING = (
    "Darwin Core, coordinateUncertaintyInMeters; Georeferencing Best Practices (GBIF 2020)"
)

ZONE_ALLOWANCE_DEG = 0.5
"""A place just across the edge of a zone is often kept on its neighbour's grid."""

GRID_ALLOWANCE_M = 1_000.0
"""Grid coordinates are the grid's zero point, degrees the site: they may lie this far apart."""


def _crs(code: int) -> CRS | None:
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        return CRS.from_epsg(code)
    except CRSError:
        return None


def _area(code: int) -> tuple[float, float, float, float] | None:
    crs = _crs(code)
    return crs.area_of_use.bounds if crs and crs.area_of_use else None


def _in_area() -> tuple[pl.Expr, pl.Expr]:
    """Whether the degrees lie in the area of use, as given and exchanged."""

    def holds(lon: str, lat: str) -> pl.Expr:
        margin = ZONE_ALLOWANCE_DEG
        west, east = pl.col("west") - margin, pl.col("east") + margin
        # an area that spans the date line has its west beyond its east
        in_width = (
            pl.when(pl.col("west") <= pl.col("east"))
            .then((pl.col(lon) >= west) & (pl.col(lon) <= east))
            .otherwise((pl.col(lon) >= west) | (pl.col(lon) <= east))
        )
        return in_width & pl.col(lat).is_between(pl.col("south") - margin, pl.col("north") + margin)

    return holds("longitude", "latitude"), holds("latitude", "longitude")


def _with_area(tables: Snapshot) -> pl.DataFrame:
    """Sites whose grid has an area of use, with its edges in degrees."""
    site = tables["site"]
    areas = {code: _area(code) for code in site["grid_epsg"].drop_nulls().unique().to_list()}
    known = {code: area for code, area in areas.items() if area is not None}
    edges = pl.DataFrame(
        [(code, *area) for code, area in known.items()],
        schema={"grid_epsg": pl.Int64}
        | dict.fromkeys(("west", "south", "east", "north"), pl.Float64),
        orient="row",
    )
    return site.join(edges, on="grid_epsg", maintain_order="left")


@rule(
    "site.half_a_position",
    table="site",
    field="latitude",
    severity="error",
    says="Site {site_id} has only one half of a position: latitude {latitude}, longitude "
    "{longitude}, easting {easting_m}, northing {northing_m}.",
    remedy="Enter the missing half, or remove the other one.",
    source=COMMON_PRACTICE,
)
def half_a_position(tables: Snapshot) -> pl.DataFrame:
    """An incomplete position cannot be used."""
    halves = (("latitude", "longitude"), ("easting_m", "northing_m"))
    lacks = [pl.col(one).is_null() != pl.col(other).is_null() for one, other in halves]
    return (
        tables["site"]
        .filter(lacks[0] | lacks[1])
        .with_columns(
            field=pl.when(lacks[0]).then(pl.lit("latitude")).otherwise(pl.lit("easting_m"))
        )
    )


@rule(
    "site.no_uncertainty",
    table="site",
    field="coordinate_uncertainty_m",
    severity="warning",
    says="Site {site_id} has coordinates ({latitude}, {longitude}) without their uncertainty.",
    remedy="Enter the radius in meters that certainly holds the place: about 10 m for a hand-held "
    "receiver, 100 m or more for a map sheet.",
    source=GEOREFERENCING,
)
def no_uncertainty(tables: Snapshot) -> pl.DataFrame:
    """A position without a known error cannot be judged."""
    return tables["site"].filter(
        pl.col("latitude").is_not_null() & pl.col("coordinate_uncertainty_m").is_null()
    )


@rule(
    "site.no_coordinate_system",
    table="site",
    field="geodetic_epsg",
    severity="warning",
    says="Site {site_id} has coordinates, but their coordinate system is not recorded.",
    remedy="Enter the EPSG code: 4326 for degrees from a satellite receiver; for a map grid, the "
    "code printed in the map margin.",
    source="Darwin Core, geodeticDatum; " + EPSG_DATASET,
)
def no_coordinate_system(tables: Snapshot) -> pl.DataFrame:
    """The same figures in two systems lie up to several hundred meters apart."""
    geodetic = pl.col("latitude").is_not_null() & pl.col("geodetic_epsg").is_null()
    grid = pl.col("easting_m").is_not_null() & pl.col("grid_epsg").is_null()
    name = pl.when(geodetic).then(pl.lit("geodetic_epsg")).otherwise(pl.lit("grid_epsg"))
    return tables["site"].filter(geodetic | grid).with_columns(field=name)


@rule(
    "site.unknown_coordinate_system",
    table="site",
    field="grid_epsg",
    severity="error",
    says="EPSG {code} of site {site_id} is {what}.",
    remedy="Look the code up again: geodetic_epsg is a system in degrees (4326), grid_epsg one in "
    "meters (32633).",
    source=EPSG_DATASET,
)
def unknown_coordinate_system(tables: Snapshot) -> pl.DataFrame:
    """A position in a system that does not exist cannot be drawn or handed on."""
    frames = []
    for field, wanted in (("geodetic_epsg", "geographic"), ("grid_epsg", "projected")):
        wrong = {}
        for code in tables["site"][field].drop_nulls().unique().to_list():
            crs = _crs(code)
            if crs is None:
                wrong[code] = "not in the register"
            elif not (crs.is_geographic if wanted == "geographic" else crs.is_projected):
                wrong[code] = f"no {wanted} system ({crs.name})"
        reasons = pl.DataFrame(
            {field: list(wrong), "what": list(wrong.values())},
            schema={field: pl.Int64, "what": pl.String},
        )
        frames.append(
            tables["site"]
            .join(reasons, on=field, maintain_order="left")
            .select(
                ROW, "site_id", "what", pl.col(field).alias("code"), pl.lit(field).alias("field")
            )
        )
    return pl.concat(frames)


@rule(
    "site.null_island",
    table="site",
    field="latitude",
    severity="error",
    says="Site {site_id} is at latitude 0, longitude 0, in the open sea.",
    remedy="Remove the zeros, or enter the true position.",
    source=COMMON_PRACTICE,
)
def null_island(tables: Snapshot) -> pl.DataFrame:
    """Two zeros come from an empty form field."""
    return tables["site"].filter((pl.col("latitude") == 0) & (pl.col("longitude") == 0))


@rule(
    "site.coordinates_exchanged",
    table="site",
    field="latitude",
    severity="error",
    says="Latitude {latitude} and longitude {longitude} of site {site_id} appear to be swapped: "
    "{why}.",
    remedy="Latitude is the north-south value and never exceeds 90; swap the two if the map "
    "agrees.",
    source=EPSG_DATASET + "; ISO 6709 (latitude before longitude)",
)
def coordinates_exchanged(tables: Snapshot) -> pl.DataFrame:
    """Swapped values put the place on another continent."""
    beyond = tables["site"].filter(
        (pl.col("latitude").abs() > 90) & (pl.col("longitude").abs() <= 90)
    )
    as_given, exchanged = _in_area()
    elsewhere = _with_area(tables).filter(~as_given & exchanged & (pl.col("latitude").abs() <= 90))
    columns = (ROW, "site_id", "latitude", "longitude")
    return pl.concat(
        [
            beyond.select(*columns, pl.lit("there is no latitude beyond 90").alias("why")),
            elsewhere.select(
                *columns,
                pl.format("only exchanged do they lie in the area of EPSG {}", "grid_epsg").alias(
                    "why"
                ),
            ),
        ]
    )


@rule(
    "site.another_grid_zone",
    table="site",
    field="grid_epsg",
    severity="warning",
    says="Site {site_id} lies at latitude {latitude}, longitude {longitude}, but EPSG {grid_epsg} "
    "is for longitudes {west} to {east} and latitudes {south} to {north}.",
    remedy="Look up the grid zone of the place; also check the sign of the longitude (west is "
    "negative).",
    source=EPSG_DATASET + ", area of use",
)
def another_grid_zone(tables: Snapshot) -> pl.DataFrame:
    """Eastings read in the wrong zone are hundreds of kilometers off."""
    as_given, exchanged = _in_area()
    return _with_area(tables).filter(
        ~as_given
        & ~exchanged
        & (pl.col("latitude").abs() <= 90)
        & pl.col("longitude").is_not_null()
    )


@rule(
    "site.grid_and_degrees_disagree",
    table="site",
    field="easting_m",
    severity="warning",
    says="Easting {easting_m}, northing {northing_m} (EPSG {grid_epsg}) of site {site_id} lie "
    "{apart_km:.1f} km from its latitude and longitude.",
    remedy="Check which is right; easting and northing may be swapped, or a digit may be missing.",
    source=EPSG_DATASET + "; PROJ",
)
def grid_and_degrees_disagree(tables: Snapshot) -> pl.DataFrame:
    """Two positions for one place send people to the wrong one."""
    known = tables["site"].drop_nulls(
        ["grid_epsg", "easting_m", "northing_m", "latitude", "longitude"]
    )
    frames = [_distances(code[0], group) for code, group in known.group_by("grid_epsg")]
    if not frames:
        return known.with_columns(apart_km=pl.lit(None, dtype=pl.Float64)).head(0)
    allowed_m = GRID_ALLOWANCE_M + pl.col("coordinate_uncertainty_m").fill_null(0)
    return pl.concat(frames).filter(pl.col("apart_km") * 1000 > allowed_m)


def _distances(code: object, sites: pl.DataFrame) -> pl.DataFrame:
    """The sites of one grid with apart_km between their two positions; none if it has no grid."""
    import numpy as np
    from pyproj import Geod, Transformer

    crs = _crs(int(str(code)))
    # degrees are compared as WGS 84: other systems differ by less than the allowance
    if crs is None or not crs.is_projected:
        return sites.with_columns(apart_km=pl.lit(None, dtype=pl.Float64)).head(0)
    to_degrees = Transformer.from_crs(crs, 4326, always_xy=True)
    lon, lat = to_degrees.transform(sites["easting_m"].to_numpy(), sites["northing_m"].to_numpy())
    # a grid position with no place on earth becomes infinite; the pole is far enough from any site
    lon, lat = np.where(np.isfinite(lon), lon, 0.0), np.where(np.isfinite(lat), lat, -90.0)
    given = sites["longitude"].to_numpy(), sites["latitude"].clip(-90, 90).to_numpy()
    _, _, metres = Geod(ellps="WGS84").inv(lon, lat, *given)
    return sites.with_columns(apart_km=pl.Series(metres / 1000))
