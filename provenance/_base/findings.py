"""What a check says: findings, their severities, and the report that holds them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd
    import polars as pl

SEVERITIES = ("error", "warning", "note")
"""error: the chain is broken or a value cannot be; warning: likely wrong; note: worth a look."""


@dataclass(frozen=True)
class Finding:
    """One thing that somebody should look at.

    `rule` is the stable id ('sample.longer_than_wood'); `row` is the record number in the table's
    CSV (header = 1, 0 for the table as a whole); `key` the row's primary key; `message` says what
    is wrong and why it matters; `remedy` says what to do; `origin` names the line of the field file
    that the row was read from, where known.
    """

    severity: str
    rule: str
    table: str
    row: int
    key: str
    field: str
    value: str
    message: str
    remedy: str
    origin: str = ""


COLUMNS = tuple(one.name for one in fields(Finding))


@dataclass(frozen=True)
class Difference:
    """A fault that one of two programs names and the other does not.

    `rule` is the library's name for it, or ours; `why` is the reason, where one is known.
    """

    table: str
    row: int
    field: str
    rule: str
    value: str
    message: str
    why: str = ""


@dataclass(frozen=True)
class SecondOpinion:
    """What another program says about the structure of the same tables.

    `both` counts the faults that both name. `stopped` are tables that the library could not read
    to their end, `cut_short` maps those with too many errors to the last row that was reached;
    `not_compared` counts findings of ours that lie beyond these; `not_asked` says in sentences what
    the library was not shown.
    """

    program: str
    tables: int
    both: int
    library_alone: tuple[Difference, ...]
    ours_alone: tuple[Difference, ...]
    stopped: tuple[str, ...] = ()
    cut_short: Mapping[str, int] = field(default_factory=dict)
    not_compared: int = 0
    not_asked: tuple[str, ...] = ()

    @property
    def agrees(self) -> bool:
        """Whether neither names anything that the other does not."""
        return not self.library_alone and not self.ours_alone


@dataclass(frozen=True)
class Report:
    """The findings of one check, in the order of the tables and their rows.

    `found` holds them in columns (COLUMNS; `row` is a number, all others are text); `rows_checked`
    counts the rows that were read, a table at a time; `rules_run` names every rule.
    `second_opinion` is there when the library was asked as well. `accepted` holds findings that
    somebody lets stand, with the columns `why`, `who` and `when` more; they are in no count.
    """

    package: str
    found: pl.DataFrame
    rows_checked: dict[str, int]
    rules_run: tuple[str, ...]
    second_opinion: SecondOpinion | None = None
    accepted: pl.DataFrame | None = None

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The findings as a pandas frame of texts, with `row` as a number.

        Columns: severity, rule, table, row, key, field, value, message, remedy, origin.
        """
        from provenance._base.frames import to_pandas

        return to_pandas(self.found).astype({"row": "int64"})

    def __iter__(self) -> Iterator[Finding]:
        """The findings one by one; use `frame` or `found` where there may be very many."""
        for values in self.found.iter_rows():
            yield Finding(*values)

    def __len__(self) -> int:
        """The number of findings."""
        return len(self.found)

    def about(self, table: str, key: str) -> list[Finding]:
        """The findings about one row."""
        found = self.found.filter(table=table, key=key)
        return [Finding(*values) for values in found.iter_rows()]

    def to_accept(self, rule: str, table: str, key: str) -> list[tuple[str, str, str, str, str]]:
        """What a rule says of one row: (rule, table, key, field, message) each."""
        found = self.found.filter(rule=rule, table=table, key=key)
        return found.select("rule", "table", "key", "field", "message").rows()

    def count(self, severity: str) -> int:
        """How many findings have that severity."""
        return int((self.found["severity"] == severity).sum())

    @property
    def clean(self) -> bool:
        """True when there is neither an error nor a warning; notes do not count."""
        return self.count("error") == 0 and self.count("warning") == 0
