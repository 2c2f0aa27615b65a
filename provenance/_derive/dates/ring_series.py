"""Sums up the measured ring widths that lie in plain tables, one row a series."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import polars as pl

from provenance._intake.ring_widths import RingSeries, ring_width_files
from provenance._record.package import Package
from provenance._record.tables import polars_type

TABLE = "ring_series"


def derive_ring_series(package: Package) -> pl.DataFrame:
    """One row a series with the columns of the derived table `ring_series`.

    Of a bundle the table is handed on as it stands: its files may not lie on this disk.
    """
    table = package.model.table(TABLE)
    if package.bundle is not None:
        return package.tables[TABLE].select(table.names)
    rows = [
        {"file_id": file.file_id} | summed_up(one)
        for file in ring_width_files(package.tables)
        for one in file.series
    ]
    types = {one.name: polars_type(one) for one in table.fields}
    return pl.DataFrame(rows, types).sort("sample_id", "file_id", "series_number")


def widths_not_read(package: Package) -> Iterator[str]:
    """Files of ring widths that give no series, and why, in words; none for a bundle."""
    if package.bundle is not None:
        return
    why = {"missing": "it is not in the package", "read": "'treenail check' says why"}
    why["no_table"] = "it has no heading for years, so it is left as it is"
    for file in ring_width_files(package.tables):
        if not file.series:
            yield f"{file.path} ({file.file_id}): {why.get(file.state, file.why)}"


def summed_up(series: RingSeries) -> dict[str, object]:
    """What a series comes to; widths of 0 count, as rings that are missing.

    Mean sensitivity is the mean of |2 (b - a) / (b + a)| over all pairs of rings of which one
    follows the other in the next year; a pair of two missing rings says nothing (H. C. Fritts, Tree
    Rings and Climate, 1976; from memory). The standard deviation is that of a sample (n - 1).
    """
    years, widths = np.array(series.years), np.array(series.widths_mm)
    before, after = widths[:-1], widths[1:]
    told = (np.diff(years) == 1) & (before + after > 0)
    changes = np.abs(2 * (after - before)[told] / (before + after)[told])
    return {
        "sample_id": series.sample_id,
        "series_number": series.number,
        "inner_year": series.years[0] if series.is_dated else None,
        "outer_year": series.years[-1] if series.is_dated else None,
        "ring_count": len(years),
        "missing_ring_count": int((widths == 0).sum()),
        "year_gap_count": int(years[-1] - years[0] + 1 - len(years)),
        "mean_width_mm": float(widths.mean()),
        "sd_width_mm": float(widths.std(ddof=1)) if len(widths) > 1 else None,
        "mean_sensitivity": float(changes.mean()) if len(changes) else None,
    }
