"""Who is heard: which lines of acts still count, and which row a stated key means."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping

from provenance._history.acts import BIND, IMPORT, ROW_FIELD, SETTLE, Act, Acts, Line

WRITTEN_ONCE = ("lab_result",)
"""Tables of reports: what a newer copy of a file says there does not silence the older one."""
EVERY_SOURCE = "*"


def silenced(acts: Acts, alive: Acts) -> dict[str, set[tuple[str, str]]]:
    """Import → (sheet, table) about which a newer copy of the file speaks in its place."""
    silent: dict[str, set[tuple[str, str]]] = defaultdict(set)
    for newer in alive.values():
        if newer.kind != IMPORT or not newer.replaces:
            continue
        for scope in (one for one in newer.lines if not one.row):
            waiting = [(one, scope.before or scope.sheet) for one in newer.replaces]
            while waiting:
                name, sheet = waiting.pop()
                older = acts.get(name)
                if older is None or (sheet, scope.table) in silent[name]:
                    continue
                if scope.table not in WRITTEN_ONCE or older.source == newer.source:
                    silent[name].add((sheet, scope.table))
                    waiting += [(one, _older_sheet(older, sheet)) for one in older.replaces]
    return silent


def _older_sheet(act: Act, sheet: str) -> str:
    return next((s.before for s in act.lines if not s.row and s.sheet == sheet and s.before), sheet)


class Bindings:
    """Which row a key means: (table, key as stated, who states it) → the row's name."""

    def __init__(self, alive: Acts) -> None:
        self.rows: dict[tuple[str, str, str], set[str]] = defaultdict(set)
        for act in alive.values():
            for line in act.lines if act.kind == BIND else ():
                if line.field == ROW_FIELD:
                    self.rows[line.table, line.row, line.said_by].add(line.after)

    def __call__(self, table: str, key: str, said_by: str) -> str:
        rows = self.rows
        if not rows:  # in most records nothing was ever split or joined
            return key
        row = min(rows[table, key, said_by]) if (table, key, said_by) in rows else key
        walked: list[str] = []
        while (table, row, EVERY_SOURCE) in rows:
            if row in walked:  # joined in a circle: one row, under the first of its names
                return min(walked)
            walked.append(row)
            row = min(rows[table, row, EVERY_SOURCE])
        return row

    def contested(self) -> Iterator[tuple[str, str, str, list[str]]]:
        """(table, key, who states it, the rows) where it was given to several rows."""
        for (table, key, said_by), rows in self.rows.items():
            if len(rows) > 1:
                yield table, key, said_by, sorted(rows)


def spoken(
    alive: Acts, lineage: Mapping[str, str], silent: Mapping[str, set[tuple[str, str]]]
) -> Iterator[tuple[str, Act, str, list[Line]]]:
    """(act, its content, who says it, the lines that still count) of imports and decisions."""
    for name, act in sorted(alive.items()):
        if act.kind == IMPORT:
            unheard = silent.get(name, ())
            lines = [one for one in act.lines if one.row and (one.sheet, one.table) not in unheard]
            yield name, act, lineage[name], lines
        elif act.kind in (SETTLE, BIND):
            # a row that is told apart gets its new key by the same act
            is_bind = act.kind == BIND
            yield name, act, name, [one for one in act.lines if not is_bind or one.field]
