"""What a trade rule is, and how its findings are worded."""

from __future__ import annotations

import string
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import polars as pl

from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

COMMON_PRACTICE = "common practice, no source"
EVERY_TABLE = "every table"
"""What a rule over many tables names as its table; its findings have a column 'table'."""

Find = Callable[[Snapshot], pl.DataFrame]


@dataclass(frozen=True)
class Rule:
    """One check across tables.

    `find` returns one line a finding, with the column `row` (record number in `table`) and every
    column that `says` and `remedy` name in braces. `field` is the field the finding points at;
    when `find` returns a column 'field' that wins. A rule over many tables has EVERY_TABLE for its
    `table` and returns a column 'table'. The value shown is the field's own text. One that is
    `on_disk` looks at more than the tables, and may have something to say of one without rows.
    """

    id: str
    table: str
    field: str
    severity: str
    says: str
    remedy: str
    source: str
    find: Find
    on_disk: bool = False

    @property
    def subject(self) -> str:
        """The first part of the id, by which rules are grouped."""
        return self.id.split(".")[0]


def rule(
    id: str, *, table: str, field: str = "", severity: str, says: str, remedy: str, source: str
) -> Callable[[Find], Rule]:
    """Turn a function over the tables into a Rule; its docstring is the rule's reason.

    Only a rule over many tables goes without a `field`.
    """

    def make(find: Find) -> Rule:
        return Rule(id, table, field, severity, says, remedy, source, find)

    return make


def over_fields(word: str, found: Iterable[tuple[str, str, pl.DataFrame]]) -> pl.DataFrame:
    """What a rule about every table returns: for (table, field, rows) each row with its `word`."""
    parts = [
        rows.select(pl.lit(table).alias("table"), ROW, pl.lit(field).alias("field"), word)
        for table, field, rows in found
        if len(rows)
    ]
    columns = {"table": pl.String, ROW: pl.UInt32, "field": pl.String, word: pl.String}
    return pl.concat([pl.DataFrame(schema=columns), *parts])


def worded(template: str, columns: list[str]) -> pl.Expr:
    """A column of sentences: the template with the values of each line; nothing known is '?'."""
    pieces: list[pl.Expr] = []
    for literal, name, spec, _ in string.Formatter().parse(template):
        if literal:
            pieces.append(pl.lit(literal))
        if name is not None:
            if name not in columns:
                raise KeyError(f"the sentence names '{name}', which the rule does not return")
            value = pl.col(name)
            if spec:
                value = value.round(int(spec.removeprefix(".").removesuffix("f")))
            # a person reads '98 mm', not '98.0 mm'
            shown = value.cast(pl.String).str.replace(r"^(-?[0-9]+)\.0$", "${1}")
            pieces.append(shown.fill_null("?"))
    return pl.concat_str(pieces) if pieces else pl.lit("")
