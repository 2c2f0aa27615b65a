"""Preservation events as CSV, read by the reference library of Table Schema."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from provenance._bundle.preservation import (
    PreservationEvent,
    preservation_events_csv,
    preservation_events_schema,
)

TAKEN_IN = PreservationEvent(
    event_id="2031.0001/1",
    event_type="accession",
    happened_at="2031-06-01",
    object_id="2031.0001",
    detail='Taken in, "whole"\nand =counted',
    agent="Store of Old Wood (invented)",
    object_sha256="a" * 64,
)
CHECKED = replace(
    TAKEN_IN,
    event_id="2031.0001/2",
    event_type="fixity_check",
    happened_at="2031-07-01T08:30:00Z",
    outcome="fail",
    outcome_detail="data/README.txt is missing",
    object_sha256="",
)


@pytest.mark.filterwarnings("ignore")  # the library warns about its own libraries
def test_the_library_of_table_schema_reads_the_events_back(tmp_path: Path) -> None:
    """frictionless (Data Package 2); the addresses are those of id.loc.gov, from memory."""
    import frictionless

    path, schema = tmp_path / "events.csv", preservation_events_schema()
    path.write_bytes(preservation_events_csv([TAKEN_IN, CHECKED]))
    (tmp_path / "schema.json").write_text(json.dumps(schema), encoding="utf-8")
    resource = frictionless.Resource(
        path="events.csv", schema="schema.json", basepath=str(tmp_path)
    )
    report = resource.validate()
    assert report.flatten(["type", "fieldName", "note"]) == []
    first, second = resource.read_rows()
    assert first["event_type"] == "http://id.loc.gov/vocabulary/preservation/eventType/acc"
    assert first["detail"] == TAKEN_IN.detail
    assert (second["outcome"], second["outcome_detail"]) == (
        "http://id.loc.gov/vocabulary/preservation/eventOutcome/fai",
        CHECKED.outcome_detail,
    )
    # a row that breaks the schema is seen
    path.write_bytes(preservation_events_csv([TAKEN_IN, replace(TAKEN_IN, happened_at="May")]))
    assert {one[0] for one in resource.validate().flatten(["type"])} >= {"constraint-error"}


def test_a_code_that_the_schema_lacks_is_refused() -> None:
    for change in ({"event_type": "burial"}, {"outcome": "good"}):
        with pytest.raises(ValueError, match="is not one of"):
            replace(TAKEN_IN, **change)
    assert preservation_events_csv([]).count(b"\n") == 1
