"""Reads what logs and core sheets ask, and says what a record holds of it.

A column of a log, or a box of a core sheet, asks for one field, or for two that a crew reads
together: both sizes of an end, the cuts of both ends. Fields that the record lacks, because it is
older or its profile hides them, are not asked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from math import isfinite
from typing import Any

from provenance._base.errors import UnusableSchema
from provenance._base.languages import N_, _, said_in_full
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._model.measures import MM_PER
from provenance._model.schema import Field, Model, Table
from provenance._printing.sheets.question import value_in_words
from provenance._record.cells import float_of
from provenance._record.measured import said
from provenance._record.snapshot import Row, Snapshot

SIGNS = {"in": '"', "deg": "°", "h": N_("o'clock")}
"""Units as they stand in a cell to write in."""

TIMES = " × "
MOST_COLUMNS = 24


@dataclass(frozen=True)
class Asked:
    """One column or box; `share` is its part of the width, `below` stands under the heading."""

    heading: str
    below: str
    fields: tuple[tuple[Table, Field], ...]
    share: float
    bold: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """The names of its fields."""
        return tuple(one.name for _, one in self.fields)

    def lengths(self) -> bool:
        """Whether it asks for lengths, which have their unit from the record."""
        return bool(self.fields) and all(one.unit in MM_PER for _, one in self.fields)

    def marks(self, model: Model) -> tuple[str, ...]:
        """What stands in gray in an empty cell, so that nobody writes a bare number."""
        if not self.fields:
            return ()
        unit = model.unit_of(self.fields[0][1])
        between: tuple[str, ...] = ()
        if len(self.fields) > 1 and self.fields[0][1].type != "boolean":
            between = ("×" if self.lengths() else "/",)
        if unit == "ft-in" and not between:
            return ("'", '"')
        return (*between, _(SIGNS.get(unit, unit))) if unit else between

    def words(self, model: Model, tables: Snapshot | None, rows: Mapping[str, Row]) -> str:
        """What is recorded, `rows` being the row of each table; '' where nothing is."""
        texts = self._texts(model, tables, rows)
        if self.lengths():
            return TIMES.join(text for text in texts if text)
        return " / ".join(text or "–" for text in texts) if any(texts) else ""

    def last_words(self, model: Model, tables: Snapshot | None, rows: Mapping[str, Row]) -> str:
        """What is recorded of the last of its fields that has something."""
        return next((text for text in reversed(self._texts(model, tables, rows)) if text), "")

    def _texts(self, model: Model, tables: Snapshot | None, rows: Mapping[str, Row]) -> list[str]:
        return [
            value_as_said(model, tables, table, one, rows.get(table.name, {}).get(one.name, ""))
            for table, one in self.fields
        ]


def is_length(one: Field, value: str) -> bool:
    """Whether a stored value is a length that can be said in the record's units."""
    number = float_of(value) if one.unit in MM_PER else None
    return number is not None and isfinite(number)


def value_as_said(
    model: Model, tables: Snapshot | None, table: Table, one: Field, value: str
) -> str:
    """A stored value as the record's crew says it: lengths in its units, labels for codes."""
    if tables is not None and is_length(one, value):
        return said(tables, table.name, one.name, value)
    if value.isupper() and one.vocabulary:
        # the codes of species are what crews say and write
        return value
    words = value_in_words(model.vocabulary_of(one), one, value)
    unit = _(SIGNS.get(one.unit or "", ""))
    return f"{words}{'' if unit == '°' else ' '}{unit}" if words and unit else words


def sheet_words(name: str) -> dict[str, Any]:
    """What templates/sheets/NAME.yaml says, in the language that is spoken."""
    words: dict[str, Any] = said_in_full(_shipped_words(name))
    return words


@cache
def _shipped_words(name: str) -> Any:
    return read_yaml(shipped("templates") / "sheets" / f"{name}.yaml")


def asked_of(model: Model, raw: Mapping[str, Any], table: str = "") -> Asked | None:
    """A column or box as the YAML has it; None when the record has none of its fields.

    Its fields are names of `table`, or 'table.field' without one.
    """
    names = [tuple(f"{table}.{name}".lstrip(".").split(".")) for name in raw.get("fields", ())]
    fields = []
    for of, name in names:
        shown = model.tables[of].form_fields() if of in model.tables else ()
        fields += [(model.tables[of], one) for one in shown if one.name == name]
    if names and not fields:
        return None
    below = raw.get("below") or (_below(model, fields[0][1]) if fields else "")
    return Asked(raw["heading"], below, tuple(fields), raw["share"], raw.get("bold", False))


def _below(model: Model, one: Field) -> str:
    if one.vocabulary:
        return _("code")
    unit = model.unit_of(one)
    degrees = {"deg": _("degrees")}
    return _("yes / no") if one.type == "boolean" else degrees.get(unit, unit)


def log_columns(model: Model, table: str) -> list[Asked]:
    """The columns of a table's log: those that the profile chooses, else the usual ones.

    Raises UnusableSchema when the profile chooses more than fit on a page.
    """
    words = sheet_words("logs")[table]
    if table not in model.logs:
        usual = [asked_of(model, raw, table) for raw in words["columns"]]
        return [column for column in usual if column is not None]
    known = {name: raw for raw in [*words["columns"], *words.get("more", ())]
             for name in raw.get("fields", ())}  # fmt: skip
    columns: list[Asked] = []
    for name in model.logs[table]:
        if any(name in column.names for column in columns) or name not in model.table(table):
            continue
        one = model.table(table).field(name)
        bare = {"heading": one.title, "fields": [name], "share": _share(one)}
        column = asked_of(model, known.get(name, bare), table)
        columns += [column] if column is not None else []
    if len(columns) > MOST_COLUMNS:
        raise UnusableSchema(
            f"the log of '{table}' has {len(columns)} columns and at most {MOST_COLUMNS} fit on a "
            f"page; shorten log/{table} in the profile '{model.profile}'"
        )
    return columns


def _share(one: Field) -> float:
    """The part of the width for a field without a column of its own in the YAML."""
    if one.section == "notes":
        return 13.0
    return 6.0 if one.unit or one.vocabulary or one.type != "string" else 7.0


def codes_written(asked: Sequence[Asked]) -> list[tuple[str, str]]:
    """(list, heading) of each that is filled in with words from a list."""
    return [
        (one.vocabulary, column.heading)
        for column in asked
        for _, one in column.fields
        if one.vocabulary
    ]
