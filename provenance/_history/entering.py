"""What programs enter: a changed table of the record becomes an act, as a hand edit does."""

from __future__ import annotations

from collections.abc import Sequence

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
    table = package.model.table(name)
    columns = list(dict.fromkeys([*table.names, *(column for row in rows for column in row)]))
    if not keeps_history(package):
        with staging.writing(f"tables/{name}.csv") as stream:
            package.write_table_to(stream, name, frame_of(columns, rows))
        return
    after = before = open_history(package)
    lines = table_lines(before.state, table, rows, columns)
    if lines:
        act = Act(SETTLE, who=who, when=when or moment_text(), why=why, lines=tuple(lines))
        after, _ = before.adding(act)
    stage_history(after, staging, before=before)
