"""Joins a sample with its wood, place, standing plug, standing result and holder."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from provenance._checks.language.dates import date_bounds
from provenance._ledger.custody import TABLE as LEDGER
from provenance._ledger.holdings import Holding, after, events_of
from provenance._record.attempts import failed_attempts
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

_TEXT, _WHOLE = pl.String(), pl.Int64()
_NAMES = (
    "sample_id", "site_id", "element_id", "kind", "collected_on", "place_id", "place_name",
    "place_level", "wood_function", "wood_species", "in_place", "plug_id", "stamp", "plug_status",
    "result_id", "reported_on", "inner_year", "outer_year", "outer_symbol", "holder_party_id",
    "holder_since",
)  # fmt: skip
CHAIN: Mapping[str, pl.DataType] = dict.fromkeys(_NAMES, _TEXT) | dict.fromkeys(
    ("place_level", "inner_year", "outer_year"), _WHOLE
)
"""The columns of the chain in their order; new ones only at the end."""

_OTHER_NAMES = {
    "place": {"place_name": "name", "place_level": "level"},
    "element": {"wood_function": "function", "wood_species": "species_field"},
    "plug": {"plug_status": "status"},
}
"""What the columns of the chain are called in their tables, where not the same."""


def chain_of(tables: Snapshot) -> pl.DataFrame:
    """One row a row of `sample`, with ROW and the columns of CHAIN; null where there is nothing.

    Attempts that gave nothing are left out. What an older schema lacks, a column or a whole table,
    is null throughout. Of rows with the same key the first counts, as in the check.
    """
    samples = _columns(
        tables, "sample", "sample_id", "site_id", "element_id", "kind", "collected_on"
    )
    wood = _columns(
        tables, "element", "element_id", "place_id", "wood_function", "wood_species", "in_place"
    )
    places = _columns(tables, "place", "place_id", "place_name", "place_level")
    for key, belonging in (
        ("element_id", _first_of_each(wood, "element_id")),
        ("place_id", _first_of_each(places, "place_id")),
        ("sample_id", _standing_plugs(tables)),
        ("sample_id", _standing_results(tables)),
        ("sample_id", _holders(tables)),
    ):
        samples = samples.join(belonging, on=key, how="left", maintain_order="left")
    if failed := failed_attempts(tables):
        samples = samples.filter(~pl.col("sample_id").is_in(sorted(failed)).fill_null(False))
    return samples.select(ROW, *CHAIN)


def _columns(tables: Snapshot, name: str, *columns: str) -> pl.DataFrame:
    """Some columns of a table under the chain's names and types, null where the schemas lack them.

    The types are cast because a bundle's own schemas say what they were read as.
    """
    table = tables.model.tables.get(name)
    frame = tables[name] if table else pl.DataFrame(schema={ROW: pl.UInt32()})
    others = _OTHER_NAMES.get(name, {})
    chosen = []
    for one in columns:
        own = others.get(one, one)
        found = pl.col(own) if own in frame.columns else pl.lit(None)
        chosen.append(found.cast(CHAIN.get(one, _TEXT), strict=False).alias(one))
    # with ROW, because a frame of literals alone would be one row long
    return frame.select(ROW, *chosen)


def _first_of_each(rows: pl.DataFrame, key: str) -> pl.DataFrame:
    named = rows.drop(ROW).filter(pl.col(key).is_not_null())
    return named.unique(key, keep="first", maintain_order=True)


def _standing_plugs(tables: Snapshot) -> pl.DataFrame:
    """The last plug of each sample that neither a newer one nor its own state says is replaced."""
    columns = ("sample_id", "plug_id", "stamp", "plug_status")
    plugs = _columns(tables, "plug", *columns, "replaced_by_plug_id")
    standing = plugs.filter(
        pl.col("replaced_by_plug_id").is_null() & pl.col("plug_status").ne_missing("replaced")
    )
    return _first_of_each(standing.reverse(), "sample_id").select(columns)


def _standing_results(tables: Snapshot) -> pl.DataFrame:
    """The newest result of each sample that no other supersedes, one with a date before others."""
    columns = ("sample_id", "result_id", "reported_on", "inner_year", "outer_year", "outer_symbol")
    results = _columns(tables, "lab_result", *columns, "supersedes_result_id")
    superseded = results["supersedes_result_id"].drop_nulls().unique().to_list()
    live = results.filter(~pl.col("result_id").is_in(superseded).fill_null(False))
    newest_last = date_bounds(live, "reported_on").sort(
        pl.col("outer_year").is_not_null(),
        pl.col("reported_on_last"),
        nulls_last=False,
        maintain_order=True,
    )
    return _first_of_each(newest_last.reverse(), "sample_id").select(columns)


def _holders(tables: Snapshot) -> pl.DataFrame:
    """Who holds each sample that someone holds, and the event's date by which it came to be so."""
    held: dict[str, Holding] = {}
    since: dict[str, str | None] = {}
    for event in events_of(tables) if LEDGER in tables.model.tables else ():
        before = held.get(event.sample_id, Holding(event.sample_id))
        now = held[event.sample_id] = after(before, event)
        if now.holder != before.holder:
            since[event.sample_id] = event.happened_on or None
    rows = [(sample, one.holder, since[sample]) for sample, one in held.items() if one.holder]
    names = ("sample_id", "holder_party_id", "holder_since")
    return pl.DataFrame(rows, schema=dict.fromkeys(names, _TEXT), orient="row")
