"""Who did what when; an act with all it changed; what stands of a row and who says it; undo."""

from __future__ import annotations

from dataclasses import dataclass

from provenance._base.languages import N_, _, ngettext
from provenance._desk.answers import Answer, Done, Page
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._history import deciding
from provenance._history.acts import BEGUN, GONE, HERE, IMPORT, KEY_FIELD, ROW_FIELD, Act
from provenance._history.edits import Change, row_named
from provenance._history.history import History, as_shown
from provenance._history.projection import Claim, covered_tables
from provenance._history.speaking import EVERY_SOURCE
from provenance._history.told import claims_about, file_name, kind_in_words, row_now, rows_read
from provenance._model.schema import Model
from provenance._model.spoken import spoken

pages = Pages()

MOST_ACTS = 100
MOST_LINES = 100
MOST_ROWS = 3
"""Acts on a page, lines of one act shown, rows named in the list."""
LONGEST_KEY = 60


@dataclass(frozen=True)
class ListedAct:
    """An act in the list: its name, what kind it was, the rows it is about, and how many more."""

    name: str
    act: Act
    kind: str
    what: str
    rows: tuple[tuple[str, str], ...]
    more: int
    undone: bool


@dataclass(frozen=True)
class Told:
    """A line of an act, or a change, as a person reads it; `key` '' where no row is meant."""

    table: str
    key: str
    field: str
    before: str
    after: str
    where: str = ""


@pages.shown("/record/{record}/history", title=N_("History"), group=N_("History"))
def history(asked: Asked) -> Answer:
    """The acts, newest first, of everybody or by person, day, table or row."""
    found = asked.open_record.history
    query = {name: asked.queried(name) for name in ("by", "day", "table", "key")}
    names = [name for name in [*found.acts][::-1] if _fits(found, found.acts[name], query)]
    begin = int(text) if (text := asked.query.get("from", "0")).isdecimal() else 0
    end = begin + MOST_ACTS
    model = spoken(found.package.model)
    claims = {}
    if query["table"] and query["key"]:
        said = claims_about(found, query["table"], query["key"])
        claims = {
            field_title(model, query["table"], name): [_claim(found, one) for one in claims]
            for name, claims in said.items()
        }
    return Page(
        "record/history.html",
        {
            "acts": [_listed(found, name) for name in names[begin:end]],
            "count": len(names),
            "older": asked.at("history", **query, **{"from": str(end)}) if end < len(names) else "",
            "query": query,
            "people": sorted({act.who for act in found.acts.values() if act.who}),
            "tables": [model.table(one.name) for one in covered_tables(found.package.model)],
            "titles": {one.name: one.title for one in model.tables.values()},
            "claims": claims,
        },
    )


@pages.shown("/record/{record}/history/{act}")
def act(asked: Asked) -> Answer:
    """One act: all it changed, and what undoing it would change."""
    found = asked.open_record.history
    name = deciding.find_act(found, asked.address["act"])
    one = found.acts[name]
    since: list[str] = []
    would: list[Told] = []
    if name in found.live and one.kind != BEGUN:
        undone, since = deciding.without(found, name)
        if not since:
            would = [_change(found, change) for change in found.changes_to(undone)]
    model = spoken(found.package.model)
    lines = [line for line in one.lines if line.row]
    return Page(
        "record/act.html",
        {
            "listed": _listed(found, name),
            "lines": [
                Told(
                    *row_now(found, line),
                    field_title(model, line.table, line.field),
                    _shown(found, line.table, line.field, line.before),
                    _shown(found, line.table, line.field, line.after),
                    _place(line.sheet, line.line),
                )
                for line in lines[:MOST_LINES]
            ],
            "line_count": len(lines),
            "titles": {table.name: table.title for table in model.tables.values()},
            "since": [_listed(found, other) for other in since],
            "would": would[:MOST_LINES],
            "would_count": len(would),
            "undone_by": [n for n, o in found.live.items() if o.undoes == name],
        },
    )


@pages.done("/record/{record}/history/{act}/undo")
def undo(asked: Asked) -> Answer:
    """Take an act back, an undo too; what it said stays in the history."""
    why = asked.needed("why", _("The reason"))
    done = asked.open_record.decide(deciding.undo(asked.address["act"]), by=asked.by, why=why)
    return Done(asked.at("history", done.act_id), _("Undone."))


def _fits(found: History, act: Act, query: dict[str, str]) -> bool:
    if query["by"] and act.who != query["by"]:
        return False
    if query["day"] and not act.when.startswith(query["day"]):
        return False
    if not query["table"]:
        return True
    lines = (one for one in act.lines if one.row and one.table == query["table"])
    if not query["key"]:
        return any(True for _ in lines)
    row = row_named(found.state, query["table"], query["key"])
    return any(
        row in (one.row, found.state.bound(one.table, one.row, EVERY_SOURCE)) for one in lines
    )


def _listed(found: History, name: str) -> ListedAct:
    act = found.acts[name]
    lines = act.lines if act.kind != IMPORT else ()
    about = dict.fromkeys(row_now(found, one) for one in lines if one.row)
    # what goes by a checksum is named by its table alone
    rows = list(dict.fromkeys((t, key if len(key) <= LONGEST_KEY else "") for t, key in about))
    what = ""
    if act.source:
        what = file_name(found.package.tables, act.source)
    if act.kind == IMPORT:
        read = rows_read(act)
        what = ngettext("{file}: {n} row", "{file}: {n} rows", read).format(file=what, n=read)
    named = tuple(rows[:MOST_ROWS])
    kind = kind_in_words(act.kind, act.why, act.lines)
    more = len(about) - len(named)
    return ListedAct(name, act, kind, what, named, more, name not in found.live)


def _claim(found: History, claim: Claim) -> dict[str, str | bool]:
    act = found.acts.get(claim.act)
    line = claim.line
    return {
        "value": _shown(found, line.table, line.field, claim.value),
        "written": line.written,
        "refused": claim.refused,
        "act": claim.act if act else "",
        "who": act.who if act else "",
        "when": act.when[:10] if act else "",
        "where": " ".join(
            filter(
                None,
                [
                    file_name(found.package.tables, act.source) if act and act.source else "",
                    _place(line.sheet, line.line),
                ],
            )
        )
        or (act.why if act else ""),
    }


def _place(sheet: str, line: str) -> str:
    """Where in a received file it stood."""
    parts = [sheet, _("row {n}").format(n=line) if line else ""]
    return ", ".join(part for part in parts if part)


def _shown(found: History, table: str, field: str, value: str) -> str:
    if field == ROW_FIELD:
        return {HERE: _("in the record"), GONE: _("removed")}.get(value, value)
    if field == KEY_FIELD or table not in found.package.model.tables:
        return value
    return as_shown(found.state, table, field, value)


def _change(found: History, one: Change) -> Told:
    model = spoken(found.package.model)
    before, after = (_shown(found, one.table, one.field, text) for text in one[3:])
    return Told(one.table, one.key, field_title(model, one.table, one.field), before, after)


def field_title(model: Model, table: str, field: str) -> str:
    """What a field of an act's line is called, the row and its key included."""
    if field == ROW_FIELD:
        return _("The row itself")
    if field == KEY_FIELD:
        return _("Key")
    if table in model.tables and field in model.table(table):
        return model.table(table).field(field).title
    return field
