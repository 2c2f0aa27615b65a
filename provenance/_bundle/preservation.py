"""Writes what happened to kept bundles as preservation events that other archives can read.

Columns, event types and outcomes are in schemas/preservation_events.yaml, with their source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from functools import cache
from typing import Any

import polars as pl

from provenance._base.resources import shipped
from provenance._base.spreadsheet import spreadsheet_csv
from provenance._base.yaml_text import read_yaml


@dataclass(frozen=True)
class PreservationEvent:
    """One event; `event_type` and `outcome` are codes of the schema, all else is text.

    `happened_at` is a day or a moment in UTC (RFC 3339); `object_id` the accession number,
    `object_sha256` the checksum of the bundle's tagmanifest-sha256.txt; '' where not known.
    """

    event_id: str
    event_type: str
    happened_at: str
    object_id: str
    detail: str = ""
    outcome: str = ""
    outcome_detail: str = ""
    agent: str = ""
    object_sha256: str = ""

    def __post_init__(self) -> None:
        """Refuse a code that the schema does not have; raises ValueError."""
        known = _known()
        if self.event_type not in known["events"]:
            raise ValueError(f"'{self.event_type}' is not one of {', '.join(known['events'])}")
        if self.outcome and self.outcome not in known["outcomes"]:
            raise ValueError(f"'{self.outcome}' is not one of {', '.join(known['outcomes'])}")


@cache
def _known() -> dict[str, Any]:
    known: dict[str, Any] = read_yaml(shipped("schemas") / "preservation_events.yaml")
    return known


def _address(term: str) -> str:
    prefix, _, name = term.partition(":")
    space = _known()["namespaces"].get(prefix)
    return f"{space}{name}" if space else term


def preservation_events_csv(events: Iterable[PreservationEvent]) -> bytes:
    """The events as CSV in their order, types and outcomes by their addresses."""
    known = _known()
    names = [one["name"] for one in preservation_events_schema()["fields"]]
    assert set(names) == {one.name for one in fields(PreservationEvent)}
    rows: dict[str, list[str]] = {name: [] for name in names}
    for event in events:
        told = {
            **vars(event),
            "event_type": _address(known["events"][event.event_type]["term"]),
            "outcome": _address(known["outcomes"][event.outcome]["term"]) if event.outcome else "",
        }
        for name in names:
            rows[name].append(told[name])
    frame = pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String))
    return spreadsheet_csv(frame).encode("utf-8")


def preservation_events_schema() -> dict[str, Any]:
    """The Table Schema (Data Package 2) of that CSV, to lie beside it."""
    schema: dict[str, Any] = _known()["schema"]
    told = [
        {name: _address(one[name]) if name == "rdfType" else one[name] for name in one}
        for one in schema["fields"]
    ]
    return {**schema, "fields": told}
