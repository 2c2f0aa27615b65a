"""The cells of a table as its people write them, so that what is shown can be typed back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from provenance._model.schema import Field, Table
from provenance._printing.crew_units import HOW_TO_WRITE, as_crews_write
from provenance._record.cells import float_of
from provenance._record.measured import readings
from provenance._record.snapshot import Row, Snapshot


def shown_rows(tables: Snapshot, name: str) -> Iterator[dict[str, str]]:
    """Every row of a table, its lengths in the units of the record where those say them exactly."""
    table = tables.model.table(name)
    lengths = [one for one in table.fields if tables.model.form_unit(one) in HOW_TO_WRITE]
    for row in tables.rows(name):
        yield shown_row(tables, table, row, lengths)


def shown_row(
    tables: Snapshot, table: Table, row: Row, lengths: list[Field] | None = None
) -> dict[str, str]:
    """One row so; `lengths` are the fields that are written in feet and inches, if known."""
    if lengths is None:
        lengths = [one for one in table.fields if tables.model.form_unit(one) in HOW_TO_WRITE]
    cells = {name: row[name] for name in table.names}
    written: Mapping[tuple[str, str, str], str] = readings(tables) if lengths else {}
    for one in lengths:
        text = cells[one.name]
        if float_of(text) is not None:
            as_read = written.get((table.name, table.key_of(cells), one.name), "")
            cells[one.name] = as_crews_write(tables.model, one, text, as_read)
    return cells
