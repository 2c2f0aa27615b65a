"""The tables of a record as sheets: what the grid of a page asks for, and what it saves."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from dataclasses import asdict
from http import HTTPStatus
from typing import Any

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._desk.answers import Answer, Page, Told
from provenance._desk.asked import Asked
from provenance._desk.inputs import TEXT, inputs_of
from provenance._desk.pages import Pages
from provenance._desk.record.open_record import NotSaved
from provenance._desk.record.shown import KEY, shown_rows
from provenance._history import deciding
from provenance._history.edits import Change
from provenance._history.projection import covered_tables
from provenance._model.schema import Table
from provenance._model.spoken import spoken

pages = Pages()


@pages.shown("/record/{record}/tables", title=N_("All tables"), group=N_("Record"))
def tables(asked: Asked) -> Answer:
    """The tables with their counts: those that people enter first."""
    standing = asked.open_record.tables
    model = spoken(standing.model)
    entered = {one.name for one in covered_tables(standing.model)}
    counted = [(one, standing.count(one.name)) for one in model.tables.values()]
    return Page(
        "record/tables.html",
        {
            "entered": [one for one in counted if one[0].name in entered],
            "others": [one for one in counted if one[0].name not in entered],
        },
    )


@pages.shown("/record/{record}/tables/{table}")
def sheet(asked: Asked) -> Answer:
    """One table as a sheet."""
    table = spoken(asked.open_record.tables.model).table(asked.table.name)
    threading.Thread(target=asked.open_record.warm, daemon=True).start()
    return Page("record/sheet.html", {"table": table})


@pages.shown("/record/{record}/tables/{table}/rows")
def rows(asked: Asked) -> Answer:
    """All rows, or those whose keys are asked for, with what the columns are."""
    table = asked.table
    standing = asked.open_record.tables
    # the grid knows a row by one cell
    several = len(table.primary_key) > 1
    entered = table in covered_tables(standing.model) and not (several or asked.desk.read_only)
    inputs = inputs_of(spoken(standing.model), spoken(standing.model).table(table.name))
    columns = [
        asdict(one) | {"options": one.options or None, "readonly": one.readonly or not entered}
        for one in inputs
    ]
    if several:
        columns.insert(0, {"name": KEY, "title": _("Key"), "kind": TEXT, "readonly": True})
    names = [str(one["name"]) for one in columns]
    wanted = {value for name, value in asked.queries if name == "key"}
    return Told(
        {
            "key": names[0] if several else table.primary_key[0],
            "columns": columns,
            "rows": shown_rows(standing, table.name, wanted).select(names).rows(),
            "findings": [],
        }
    )


@pages.shown("/record/{record}/tables/{table}/findings")
def findings(asked: Asked) -> Answer:
    """What the check says now of the rows of a table."""
    found = asked.open_record.findings().found.filter(table=asked.table.name)
    said = found.select("key", "field", "rule", "severity", "message", "remedy")
    return Told(said.write_json().encode())


@pages.done("/record/{record}/tables/{table}/cells")
def cells(asked: Asked) -> Answer:
    """Save cells as one act, all or none."""
    table = asked.table
    changes = [
        Change(table.name, *(_text(one, name) for name in ("key", "field", "before", "after")))
        for one in _listed(asked.value)
    ]
    try:
        done = asked.open_record.change(changes, by=asked.by)
    except NotSaved as refused:
        if refused.stands:
            clash = [{"key": one.key, "field": one.field, "now": one.now} for one in refused.stands]
            return Told({"clash": clash}, HTTPStatus.CONFLICT)
        bad = [{"key": o.key, "field": o.field, "message": o.message} for o in refused.unread]
        return Told({"bad": bad}, HTTPStatus.UNPROCESSABLE_ENTITY)
    return _saved(asked, table, done, (one.key for one in changes))


@pages.done("/record/{record}/tables/{table}/rename")
def rename(asked: Asked) -> Answer:
    """Change the key of a row, and everything that refers to it."""
    table = asked.table
    key, new_key = _text(asked.value, "key"), _text(asked.value, "new_key")
    done = asked.open_record.decide(deciding.rename(table.name, key, new_key), by=asked.by)
    return _saved(asked, table, done, (new_key,))


@pages.done("/record/{record}/tables/{table}/remove")
def remove(asked: Asked) -> Answer:
    """Take a row out; it stays in the history."""
    table = asked.table
    decision = deciding.remove(table.name, _text(asked.value, "key"))
    return _saved(asked, table, asked.open_record.decide(decision, by=asked.by), ())


@pages.done("/record/{record}/acts/undo")
def undo(asked: Asked) -> Answer:
    """Take an act of the grid back, or an undo."""
    done = asked.open_record.decide(deciding.undo(_text(asked.value, "act")), by=asked.by)
    keys: dict[str, list[str]] = {}
    for one in done.changes:
        keys.setdefault(one.table, []).append(one.key)
    return Told({"act": done.act_id, "tables": keys})


def _saved(asked: Asked, table: Table, done: deciding.Done, keys: Iterable[str]) -> Answer:
    names = [one.name for one in inputs_of(asked.open_record.model, table)]
    wanted = {*keys, *(one.key for one in done.changes if one.table == table.name)}
    shown = asked.open_record.rows(table.name, sorted(wanted))
    return Told({"act": done.act_id, "rows": [[row[name] for name in names] for row in shown]})


def _listed(value: Any) -> list[Any]:
    if isinstance(value, list) and value:
        return value
    raise UnusableInput("the page sent no list of cells; load it again")


def _text(value: Any, name: str) -> str:
    if isinstance(value, dict) and isinstance(text := value.get(name), str):
        return text
    raise UnusableInput(f"the page sent no '{name}' as a text; load it again")
