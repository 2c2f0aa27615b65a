"""Rules about photos, plans and other files: what they belong to and how they are described."""

from __future__ import annotations

import unicodedata

import polars as pl

from provenance._base.portable import folded
from provenance._checks.language.links import without_any
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.language.views import live_results
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

PICTURES = ("photo", "plan", "drawing")


@rule(
    "files.about_nothing",
    table="file",
    field="about_id",
    severity="error",
    says="File {file_id} ({path}) belongs to {about_table} {about_id}, which does not exist.",
    remedy="Enter the table and key of the row that the file shows.",
    source=COMMON_PRACTICE,
)
def about_nothing(tables: Snapshot) -> pl.DataFrame:
    """An unidentified photo is soon thrown away."""
    keys = pl.concat(
        tables[table.name].select(
            pl.lit(table.name).alias("about_table"),
            pl.col(table.primary_key[0]).cast(pl.String).alias("about_id"),
        )
        for table in tables.model.of_role("record")
    ).drop_nulls()
    half = pl.col("about_table").is_null() != pl.col("about_id").is_null()
    named = tables["file"].filter(pl.col("about_table").is_not_null() | half)
    return without_any(named, keys, "about_table", "about_id")


@rule(
    "files.about_unsaid",
    table="file",
    field="about_table",
    severity="note",
    says="What file {file_id} ({path}) shows is not recorded.",
    remedy="Enter the table and key of the row that it shows; a general view belongs to the site.",
    source=COMMON_PRACTICE,
)
def about_unsaid(tables: Snapshot) -> pl.DataFrame:
    """An unidentified photo is soon thrown away."""
    return tables["file"].filter(pl.col("about_table").is_null() & pl.col("about_id").is_null())


@rule(
    "files.picture_without_title",
    table="file",
    field="title",
    severity="warning",
    says="{kind} {file_id} ({path}) has no caption.",
    remedy="Write one line on what the picture shows, for people who cannot see it and for "
    "searches.",
    source="W3C Web Content Accessibility Guidelines 2.2, success criterion 1.1.1",
)
def picture_without_title(tables: Snapshot) -> pl.DataFrame:
    """The finding aid shows the caption, and screen readers read it."""
    return tables["file"].filter(pl.col("kind").is_in(PICTURES) & pl.col("title").is_null())


@rule(
    "files.paths_alike",
    table="file",
    field="path",
    severity="error",
    says="Path {path} of file {file_id} differs from {first_path} only in capitals or in the "
    "coding of accents.",
    remedy="Rename one of them; on many disks they would be one file.",
    source="RFC 8493 (file names differ between systems); Unicode Standard Annex 15",
)
def paths_alike(tables: Snapshot) -> pl.DataFrame:
    """On another disk, one copy would overwrite the other."""
    files = tables["file"].drop_nulls("path")
    first: dict[str, str] = {}
    seen = [_as_seen_first(path, first) for path in files["path"]]
    return files.with_columns(first_path=pl.Series(seen, dtype=pl.String)).filter(
        pl.col("path") != pl.col("first_path")
    )


def _as_seen_first(path: str, first: dict[str, str]) -> str:
    """The path with every folder, and the name, as it was written in the first row that has it."""
    written = ""
    for part in path.split("/"):
        # compatibility forms too: some programs write the one for the other
        plain = folded(unicodedata.normalize("NFKC", f"{written}/{part}"))
        written = first.setdefault(plain, f"{written}/{part}")
    return written[1:]


@rule(
    "files.ring_widths_of_nothing",
    table="file",
    field="about_table",
    severity="warning",
    says="Ring-width file {file_id} ({path}) belongs to neither a sample nor a result.",
    remedy="Enter the result that the measurements belong to.",
    source=COMMON_PRACTICE,
)
def ring_widths_of_nothing(tables: Snapshot) -> pl.DataFrame:
    """Ring widths without their sample cannot be crossdated."""
    linked = pl.col("about_table").is_in(["sample", "lab_result"]).fill_null(False)
    return tables["file"].filter((pl.col("kind") == "ring_widths") & ~linked)


@rule(
    "files.no_ring_widths",
    table="lab_result",
    field="result_id",
    severity="note",
    says="Result {result_id} of sample {sample_id} is dated, but its ring-width file is missing.",
    remedy="Ask the laboratory for the measurements and attach the file.",
    source="FAIR Guiding Principles (Wilkinson and others 2016, Scientific Data 3, 160018)",
)
def no_ring_widths(tables: Snapshot) -> pl.DataFrame:
    """Without the measurements, no later chronology can test or extend the date."""
    widths = tables["file"].filter(pl.col("kind") == "ring_widths")

    def kept(table: str, key: str) -> pl.DataFrame:
        return widths.filter(pl.col("about_table") == table).select(pl.col("about_id").alias(key))

    # a record may have very many of them
    results = live_results(tables).select(ROW, "result_id", "sample_id", "outcome", "method")
    dated = results.filter((pl.col("outcome") == "dated") & pl.col("method").is_in(["crossdating"]))
    unkept = without_any(dated, kept("lab_result", "result_id"), "result_id")
    return without_any(unkept, kept("sample", "sample_id"), "sample_id")
