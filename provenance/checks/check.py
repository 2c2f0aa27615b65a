"""Checks a package: structure, then the trade rules, in one report."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

import polars as pl

from provenance.checks.kinds import KINDS
from provenance.checks.rule import EVERY_TABLE, Rule, worded
from provenance.checks.structure import TableText, read_tables, structure_findings
from provenance.checks.tables import ROW, Tables, polars_type
from provenance.findings import COLUMNS, SEVERITIES, Report

if TYPE_CHECKING:
    from provenance.package import Package

__all__ = ["RuleFailed", "check_package", "check_structure"]

Progress = Callable[[int, int], None]


class RuleFailed(RuntimeError):
    """A rule broke down: a fault of the program, not of the record. Its id is in the text."""


def check_package(
    package: Package,
    *,
    rules: Sequence[Rule] | None = None,
    progress: Progress | None = None,
) -> Report:
    """Check the structure of every table and then every trade rule.

    `rules` defaults to all there are. Raises UnusablePackage for a table that cannot be read at
    all, and RuleFailed when a rule itself breaks down.
    """
    from provenance.checks.registry import package_rules

    chosen = package_rules(package.folder) if rules is None else tuple(rules)
    read = read_tables(package)
    parts = [_structure(package, read)]
    tables = Tables(package.model, {name: _typed(one) for name, one in read.items()})
    for done, rule in enumerate(chosen, start=1):
        parts.append(_rule_findings(rule, tables, read))
        if progress:
            progress(done, len(chosen))
    return _report(package, read, parts, tuple(rule.id for rule in chosen))


def check_structure(package: Package) -> Report:
    """Check the structure alone: what the schemas inside the package say."""
    read = read_tables(package)
    return _report(package, read, [_structure(package, read)], ())


def _typed(read: TableText) -> pl.DataFrame:
    """The typed frame that rules see: every column of the schema, whatever the file has."""
    height = read.layout.text.height
    columns = [read.layout.text[ROW].cast(pl.UInt32)]
    for one in read.table.fields:
        column = read.typed.get(one.name)
        if column is None:
            column = pl.Series(one.name, [None] * height, dtype=polars_type(one))
        columns.append(column.alias(one.name))
    return pl.DataFrame(columns)


def _structure(package: Package, read: Mapping[str, TableText]) -> pl.DataFrame:
    severities = {kind: said.severity for kind, said in KINDS.items()}
    found = structure_findings(package.model, read)
    return found.select(
        pl.col("kind").replace_strict(severities, return_dtype=pl.String()).alias("severity"),
        pl.concat_str(pl.lit("structure."), "kind").alias("rule"),
        "table",
        pl.col(ROW).cast(pl.UInt32),
        "field",
        "value",
        "message",
        "remedy",
    )


_FOUND = ("severity", "rule", "table", ROW, "field", "value", "message", "remedy")


def _rule_findings(rule: Rule, tables: Tables, read: Mapping[str, TableText]) -> pl.DataFrame:
    """What one rule finds, worded, with the text of the field that each finding points at."""
    try:
        found = rule.find(tables)
        names = found.columns
        worded_frame = found.select(
            pl.lit(rule.severity).alias("severity"),
            pl.lit(rule.id).alias("rule"),
            (pl.col("table") if rule.table == EVERY_TABLE else pl.lit(rule.table)).alias("table"),
            pl.col(ROW).cast(pl.UInt32),
            (pl.col("field") if "field" in names else pl.lit(rule.field)).alias("field"),
            worded(rule.says, names).alias("message"),
            worded(rule.remedy, names).alias("remedy"),
        )
    except Exception as error:
        raise RuleFailed(f"the rule '{rule.id}' broke down: {error}") from error
    pieces = []
    for (table, field), piece in worded_frame.group_by("table", "field", maintain_order=True):
        text = read[str(table)].layout.text
        if field in text.columns:
            values = text.select(pl.col(ROW).cast(pl.UInt32), pl.col(str(field)).alias("value"))
            piece = piece.join(values, on=ROW, how="left", maintain_order="left")
        else:
            piece = piece.with_columns(value=pl.lit(""))
        pieces.append(piece.with_columns(pl.col("value").fill_null("")).select(_FOUND))
    if not pieces:
        return pl.DataFrame(schema=dict.fromkeys(_FOUND, pl.String()) | {ROW: pl.UInt32()})
    return pl.concat(pieces)


def _report(
    package: Package,
    read: Mapping[str, TableText],
    parts: Sequence[pl.DataFrame],
    rules_run: tuple[str, ...],
) -> Report:
    found = pl.concat(parts)
    found = found.join(_keys(read), on=["table", ROW], how="left", maintain_order="left")
    found = found.with_columns(pl.col("key").fill_null(""))
    origins = _origins(read)
    found = found.join(origins, on=["table", "key"], how="left", maintain_order="left")
    order = {name: place for place, name in enumerate(read)}
    weight = {severity: place for place, severity in enumerate(SEVERITIES)}
    found = found.sort(
        pl.col("severity").replace_strict(weight, return_dtype=pl.Int32()),
        pl.col("table").replace_strict(order, return_dtype=pl.Int32()),
        ROW,
        "field",
        "rule",
        "message",
        maintain_order=True,
    )
    frame = found.with_columns(pl.col("origin").fill_null("")).select(COLUMNS).to_pandas()
    rows = {name: one.layout.text.height for name, one in read.items()}
    return Report(package.name, frame, rows, rules_run)


def _keys(read: Mapping[str, TableText]) -> pl.DataFrame:
    """The primary key of every row as one text, as `Table.key_of` writes it."""
    parts = []
    for name, one in read.items():
        text = one.layout.text
        names = [key for key in one.table.primary_key if key in text.columns]
        parts.append(
            text.select(
                pl.lit(name).alias("table"),
                pl.col(ROW).cast(pl.UInt32),
                (pl.concat_str(names, separator=" / ") if names else pl.lit("")).alias("key"),
            )
        )
    return pl.concat(parts)


def _origins(read: Mapping[str, TableText]) -> pl.DataFrame:
    """Where each row was read from, in words: 'timbers.xlsx, sheet 'Timbers', row 14'."""
    empty = pl.DataFrame(schema={"table": pl.String, "key": pl.String, "origin": pl.String})
    needed = {"table_name", "row_key", "original_id", "sheet", "line"}
    if "origin" not in read or "original" not in read:
        return empty
    origin, original = read["origin"].layout.text, read["original"].layout.text
    if origin.is_empty() or not needed <= set(origin.columns):
        return empty
    if not {"original_id", "file_name"} <= set(original.columns):
        return empty
    sheet = pl.when(pl.col("sheet") != "").then(pl.format(", sheet '{}'", "sheet"))
    named = origin.join(
        original.select("original_id", "file_name").unique("original_id", keep="first"),
        on="original_id",
        how="left",
        maintain_order="left",
    )
    said = named.select(
        pl.col("table_name").alias("table"),
        pl.col("row_key").alias("key"),
        pl.concat_str(
            pl.col("file_name").fill_null(pl.col("original_id")),
            sheet.otherwise(pl.lit("")),
            pl.lit(", row "),
            pl.col("line"),
        ).alias("origin"),
    )
    # of several origins the newest is the file that the crew looks at now
    return said.unique(["table", "key"], keep="last", maintain_order=True)
