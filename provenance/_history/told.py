"""What a history tells a person: what kind of act it was, which rows it is about, who says what."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from provenance._base.languages import N_, _
from provenance._history.acts import (
    ACCEPT,
    BEGUN,
    BIND,
    HERE,
    IMPORT,
    KEY_FIELD,
    ROW_FIELD,
    UNDO,
)
from provenance._history.deciding import Refused
from provenance._history.edits import row_named
from provenance._history.history import AS_IT_STOOD, BY_HAND
from provenance._history.speaking import EVERY_SOURCE

if TYPE_CHECKING:
    from provenance._history.acts import Act, Line
    from provenance._history.history import History
    from provenance._history.projection import Claim
    from provenance._record.snapshot import Snapshot

_KINDS = {
    BEGUN: N_("Record started"),
    IMPORT: N_("File read"),
    ACCEPT: N_("Finding accepted"),
    UNDO: N_("Act undone"),
    BIND: N_("Rows split or joined"),
}


def kind_in_words(kind: str, why: str = "", lines: Sequence[Line] = ()) -> str:
    """What kind of act it was, in the language that is spoken; closer where its lines are known.

    >>> kind_in_words("settle")
    'Entered or corrected'
    """
    if kind in _KINDS:
        return _(_KINDS[kind])
    if why == BY_HAND:
        return _("Changed in the tables themselves")
    if why == AS_IT_STOOD:
        return _("Taken over as it stood")
    told = [one for one in lines if one.row]
    if rows := {one.after for one in told if one.field == ROW_FIELD}:
        if len(rows) > 1:
            return _("Rows added and removed")
        one_row = len({(one.table, one.row) for one in told}) == 1
        if HERE in rows:
            return _("Row added") if one_row else _("Rows added")
        return _("Row removed") if one_row else _("Rows removed")
    if told and all(one.field == KEY_FIELD for one in told):
        return _("Key changed")
    if told and all(one.said_by for one in told):
        return _("Corrected")
    if told and not any(one.said_by for one in told):
        return _("Entered")
    return _("Entered or corrected")


def rows_read(act: Act) -> int:
    """How many rows an import read."""
    return sum(1 for one in act.lines if one.row and not one.field)


def row_now(history: History, line: Line) -> tuple[str, str]:
    """The table and the key that the row of a line bears now."""
    state = history.state
    row = state.bound(line.table, line.row, EVERY_SOURCE)
    return line.table, state.keys.get((line.table, row), row)


def file_name(tables: Snapshot, source: str) -> str:
    """What a received file is called; its number where that is not known."""
    rows = tables.rows("original")
    return next((row["file_name"] for row in rows if row["original_id"] == source), source)


def claims_about(
    history: History, table: str, key: str, field: str | None = None
) -> dict[str, list[Claim]]:
    """Field → everything that was said of that cell of a row, refused or not.

    Raises Refused for a table that acts do not speak of, and where nothing is said.
    """
    state = history.state
    if table not in state.rows:
        raise Refused(
            f"nothing is decided of a table '{table}'; write one of {', '.join(state.rows)}"
        )
    row = row_named(state, table, key)
    cells = state.claims.get((table, row), {})
    if field:
        cells = {name: said for name, said in cells.items() if name == field}
    if not cells:
        raise Refused(f"nothing is recorded about {table} {key}{f', {field}' if field else ''}")
    return cells
