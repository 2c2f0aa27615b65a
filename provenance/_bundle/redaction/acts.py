"""What of the acts is public: that they were done, on which rows, and plain values of open fields.

Names and reasons are blank, and so is every text that could hold more than its field says. The
keyed digests stand in their place, so that act ids still prove against the full edition. Lines are
in the order of the keys of the full edition, so a row with another key in public is not named.
"""

from __future__ import annotations

import re

from provenance._bundle.redaction.account import Account
from provenance._bundle.redaction.gathering import Known
from provenance._bundle.redaction.harmless import is_harmless, passes_the_search
from provenance._bundle.redaction.masking import WITHHELD
from provenance._bundle.redaction.people import Columns
from provenance._history.acts import ACCEPT, GONE, HERE, KEY_FIELD, ROW_FIELD, Act, Line
from provenance._history.history import ACT, read_acts, record_key
from provenance._history.projection import State, links_of, project
from provenance._model.schema import Table

HIDDEN = ("who", "why", "version_sha256")
_GIVEN = re.compile(r"(?:IN-[A-Z]{8}|[0-9a-f]{24})(?: [0-9a-f]{24})*")
"""Numbers that this program gave to received files and acts."""
_RULE = re.compile(r"[a-z]+\.[a-z_]+")


def redact_acts(known: Known, table: Table, written: Columns, account: Account) -> Columns:
    """The columns of 'act' or 'change' as the public edition has them."""
    package = known.package
    acts = package.tables.once("acts", read_acts)
    if not acts:
        return {name: [] for name in table.names}
    key = record_key(package)
    said = package.tables.once("digests", lambda _: {n: a.digests(key) for n, a in acts.items()})
    columns = {name: list(written[name]) for name in table.names}
    if table.name == ACT:
        columns["digest"] = [said[name][0] for name in written["act_id"]]
        for name in HIDDEN:
            _blank(columns, account, table.name, name)
        return _as_given(known, table, columns, account)
    state = package.tables.once("state", lambda tables: project(tables.model, acts))
    shown = [_shown(known, state, act, line) for act in acts.values() for line in act.lines]
    columns["digest"] = [one for name in acts for one in said[name][1]]
    for name in ("written", "sheet", "column"):
        _blank(columns, account, table.name, name)
    for place, name in enumerate(("row_key", "before", "after")):
        public = [one[place] for one in shown]
        hidden = sum(bool(a) and not b for a, b in zip(written[name], public, strict=True))
        if hidden:
            account.cells[table.name, name, "withheld"] += hidden
        columns[name] = public
    lines = zip(columns["table_name"], columns["field"], strict=True)
    named = [_public_names(known, *line) for line in lines]
    columns["table_name"] = [table_name for table_name, _ in named]
    columns["field"] = [field for _, field in named]
    return _as_given(known, table, columns, account)


def _as_given(known: Known, table: Table, columns: Columns, account: Account) -> Columns:
    """Columns whose cells are blank where they hold neither what this program gives nor a value."""
    found = dict(columns)
    for one in table.fields:
        if one.name in ("row_key", "before", "after", "table_name", "field", "digest"):
            continue
        # thousands of lines have few different texts
        given = {
            text: text
            if _GIVEN.fullmatch(text) or is_harmless(known.shipped, table.name, one, text)
            else ""
            for text in set(columns[one.name])
        }
        found[one.name] = [given[text] for text in columns[one.name]]
        hidden = sum(a != b for a, b in zip(columns[one.name], found[one.name], strict=True))
        if hidden:
            account.cells[table.name, one.name, "withheld"] += hidden
    return found


def _public_names(known: Known, table: str, field: str) -> tuple[str, str]:
    """The names of a table and field, where they are not of the crew's own making."""
    if table not in known.tables:
        return WITHHELD, WITHHELD
    named = field in (ROW_FIELD, KEY_FIELD) or known.shipped.field(table, field)
    return table, field if named else WITHHELD


def _blank(columns: dict[str, list[str]], account: Account, table: str, name: str) -> None:
    filled = sum(bool(text) for text in columns[name])
    if filled:
        account.cells[table, name, "withheld"] += filled
    columns[name] = [""] * len(columns[name])


def _shown(known: Known, state: State, act: Act, line: Line) -> tuple[str, str, str]:
    """The row's key now, and what was refused and said, as far as they are public."""
    row = _public_key(known, state, line.table, line.row)
    if row != state.keys.get((line.table, line.row)):
        row = ""
    if act.kind == ACCEPT:
        return row, line.before if _RULE.fullmatch(line.before) else "", ""
    if not row:
        return row, "", ""
    before, after = (_public_text(known, state, line, text) for text in (line.before, line.after))
    return row, before, after


def _public_key(known: Known, state: State, table: str, row: str) -> str:
    """A row's key in public; '' for one that is not in the record now."""
    if table not in known.tables or row not in state.rows.get(table, {}):
        return ""
    return known.public_key(table, state.keys[table, row])


def _public_text(known: Known, state: State, line: Line, text: str) -> str:
    if line.table not in known.tables:
        return ""
    table = state.model.table(line.table)
    if line.field == ROW_FIELD or not text:
        return text if text in (HERE, GONE) else _public_key(known, state, line.table, text)
    if line.field == KEY_FIELD or line.field not in table:
        return ""
    if target := links_of(table).get(line.field):
        return _public_key(known, state, target, text)
    one = table.field(line.field)
    if known.forms[table.name][line.field] != "shown":
        return ""
    searched = passes_the_search(known.shipped, table.name, one)
    return text if not searched and is_harmless(known.shipped, table.name, one, text) else ""
