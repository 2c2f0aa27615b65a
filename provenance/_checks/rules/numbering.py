"""Rules about numbers and names that a record keeps as they were found."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator

import polars as pl

from provenance._checks.language.rule import COMMON_PRACTICE, EVERY_TABLE, over_fields, rule
from provenance._identity.naming import folded_number
from provenance._model.schema import AS_FOUND
from provenance._record.snapshot import Snapshot

_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Zl", "Zp", "Zs"})
_NEEDED = " \u200c\u200d"
"""The blank, and the joiners that some scripts need."""


@rule(
    "numbering.hidden_character",
    table=EVERY_TABLE,
    severity="error",
    says="{held} holds a character that no one can see, or a letter in a spelling of its own.",
    remedy="Type the number or name again as it stands on the sample or in the field book.",
    source="Unicode Standard Annex 15 (NFC) and general categories C and Z",
)
def hidden_character(tables: Snapshot) -> pl.DataFrame:
    """Two numbers that look the same would be two, and none would be found by typing it."""
    return over_fields(
        "held",
        (
            (table, name, rows.filter(pl.col(name).map_elements(_is_hidden, pl.Boolean)))
            for table, name, rows in _keys_as_found(tables)
        ),
    )


@rule(
    "numbering.alike",
    table=EVERY_TABLE,
    severity="warning",
    says="{held} differ only in blanks, capitals or the signs - . _ / between their parts.",
    remedy="Compare both with the samples. Correct a slip; if both are right, let the store number "
    "them, and print it on their labels.",
    source=COMMON_PRACTICE,
)
def alike(tables: Snapshot) -> pl.DataFrame:
    """One is taken for the other, and their labels may have the same check letters."""
    return over_fields("held", _twins(tables))


def _keys_as_found(tables: Snapshot) -> Iterator[tuple[str, str, pl.DataFrame]]:
    """(table, field, rows with the value also as 'held') of every field kept as found."""
    for table, one in tables.model.every_field():
        if one.notation == AS_FOUND:
            rows = tables[table.name].drop_nulls(one.name)
            yield table.name, one.name, rows.with_columns(held=pl.col(one.name))


def _is_hidden(text: str) -> bool:
    return not unicodedata.is_normalized("NFC", text) or any(
        unicodedata.category(one) in _HIDDEN and one not in _NEEDED for one in text
    )


def _twins(tables: Snapshot) -> Iterator[tuple[str, str, pl.DataFrame]]:
    for table, name, rows in _keys_as_found(tables):
        # a sample and its plug, or several plugs, may well bear one number
        folded = rows.with_columns(_folded=pl.col(name).map_elements(folded_number, pl.String))
        several = folded.filter(pl.col(name).n_unique().over("_folded") > 1)
        if len(several):
            both = pl.col(name).unique(maintain_order=True).implode().over("_folded")
            yield table, name, several.with_columns(held=both.list.sort().list.join(" and "))
