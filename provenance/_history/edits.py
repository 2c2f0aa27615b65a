"""What changed tables say: the lines that lead from what stands to what somebody wrote."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import NamedTuple

from provenance._history.acts import GONE, HERE, KEY_FIELD, ROW_FIELD, Line
from provenance._history.projection import State, key_field, links_of, reader_of
from provenance._model.schema import Table

ALIKE = 0.8
"""A row that went and one that came are one renamed row when so many of their cells agree."""
MOST_COMPARED = 250_000
"""Pairs of rows compared for that; beyond it a whole table was exchanged, not renamed."""

Cells = Mapping[str, str]


class Change(NamedTuple):
    """A cell, a key (field KEY_FIELD) or a row (ROW_FIELD: HERE or GONE) that changed."""

    table: str
    key: str
    field: str
    before: str
    after: str


def in_words(one: Change) -> str:
    """A change as a person reads it.

    >>> in_words(Change("sample", "201", "rings_field", "88", "140"))
    'sample 201, rings_field: "88" → "140"'
    """
    if one.field == ROW_FIELD:
        return f"{one.table} {one.key} {'comes in' if one.after == HERE else 'goes out'}"
    if one.field == KEY_FIELD:
        return f"{one.table} {one.before} is called {one.after}"
    return f'{one.table} {one.key}, {one.field}: "{one.before}" → "{one.after}"'


def row_named(state: State, table: str, key: str) -> str:
    """The row a person means by a key: the one that bears it now, else the key as it is."""
    names = state.names_of(table, key)
    return names[0] if names else key


def _key(table: Table, cells: Cells) -> str:
    return table.key_of({name: cells.get(name, "") for name in table.primary_key})


def stated(state: State, table: Table, cells: Cells, name: str) -> str:
    """A cell as an act says it: keys into other tables as the names of their rows."""
    text = cells.get(name, "")
    target = links_of(table).get(name)
    if target is None and name in table and (other := table.field(name).key_of):
        target = cells.get(other, "")
    return row_named(state, target, text) if target and text else text


def cell_lines(
    state: State, table: Table, row: str, old: Cells, new: Cells, names: Sequence[str]
) -> Iterator[Line]:
    """The lines that turn the cells of one row into `new`."""
    own = key_field(table)
    for name in names:
        if name == own:
            continue
        same = reader_of(state.model, table.name, name)
        if same(old.get(name, "")) != same(new.get(name, "")):
            yield from state.decide(table.name, row, name, stated(state, table, new, name))


def rename_lines(state: State, table: Table, row: str, key: str) -> list[Line]:
    """The lines by which a row is called otherwise."""
    return state.decide(table.name, row, KEY_FIELD, key)


def removal_lines(state: State, table: Table, row: str) -> list[Line]:
    """The lines by which a row is taken out."""
    return state.decide(table.name, row, ROW_FIELD, GONE)


def name_apart(state: State, table: str, key: str, taken: Collection[tuple[str, str]] = ()) -> str:
    """A name for a row beside the one that was born with this key: '201~2', '201~3' …"""
    number = 2
    while (table, f"{key}~{number}") in state.keys or (table, f"{key}~{number}") in taken:
        number += 1
    return f"{key}~{number}"


def new_row_lines(
    state: State, table: Table, new: Cells, taken: set[tuple[str, str]]
) -> Iterator[Line]:
    """The lines of a row that was not there; `taken` are names that other new rows have."""
    key = _key(table, new)
    is_free = (table.name, key) not in state.keys and (table.name, key) not in taken
    row = key if is_free else name_apart(state, table.name, key, taken)
    taken.add((table.name, row))
    yield Line(table.name, row, ROW_FIELD, "", HERE)
    if row != key:
        yield Line(table.name, row, KEY_FIELD, "", key)
    for name, text in new.items():
        if text and name != key_field(table):
            yield Line(table.name, row, name, "", stated(state, table, new, name))


def table_lines(
    state: State, table: Table, wanted: Sequence[Cells], names: Sequence[str]
) -> list[Line]:
    """The lines that turn a table as it stands into the rows that are wanted, in any order."""
    by_key: dict[str, list[Cells]] = defaultdict(list)
    for cells in wanted:
        by_key[_key(table, cells)].append(cells)
    lines: list[Line] = []
    lost: dict[str, Cells] = {}
    for row, old in state.rows[table.name].items():
        mine = by_key.get(state.keys[table.name, row])
        if not mine:
            lost[row] = old
            continue
        lines += cell_lines(state, table, row, old, mine.pop(0), names)
    came = [cells for left in by_key.values() for cells in left]
    renamed = renamed_rows(table, lost, came)
    for row, cells in renamed.items():
        lines += rename_lines(state, table, row, cells[key_field(table)])
        lines += cell_lines(state, table, row, lost[row], cells, names)
    for row in lost:
        if row not in renamed:
            lines += removal_lines(state, table, row)
    taken: set[tuple[str, str]] = set()
    for cells in came:
        if not any(cells is one for one in renamed.values()):
            lines += new_row_lines(state, table, cells, taken)
    return lines


def renamed_rows(
    table: Table, lost: Mapping[str, Cells], came: Sequence[Cells]
) -> dict[str, Cells]:
    """The rows that went, by name, of which just one that came says nearly the same."""
    own = key_field(table)
    if not own or not lost or not came or len(lost) * len(came) > MOST_COMPARED:
        return {}

    def said(cells: Cells) -> set[tuple[str, str]]:
        return {(name, text) for name, text in cells.items() if text and name != own}

    new = [said(cells) for cells in came]
    pairs = []
    for row, cells in lost.items():
        old = said(cells)
        for place, other in enumerate(new):
            if old and len(old & other) / len(old | other) >= ALIKE:
                pairs.append((row, place))
    rows = Counter(row for row, _ in pairs)
    places = Counter(place for _, place in pairs)
    return {row: came[place] for row, place in pairs if rows[row] == 1 and places[place] == 1}


def changes_between(old: State, new: State) -> list[Change]:
    """Every row, key and cell in which two states differ, under the keys that rows bear now.

    Which side of a conflict a table shows meanwhile is no change.
    """
    contested = {(one.table, one.row, one.field) for one in new.conflicts}
    changes = []
    for table, rows in new.rows.items():
        were = old.rows.get(table, {})
        # what followed from one act more has nearly all rows in common with what was
        if were is rows:
            continue
        told = [row for row, cells in were.items() if rows.get(row) is not cells]
        for row in (*told, *(row for row in rows if row not in were)):
            before, after = were.get(row), rows.get(row)
            if before == after:
                continue
            key = (new if after is not None else old).keys[table, row]
            if before is None or after is None:
                there = (GONE, HERE) if before is None else (HERE, GONE)
                changes.append(Change(table, key, ROW_FIELD, *there))
                continue
            own = key_field(new.model.table(table))
            for name in dict.fromkeys([*before, *after]):
                one, other = before.get(name, ""), after.get(name, "")
                same = reader_of(new.model, table, name)
                if same(one) != same(other) and (table, row, name) not in contested:
                    field = KEY_FIELD if name == own else name
                    changes.append(Change(table, key, field, one, other))
    return changes
