"""Which stand-in each row has in public editions: drawn once, kept in the full package.

A stand-in is five random letters. It is no function of the key or of the record's own key: whoever
learns that one could else compute all of them. Its table is in no public edition.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Mapping, Set
from dataclasses import dataclass, field

from provenance._history.history import CHANGE, read_acts
from provenance._history.projection import State, project
from provenance._record.package import Package

TABLE, WITHDRAWAL = "standin", "withdrawal"
FULL_ONLY = (TABLE, WITHDRAWAL, "plan_fit", "plan_point")
"""Tables of the record that are in no public edition, not even empty."""
LETTERS = "BCDFGHJKLMNPQRTVWX"
"""No vowels, so that they make no words, and none that is read as a digit (S, Z)."""
LENGTH = 5
_DRAWN = re.compile(f"[{LETTERS}]{{{LENGTH}}}")

Row = tuple[str, str]
"""Table and key of a row."""


@dataclass
class StandIns:
    """The stand-ins of a record, and those that are still to be written down.

    `are_kept` says whether the package has a table for them; where it has none they are drawn for
    one edition. `retired` are rows that a public edition names or named, `declared` those of them
    for which a later edition said that it withdraws the former ones.
    """

    are_kept: bool
    names: dict[Row, str] = field(default_factory=dict)
    retired: set[Row] = field(default_factory=set)
    declared: set[Row] = field(default_factory=set)
    drawn: dict[Row, str] = field(default_factory=dict)
    _taken: set[str] = field(default_factory=set)

    def of(self, table: str, key: str) -> str:
        """The stand-in of a row, drawn now if it has none."""
        row = (table, key)
        if row not in self.names:
            self.names[row] = self.drawn[row] = self.draw()
        return self.names[row]

    def draw(self) -> str:
        """Letters that never stood for anything in this record."""
        while (name := "".join(secrets.choice(LETTERS) for _ in range(LENGTH))) in self._taken:
            pass
        self._taken.add(name)
        return name


def read_stand_ins(package: Package) -> StandIns:
    """The stand-ins that a package keeps."""
    tables = package.tables
    found = StandIns(TABLE in tables.model.tables)
    for table in tables.model.of_role("record"):
        # a key that was written by hand is no stand-in
        if len(table.primary_key) == 1:
            found._taken.update(tables.column(table.name, table.primary_key[0]))
    if not found.are_kept:
        return found
    owners: dict[str, Row] = {}
    rows = [*tables.rows(TABLE), *_taken_back(package)]
    for row in sorted(rows, key=lambda one: (one["made"], one["name"])):
        name, place = row["name"], (row["table_name"], row["row_key"])
        # one that somebody wrote by hand could be a word, or stand for two rows
        is_drawn = _DRAWN.fullmatch(name) and owners.setdefault(name, place) == place
        found._taken.add(name)
        if not row["retired"]:
            if is_drawn:
                found.names.setdefault(place, name)
            continue
        # one retirement that is not declared yet is enough to ask for it
        is_declared = bool(row["withdrawn"])
        if place not in found.retired:
            found.retired.add(place)
            found.declared |= {place} if is_declared else set()
        elif not is_declared:
            found.declared.discard(place)
    return found


def _taken_back(package: Package) -> list[dict[str, str]]:
    """Rows that acts once wrote and that were undone or removed; editions show them still."""
    tables = package.tables
    if CHANGE not in tables.model.tables:
        return []
    there = set(tables.column(TABLE, "name"))
    lost: dict[str, dict[str, str]] = {}
    for table, name, one, text in tables.tuples(
        CHANGE, ("table_name", "row_key", "field", "after")
    ):
        if table == TABLE and name not in there and "~" not in name:
            row = lost.setdefault(name, _row(("", ""), name, ""))
            if one in row and text:
                row[one] = text
    keys = _state(package).keys if lost else {}
    return [
        row | {"row_key": keys.get((row["table_name"], row["row_key"]), row["row_key"])}
        for row in lost.values()
    ]


def _state(package: Package) -> State:
    tables = package.tables
    acts = tables.once("acts", read_acts)
    return tables.once("state", lambda tables: project(tables.model, acts))


def rows_with(
    package: Package, stand_ins: StandIns, named: Mapping[Row, bool], declared: Set[Row], now: str
) -> list[dict[str, str]]:
    """The rows of the table with what an edition adds to them.

    `named` are the rows that the edition names, and whether their key is a stand-in even so;
    `declared` are those named before, of which it says that this is withdrawn. `now` is an RFC 3339
    moment.
    """
    rows = [dict(row) for row in package.tables.rows(TABLE)]
    rows += [_row(place, name, now) for place, name in stand_ins.drawn.items()]
    for place in (*named, *declared):
        mine = [row for row in rows if (row["table_name"], row["row_key"]) == place]
        if any(row["retired"] and not row["withdrawn"] for row in mine):
            continue
        waiting = [] if named.get(place) else [row for row in mine if not row["retired"]]
        if not waiting:
            waiting = [_row(place, stand_ins.draw(), now)]
            rows += waiting
        for row in waiting:
            row["retired"] = now
    for row in rows:
        if (row["table_name"], row["row_key"]) in declared and row["retired"]:
            row["withdrawn"] = row["withdrawn"] or now
    return rows


def _row(place: Row, name: str, made: str) -> dict[str, str]:
    return {
        **{"name": name, "table_name": place[0], "row_key": place[1]},
        **{"made": made, "retired": "", "withdrawn": ""},
    }


def said_once(package: Package, table: str, field_name: str) -> dict[str, set[str]]:
    """Everything that acts ever said of a field, by the keys that its rows bear or bore last."""
    tables = package.tables
    found: dict[str, set[str]] = {}
    if CHANGE not in tables.model.tables:
        return found
    lines = tables.tuples(CHANGE, ("table_name", "field", "row_key", "before", "after"))
    said = [one[2:] for one in lines if one[:2] == (table, field_name)]
    if not said:
        return found
    state = _state(package)
    for row, before, after in said:
        found.setdefault(state.keys.get((table, row), row), set()).update((before, after))
    return found
