"""What of the acts is public: that they were done, on which rows, and plain values of open fields.

Names and reasons are blank, and so is every text that could hold more than its field says. The
keyed digests stand in their place, so that act ids still prove against the full edition. Lines are
in the order of the keys of the full edition, so a row with another key in public is not named.
"""

from __future__ import annotations

from provenance._bundle.redaction.account import Account
from provenance._bundle.redaction.gathering import Known
from provenance._bundle.redaction.people import Columns
from provenance._bundle.redaction.plain import is_plain
from provenance._bundle.redaction.stand_ins import FULL_ONLY
from provenance._history.acts import ACCEPT, KEY_FIELD, ROW_FIELD, Act, Line
from provenance._history.history import ACT, read_acts, record_key
from provenance._history.projection import State, links_of, project
from provenance._model.schema import Table

HIDDEN = ("who", "why", "version_sha256")


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
        return columns
    state = package.tables.once("state", lambda tables: project(tables.model, acts))
    shown = [_shown(known, state, act, line) for act in acts.values() for line in act.lines]
    columns["digest"] = [one for name in acts for one in said[name][1]]
    for name in ("written", "sheet", "column"):
        _blank(columns, account, table.name, name)
    for place, name in enumerate(("row_key", "before", "after", "field")):
        public = [one[place] for one in shown]
        hidden = sum(bool(a) and not b for a, b in zip(written[name], public, strict=True))
        if hidden:
            account.cells[table.name, name, "withheld"] += hidden
        columns[name] = public
    return columns


def _blank(columns: dict[str, list[str]], account: Account, table: str, name: str) -> None:
    filled = sum(bool(text) for text in columns[name])
    if filled:
        account.cells[table, name, "withheld"] += filled
    columns[name] = [""] * len(columns[name])


def _shown(known: Known, state: State, act: Act, line: Line) -> tuple[str, str, str, str]:
    """The row's key now, what was refused and said, and the field, as far as they are public."""
    if line.table in FULL_ONLY:
        return "", "", "", ""
    row = _public_key(known, state, line.table, line.row)
    if row != state.keys.get((line.table, line.row)):
        row = ""
    if not row or act.kind == ACCEPT:
        return row, line.before if act.kind == ACCEPT else "", "", line.field
    before, after = (_public_text(known, state, line, text) for text in (line.before, line.after))
    return row, before, after, line.field


def _public_key(known: Known, state: State, table: str, row: str) -> str:
    """A row's key in public; '' for one that is not in the record now."""
    if row not in state.rows.get(table, {}):
        return ""
    return known.public_key(table, state.keys[table, row])


def _public_text(known: Known, state: State, line: Line, text: str) -> str:
    table = state.model.table(line.table)
    if line.field == ROW_FIELD or not text:
        return text if "~" not in text else ""
    if line.field == KEY_FIELD or line.field not in table:
        return ""
    if target := links_of(table).get(line.field):
        return _public_key(known, state, target, text)
    one = table.field(line.field)
    is_shown = known.forms[table.name][line.field] == "shown"
    return text if is_shown and is_plain(one, text) else ""
