"""Gathers what was found into a report: keys and origins looked up, in one order, in one frame."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import polars as pl

from provenance._base.findings import COLUMNS, SEVERITIES, Report
from provenance._checks.language.wording import clipped
from provenance._model.schema import Model, Table
from provenance._record.package import Package
from provenance._record.reading import FIRST_ROW, TableText
from provenance._record.tables import ROW

_ORIGINS_NAMED = 3
ORIGIN_TABLES = ("origin", "original", "unread")
"""The tables that say which line of which received file a row was read from."""


def gather(
    package: Package, texts: Mapping[str, TableText], hits: pl.DataFrame, rules_run: Sequence[str]
) -> Report:
    """The report over hits with the columns FOUND, in their order (see `in_order`)."""
    concerned = set(hits["table"].unique())
    parts = [
        _with_keys(table, texts.get(name), hits.filter(pl.col("table") == name))
        for name, table in package.model.tables.items()
        if name in concerned
    ]
    elsewhere = hits.filter(~pl.col("table").is_in(list(package.model.tables)))
    keyed = pl.concat([*parts, _keyless(elsewhere)])
    named = _with_origins(package.model, texts, keyed)
    found = in_order(package.model, named).select(COLUMNS).cast({ROW: pl.Int64})
    return Report(
        package=package.name,
        found=found,
        rows_checked={name: len(text) for name, text in texts.items()},
        rules_run=tuple(rules_run),
    )


def _keyless(found: pl.DataFrame) -> pl.DataFrame:
    return found.with_columns(key=pl.lit(""))


def _with_keys(table: Table, text: TableText | None, found: pl.DataFrame) -> pl.DataFrame:
    """The findings of one table with the key of their row, '' for the table as a whole."""
    if text is None or any(name not in text.frame.columns for name in table.primary_key):
        return _keyless(found)
    keys = key_texts(table, text.frame)
    rows = found.select(ROW).unique().filter(pl.col(ROW) >= FIRST_ROW)
    rows = rows.with_columns(key=keys.gather(rows[ROW].cast(pl.Int64) - FIRST_ROW))
    return found.join(rows, on=ROW, how="left", maintain_order="left").with_columns(
        key=clipped(pl.col("key")).fill_null("")
    )


def key_texts(table: Table, frame: pl.DataFrame) -> pl.Series:
    """The key of every row as one text; parts are joined with ' / ', as `Table.key_of` does."""
    return frame.select(pl.concat_str(table.primary_key, separator=" / ")).to_series()


def _with_origins(
    model: Model, texts: Mapping[str, TableText], found: pl.DataFrame
) -> pl.DataFrame:
    """The findings with the lines of the received files that their rows were read from."""
    lines = [*_origin_lines(texts), *_own_lines(model, texts)] if len(found) else []
    if not lines:
        return found.with_columns(origin=pl.lit(""))
    known = pl.concat(lines).join(
        found.select("table", "key").unique(), on=["table", "key"], how="semi"
    )
    place = pl.concat_str(
        pl.col("file"),
        pl.when(pl.col("sheet") != "")
        .then(pl.format(", sheet '{}'", "sheet"))
        .otherwise(pl.lit("")),
        pl.when(pl.col("line") != "").then(pl.format(", row {}", "line")).otherwise(pl.lit("")),
    )
    origins = (
        known.with_columns(origin=place)
        .group_by("table", "key", maintain_order=True)
        .agg(pl.col("origin").unique(maintain_order=True))
        .with_columns(more=pl.col("origin").list.len() > _ORIGINS_NAMED)
        .select(
            "table",
            "key",
            origin=pl.concat_str(
                pl.col("origin").list.head(_ORIGINS_NAMED).list.join("; "),
                pl.when("more").then(pl.lit(" …")).otherwise(pl.lit("")),
            ),
        )
    )
    joined = found.join(origins, on=["table", "key"], how="left", maintain_order="left")
    return joined.with_columns(origin=clipped(pl.col("origin")).fill_null(""))


def _origin_lines(texts: Mapping[str, TableText]) -> Iterator[pl.DataFrame]:
    """table, key, file, sheet and line of every row that was read from a received file."""
    origin = texts.get("origin")
    wanted = {"table_name", "row_key", "original_id", "sheet", "line"}
    if origin is None or not wanted.issubset(origin.frame.columns):
        return
    frame = origin.frame
    if "still_there" in frame.columns:
        # a line that a newer copy no longer has cannot be looked up there
        frame = frame.filter(~pl.col("still_there").is_in(["false", "False", "FALSE", "0"]))
    yield _with_file_names(
        texts,
        frame.filter(pl.col("row_key") != "").select(
            "original_id", "sheet", "line", table="table_name", key="row_key"
        ),
    )


def _own_lines(model: Model, texts: Mapping[str, TableText]) -> Iterator[pl.DataFrame]:
    """The same for tables whose rows are themselves about a line of a received file."""
    for name in ("unread", "origin"):
        text = texts.get(name)
        wanted = {"original_id", "sheet", "line"}
        if text is None or name not in model.tables:
            continue
        table = model.table(name)
        if wanted.union(table.primary_key).issubset(text.frame.columns):
            own = text.frame.select("original_id", "sheet", "line").with_columns(
                table=pl.lit(name), key=key_texts(table, text.frame)
            )
            yield _with_file_names(texts, own)


def _with_file_names(texts: Mapping[str, TableText], lines: pl.DataFrame) -> pl.DataFrame:
    original = texts.get("original")
    names = {}
    if original is not None and {"original_id", "file_name"}.issubset(original.frame.columns):
        names = dict(original.frame.select("original_id", "file_name").rows())
    file = pl.col("original_id")
    if names:
        file = file.replace(names)
    return lines.select("table", "key", "sheet", "line", file=file)


def in_order(model: Model, found: pl.DataFrame) -> pl.DataFrame:
    """Findings by the tables' order, row, the fields' order, severity and rule."""
    tables = {name: number for number, name in enumerate(model.tables)}
    severities = {name: number for number, name in enumerate(SEVERITIES)}
    fields = pl.DataFrame(
        [
            {"table": table.name, "field": one.name, "_field": number}
            for table in model.tables.values()
            for number, one in enumerate(table.fields)
        ],
        schema={"table": pl.String, "field": pl.String, "_field": pl.Int64},
    )
    return (
        found.join(fields, on=["table", "field"], how="left")
        .with_columns(
            _table=pl.col("table").replace_strict(tables, default=len(tables)),
            _severity=pl.col("severity").replace_strict(severities, default=len(severities)),
        )
        .sort("_table", ROW, "_field", "_severity", "rule", "field", "value", "message")
    )
