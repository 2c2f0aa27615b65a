"""What programs enter: a changed table of the record becomes an act, as a hand edit does."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import chain

from provenance._history.acts import SETTLE, Act
from provenance._history.edits import Cells, table_lines
from provenance._history.history import (
    frame_of,
    keeps_history,
    moment_text,
    open_history,
    stage_history,
)
from provenance._record.package import Package
from provenance._record.together import Staging, writing_together


def enter_table(
    package: Package,
    name: str,
    rows: Sequence[Cells],
    *,
    why: str,
    who: str = "",
    when: str = "",
) -> None:
    """Write a changed table of the record, as an act; hold the package's lock.

    `rows` are all rows of the table, as texts by column; `why` says what was done, `when` (now) is
    an RFC 3339 moment in UTC.
    """
    with writing_together(package.folder) as staging:
        stage_table(package, staging, name, rows, why=why, who=who, when=when)


def stage_table(
    package: Package,
    staging: Staging,
    name: str,
    rows: Sequence[Cells],
    *,
    why: str,
    who: str = "",
    when: str = "",
) -> None:
    """Stage a changed table of the record beside other files; see `enter_table`."""
    stage_tables(package, staging, {name: rows}, why=why, who=who, when=when)


def stage_tables(
    package: Package,
    staging: Staging,
    tables: Mapping[str, Sequence[Cells]],
    *,
    why: str,
    who: str = "",
    when: str = "",
) -> None:
    """Stage several changed tables of the record as one act; see `enter_table`."""
    wanted = {
        name: list(dict.fromkeys([*package.model.table(name).names, *chain.from_iterable(rows)]))
        for name, rows in tables.items()
    }
    if not keeps_history(package):
        for name, columns in wanted.items():
            with staging.writing(f"tables/{name}.csv") as stream:
                package.write_table_to(stream, name, frame_of(columns, tables[name]))
        return
    after = before = open_history(package)
    lines = [
        line
        for name, columns in wanted.items()
        for line in table_lines(before.state, package.model.table(name), tables[name], columns)
    ]
    if lines:
        act = Act(SETTLE, who=who, when=when or moment_text(), why=why, lines=tuple(lines))
        after, _ = before.adding(act)
    stage_history(after, staging, before=before)


def enter_hand_edits(package: Package) -> None:
    """Write down as an act what was changed in the tables by hand; hold the package's lock.

    Rows that were given another key by hand are told from new ones by it.
    """
    with writing_together(package.folder) as staging:
        stage_history(open_history(package), staging)
