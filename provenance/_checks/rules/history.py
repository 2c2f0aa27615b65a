"""Rules about what several sources or people say of one thing."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._record.snapshot import Snapshot

_AGAIN = "said_again"


def _said(conflicts: pl.DataFrame) -> pl.DataFrame:
    """One line a conflict: on the row of its first claim, with all that is said in words."""
    who = pl.when(pl.col("who").is_not_null()).then(pl.format(" ({})", "who"))
    line = pl.when(pl.col("line").is_not_null()).then(pl.format(", row {}", "line"))
    sheet = pl.when(pl.col("sheet").is_not_null()).then(pl.format(", sheet {}", "sheet"))
    claim = pl.concat_str(
        pl.format('"{}" by ', pl.col("value").fill_null("")),
        pl.coalesce("original_id", pl.lit("a person")),
        sheet.fill_null(""),
        line.fill_null(""),
        who.fill_null(""),
    )
    of_what = (
        pl.when(pl.col("field").is_null())
        .then(pl.lit(""))
        .when(pl.col("field") == "#")
        .then(pl.lit("the key of "))
        .otherwise(pl.format("{} of ", "field"))
    )
    return (
        conflicts.with_columns(claim=claim, of_what=of_what)
        .group_by("kind", "table_name", "row_key", "field", maintain_order=True)
        .agg(
            pl.col("row").first(),
            pl.col("of_what").first(),
            said=pl.col("claim").str.join("; "),
        )
        .drop("field")
    )


@rule(
    "history.conflict",
    table="conflict",
    field="value",
    severity="error",
    says="{of_what}{table_name} {row_key} is in conflict: {said}.",
    remedy="Find out which is right and settle it with 'treenail change settle' ('treenail change "
    "rename' or 'treenail change remove' for keys and rows). If one number was given to two "
    "things, separate them with 'treenail change split'.",
    source=COMMON_PRACTICE,
)
def conflict(tables: Snapshot) -> pl.DataFrame:
    """Two sources cannot both be right; the later one is not always the right one."""
    return _said(tables["conflict"].filter(pl.col("kind") != _AGAIN))


@rule(
    "history.refused_value_said_again",
    table="conflict",
    field="value",
    severity="warning",
    says="{of_what}{table_name} {row_key} was decided; a source not known then gives the rejected "
    "value: {said}.",
    remedy="Check whether the decision still holds; 'treenail change correct' confirms or changes "
    "it.",
    source=COMMON_PRACTICE,
)
def refused_value_said_again(tables: Snapshot) -> pl.DataFrame:
    """A second source may be right."""
    return _said(tables["conflict"].filter(pl.col("kind") == _AGAIN))
