"""Puts hits of the structure checks into the words and columns of findings."""

from __future__ import annotations

import polars as pl

from provenance._base.findings import COLUMNS
from provenance._checks.language.kinds import kind
from provenance._checks.language.rule import worded
from provenance._model.schema import Field, Model, Table
from provenance._record.tables import ROW

FOUND = pl.Schema(
    {
        name: pl.UInt32() if name == ROW else pl.String()
        for name in COLUMNS
        if name not in ("key", "origin")
    }
)
"""The columns of a finding before its key and origin are looked up."""

_LONGEST_VALUE = 200
_LONGEST_SENTENCE = 1_000


def clipped(text: pl.Expr, longest: int = _LONGEST_VALUE) -> pl.Expr:
    """A column of texts cut to a length that a person reads."""
    # bytes are never fewer than characters, and known without counting
    return (
        pl.when(text.str.len_bytes() <= longest)
        .then(text)
        .when(text.str.len_chars() <= longest)
        .then(text)
        .otherwise(pl.concat_str(text.str.slice(0, longest), pl.lit("…")))
    )


def sentence(template: str, columns: list[str], model: Model | None = None) -> pl.Expr:
    """A column of sentences cut to a length that a person reads, whatever values they name."""
    return clipped(worded(template, columns, model), _LONGEST_SENTENCE)


def shortened(text: str, longest: int = _LONGEST_VALUE) -> str:
    """One text cut to a length that a person reads."""
    return text if len(text) <= longest else text[:longest] + "…"


def found_in_rows(
    name: str, table: Table, rows: pl.DataFrame, *, field: str = "", **words: str
) -> pl.DataFrame:
    """Findings of the kind 'structure.NAME', with the columns FOUND.

    `rows` has ROW, 'value', and columns for what the sentences name and `words` lacks; a column
    'field' wins over `field`.
    """
    one = kind(name)
    given = {"table": table.title, "table_name": table.name, "name": field, **words}
    named = [pl.lit(said).alias(word) for word, said in given.items() if word not in rows.columns]
    hits = rows.with_columns(clipped(pl.col("value")), *named)
    columns = [*rows.columns, *given]
    return hits.select(
        severity=pl.lit(one.severity),
        rule=pl.lit(one.id),
        table=pl.lit(table.name),
        row=pl.col(ROW).cast(pl.UInt32),
        field=pl.col("field") if "field" in rows.columns else pl.lit(field),
        value="value",
        message=sentence(one.says, columns),
        remedy=sentence(one.remedy, columns),
    )


def found_in_cells(
    name: str, table: Table, field: Field, rows: pl.DataFrame, **words: str
) -> pl.DataFrame:
    """Findings of the kind 'structure.NAME' about cells of one field; see `found_in_rows`."""
    return found_in_rows(name, table, rows, field=field.name, title=field.title, **words)
