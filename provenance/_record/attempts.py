"""Tells holes and cuts that gave no sample, which stay on record, from samples."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from provenance._base.languages import _
from provenance._model.schema import Model
from provenance._record.snapshot import Snapshot

NO_SAMPLE = "no_sample"
"""The code of the list `attempt` for a hole or cut that gave nothing worth keeping."""


def gave_nothing(row: Mapping[str, str]) -> bool:
    """Whether a row of `sample` is an attempt that failed; never in a package of older schemas."""
    return row.get("attempt") == NO_SAMPLE


def failed_attempts(tables: Snapshot) -> frozenset[str]:
    """The numbers of the holes and cuts that gave nothing."""
    if "sample" not in tables.model.tables:
        return frozenset()
    pairs = tables.tuples("sample", ("sample_id", "attempt"))
    return frozenset(number for number, attempt in pairs if attempt == NO_SAMPLE)


def samples_taken(tables: Snapshot) -> pl.DataFrame:
    """The table `sample`, typed, without the attempts that gave nothing."""
    samples = tables["sample"]
    if "attempt" not in samples.columns:  # an older version of the schemas
        return samples
    return samples.filter(pl.col("attempt").ne_missing(NO_SAMPLE))


def kind_in_words(model: Model, row: Mapping[str, str]) -> str:
    """What was taken: 'Core', or 'Attempted core, no sample: rot'; '' where nothing is recorded."""
    kind = model.vocabularies["sample_kind"].label(row["kind"]) if row["kind"] else ""
    if not gave_nothing(row):
        return kind
    cause = row.get("failure_cause", "")
    causes = model.vocabularies.get("failure_cause")
    why = causes.label(cause).lower() if cause and causes else _("cause not recorded")
    said = _("Attempted {kind}, no sample: {why}")
    return said.format(kind=kind.lower() or _("sample"), why=why)
