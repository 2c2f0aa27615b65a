"""Rules about figures that the record cannot give and a person assumed."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

LEAST_LETTERS = 4
SAYS_NOTHING = ("myself", "none", "unknown", "guess", "estimate", "own estimate", "experience")


def _assumed(tables: Snapshot) -> pl.DataFrame:
    """The assumptions with the unit of each, and whether it is a rate of labor."""
    listed = tables.model.vocabularies.get("assumption_kind")  # an older package has no such list
    kinds = listed.terms if listed else ()
    unit = {one.code: str(one.attributes.get("unit", "")) for one in kinds}
    # a plain share has the unit 1
    shown = {code: "" if unit == "1" else f" {unit}" for code, unit in unit.items()}
    rates = [one.code for one in kinds if "per" in one.attributes]
    return tables["assumption"].with_columns(
        unit=pl.col("assumption_kind").replace_strict(shown, default="", return_dtype=pl.String),
        is_rate=pl.col("assumption_kind").is_in(rates),
    )


@rule(
    "assumption.spread_above_figure",
    table="assumption",
    field="spread",
    severity="warning",
    says="Assumption {assumption_id}: a spread of {spread}{unit} is larger than the figure itself, "
    "{figure}{unit}.",
    remedy="The spread is one standard deviation, in the unit of the figure, not in percent; look "
    "it up again.",
    source=COMMON_PRACTICE,
)
def spread_above_figure(tables: Snapshot) -> pl.DataFrame:
    """A figure that may as well be 0 supports no conclusion."""
    return _assumed(tables).filter(pl.col("spread") > pl.col("figure"))


@rule(
    "assumption.source_says_nothing",
    table="assumption",
    field="source",
    severity="warning",
    says="Assumption {assumption_id}: '{source}' does not tell where the figure of {figure}{unit} "
    "comes from.",
    remedy="Name the publication and page, the experiment, or the person and the date.",
    source=COMMON_PRACTICE,
)
def source_says_nothing(tables: Snapshot) -> pl.DataFrame:
    """A reader who doubts a conclusion must be able to look up its basis."""
    said = pl.col("source").str.to_lowercase().str.strip_chars(" .-?")
    letters = said.str.replace_all(r"[^\p{L}]", "").str.len_chars()
    return _assumed(tables).filter((letters < LEAST_LETTERS) | said.is_in(SAYS_NOTHING))


@rule(
    "assumption.given_twice",
    table="assumption",
    field="assumption_kind",
    severity="error",
    says="Assumptions {assumption_id} and {first} give {figure}{unit} and {first_figure}{unit} "
    "for the same species, place and task.",
    remedy="Keep one, or enter the species, place or task that each applies to.",
    source=COMMON_PRACTICE,
)
def given_twice(tables: Snapshot) -> pl.DataFrame:
    """Only one of them can be used, and nothing says which."""
    same = ("assumption_kind", "work", "species", "place_id")
    # a rate without a work has a finding of its own, and what is no rate is of no work
    assumed = (
        _assumed(tables)
        .drop_nulls(["assumption_kind", "assumption_id"])
        .filter(~pl.col("is_rate") | pl.col("activity").is_not_null())
        .with_columns(work=pl.when("is_rate").then("activity"))
        .sort(ROW)
    )
    numbered = assumed.with_columns(
        first=pl.col("assumption_id").first().over(same),
        first_figure=pl.col("figure").first().over(same),
        later=pl.int_range(pl.len()).over(same) > 0,
    )
    return numbered.filter("later")


@rule(
    "assumption.rate_without_work",
    table="assumption",
    field="activity",
    severity="error",
    says="Assumption {assumption_id} is a rate of {figure}{unit}, but its task is not recorded.",
    remedy="Enter the task in 'activity': felling, hewing, hauling … Rates for one task are "
    "alternative estimates and are never added.",
    source=COMMON_PRACTICE,
)
def rate_without_work(tables: Snapshot) -> pl.DataFrame:
    """Hours of different tasks are added; hours of one task at two rates must not be."""
    return _assumed(tables).filter(pl.col("is_rate") & pl.col("activity").is_null())


@rule(
    "assumption.work_of_no_rate",
    table="assumption",
    field="activity",
    severity="warning",
    says="Assumption {assumption_id} names the task '{activity}', but {assumption_kind} is not a "
    "rate of labor.",
    remedy="Clear 'activity', or choose the kind of assumption that begins with 'work_per'.",
    source=COMMON_PRACTICE,
)
def work_of_no_rate(tables: Snapshot) -> pl.DataFrame:
    """A rate entered under the wrong kind would be left out of the hours."""
    named = pl.col("activity").is_not_null() & pl.col("assumption_kind").is_not_null()
    return _assumed(tables).filter(~pl.col("is_rate") & named)
