"""Reads from a package's tables which points its public edition must not tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from provenance._bundle.redaction.places import as_decimal
from provenance._disclosure.places.frames import SMALLEST_MAP_FIGURE, WGS84, Point, point_on_grid
from provenance._model.schema import Table
from provenance._record.package import Package

SITE = "site"
LATITUDE = "http://rs.tdwg.org/dwc/terms/decimalLatitude"
LONGITUDE = "http://rs.tdwg.org/dwc/terms/decimalLongitude"


def protected_points(package: Package, forms: Mapping[str, Mapping[str, str]]) -> list[Point]:
    """Every latitude with its longitude that is not shown as it is, with the grid of its site.

    `forms` say how each field is shown. A site that has map coordinates alone, its own or on its
    site grid, is carried over by pyproj, where the record says which grid they are on.
    """
    sites = {row["site_id"]: row for row in package.tables.rows(SITE)}
    grids = {site: _code(row.get("grid_epsg", "")) for site, row in sites.items()}
    datums = {site: _code(row.get("geodetic_epsg", "")) for site, row in sites.items()}
    found: dict[Point, None] = {}
    drawn: dict[str, tuple[float, float]] = {}
    for table in package.model.tables.values():
        form_of = {form: name for name, form in reversed(list(forms[table.name].items()))}
        if "site_x" in form_of and "site_y" in form_of:
            columns = [
                package.tables.column(table.name, form_of[form]) for form in ("site_x", "site_y")
            ]
            for x, y, site in zip(*columns, _sites(package, table), strict=True):
                if site not in drawn and (pair := _on_map(x, y)):
                    drawn[site] = pair
        closed = {name for name, form in forms[table.name].items() if form != "shown"}
        north, east = (_field(table, closed, one) for one in (LATITUDE, LONGITUDE))
        if not (north and east):
            continue
        columns = [package.tables.column(table.name, name) for name in (north, east)]
        for latitude, longitude, site in zip(*columns, _sites(package, table), strict=True):
            if pair := _numbers(latitude, longitude):
                grid = grids.get(site)
                crs = (grid,) if grid else ()
                found[Point(*pair, crs, geodetic=datums.get(site) or WGS84)] = None
    for site, row in sites.items():
        grid = grids[site]
        if grid and not _numbers(row.get("latitude", ""), row.get("longitude", "")):
            pairs = (_on_map(row.get("easting_m", ""), row.get("northing_m", "")), drawn.get(site))
            pair = next(filter(None, pairs), None)
            if pair and (point := point_on_grid(*pair, grid)):
                found[point] = None
    return list(found)


def _on_map(x: str, y: str) -> tuple[float, float] | None:
    """Both coordinates, where they are so large that they are those of a map grid."""
    pair = _numbers(x, y)
    return pair if pair and min(map(abs, pair)) >= SMALLEST_MAP_FIGURE else None


def _code(text: str) -> int | None:
    return int(text) if text.isdecimal() else None


def _field(table: Table, closed: set[str], rdf_type: str) -> str:
    names = (one.name for one in table.fields if one.rdf_type == rdf_type and one.name in closed)
    return next(names, "")


def _numbers(*texts: str) -> tuple[float, float] | None:
    first, second = map(as_decimal, texts)
    return None if first is None or second is None else (float(first), float(second))


def _sites(package: Package, table: Table) -> Sequence[str]:
    """The site of each row, '' where its table names none."""
    own = "site_id" if table.name == SITE else ""
    link = next((key.fields[0] for key in table.foreign_keys if key.table == SITE), own)
    return package.tables.column(table.name, link)
