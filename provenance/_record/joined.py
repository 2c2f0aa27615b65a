"""Joins that several moves of the work need: results that stand, places and what they lie in."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from provenance._record.snapshot import Snapshot

SEALED = ("custody", "key")
"""Tables whose rows are sealed or signed: they go on naming a row as it was called then."""


def codes_in(column: str) -> pl.Expr:
    """The codes of a cell that holds several, as a list; null where nothing is written."""
    return pl.col(column).str.replace_all(r"\s*;\s*", ";").str.strip_chars(" ;").str.split(";")


def split_codes(text: str | None) -> tuple[str, ...]:
    """The codes of one cell that may hold several, parted by semicolons."""
    return tuple(code for one in (text or "").split(";") if (code := one.strip()))


def superseded(tables: Snapshot) -> pl.Expr:
    """Whether a later result replaces the one of a row of lab_result."""
    replaced = tables["lab_result"]["supersedes_result_id"].drop_nulls().unique()
    return pl.col("result_id").is_in(replaced.to_list()).fill_null(False)


def standing_results(tables: Snapshot) -> pl.DataFrame:
    """The laboratory results, typed, that no later one replaces, in the order of the table."""
    return tables["lab_result"].filter(~superseded(tables))


def keys_now(tables: Snapshot, table: str) -> dict[str, str]:
    """Key that a row of a table bore before → the key it bears now.

    Sealed events, labels and stamps go on naming the former one.
    """
    found: dict[str, dict[str, str]] = tables.once("former keys", _former_keys)
    return found.get(table, {})


def _former_keys(tables: Snapshot) -> dict[str, dict[str, str]]:
    found: dict[str, dict[str, str]] = {}
    if "former_key" not in tables.model.tables:  # an older version of the schemas
        return found
    rows = tables["former_key"].select("table_name", "former_key", "row_key").drop_nulls()
    for table, former, now in rows.iter_rows():
        found.setdefault(table, {})[former] = now
    return found


def ledger_now(tables: Snapshot) -> pl.DataFrame:
    """The custody ledger, typed, with every row that an event names under the key it bears now."""

    def read(tables: Snapshot) -> pl.DataFrame:
        ledger = tables["custody"]
        renamed = [
            pl.col(column).replace(now)
            for column, now in former_keys_of_events(tables).items()
            if column in ledger.columns
        ]
        return ledger.with_columns(renamed) if renamed else ledger

    return tables.once("ledger with keys of now", read)


def former_keys_of_events(tables: Snapshot) -> dict[str, dict[str, str]]:
    """Column of the ledger → what its events call rows that have another key now, and that key."""
    return former_keys_in(tables, "custody")


def former_keys_in(tables: Snapshot, table: str) -> dict[str, dict[str, str]]:
    """Column of a table of SEALED → what it calls rows that have another key now, and that key."""
    return {
        link.fields[0]: now
        for link in tables.model.table(table).foreign_keys
        if len(link.fields) == 1 and (now := keys_now(tables, link.table))
    }


def places_around(tables: Snapshot | Mapping[str, pl.DataFrame]) -> dict[str, tuple[str, ...]]:
    """Place → itself and the places it lies in, from inside out; a loop in the record ends it."""
    places = tables["place"].select("place_id", "parent_place_id").fill_null("")
    parents = dict(places.iter_rows())
    around = {}
    for place in parents:
        chain = [place]
        while (outer := parents.get(chain[-1])) and outer not in chain:
            chain.append(outer)
        around[place] = tuple(chain)
    return around


def outermost_places(tables: Snapshot) -> dict[str, str]:
    """Place → the outermost place it lies in; a loop in the record ends the walk."""
    return {place: chain[-1] for place, chain in places_around(tables).items()}
