"""Writes an answer of the catalogue as table, CSV, JSON, GeoJSON (RFC 7946) or Parquet."""

from __future__ import annotations

import io
import json
from typing import TYPE_CHECKING, Any

from provenance._base.errors import UnusableInput
from provenance._base.spreadsheet import spreadsheet_csv

if TYPE_CHECKING:
    import polars as pl

FORMATS = ("table", "csv", "json", "geojson", "parquet")

WIDEST = 32
"""Characters of one column of the table for a terminal; the other forms cut nothing."""


def answer_bytes(frame: pl.DataFrame, shape: str) -> bytes:
    """The frame in one of FORMATS, UTF-8 where it is text.

    GeoJSON needs the columns longitude and latitude (WGS 84); rows without a position become
    features without a geometry, as RFC 7946 section 3.2 has it. Raises UnusableInput without them.
    """
    if shape == "parquet":
        stream = io.BytesIO()
        frame.write_parquet(stream)
        return stream.getvalue()
    if shape == "csv":
        text = spreadsheet_csv(frame)
    elif shape == "json":
        text = json.dumps(frame.to_dicts(), indent=1, ensure_ascii=False) + "\n"
    else:
        text = _geojson(frame) if shape == "geojson" else _table(frame)
    return text.encode("utf-8")


def _geojson(frame: pl.DataFrame) -> str:
    if not {"longitude", "latitude"} <= set(frame.columns):
        raise UnusableInput("GeoJSON is of sites; ask for them with --of sites")
    collection = {
        "type": "FeatureCollection",
        "features": [_feature(row) for row in frame.to_dicts()],
    }
    return json.dumps(collection, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _feature(row: dict[str, Any]) -> dict[str, Any]:
    longitude, latitude = row.pop("longitude"), row.pop("latitude")
    geometry = None
    if longitude is not None and latitude is not None:
        geometry = {"type": "Point", "coordinates": [longitude, latitude]}
    return {"type": "Feature", "geometry": geometry, "properties": row}


def _table(frame: pl.DataFrame) -> str:
    """Columns one beside another; those in which nothing stands are left out."""
    from provenance._base.visible import visible

    names = [name for name in frame.columns if any(v not in (None, "") for v in frame[name])]
    if not names:
        return "nothing found\n"
    lines = [names]
    for row in frame.select(names).iter_rows():
        lines.append([_clipped(visible("" if value is None else str(value))) for value in row])
    widths = [max(len(line[place]) for line in lines) for place in range(len(names))]
    # a path is wanted whole, so the last column may be as long as it is
    for number, row in enumerate(frame.select(names[-1]).iter_rows(), start=1):
        lines[number][-1] = visible("" if row[0] is None else str(row[0]))
    padded = (
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    )
    return "\n".join(padded) + f"\n{len(frame)} found\n"


def _clipped(text: str) -> str:
    return text if len(text) <= WIDEST else text[: WIDEST - 1] + "…"
