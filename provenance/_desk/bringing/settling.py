"""What an import left open: conflicts with who says what, and cells that could not be read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from provenance._base.languages import N_, _
from provenance._desk.answers import Answer, Done, Page
from provenance._desk.asked import Asked
from provenance._desk.inputs import MEASURE, Input, inputs_of
from provenance._desk.pages import Pages
from provenance._history import deciding
from provenance._history.deciding import Deciding
from provenance._history.history import History, as_shown
from provenance._history.projection import (
    ONE_KEY_SEVERAL_ROWS,
    REMOVED_AND_STATED,
    RENAMED_TWICE,
    SAID_AGAIN,
    Claim,
    Conflict,
)
from provenance._intake.typed import TypedCells
from provenance._intake.unread import open_cells, settle_unread
from provenance._model.spoken import spoken
from provenance._record.measured import shown
from provenance._record.package import Package

pages = Pages()
MOST = 100
"""Of each kind shown at once; when they are settled, the others follow."""


@dataclass(frozen=True)
class Said:
    """One side of a conflict: the value as the tables have it, as people read it, as written, and
    who says so."""

    value: str
    shown: str
    written: str
    place: str
    who: str
    when: str


@dataclass(frozen=True)
class Open:
    """A conflict as the page shows it; `kind` and `field` name it, `sides` are what is said."""

    kind: str
    table: str
    key: str
    field: str
    title: str
    what: str
    rows: tuple[str, ...]
    sides: tuple[Said, ...]
    one: Input | None


@pages.shown("/record/{record}/settle", title=N_("To settle"), group=N_("Record"))
def settle(asked: Asked) -> Answer:
    """The conflicts and the cells that wait."""
    package, history = asked.record, asked.open_record.history
    names = {row["original_id"]: row["file_name"] for row in package.tables.rows("original")}
    # a decision stands also where a source says again what was rejected
    again = [one for one in history.state.conflicts if one.kind == SAID_AGAIN]
    conflicts = [one for one in history.state.conflicts if one.kind != SAID_AGAIN]
    cells = open_cells(package)
    fields = {
        cell["unread_id"]: _input(package, cell["table_name"], cell["field"]) for cell in cells
    }
    return Page(
        "bringing/settle.html",
        {
            "conflicts": [_open(package, history, one, names) for one in conflicts[:MOST]],
            "again": [_open(package, history, one, names) for one in again[:MOST]],
            "cells": cells[:MOST],
            "count": len(conflicts) + len(cells),
            "names": names,
            "fields": fields,
            "tables": spoken(package.model).tables,
        },
    )


@pages.done("/record/{record}/settle/conflict")
def settle_conflict(asked: Asked) -> Answer:
    """Settle a conflict by one of the sides, or by what a person enters."""
    package, kind = asked.record, asked.text("kind")
    table, key, field = asked.text("table"), asked.text("key"), asked.text("field")
    why = asked.needed("why", _("Reason"))
    decision = _decision(asked, package, kind, table, key, field)
    asked.open_record.decide(decision, by=asked.by, why=why)
    return Done(asked.at("settle"), _("Settled: {table} {key}.").format(table=table, key=key))


@pages.done("/record/{record}/settle/cell")
def settle_cell(asked: Asked) -> Answer:
    """Enter what a cell holds that could not be read, or leave it blank with the reason."""
    cell = asked.needed("unread", _("The cell"))
    value, why = asked.text("value"), asked.text("why")
    settle_unread(asked.record, cell, value, who=asked.by, why=why, as_shown=True)
    return Done(asked.at("settle"), _("Settled."))


def _decision(
    asked: Asked, package: Package, kind: str, table: str, key: str, field: str
) -> Deciding:
    side, own = asked.needed("side", _("What is right")), asked.text("own")
    if kind == REMOVED_AND_STATED:
        return (deciding.restore if side == "keep" else deciding.remove)(table, key)
    value = own if side == "own" else asked.text(f"value|{side}")
    if kind == RENAMED_TWICE:
        return deciding.rename(table, key, value)
    if kind == ONE_KEY_SEVERAL_ROWS:
        row = asked.needed("row", _("Row"))
        return (
            deciding.rename(table, row, own) if side == "own" else deciding.join(table, row, value)
        )
    if side != "own":
        return deciding.settle(table, key, field, value, asked.text(f"written|{side}"))
    read = TypedCells.of(package.tables, as_shown=True).read(table, field, own)
    return deciding.settle(table, key, field, read, own if own != read else "")


def _open(package: Package, history: History, one: Conflict, names: Mapping[str, str]) -> Open:
    model = spoken(package.model)
    kinds = model.vocabularies["conflict_kind"]
    table = model.table(one.table)
    is_cell = one.field.isidentifier() and one.field in table
    rows: tuple[str, ...] = ()
    if one.kind == ONE_KEY_SEVERAL_ROWS:
        rows = tuple(history.state.names_of(one.table, one.key))
    return Open(
        one.kind,
        one.table,
        one.key,
        one.field if is_cell else "",
        f"{table.title}: {one.key}",
        table.field(one.field).title if is_cell else kinds.label(one.kind),
        rows,
        tuple(_said(package, history, claim, names) for claim in one.claims),
        _input(package, one.table, one.field) if is_cell else None,
    )


def _input(package: Package, table: str, field: str) -> Input | None:
    if table not in package.model.tables:
        return None
    model = spoken(package.model)
    inputs = inputs_of(model, model.table(table))
    return next((one for one in inputs if one.name == field), None)


def _said(package: Package, history: History, claim: Claim, names: Mapping[str, str]) -> Said:
    act = history.acts.get(claim.act)
    line = claim.line
    parts = []
    if act is not None and act.source:
        parts = [names.get(act.source, act.source)]
        parts += [_("sheet {name}").format(name=line.sheet)] if line.sheet else []
        parts += [_("row {number}").format(number=line.line)] if line.line else []
    value = as_shown(history.state, line.table, line.field, claim.value)
    return Said(
        value,
        _in_words(package, line.table, line.field, value),
        line.written,
        ", ".join(parts) or (act.why if act else ""),
        act.who if act else "",
        act.when[:10] if act else "",
    )


def _in_words(package: Package, table: str, field: str, value: str) -> str:
    one = _input(package, table, field)
    if one is None or one.kind != MEASURE:
        return dict(one.options).get(value, value) if one else value
    return shown(package.tables, table, field, value)
