"""Rules that read a laboratory's own notation again, and hold it against the coded columns."""

from __future__ import annotations

from functools import partial
from typing import Any

import polars as pl

from provenance._base.errors import UnreadableValue
from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._model.determination import differences
from provenance._model.notation import DateNotation, parse_notation
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

_NAMES = ("result_id", "sample_id", "notation")
_FOUND = {ROW: pl.UInt32, **dict.fromkeys((*_NAMES, "field", "said", "coded"), pl.String)}


_NEW = {
    **dict.fromkeys(("heartwood_year", "sapwood_least", "sapwood_most"), pl.Int64),
    "estimate_source": pl.String,
}
"""Columns that a package of an older version does not have."""


def _results(tables: Snapshot) -> pl.DataFrame:
    results = tables["lab_result"]
    lacking = [one for one in _NEW if one not in results.columns]
    return results.with_columns(pl.lit(None, _NEW[one]).alias(one) for one in lacking)


def _read_again(tables: Snapshot) -> pl.DataFrame:
    """One line for each column that differs; `field` is 'notation' where it cannot be read."""
    lists = tables.model.vocabularies
    read = partial(
        parse_notation,
        symbols=lists["result_symbol"],
        reasons=lists["undated_reason"],
        seasons=lists.get("felling_season"),
    )
    known: dict[str, DateNotation | str] = {}
    lines: list[dict[str, Any]] = []
    results = tables["lab_result"].filter(pl.col("notation").is_not_null())
    for row in results.iter_rows(named=True):
        text = row["notation"]
        if text not in known:
            try:
                known[text] = read(text)
            except UnreadableValue as error:
                known[text] = str(error)
        said = known[text]
        about = {name: row[name] for name in (ROW, *_NAMES)}
        if isinstance(said, str):
            lines.append(about | {"field": "notation", "said": said})
            continue
        lines += [
            about | {"field": field, "said": value, "coded": there}
            for field, value, there in differences(said, row)
        ]
    return pl.DataFrame(lines, _FOUND)


@rule(
    "result.notation_differs",
    table="lab_result",
    field="notation",
    severity="error",
    says="Result {result_id} of sample {sample_id}: the notation '{notation}' says {said}, the "
    "column '{field}' says {coded}.",
    remedy="Look at the report and correct the one that is wrong.",
    source="result symbols in schemas/vocabularies; " + COMMON_PRACTICE,
)
def notation_differs(tables: Snapshot) -> pl.DataFrame:
    """The laboratory's words and the coded years describe one date; one of them is wrong."""
    return tables.once("notations_read", _read_again).filter(pl.col("field") != "notation")


@rule(
    "result.notation_unread",
    table="lab_result",
    field="notation",
    severity="note",
    says="Result {result_id} of sample {sample_id}: the notation could not be compared with the "
    "years beside it: {said}.",
    remedy="Compare it with the years and symbols yourself; if it is a mistake, write it as the "
    "report has it.",
    source=COMMON_PRACTICE,
)
def notation_unread(tables: Snapshot) -> pl.DataFrame:
    """What was not compared may disagree."""
    return tables.once("notations_read", _read_again).filter(pl.col("field") == "notation")


@rule(
    "result.heartwood_does_not_fit_sapwood",
    table="lab_result",
    field="heartwood_year",
    severity="error",
    says="Result {result_id} of sample {sample_id}: with {sapwood_count} sapwood rings before "
    "{outer_year} the heartwood ends in {expected}, not in {heartwood_year}.",
    remedy="Check the three figures against the report.",
    source=COMMON_PRACTICE,
)
def heartwood_does_not_fit_sapwood(tables: Snapshot) -> pl.DataFrame:
    """Sapwood is every ring between the boundary and the last ring."""
    expected = pl.col("outer_year") - pl.col("sapwood_count")
    results = _results(tables).with_columns(expected=expected)
    return results.filter(pl.col("heartwood_year") != pl.col("expected"))


@rule(
    "result.sapwood_estimate_without_source",
    table="lab_result",
    field="estimate_source",
    severity="error",
    says="Result {result_id} of sample {sample_id} has an estimate of {sapwood_least} to "
    "{sapwood_most} sapwood rings without its publication; it is not applied.",
    remedy="Enter the publication, with species and region, or remove the estimate.",
    source=COMMON_PRACTICE,
)
def sapwood_estimate_without_source(tables: Snapshot) -> pl.DataFrame:
    """Sapwood differs between regions; without a source, a range of years is a guess."""
    estimated = pl.any_horizontal(pl.col("sapwood_least", "sapwood_most").is_not_null())
    return _results(tables).filter(estimated & pl.col("estimate_source").is_null())


@rule(
    "result.sapwood_beyond_estimate",
    table="lab_result",
    field="sapwood_most",
    severity="warning",
    says="Result {result_id} of sample {sample_id}: {sapwood_count} sapwood rings were counted, "
    "but the estimate expects {sapwood_least} to {sapwood_most}.",
    remedy="Check the count, and that the estimate is for this species and region, with the "
    "smaller number first.",
    source=COMMON_PRACTICE,
)
def sapwood_beyond_estimate(tables: Snapshot) -> pl.DataFrame:
    """An estimate that the sample contradicts is for other wood."""
    fewest = pl.max_horizontal("sapwood_count", "sapwood_least")
    return _results(tables).filter(pl.col("sapwood_most") < fewest)
