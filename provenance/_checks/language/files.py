"""Rules that compare the tables 'file' and 'original' with the files that lie in the package.

Files are looked at once and hashed once, however many rules ask; nothing outside the folder is
opened.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

import polars as pl

from provenance._base.disk import sha256_of
from provenance._base.portable import unportable_because
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

FIXITY = "RFC 8493 (a checksum shows that a file is what it was); FIPS 180-4"
KEPT_IN = "files"


def _kept(tables: Snapshot) -> pl.DataFrame:
    return tables.once("files_on_disk", partial(_look_at, "file"))


def _received(tables: Snapshot) -> pl.DataFrame:
    return tables.once("originals_on_disk", partial(_look_at, "original"))


def _undescribed(tables: Snapshot) -> pl.DataFrame:
    return tables.once("files_without_row", _without_row)


@rule(
    "files.missing",
    table="file",
    field="path",
    severity="error",
    says="{path} of file {file_id} {state} in the package.",
    remedy="Copy the file to that place, or set the path right.",
    source=COMMON_PRACTICE,
)
def missing(tables: Snapshot) -> pl.DataFrame:
    """The record promises a file that no one will find."""
    return _kept(tables).filter(pl.col("state").is_in(["is not", "cannot be read"]))


@rule(
    "files.leads_outside",
    table="file",
    field="path",
    severity="error",
    says="{path} of file {file_id} leads out of the package.",
    remedy="Copy the file itself into files/; a link or a path that climbs is not archived.",
    source="Data Package v2, security: paths are relative and never climb",
)
def leads_outside(tables: Snapshot) -> pl.DataFrame:
    """What lies elsewhere is lost as soon as the package is moved."""
    return _kept(tables).filter(pl.col("state") == "outside")


@rule(
    "files.size_differs",
    table="file",
    field="byte_count",
    severity="error",
    says="{path} of file {file_id} has {found_bytes} bytes, not {byte_count}.",
    remedy="Restore the file from a copy; if it was changed on purpose, enter the new size and "
    "checksum.",
    source=FIXITY,
)
def size_differs(tables: Snapshot) -> pl.DataFrame:
    """The file was cut off or changed since it was described."""
    return _kept(tables).filter(pl.col("found_bytes") != pl.col("byte_count"))


@rule(
    "files.checksum_differs",
    table="file",
    field="sha256",
    severity="error",
    says="{path} of file {file_id} is not the file it was: its checksum is {found_sha256}.",
    remedy="Restore the file from a copy; if it was changed on purpose, enter the new size and "
    "checksum.",
    source=FIXITY,
)
def checksum_differs(tables: Snapshot) -> pl.DataFrame:
    """The file was changed since it was described."""
    return _kept(tables).filter(pl.col("found_sha256") != pl.col("sha256"))


@rule(
    "files.without_row",
    table="file",
    field="path",
    severity="warning",
    says="{path} lies in the package, but has no row in the table 'file'.",
    remedy="Describe it in a row: kind, title, what it belongs to, and whether it may be "
    "public. Remove it if it does not belong here.",
    source=COMMON_PRACTICE,
)
def without_row(tables: Snapshot) -> pl.DataFrame:
    """No one will know what it shows, nor whether it may be shown."""
    return _undescribed(tables)


@rule(
    "files.name_not_everywhere",
    table="file",
    field="path",
    severity="error",
    says="{path} cannot be opened on every system: {why}.",
    remedy="Rename the file, and its path in the record; as it is it goes into no bundle.",
    source="Microsoft, 'Naming Files, Paths, and Namespaces' and 'Maximum Path Length Limitation'",
)
def name_not_everywhere(tables: Snapshot) -> pl.DataFrame:
    """Whoever opens the record decades on has whatever system there is."""
    rows = tables["file"].drop_nulls("path").select(ROW, "path")
    paths = pl.concat([_undescribed(tables).select(ROW, "path"), rows])
    why = pl.col("path").map_elements(unportable_because, return_dtype=pl.String)
    return paths.with_columns(why=why).drop_nulls("why")


@rule(
    "files.original_missing",
    table="original",
    field="path",
    severity="error",
    says="The received file {original_id} ({path}) is no longer there or cannot be read.",
    remedy="Put the copy back from the one who handed it in, byte for byte.",
    source=FIXITY,
)
def original_missing(tables: Snapshot) -> pl.DataFrame:
    """What the crew wrote down is the last word on what the record says."""
    return _received(tables).filter(pl.col("state") != "there")


@rule(
    "files.original_changed",
    table="original",
    field="sha256",
    severity="error",
    says="The received file {original_id} ({path}) was changed after it was read: its checksum "
    "is {found_sha256}.",
    remedy="Ask the person who handed it in for the copy; correct the record, not the original.",
    source=FIXITY,
)
def original_changed(tables: Snapshot) -> pl.DataFrame:
    """What the crew wrote down is kept byte for byte."""
    return _received(tables).filter(pl.col("found_sha256") != pl.col("sha256"))


def _paths_below(folder: Path, inside: str) -> Iterator[str]:
    """Paths of all files below `folder`/`inside`, relative to `folder`, with forward slashes."""
    for where, _, names in os.walk(folder / inside):
        for name in names:
            yield (Path(where) / name).relative_to(folder).as_posix()


def _without_row(tables: Snapshot) -> pl.DataFrame:
    """The paths of files that no row describes; a finding about the whole table has row 0."""
    on_disk = pl.DataFrame(
        {"path": list(_paths_below(Path(tables.where), KEPT_IN))}, schema={"path": pl.String}
    )
    left = on_disk.join(tables["file"].select("path"), on="path", how="anti")
    return left.sort("path").with_columns(pl.lit(0, dtype=pl.UInt32).alias(ROW))


def _look_at(table: str, tables: Snapshot) -> pl.DataFrame:
    """The rows of `table` that name a path, with state, found_bytes and found_sha256.

    `state` is 'there', 'is not', 'cannot be read' or 'outside'. The checksum is computed only where
    the row has one to compare with and the size fits.
    """
    rows = tables[table].drop_nulls("path")
    wanted = rows.select("path", "byte_count", "sha256").unique("path", keep="first")
    asked = wanted.to_dict(as_series=False).values()
    with ThreadPoolExecutor() as threads:
        facts = list(threads.map(partial(_facts, Path(tables.where)), *asked))
    looked = wanted.select("path").hstack(
        pl.DataFrame(
            facts,
            schema={"state": pl.String, "found_bytes": pl.Int64, "found_sha256": pl.String},
            orient="row",
        )
    )
    return rows.join(looked, on="path", how="left", maintain_order="left")


def _facts(
    folder: Path, path: str, byte_count: int | None, sha256: str | None
) -> tuple[str, int | None, str | None]:
    inside = folder.resolve()
    try:
        target = (folder / path).resolve()
        if not target.is_relative_to(inside):
            return "outside", None, None
        if not target.is_file():
            return "is not", None, None
        size = target.stat().st_size
        same_size = byte_count is None or size == byte_count
        return "there", size, sha256_of(target) if sha256 and same_size else None
    except (OSError, ValueError):
        # no right to read it, a broken disk, or a path that no disk can hold
        return "cannot be read", None, None
