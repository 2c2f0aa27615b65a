"""Reads the rows of a table a stretch at a time, so that memory stays flat."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from provenance._record.package import Package, reading_table

__all__ = ["STRETCH_ROWS", "read_stretches", "row_counts"]

STRETCH_ROWS = 1000


def read_stretches(
    package: Package, table: str, columns: Sequence[str] | None = None
) -> Iterator[list[tuple[str, ...]]]:
    """The rows of a table, a stretch at a time, as texts in the order of `columns`.

    Reads as `Package.table` does, but in flat memory. Raises UnusablePackage for an unreadable
    file.
    """
    import pandas as pd

    path = package.table_path(table)
    with (
        reading_table(path),
        pd.read_csv(
            path,
            dtype=str,
            keep_default_na=False,
            encoding="utf-8",
            skip_blank_lines=False,
            chunksize=STRETCH_ROWS,
        ) as stretches,
    ):
        for frame in stretches:
            if columns is not None and list(columns) != list(frame.columns):
                frame = frame.reindex(columns=list(columns), fill_value="")
            yield list(frame.itertuples(index=False, name=None))


def row_counts(package: Package) -> dict[str, int]:
    """How many rows each table has, in the order of the model."""
    return {
        name: sum(len(rows) for rows in read_stretches(package, name))
        for name in package.model.tables
    }
