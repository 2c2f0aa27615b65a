"""What stands: the tables, conflicts and accepted findings that a set of acts comes to.

`project` is a function of the set alone: neither the order in which files came in, nor a clock, nor
the name of a computer can change what it gives. Merging two copies of a record is therefore the
union of their acts.
"""

from __future__ import annotations

import re
from bisect import insort
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import NamedTuple

from provenance._history.acts import (
    ACCEPT,
    GONE,
    HERE,
    IMPORT,
    KEY_FIELD,
    ROW_FIELD,
    SETTLE,
    UNDO,
    Acts,
    Line,
    lineages,
    live,
)
from provenance._history.speaking import EVERY_SOURCE, Bindings, silenced, spoken
from provenance._model.schema import Field, Model, Table
from provenance._record.cells import canonical

LEDGER = "custody"
DIFFERS = "differs"
REMOVED_AND_STATED = "removed_and_stated"
RENAMED_TWICE = "renamed_twice"
ONE_KEY_SEVERAL_ROWS = "one_key_several_rows"
BOUND_TWICE = "bound_twice"
SAID_AGAIN = "said_again"

Place = tuple[str, str]
"""Table and row, by the name it was born with."""
Cell = tuple[str, str, str]
"""Table, row by the name it was born with, field."""
Rows = dict[str, dict[str, str]]
"""Row, by the name it was born with → its cells by field."""


class Claim(NamedTuple):
    """What one source or act says of a cell; `act` is the act whose line it is.

    `said_by` is the number of the first received file of its lineage, or the act.
    """

    value: str
    said_by: str
    act: str
    line: Line
    refused: bool = False


class Refusal(NamedTuple):
    """What a decision refuses of a cell: a value, with the source or act that said it then."""

    value: str
    said_by: str
    act: str


class Conflict(NamedTuple):
    """What has to be settled, with everything that is said; `key` as the row is called now."""

    kind: str
    table: str
    row: str
    key: str
    field: str
    claims: tuple[Claim, ...]


class Accepted(NamedTuple):
    """A finding that somebody lets stand, as long as it says `message`."""

    rule: str
    table: str
    key: str
    field: str
    message: str
    act: str


Claims = dict[Place, dict[str, list[Claim]]]
_NOTHING_SAID: dict[str, list[Claim]] = {}


@dataclass
class State:
    """What a set of acts comes to.

    `rows` maps table → row name → its cells by field, key fields included; `keys` maps (table, row
    name) → its key now; `claims` has everything said of a row, refused or not, by field. Never
    changed: `follow` makes another.
    """

    model: Model
    rows: dict[str, Rows]
    keys: dict[Place, str]
    claims: Claims
    conflicts: list[Conflict]
    accepted: list[Accepted]
    lineage: dict[str, str]
    bound: Bindings
    refusals: dict[Cell, list[Refusal]]
    called: set[Place] = field(default_factory=set)
    """Rows that were called otherwise once, and perhaps some others."""
    _by_key: dict[tuple[str, str], list[str]] = field(default_factory=dict)

    def names_of(self, table: str, key: str) -> list[str]:
        """The rows that bear a key now, by their names; more than one is a conflict."""
        if not self._by_key:
            for name, rows in self.rows.items():
                for row in rows:
                    self._by_key.setdefault((name, self.keys[name, row]), []).append(row)
        return self._by_key.get((table, key), [])

    def said_of(self, table: str, row: str, field: str) -> list[Claim]:
        """Everything that is said of a cell, refused or not."""
        return self.claims.get((table, row), _NOTHING_SAID).get(field, [])

    def row_of(self, act: str, line: Line) -> str:
        """The row that a line of an import is about."""
        return self.bound(line.table, line.row, self.lineage[act])

    def decide(self, table: str, row: str, field: str, value: str) -> list[Line]:
        """The lines by which a person says what a cell holds, refusing all that is said now."""
        same = reader_of(self.model, table, field)
        against = dict.fromkeys(
            (one.value, one.said_by)
            for one in self.said_of(table, row, field)
            if not one.refused and same(one.value) != same(value)
        )
        return [Line(table, row, field, before, value, by) for before, by in against] or [
            Line(table, row, field, "", value)
        ]


def covered_tables(model: Model) -> list[Table]:
    """The tables that acts speak of: the record but for the ledger, which has its own chain.

    What was reviewed for the public edition is decided by acts too.
    """
    record = [table for table in model.of_role("record") if table.name != LEDGER]
    return record + list(model.of_role("review"))


def key_field(table: Table) -> str:
    """The field that is the key; '' where several fields make it."""
    return table.primary_key[0] if len(table.primary_key) == 1 else ""


def links_of(table: Table) -> dict[str, str]:
    """Field → the table into whose key it points."""
    return {key.fields[0]: key.table for key in table.foreign_keys if len(key.fields) == 1}


@cache
def _reader(field_type: str) -> Callable[[str], str]:
    return lambda text: canonical(text, field_type) or text


def reader_of(model: Model, table: str, name: str) -> Callable[[str], str]:
    """What makes two texts of a field comparable: 12.70 and 12.7 are one value."""
    one: Field | None = None
    if table in model.tables and name in model.tables[table]:
        one = model.tables[table].field(name)
    return _reader(one.type if one is not None else "string")


def in_order(key: str) -> tuple[object, ...]:
    """Sorts keys as people do: 9 before 10.

    >>> sorted(["LH-10", "LH-9", "LH-9a"], key=in_order)
    ['LH-9', 'LH-9a', 'LH-10']
    """
    return tuple((0, int(part), "") if part.isdigit() else (1, 0, part) for part in _PARTS(key))


_PARTS = re.compile(r"[0-9]+|[^0-9]+").findall


# -- the projection --------------------------------------------------------------------------------


def project(model: Model, acts: Acts) -> State:
    """The tables, conflicts and accepted findings that the acts come to."""
    alive = live(acts)
    lineage = lineages(acts)
    bound = Bindings(alive)
    tables = [table.name for table in covered_tables(model)]
    claims, refusals = _gather(model, acts, alive, lineage, bound, silenced(acts, alive))

    rows: dict[str, Rows] = {name: {} for name in tables}
    state = State(model, rows, {}, claims, [], [], lineage, bound, refusals)
    shown: _Shown = {}
    weighed: list[Cell] = []
    for place, fields in claims.items():
        values = shown[place] = {}
        for name, said in fields.items():
            cell = (*place, name)
            if name == KEY_FIELD:
                state.called.add(place)
            if len(said) == 1 and cell not in refusals:  # as nearly every cell
                values[name] = said[0].value
                continue
            weighed.append(cell)
            _weigh(state, cell, acts)
            values[name] = _value_shown(state, cell)
        state.keys[place] = values.get(KEY_FIELD) or place[1]
    here = [place for place, values in shown.items() if values.get(ROW_FIELD) == HERE]
    here.sort(key=lambda place: _order(state, *place))
    for place in here:
        rows[place[0]][place[1]] = _cells(state, place, shown[place])
    for name in tables:
        _show_keys(state, name, rows[name].values())
    state.conflicts = [
        *_conflicts(state, acts, shown, weighed),
        *_twins(state, dict.fromkeys((table, state.keys[table, row]) for table, row in here)),
        *_bound_twice(bound),
    ]
    state.accepted = _accepted(state, alive)
    return state


def follow(state: State, acts: Acts, alive: Acts, *, came: Acts, went: Acts) -> State | None:
    """What stands from what stood, when of the acts some `came` to be live and others `went`.

    Only the rows spoken of are looked at, so that one cell of a large record takes no time. None
    where another source or another row is meant, so that everything has to be projected.
    """
    if any(act.kind not in (SETTLE, ACCEPT, UNDO) for act in (*came.values(), *went.values())):
        return None
    new_claims, new_refusals = _gather(state.model, acts, came, state.lineage, state.bound, {})
    old_claims, _ = _gather(state.model, acts, went, state.lineage, state.bound, {})
    after = replace(
        state,
        rows=dict(state.rows),
        keys=dict(state.keys),
        claims=dict(state.claims),
        refusals=dict(state.refusals),
        called=state.called | {place for place, said in new_claims.items() if KEY_FIELD in said},
    )
    told = {
        (*place, name) for one in (new_claims, old_claims) for place in one for name in one[place]
    }
    for cell in told:
        place, name = cell[:2], cell[2]
        claims = [one for one in state.said_of(*cell) if one.act not in went]
        claims += new_claims.get(place, _NOTHING_SAID).get(name, [])
        refusals = [one for one in state.refusals.get(cell, ()) if one.act not in went]
        after.refusals[cell] = refusals + new_refusals.get(cell, [])
        # what is said of the row is in the state before, too
        after.claims[place] = {**after.claims.get(place, {}), name: claims}
        _weigh(after, cell, acts)
        if not claims:
            del after.claims[place][name]
        if not after.refusals[cell]:
            del after.refusals[cell]
    is_moved = _show_rows(after, state, acts, {cell[:2] for cell in told})
    if any(act.kind == ACCEPT for act in (*came.values(), *went.values())) or (
        is_moved and state.accepted
    ):
        after.accepted = _accepted(after, alive)
    return after


def _show_rows(after: State, before: State, acts: Acts, told: set[Place]) -> bool:
    """Show anew the rows that something else is said of, and those that refer to them.

    Returns whether a row has come, has gone or is called otherwise.
    """
    shown = {place: _values_shown(after, place) for place in told}
    moved: dict[str, set[str]] = defaultdict(set)
    called: set[tuple[str, str]] = set()
    for place, values in shown.items():
        table, row = place
        if values:
            after.keys[place] = values.get(KEY_FIELD) or row
        else:
            del after.keys[place], after.claims[place]
        was, now = before.keys.get(place, row), after.keys.get(place, row)
        if was != now or (values.get(ROW_FIELD) == HERE) != (row in before.rows[table]):
            moved[table].add(row)
        if was != now:
            called.add((table, was))
    shown |= {place: _values_shown(after, place) for place in _referring(before, called)}
    for table in {table for table, _ in shown}:
        cells = {
            row: _cells(after, (name, row), values)
            for (name, row), values in shown.items()
            if name == table and values.get(ROW_FIELD) == HERE
        }
        _show_keys(after, table, cells.values())
        rows = before.rows[table] | cells
        after.rows[table] = _in_place(after, table, rows, cells, moved.get(table, set()))
    if moved and before._by_key:
        after._by_key = _by_key(after, before, moved)
    twins = {(table, after.keys.get((table, row), row)) for table, row in shown}
    twins |= {(one.table, one.key) for one in before.conflicts if one.kind == ONE_KEY_SEVERAL_ROWS}
    after.conflicts = [
        one
        for one in before.conflicts
        if one.kind == BOUND_TWICE
        or (one.kind != ONE_KEY_SEVERAL_ROWS and (one.table, one.row) not in shown)
    ]
    cells_of = ((*place, name) for place in shown for name in after.claims.get(place, ()))
    after.conflicts += _conflicts(after, acts, shown, cells_of)
    after.conflicts += _twins(after, twins)
    return bool(moved)


def _by_key(after: State, before: State, moved: Mapping[str, set[str]]) -> dict[Place, list[str]]:
    """The rows that bear each key, where some have come, have gone or are called otherwise."""
    found = dict(before._by_key)
    for table, rows in moved.items():
        for row in rows:
            for state in (before, after):
                key = (table, state.keys.get((table, row), row))
                others = [one for one in found.get(key, ()) if one != row]
                is_here = state is after and row in after.rows[table]
                found[key] = sorted([*others, row]) if is_here else others
    return found


def _in_place(state: State, table: str, rows: Rows, told: Rows, moved: set[str]) -> Rows:
    """The rows in order, where some have come, have gone or are called otherwise."""
    if not moved:
        return rows
    names = [row for row in rows if row not in moved]
    for row in sorted(moved & told.keys()):
        insort(names, row, key=lambda one: _order(state, table, one))
    return {row: rows[row] for row in names}


def _referring(state: State, called: set[Place]) -> Iterator[Place]:
    """The rows that refer to one of the tables and keys."""
    for table in covered_tables(state.model) if called else ():
        links = links_of(table).items()
        named = [(one.name, one.key_of) for one in table.fields if one.key_of]
        for row, cells in state.rows[table.name].items():
            keys = [(target, cells.get(name, "")) for name, target in links]
            keys += [(cells.get(other, ""), cells.get(name, "")) for name, other in named]
            if not called.isdisjoint(keys):
                yield table.name, row


class _Refused(NamedTuple):
    """What decisions refuse of one cell.

    `values` are refused whoever says them in a file; `listed` are those with the source that said
    them then; `acts` are values with the act that said them.
    """

    values: set[str]
    listed: set[tuple[str, str]]
    acts: set[tuple[str, str]]


_Shown = dict[Place, dict[str, str]]


def _gather(
    model: Model,
    acts: Acts,
    alive: Acts,
    lineage: Mapping[str, str],
    bound: Bindings,
    silent: Mapping[str, set[tuple[str, str]]],
) -> tuple[Claims, dict[Cell, list[Refusal]]]:
    """Everything that the acts in `alive` say of each cell, and what they refuse of it."""
    tables = {table.name: table for table in covered_tables(model)}
    links = {name: links_of(table) for name, table in tables.items()}
    keyed = [(name, one) for name, table in tables.items() for one in table.fields if one.key_of]
    claims: Claims = {}
    refusals: dict[Cell, list[Refusal]] = {}
    for name, act, said_by, lines in spoken(alive, lineage, silent):
        is_import = act.kind == IMPORT
        whose = said_by if is_import else EVERY_SOURCE
        tables_named = _tables_named(lines, keyed)
        for line in lines:
            table, stated, field = line[:3]
            if table not in tables:  # an event, which is in the ledger
                continue
            row = bound(table, stated, whose)
            cell = (table, row, field)
            before, after = line.before, line.after
            if target := links[table].get(field) or tables_named.get((table, stated, field)):
                after = bound(target, after, whose) if after else ""
                before = bound(target, before, EVERY_SOURCE) if before else ""
            fields = claims.setdefault((table, row), {})
            fields.setdefault(field, []).append(Claim(after, said_by, name, line))
            if is_import:
                continue
            if field not in (ROW_FIELD, KEY_FIELD):
                # who corrects a cell vouches for the row, whatever its source says later
                here = fields.setdefault(ROW_FIELD, [])
                if not here or here[-1].act != name:
                    here.append(Claim(HERE, said_by, name, line))
            if line.said_by:
                refusals.setdefault(cell, []).append(Refusal(before, line.said_by, name))
    return claims, refusals


def _refused(state: State, cell: Cell, acts: Acts) -> _Refused:
    same = reader_of(state.model, cell[0], cell[2])
    refused = _Refused(set(), set(), set())
    for value, said_by, _ in state.refusals.get(cell, ()):
        if said_by in acts:
            refused.acts.add((value, said_by))
        else:
            refused.values.add(same(value))
            refused.listed.add((same(value), said_by))
    return refused


def _weigh(state: State, cell: Cell, acts: Acts) -> None:
    """Put the claims of a cell in order, each value of a source once, and mark what is refused."""
    same, refused = reader_of(state.model, cell[0], cell[2]), _refused(state, cell, acts)
    once: dict[tuple[str, str], Claim] = {}
    for claim in state.said_of(*cell):
        once.setdefault((claim.value, claim.said_by), claim)
    state.claims[cell[:2]][cell[2]] = [
        # a source is refused by what it says, a person or program by the very act
        claim._replace(
            refused=key in refused.acts
            or (claim.said_by not in acts and same(claim.value) in refused.values)
        )
        for key, claim in sorted(once.items(), key=lambda item: item[0])
    ]


def _value_shown(state: State, cell: Cell) -> str:
    """What a cell shows of what is said of it, once that is weighed."""
    same = reader_of(state.model, cell[0], cell[2])
    standing: dict[str, str] = {}
    for one in state.said_of(*cell):
        if not one.refused:
            standing.setdefault(same(one.value), one.value)
    # while a cell is in conflict it shows what comes first in order, never what came first
    if cell[2] == ROW_FIELD:
        return HERE if HERE in standing or not standing else GONE
    return min(standing.values(), default="")


def _values_shown(state: State, place: Place) -> dict[str, str]:
    """What a row shows, by field."""
    fields = state.claims.get(place, _NOTHING_SAID)
    return {name: _value_shown(state, (*place, name)) for name in fields}


def _tables_named(lines: list[Line], keyed: list[tuple[str, Field]]) -> dict[Cell, str]:
    """Cells that are keys into a table which another cell of their row names."""
    return {
        (name, line.row, one.name): line.after
        for name, one in keyed
        for line in lines
        if line.table == name and line.field == one.key_of
    }


def _order(state: State, table: str, row: str) -> tuple[object, ...]:
    """Sorts the rows of a table by their keys."""
    return in_order(state.keys[table, row]), row


def _cells(state: State, place: Place, shown: Mapping[str, str]) -> dict[str, str]:
    """The cells of a row that is here, its key among them."""
    cells = {name: text for name, text in shown.items() if name not in (ROW_FIELD, KEY_FIELD)}
    if key := key_field(state.model.table(place[0])):
        cells[key] = state.keys[place]
    return cells


def _show_keys(state: State, name: str, rows: Iterable[dict[str, str]]) -> None:
    """References name rows; what stands in the table is the key that the row bears now."""
    table = state.model.table(name)
    named = {one.name: one.key_of for one in table.fields if one.key_of}
    links, own = links_of(table).items(), key_field(table)
    for cells in rows:
        for column, target in links:
            if column != own and (text := cells.get(column)):
                cells[column] = state.keys.get((target, text), text)
        for column, other in named.items():
            if text := cells.get(column):
                cells[column] = state.keys.get((cells.get(other, ""), text), text)


def _accepted(state: State, alive: Acts) -> list[Accepted]:
    return [
        Accepted(
            line.before,
            line.table,
            state.keys.get((line.table, state.bound(line.table, line.row, EVERY_SOURCE)), line.row),
            line.field,
            line.after,
            name,
        )
        for name, act in alive.items()
        if act.kind == ACCEPT
        for line in act.lines
    ]


def _conflicts(
    state: State,
    acts: Acts,
    shown: _Shown,
    cells: Iterable[Cell],
) -> Iterator[Conflict]:
    kinds = {ROW_FIELD: REMOVED_AND_STATED, KEY_FIELD: RENAMED_TWICE}
    for cell in cells:
        table, row, name = cell
        claims, key = state.said_of(*cell), state.keys[table, row]
        same = reader_of(state.model, table, name)
        listed = _refused(state, cell, acts).listed
        again = tuple(
            one
            for one in claims
            if one.refused
            and one.said_by not in acts
            and (same(one.value), one.said_by) not in listed
        )
        if again:
            yield Conflict(SAID_AGAIN, table, row, key, name, again)
        gone = shown[table, row].get(ROW_FIELD) == GONE
        standing = tuple(one for one in claims if not one.refused)
        if len({same(one.value) for one in standing}) > 1 and (name == ROW_FIELD or not gone):
            yield Conflict(kinds.get(name, DIFFERS), table, row, key, name, standing)


def _twins(state: State, called: Iterable[tuple[str, str]]) -> Iterator[Conflict]:
    """Of tables and keys those that several rows bear."""
    for table, key in called:
        names = state.names_of(table, key)
        if len(names) > 1:
            claims = tuple(
                claim
                for row in names
                for claim in state.said_of(table, row, ROW_FIELD)
                if not claim.refused
            )
            yield Conflict(ONE_KEY_SEVERAL_ROWS, table, names[0], key, KEY_FIELD, claims)


def _bound_twice(bound: Bindings) -> Iterator[Conflict]:
    for table, key, said_by, rows in bound.contested():
        line = Line(table, key, ROW_FIELD)
        claims = tuple(Claim(row, said_by, "", line) for row in rows)
        yield Conflict(BOUND_TWICE, table, key, key, "", claims)


def rows_in_order(state: State, table: str) -> list[dict[str, str]]:
    """The rows of a table as texts by field, '' where nothing is said."""
    columns = columns_of(state, table, ())
    return [{name: cells.get(name, "") for name in columns} for cells in state.rows[table].values()]


def columns_of(state: State, table: str, more: Iterable[str]) -> list[str]:
    """The columns of the schema, then those beyond it that the file has or some act speaks of."""
    names = dict.fromkeys(state.model.table(table).names)
    names |= dict.fromkeys(more)
    said = set[str]().union(*state.rows[table].values())
    return [*names, *sorted(said - names.keys())]
