"""Rules about what was handed in and not yet settled."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._record.snapshot import Snapshot


@rule(
    "intake.cell_unread",
    table="unread",
    field="cell_text",
    severity="warning",
    says="\"{cell_text}\" in column '{column}', line {line}{of_sheet} of received file "
    "{original_id} could not be read: {why}",
    remedy="Enter the right value in {table_name}, row {row_key}, field {field_name}, and say in "
    "'settled' what you did.",
    source=COMMON_PRACTICE,
)
def cell_unread(tables: Snapshot) -> pl.DataFrame:
    """The crew's text is kept, but is not yet part of the record."""
    sheet = pl.when(pl.col("sheet").is_not_null()).then(pl.format(" of sheet '{}'", "sheet"))
    return (
        tables["unread"]
        .filter(pl.col("settled").is_null())
        .with_columns(of_sheet=sheet.otherwise(pl.lit("")), field_name=pl.col("field"))
        # the finding points at the cell's text, not at the field it was meant for
        .drop("field")
    )


@rule(
    "intake.line_gone",
    table="origin",
    field="still_there",
    severity="note",
    says="{table_name} {row_key} was read from line {line} of {original_id}; a newer copy of that "
    "file no longer has it.",
    remedy="Ask the crew whether it was dropped on purpose; if so, remove the row of the record.",
    source=COMMON_PRACTICE,
)
def line_gone(tables: Snapshot) -> pl.DataFrame:
    """A row is never lost silently; a person decides."""
    return tables["origin"].filter(~pl.col("still_there"))
