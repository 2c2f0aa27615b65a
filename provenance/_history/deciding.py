"""What people decide: correct, settle, rename, take out, tell apart, join, accept, take back.

Each is one act, which `undo` takes back and no later import reverts.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import NamedTuple

from provenance._base.errors import TreenailError, UnknownName
from provenance._history.acts import (
    ACCEPT,
    BEGUN,
    BIND,
    GONE,
    HERE,
    KEY_FIELD,
    ROW_FIELD,
    SETTLE,
    UNDO,
    Act,
    Line,
)
from provenance._history.edits import (
    Cells,
    Change,
    cell_lines,
    name_apart,
    new_row_lines,
    removal_lines,
    rename_lines,
    stated,
)
from provenance._history.history import (
    History,
    moment_text,
    open_history,
    stage_history,
)
from provenance._history.projection import (
    Conflict,
    State,
    covered_tables,
    key_field,
    links_of,
)
from provenance._history.speaking import EVERY_SOURCE
from provenance._model.schema import Table
from provenance._record.joined import SEALED
from provenance._record.package import Package
from provenance._record.together import writing_together


class Refused(TreenailError):
    """An act that cannot be: the row is not there, the key is taken, it was changed since."""


@dataclass(frozen=True)
class Done:
    """An act that was recorded: what it changed, and the conflicts that are left in the record."""

    act_id: str
    changes: tuple[Change, ...]
    conflicts: tuple[Conflict, ...]


NOTHING: Mapping[str, str] = MappingProxyType({})


class EnteredRow(NamedTuple):
    """Cells of one row, as the record holds them; `written` where a person wrote it otherwise."""

    table: str
    key: str
    cells: Mapping[str, str]
    written: Mapping[str, str] = NOTHING


LAST = "last"
"""Stands for the newest act that is not undone, but for undoing itself."""
Deciding = Callable[[History], Act]
"""Makes the act of a decision from the history as it stands; raises Refused where it cannot be."""


def decide(
    package: Package,
    deciding: Deciding,
    *,
    who: str,
    why: str = "",
    when: str = "",
) -> Done:
    """Record one of the decisions below, and write the tables as they are by it.

    >>> decide(package, correct("sample", "201", {"rings_field": "88"}),
    ...        who="MB", why="counted anew")  # doctest: +SKIP

    Raises Refused and BrokenHistory; the package is then as it was.
    """
    package.finish_writing()
    with package.locked():
        before = open_history(package)
        after, name = decided(before, deciding, who=who, why=why, when=when)
        with writing_together(package.folder) as staging:
            stage_history(after, staging, before=before)
    return Done(name, tuple(before.changes_to(after)), tuple(after.state.conflicts))


def decided(
    history: History, deciding: Deciding, *, who: str, why: str, when: str
) -> tuple[History, str]:
    """The history with a decision, and the name of its act; nothing is written."""
    act = replace(deciding(history), who=who, why=why, when=when or moment_text())
    return history.adding(act)


# -- cells, keys and rows --------------------------------------------------------------------------


def correct(
    table: str, key: str, cells: Mapping[str, str], written: Mapping[str, str] = NOTHING
) -> Deciding:
    """Say what cells of a row hold; '' blanks one. A conflict about such a cell is settled.

    `written` are the texts of cells whose values say it otherwise: 9 ft for 2.7432.

    Raises Refused when nothing would change, UnknownName for a table or field that is not there.
    """

    def deciding(history: History) -> Act:
        one, row = _row(history, table, key)
        lines = _corrected(history.state, one, row, _checked(one, cells))
        if not lines:
            raise Refused(f"{table} {key} already has this value; nothing was recorded")
        return Act(SETTLE, lines=_as_written(lines, written))

    return deciding


def _corrected(state: State, table: Table, row: str, wanted: Cells) -> list[Line]:
    old = state.rows[table.name][row]
    lines = list(cell_lines(state, table, row, old, {**old, **wanted}, list(wanted)))
    # what stands may be one side of a conflict, which then is settled by it
    told = {line.field for line in lines}
    for name in wanted.keys() - told:
        said = stated(state, table, {**old, **wanted}, name)
        lines += [line for line in state.decide(table.name, row, name, said) if line.said_by]
    return lines


def enter(rows: Sequence[EnteredRow]) -> Deciding:
    """Say what cells of several rows hold, as one act; a key that no row bears is a new row.

    A changed cell of the key renames its row. Raises as `correct`, `rename` and `add`.
    """

    def deciding(history: History) -> Act:
        state = history.state
        lines: list[Line] = []
        taken: set[tuple[str, str]] = set()
        apart: dict[tuple[str, str], str] = {}
        for table, key, cells, written in rows:
            one = _table(history, table)
            own = key_field(one)
            if state.names_of(table, key):
                _, row = _row(history, table, key)
                others = {name: text for name, text in cells.items() if name != own}
                new = _corrected(state, one, row, _checked(one, others))
                if own in cells and cells[own] != key:
                    _refuse_key(history, one, cells[own], row)
                    new += rename_lines(state, one, row, cells[own])
            else:
                whole = {own: key, **cells} if own else cells
                _checked(one, {name: "" for name in cells if name not in one.primary_key})
                new = _new_row(history, one, whole, taken)
                if one.key_of(whole) != key:
                    raise Refused(f"the new row {key} of {table} has the key {one.key_of(whole)}")
                if new[0].row != key:
                    apart[table, key] = new[0].row
            lines += _as_written(new, written)
        if not lines:
            raise Refused("the record already has these values; nothing was recorded")
        return Act(SETTLE, lines=tuple(_linked(history, lines, apart)))

    return deciding


def _new_row(
    history: History, table: Table, cells: Cells, taken: set[tuple[str, str]]
) -> list[Line]:
    missing = [name for name in table.primary_key if not cells.get(name)]
    if missing:
        raise Refused(f"a row of {table.name} needs {', '.join(missing)}")
    if key := key_field(table):
        _refuse_key(history, table, cells[key])
    return list(new_row_lines(history.state, table, cells, taken))


def _linked(
    history: History, lines: Iterable[Line], apart: Mapping[tuple[str, str], str]
) -> Iterator[Line]:
    """The lines with the names of rows that are new by the same act and not called as their key."""
    for line in lines:
        links = links_of(history.package.model.table(line.table)) if apart else {}
        name = apart.get((links.get(line.field, ""), line.after))
        yield line if name is None else line._replace(after=name)


def settle(table: str, key: str, field: str, value: str, written: str = "") -> Deciding:
    """Settle a conflict about one cell by what it holds; raises Refused where there is none.

    `written` is the text where the value says it otherwise.
    """

    def deciding(history: History) -> Act:
        one, row = _row(history, table, key)
        _checked(one, {field: value})
        in_conflict = [c for c in history.state.conflicts if (c.table, c.row) == (table, row)]
        if not any(one.field == field for one in in_conflict):
            fields = ", ".join(sorted({c.field for c in in_conflict if c.field.isidentifier()}))
            others = f"; there is one about {fields}" if fields else ""
            raise Refused(
                f"there is no conflict about {field} of {table} {key}{others}. To change the value "
                "use 'treenail change correct'"
            )
        said = stated(history.state, one, {**history.state.rows[table][row], field: value}, field)
        lines = history.state.decide(table, row, field, said)
        return Act(SETTLE, lines=_as_written(lines, {field: written}))

    return deciding


def _as_written(lines: Iterable[Line], written: Mapping[str, str]) -> tuple[Line, ...]:
    return tuple(line._replace(written=written.get(line.field, "")) for line in lines)


def rename(table: str, key: str, new_key: str) -> Deciding:
    """Call a row otherwise, with everything that refers to it.

    Raises Refused when another row bears the new key, or several fields make the key.
    """

    def deciding(history: History) -> Act:
        one, row = _row(history, table, key)
        _refuse_key(history, one, new_key, row)
        return Act(SETTLE, lines=tuple(rename_lines(history.state, one, row, new_key)))

    return deciding


def remove(table: str, key: str) -> Deciding:
    """Take a row out of the record; it stays in the history, and no import brings it back."""

    def deciding(history: History) -> Act:
        one, row = _row(history, table, key)
        return Act(SETTLE, lines=tuple(removal_lines(history.state, one, row)))

    return deciding


def restore(table: str, key: str) -> Deciding:
    """Say that a row belongs into the record which somebody took out."""

    def deciding(history: History) -> Act:
        _table(history, table)
        gone = [
            row
            for (name, row), now in history.state.keys.items()
            if name == table and key in (now, row)
        ]
        rows = [
            row
            for row in gone
            if any(
                one.value == GONE and not one.refused
                for one in history.state.said_of(table, row, ROW_FIELD)
            )
        ]
        if not rows:
            raise Refused(f"no one removed {table} {key}")
        return Act(SETTLE, lines=tuple(history.state.decide(table, min(rows), ROW_FIELD, HERE)))

    return deciding


def add(table: str, cells: Mapping[str, str], written: Mapping[str, str] = NOTHING) -> Deciding:
    """Enter a row; raises Refused when a row bears its key, or no such field is there.

    `written` as for `correct`.
    """

    def deciding(history: History) -> Act:
        one = _table(history, table)
        _checked(one, {name: "" for name in cells if name not in one.primary_key})
        return Act(SETTLE, lines=_as_written(_new_row(history, one, cells, set()), written))

    return deciding


# -- which row is meant ----------------------------------------------------------------------------


def split(table: str, key: str, sources: Sequence[str], new_key: str) -> Deciding:
    """Say that what some received files state of a key is another row, called `new_key` now.

    What those files refer to under the old key follows. Raises Refused when no source, or every
    source, is named, or another row bears the new key.
    """

    def deciding(history: History) -> Act:
        one, row = _row(history, table, key)
        _refuse_key(history, one, new_key)
        state = history.state
        named = {_lineage(history, source) for source in sources}
        telling = {
            claim.said_by
            for claim in state.said_of(table, row, ROW_FIELD)
            if not claim.refused and claim.said_by not in history.acts
        }
        if strange := sorted(named - telling):
            raise Refused(
                f"{strange[0]} has no values for {table} {key}; these sources have: "
                f"{', '.join(sorted(telling)) or 'no received file'}"
            )
        if not named or named == telling:
            raise Refused(
                f"name some of the sources of {table} {key}, not all: {', '.join(sorted(telling))}"
            )
        other = name_apart(state, table, row)
        lines = [
            # the key as that source states it, which a renaming has not changed
            Line(table, claim.line.row, ROW_FIELD, "", other, claim.said_by)
            for claim in state.said_of(table, row, ROW_FIELD)
            if claim.said_by in named
        ]
        return Act(BIND, lines=(*lines, Line(table, other, KEY_FIELD, "", new_key)))

    return deciding


def join(table: str, key: str, into: str) -> Deciding:
    """Say that two rows are one, called `into`; where they differ, a conflict is to settle."""

    def deciding(history: History) -> Act:
        _, row = _row(history, table, key)
        _, target = _row(history, table, into)
        if row == target:
            raise Refused(f"{table} {key} is already one row")
        lines = [Line(table, row, ROW_FIELD, "", target, EVERY_SOURCE)]
        called = history.state.keys[table, target]
        # what the one was called is not what both are called
        renamed = history.state.decide(table, row, KEY_FIELD, called)
        lines += [line for line in renamed if line.said_by]
        return Act(BIND, lines=tuple(lines))

    return deciding


# -- findings and acts -----------------------------------------------------------------------------


def accept(findings: Sequence[tuple[str, str, str, str, str]]) -> Deciding:
    """Let findings of the check stand: (rule, table, key, field, what it says) each."""

    def deciding(history: History) -> Act:
        lines = []
        for rule, table, key, field, message in findings:
            names = history.state.names_of(table, key)
            lines.append(Line(table, names[0] if names else key, field, rule, message))
        return Act(ACCEPT, lines=tuple(lines))

    return deciding


def undo(act: str) -> Deciding:
    """Take an act back, an undo too; `act` is its code, the first digits of it, or LAST.

    Raises Refused when it is not there, undone already, or what it did was changed since.
    """

    def deciding(history: History) -> Act:
        name = find_act(history, act)
        if name not in history.live:
            raise Refused(f"act {name[:8]} is already undone")
        if history.acts[name].kind == BEGUN:
            raise Refused("the act with which the record began cannot be undone")
        if since := without(history, name)[1]:
            listed = ", ".join(one[:8] for one in since)
            raise Refused(f"what act {name[:8]} did was changed since by {listed}; undo that first")
        return Act(UNDO, undoes=name)

    return deciding


def without(history: History, name: str) -> tuple[History, list[str]]:
    """The history with an act undone, and the live acts that build on it, which forbid that.

    Those refuse what it says, or speak of rows it brought.
    """
    undone = history.adding(Act(UNDO, undoes=name))[0]
    brought = {
        (line.table, line.after)
        for line in history.acts[name].lines
        if history.acts[name].kind == BIND and line.said_by not in ("", EVERY_SOURCE)
    }
    later = list(history.acts)[list(history.acts).index(name) + 1 :]
    since = [
        other
        for other in later
        if (act := history.live.get(other))
        and (
            name in act.replaces
            or any(one.said_by == name or (one.table, one.row) in brought for one in act.lines)
        )
    ]
    here = history.state.rows
    for place in (
        (table, row)
        for table, rows in undone.state.rows.items()
        for row, cells in rows.items()
        # the very same where nothing of it is undone
        if row in here[table] and here[table][row] is not cells
    ):
        claims = undone.state.said_of(*place, ROW_FIELD)
        # a row that nobody states any more, and that only corrections keep
        kept = [one for one in claims if not one.refused and one.line.field != ROW_FIELD]
        stating = [one for one in claims if not one.refused and one.line.field == ROW_FIELD]
        was = history.state.said_of(*place, ROW_FIELD)
        if kept and not stating and any(one.line.field == ROW_FIELD for one in was):
            since += [one.act for one in kept]
    return undone, [one for one in later if one in since]


def _lineage(history: History, source: str) -> str:
    """The lineage that a received file belongs to, by its number or by that of a copy."""
    found = {
        history.state.lineage[name]
        for name, act in history.acts.items()
        if act.source == source and name in history.state.lineage
    }
    if not found:
        raise Refused(f"no file was received as '{source}'; table 'original' lists them")
    return min(found)


def find_act(history: History, text: str) -> str:
    """The act whose code begins so, or the LAST one; raises Refused for none or several."""
    if text == LAST:
        decided = [name for name, act in history.live.items() if act.kind not in (BEGUN, UNDO)]
        if decided:
            return decided[-1]
    found = [name for name in history.acts if text and name.startswith(text.lower())]
    if len(found) == 1:
        return found[0]
    why = "the codes of several acts begin like this" if found else "there is no such act"
    raise Refused(f"'{text}': {why}; 'treenail history {history.package.folder}' lists them")


# -- what is named ---------------------------------------------------------------------------------


def _table(history: History, name: str) -> Table:
    model = history.package.model
    if name not in model.tables:
        names = ", ".join(one.name for one in covered_tables(model))
        raise Refused(f"there is no table '{name}'; write one of {names}")
    table = model.table(name)
    if table not in covered_tables(model):
        raise Refused(
            f"the table '{name}' is not corrected by hand: it is computed, or a ledger that is "
            "only added to"
        )
    return table


def _row(history: History, table: str, key: str) -> tuple[Table, str]:
    """The table and the name of the row that bears a key; its own name does where two bear it."""
    one = _table(history, table)
    names = history.state.names_of(table, key)
    if len(names) > 1 and key not in names:
        raise Refused(f"{table} {key} is several rows: {', '.join(names)}; give one of these names")
    if key in history.state.rows[table] and (not names or len(names) > 1):
        return one, key
    if names:
        return one, names[0]
    if key in (now for (name, _), now in history.state.keys.items() if name == table):
        raise Refused(
            f"{table} {key} was removed from the record; 'treenail change remove --back' puts back "
            "what a person removed, 'treenail change undo' undoes an import that dropped it"
        )
    from difflib import get_close_matches

    keys = [history.state.keys[table, row] for row in history.state.rows[table]]
    near = get_close_matches(key, keys, n=1)
    hint = f"; did you mean {near[0]}?" if near else ""
    raise Refused(f"there is no {table} {key}{hint}")


def _checked(table: Table, cells: Mapping[str, str]) -> Cells:
    for name in cells:
        try:
            table.field(name)
        except UnknownName:
            raise Refused(
                f"the table '{table.name}' has no field '{name}'; there are "
                f"{', '.join(table.names)}"
            ) from None
        if name in table.primary_key:
            raise Refused(
                f"{name} is the key of {table.name}; change it with 'treenail change rename'"
            )
    return cells


def _refuse_key(history: History, table: Table, key: str, row: str = "") -> None:
    """Refuse a key that another row than `row` bears, or is called in sealed events."""
    name = key_field(table)
    if not name:
        raise Refused(f"a row of {table.name} has no key of its own that could be changed")
    if history.state.names_of(table.name, key):
        raise Refused(f"there is a {table.name} {key} already; nothing was recorded")
    now = history.former_keys.get((table.name, key))
    if now and history.state.names_of(table.name, now) != [row] and _is_sealed(history, table, key):
        raise Refused(
            f"{table.name} {now} was called {key} before, and sealed events of the ledger still "
            "use that key; choose another"
        )
    pattern = table.field(name).constraints.get("pattern")
    if not key or (pattern and not re.fullmatch(str(pattern), key)):
        raise Refused(f"'{key}' cannot be the {table.field(name).title.lower()} of a {table.name}")


def _is_sealed(history: History, table: Table, key: str) -> bool:
    """Whether something sealed or signed names a row of a table by that key."""
    package = history.package
    return any(
        key in package.tables.column(sealed, column)
        for sealed in SEALED
        if sealed in package.model.tables and package.table_path(sealed).is_file()
        for column, to in links_of(package.model.table(sealed)).items()
        if to == table.name
    )
