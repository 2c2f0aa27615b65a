"""Rules about every date of the record, whatever table it stands in."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl

from provenance._checks.language.dates import dates_before, unreal_dates
from provenance._checks.language.rule import COMMON_PRACTICE, EVERY_TABLE, over_fields, rule
from provenance._model.edtf import Day
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW, is_written

FIRST_YEAR = 1900
"""No building was sampled for its rings before; an earlier year is most likely a lost digit."""


def _dated_columns(tables: Snapshot) -> Iterator[tuple[str, str]]:
    """Table and field of every uncertain date, where any is written."""
    for table, one in tables.model.every_field():
        if one.notation == "edtf" and is_written(tables[table.name][one.name]):
            yield table.name, one.name


def _with_date(rows: pl.DataFrame, field: str) -> pl.DataFrame:
    return rows.with_columns(date=pl.col(field).cast(pl.String))


@rule(
    "dates.no_such_day",
    table=EVERY_TABLE,
    severity="error",
    says="{date} is not a calendar date.",
    remedy="Write the day (2024-02-28), or only the month (2024-02) or the year (2024) if the day "
    "is not known.",
    source="ISO 8601-1:2019 and ISO 8601-2:2019 (EDTF levels 0 and 1)",
)
def no_such_day(tables: Snapshot) -> pl.DataFrame:
    """It cannot be compared with other dates, so other faults stay hidden."""

    def unreal(table: str, field: str) -> pl.DataFrame:
        return _with_date(unreal_dates(tables[table], field), field)

    return over_fields("date", ((*one, unreal(*one)) for one in _dated_columns(tables)))


@rule(
    "dates.before_the_trade_began",
    table=EVERY_TABLE,
    severity="warning",
    says="{date} is before 1900, earlier than any tree-ring sampling of buildings.",
    remedy="Check for a two-digit year or a typing error.",
    source=COMMON_PRACTICE,
)
def before_the_trade_began(tables: Snapshot) -> pl.DataFrame:
    """A year like 0024 is a two-digit year read literally."""

    def early(table: str, field: str) -> pl.DataFrame:
        rows = tables[table][[ROW, field]]
        return _with_date(dates_before(rows, field, Day(FIRST_YEAR, 1, 1)), field)

    # episodes are the history of the place itself
    places = [one for one in _dated_columns(tables) if one[0] != "episode"]
    return over_fields("date", ((*one, early(*one)) for one in places))
