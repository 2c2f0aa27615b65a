"""Writes the workbook that shows what a package holds, to be edited and brought back."""

from __future__ import annotations

from pathlib import Path

from provenance._history.acts import heads
from provenance._history.history import (
    ACT,
    first_act,
    keeps_history,
    open_history,
    stage_history,
)
from provenance._history.projection import rows_in_order
from provenance._printing.workbook import Leaving, write_workbook
from provenance._record.edition_key import edition_key
from provenance._record.measured import readings
from provenance._record.package import Package
from provenance._record.together import writing_together


def write_filled_workbook(package: Package, out: Path) -> Path:
    """Write the workbook of a package with all its rows to `out` (XLSX); returns `out`.

    `treenail import` takes it back as an edit of the record as it is now, whatever came in since.
    So what was changed in the tables by hand is first recorded as an act. The workbook of a public
    edition, or of a package of an older version without acts, comes back as any other sheet.
    Raises BrokenHistory when the acts do not fit together, TreenailError as `write_workbook`.
    """
    import pandas as pd

    model = package.model
    rows = {table.name: package.table(table.name) for table in model.of_role("record")}
    written = readings(package.tables)
    leaving = None
    if keeps_history(package) and edition_key(package) is not None:
        package.finish_writing()
        with package.locked():
            history = open_history(package)
            if len(history.acts) > len(package.tables.rows(ACT)):
                with writing_together(package.folder) as staging:
                    stage_history(history, staging)
        state = history.state
        for name in state.rows:
            rows[name] = pd.DataFrame(rows_in_order(state, name), dtype=str)
        leaving = Leaving(
            record=first_act(package).act_id(history.key),
            acts=heads(history.acts),
            rows={name: list(there) for name, there in state.rows.items()},
        )
    return write_workbook(
        model, out, rows=rows, readings=written, leaving=leaving, title=package.title
    )
