"""Follows links between rows: a value looked up in another table, and chains that never end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import polars as pl

from provenance._record.snapshot import Snapshot

Keep = Literal["first", "last"]


def codes_with(tables: Snapshot, vocabulary: str, attribute: str, *values: object) -> list[str]:
    """The codes of a vocabulary whose attribute has one of the values."""
    terms = tables.model.vocabularies[vocabulary].terms
    return [term.code for term in terms if term.attributes.get(attribute) in values]


def look_up(
    frame: pl.DataFrame, key: str, tables: Snapshot, table: str, columns: Mapping[str, str]
) -> pl.DataFrame:
    """The frame with values of the row of `table` whose primary key stands in `key`.

    `columns` maps names in the result to names in `table`. Rows and their order stay as they are:
    of rows that share a primary key (which the structure layer reports) the first one counts.
    """
    primary = tables.model.table(table).primary_key[0]
    found = (
        tables[table]
        .select(pl.col(primary).alias(key), *[pl.col(old).alias(n) for n, old in columns.items()])
        .filter(pl.col(key).is_not_null())
    )
    if found[key].n_unique() < len(found):
        found = found.unique(subset=key, keep="first", maintain_order=True)
    return frame.join(found, on=key, how="left", maintain_order="left")


def of_each(frame: pl.DataFrame, *keys: str, keep: Keep = "first") -> pl.DataFrame:
    """One row, the first or the last, of those that share their keys; in the order of the rows."""
    return frame.unique(keys, keep=keep, maintain_order=True)


def with_any(frame: pl.DataFrame, other: pl.DataFrame, *keys: str) -> pl.DataFrame:
    """The rows to which `other` has a row with the same keys."""
    return frame.join(other, on=keys, how="semi", maintain_order="left")


def without_any(frame: pl.DataFrame, other: pl.DataFrame, *keys: str) -> pl.DataFrame:
    """The rows to which `other` has no row with the same keys."""
    return frame.join(other, on=keys, how="anti", maintain_order="left")


def unlike_first(
    frame: pl.DataFrame, key: str, over: Sequence[str], first: str = "first_id"
) -> pl.DataFrame:
    """The rows that share `over` with an earlier row of another `key`, which stands in `first`."""
    named = frame.with_columns(pl.col(key).first().over(over).alias(first))
    return named.filter(pl.col(key) != pl.col(first))


def looping(frame: pl.DataFrame, key: str, pointer: str) -> pl.DataFrame:
    """Rows of `frame` whose chain of pointers leads back to themselves.

    Each pass doubles the length of the jump, so chains of n rows take log2(n) passes, and records
    without long chains end after two or three.
    """
    steps = (
        frame.select(pl.col(key).alias("_from"), pl.col(pointer).alias("_to"))
        .drop_nulls()
        .unique(subset="_from", keep="first", maintain_order=True)
    )
    on_the_way = steps
    length = 1
    while len(on_the_way) and length <= 2 * len(steps):
        on_the_way = (
            on_the_way.join(on_the_way.rename({"_from": "_to", "_to": "_next"}), on="_to")
            .select("_from", pl.col("_next").alias("_to"))
            .sort("_from")
        )
        length *= 2
    # after more jumps than there are rows every chain that has not ended stands inside its loop
    return frame.filter(pl.col(key).is_in(on_the_way["_to"].unique().to_list()))


def starts_of_chains(frame: pl.DataFrame, key: str, pointer: str) -> pl.DataFrame:
    """Where the chain of pointers of each row ends up: columns `key` and 'start'.

    Only rows that point somewhere are in it. Takes log2(n) passes like `looping`; a row of a loop
    gets some row of that loop.
    """
    steps = (
        frame.select(pl.col(key), pl.col(pointer).alias("start"))
        .drop_nulls()
        .unique(subset=key, keep="first", maintain_order=True)
    )
    length = 1
    while length <= 2 * len(steps):
        onward = steps.select(pl.col(key).alias("start"), pl.col("start").alias("_next"))
        joined = steps.join(onward, on="start", how="left", maintain_order="left")
        if joined["_next"].null_count() == len(joined):
            break
        steps = joined.select(key, pl.coalesce("_next", "start").alias("start"))
        length *= 2
    return steps
