"""Settles cells that an import could not read: a person says what they hold, or nothing."""

from __future__ import annotations

from provenance._base.errors import UnusableInput
from provenance._history.deciding import Done, correct, decide
from provenance._intake.table_rows import TableRows
from provenance._intake.typed import TypedCells
from provenance._record.package import Package
from provenance._record.together import writing_together

UNREAD = "unread"


def open_cells(package: Package) -> list[dict[str, str]]:
    """The cells that wait, as rows of the table 'unread'."""
    return [dict(row) for row in package.tables.rows(UNREAD) if not row["settled"]]


def settle_unread(
    package: Package,
    unread_id: str,
    value: str,
    *,
    who: str,
    why: str = "",
    as_shown: bool = False,
) -> Done | None:
    """Enter what a cell holds that could not be read, as a person types it; '' leaves it blank.

    What is entered is an act (`correct`), whose reason is `why` or else the text of the cell. A
    cell that is left blank needs the reason, and nothing else changes. A bare length is in the unit
    of its field, `as_shown` in that in which the record is measured. Raises UnusableInput and
    what `decide` and the reading of the value raise; nothing is settled then.
    """
    cell = next((row for row in open_cells(package) if row["unread_id"] == unread_id), None)
    if cell is None:
        raise UnusableInput(f"{unread_id}: there is no such cell to settle; it may be settled")
    table, key, field = cell["table_name"], cell["row_key"], cell["field"]
    done = None
    if value:
        if not key:
            raise UnusableInput(
                f'"{cell["cell_text"]}" was to become the key of a row of {table}, so there is no '
                "row to enter it in; add the row, then leave this cell with the reason"
            )
        read = TypedCells.of(package.tables, as_shown=as_shown).read(table, field, value)
        key_of = package.model.table(table).key_of
        standing = {key_of(row): row[field] for row in package.tables.rows(table)}
        if standing.get(key) != read:
            done = decide(
                package,
                correct(table, key, {field: read}, {field: value} if value != read else {}),
                who=who,
                why=why or f'written "{cell["cell_text"]}"',
            )
        words = f'Entered "{value}"'
    elif why:
        words = "Left blank"
    else:
        raise UnusableInput("enter the value, or say why the cell is left blank")
    said = f"{words}{f' by {who}' if who else ''}{f': {why}' if why else ''}."
    with package.locked():
        rows = TableRows(package.model.table(UNREAD), package.tables)
        row = rows.get(unread_id)
        if row is not None:
            rows.put(row, "settled", said)
            with (
                writing_together(package.folder) as staging,
                staging.writing(f"tables/{UNREAD}.csv") as stream,
            ):
                package.write_table_to(stream, UNREAD, rows.frame())
    return done
