"""What stands: the tables, conflicts and accepted findings that a set of acts comes to.

`project` is a function of the set alone: neither the order in which files came in, nor a clock, nor
the name of a computer can change what it gives. Merging two copies of a record is therefore the
union of their acts.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import NamedTuple

from provenance._history.acts import (
    ACCEPT,
    GONE,
    HERE,
    IMPORT,
    KEY_FIELD,
    ROW_FIELD,
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

Cell = tuple[str, str, str]
"""Table, row by the name it was born with, field."""


class Claim(NamedTuple):
    """What one source or act says of a cell; `act` is the act whose line it is.

    `said_by` is the number of the first received file of its lineage, or the act.
    """

    value: str
    said_by: str
    act: str
    line: Line
    refused: bool = False


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


@dataclass
class State:
    """What a set of acts comes to.

    `rows` maps table → row name → its cells by field, key fields included; `keys` maps (table, row
    name) → its key now; `claims` has everything said of a cell, refused or not.
    """

    model: Model
    rows: dict[str, dict[str, dict[str, str]]]
    keys: dict[tuple[str, str], str]
    claims: dict[Cell, list[Claim]]
    conflicts: list[Conflict]
    accepted: list[Accepted]
    lineage: dict[str, str]
    bound: Callable[[str, str, str], str]
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
        return self.claims.get((table, row, field), [])

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
    tables = {table.name: table for table in covered_tables(model)}
    links = {name: links_of(table) for name, table in tables.items()}
    same = cache(lambda table, name: reader_of(model, table, name))
    claims, refusals = _gather(acts, alive, lineage, bound, tables, links, same)

    rows: dict[str, dict[str, dict[str, str]]] = {name: {} for name in tables}
    state = State(model, rows, {}, claims, [], [], lineage, bound)
    shown: dict[tuple[str, str], dict[str, str]] = defaultdict(dict)
    weighed: list[Cell] = []
    for cell, said in claims.items():
        table, row, name = cell
        if len(said) == 1 and cell not in refusals:  # as nearly every cell
            shown[table, row][name] = said[0].value
            continue
        weighed.append(cell)
        claims[cell] = _weigh(said, refusals.get(cell, _NOTHING_REFUSED), acts, same(table, name))
        standing: dict[str, str] = {}
        for one in claims[cell]:
            if not one.refused:
                standing.setdefault(same(table, name)(one.value), one.value)
        # while a cell is in conflict it shows what comes first in order, never what came first
        if name == ROW_FIELD:
            shown[table, row][name] = HERE if HERE in standing or not standing else GONE
        else:
            shown[table, row][name] = min(standing.values(), default="")
    _call_rows(state, tables, shown)
    state.conflicts = [
        *_conflicts(state, acts, shown, refusals, weighed),
        *_twins(state),
        *_bound_twice(bound),
    ]
    _show_keys(state, tables, links)
    state.accepted = [
        Accepted(
            line.before,
            line.table,
            state.keys.get((line.table, bound(line.table, line.row, EVERY_SOURCE)), line.row),
            line.field,
            line.after,
            name,
        )
        for name, act in alive.items()
        if act.kind == ACCEPT
        for line in act.lines
    ]
    return state


class _Refused(NamedTuple):
    """What decisions refuse of one cell.

    `values` are refused whoever says them in a file; `listed` are those with the source that said
    them then; `acts` are values with the act that said them.
    """

    values: set[str]
    listed: set[tuple[str, str]]
    acts: set[tuple[str, str]]


_NOTHING_REFUSED = _Refused(set(), set(), set())
_Same = Callable[[str, str], Callable[[str], str]]


def _gather(
    acts: Acts,
    alive: Acts,
    lineage: Mapping[str, str],
    bound: Bindings,
    tables: Mapping[str, Table],
    links: Mapping[str, Mapping[str, str]],
    same: _Same,
) -> tuple[dict[Cell, list[Claim]], dict[Cell, _Refused]]:
    """Everything that is said of each cell, and what of it is refused."""
    keyed = [(name, one) for name, table in tables.items() for one in table.fields if one.key_of]
    claims: dict[Cell, list[Claim]] = {}
    refusals: dict[Cell, _Refused] = {}
    for name, act, said_by, lines in spoken(alive, lineage, silenced(acts, alive)):
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
            claims.setdefault(cell, []).append(Claim(after, said_by, name, line))
            if is_import:
                continue
            if field not in (ROW_FIELD, KEY_FIELD):
                # who corrects a cell vouches for the row, whatever its source says later
                here = claims.setdefault((table, row, ROW_FIELD), [])
                if not here or here[-1].act != name:
                    here.append(Claim(HERE, said_by, name, line))
            if line.said_by:
                refused = refusals.setdefault(cell, _Refused(set(), set(), set()))
                if line.said_by in acts:
                    refused.acts.add((before, line.said_by))
                else:
                    refused.values.add(same(table, field)(before))
                    refused.listed.add((same(table, field)(before), line.said_by))
    return claims, refusals


def _weigh(
    said: list[Claim], refused: _Refused, acts: Acts, same: Callable[[str], str]
) -> list[Claim]:
    """The claims of a cell in order, each value of a source once, with what is refused marked."""
    once: dict[tuple[str, str], Claim] = {}
    for claim in said:
        once.setdefault((claim.value, claim.said_by), claim)
    return [
        # a source is refused by what it says, a person or program by the very act
        claim._replace(
            refused=key in refused.acts
            or (claim.said_by not in acts and same(claim.value) in refused.values)
        )
        for key, claim in sorted(once.items(), key=lambda item: item[0])
    ]


def _tables_named(lines: list[Line], keyed: list[tuple[str, Field]]) -> dict[Cell, str]:
    """Cells that are keys into a table which another cell of their row names."""
    return {
        (name, line.row, one.name): line.after
        for name, one in keyed
        for line in lines
        if line.table == name and line.field == one.key_of
    }


def _call_rows(
    state: State,
    tables: Mapping[str, Table],
    shown: Mapping[tuple[str, str], dict[str, str]],
) -> None:
    """Give every row that is here its key and its cells, in the order of the keys."""
    for (table, row), values in shown.items():
        state.keys[table, row] = values.get(KEY_FIELD) or row
    here = [place for place, values in shown.items() if values.get(ROW_FIELD) == HERE]
    here.sort(key=lambda place: (in_order(state.keys[place]), place[1]))
    for table, row in here:
        cells = {
            name: text
            for name, text in shown[table, row].items()
            if name not in (ROW_FIELD, KEY_FIELD)
        }
        if key := key_field(tables[table]):
            cells[key] = state.keys[table, row]
        state.rows[table][row] = cells


def _show_keys(
    state: State, tables: Mapping[str, Table], links: Mapping[str, Mapping[str, str]]
) -> None:
    """References name rows; what stands in the table is the key that the row bears now."""
    for name, table in tables.items():
        named = {one.name: one.key_of for one in table.fields if one.key_of}
        own = key_field(table)
        for cells in state.rows[name].values():
            for column, target in links[name].items():
                if column != own and (text := cells.get(column)):
                    cells[column] = state.keys.get((target, text), text)
            for column, other in named.items():
                if text := cells.get(column):
                    cells[column] = state.keys.get((cells.get(other, ""), text), text)


def _conflicts(
    state: State,
    acts: Acts,
    shown: Mapping[tuple[str, str], dict[str, str]],
    refusals: Mapping[Cell, _Refused],
    cells: Iterable[Cell],
) -> Iterator[Conflict]:
    kinds = {ROW_FIELD: REMOVED_AND_STATED, KEY_FIELD: RENAMED_TWICE}
    for cell in cells:
        table, row, name = cell
        claims, key = state.claims[cell], state.keys[table, row]
        same = reader_of(state.model, table, name)
        listed = refusals.get(cell, _NOTHING_REFUSED).listed
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


def _twins(state: State) -> Iterator[Conflict]:
    """Rows that are called by one key."""
    for table, rows in state.rows.items():
        called: dict[str, list[str]] = {}
        for row in rows:
            called.setdefault(state.keys[table, row], []).append(row)
        for key, names in called.items():
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
    said = {name for cells in state.rows[table].values() for name in cells}
    return [*names, *sorted(said - names.keys())]
