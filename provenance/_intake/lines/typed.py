"""Reads what a person types into one cell, as an import reads the cells of a sheet."""

from __future__ import annotations

from difflib import get_close_matches

from provenance._history.deciding import Refused
from provenance._identity.naming import CellNames
from provenance._intake.lines.cells import CellReader
from provenance._intake.mapping.mapping import ReadingHabits
from provenance._record.joined import keys_now
from provenance._record.package import Package


def as_typed(
    package: Package, table: str, field: str, text: str, *, as_shown: bool = False
) -> str:
    """What a person typed as the record holds it: metric sizes, codes, dates as an import has them.

    A bare number is in the unit of the field, `as_shown` in that in which the record shows it.
    Raises UnreadableValue for what the field cannot hold.
    """
    if not text or table not in package.model.tables or field not in package.model.table(table):
        return text
    one = package.model.table(table)
    links = {name for key in one.foreign_keys for name in key.fields}
    reader = CellReader(
        one.field(field),
        ReadingHabits(unit=package.model.unit_of(one.field(field)) or None if as_shown else None),
        package.model,
        names_row=field in links,
        named=CellNames(package.tables).reader_of(one, field),
    )
    return reader.read(text)


def refuse_lost_link(package: Package, table: str, field: str, text: str) -> None:
    """Raise Refused when a field that points to another table names no row of it."""
    if not text or table not in package.model.tables:
        return
    for key in package.model.table(table).foreign_keys:
        if key.fields == (field,):
            there = package.tables.column(key.table, key.reference_fields[0])
            if text not in there and text not in keys_now(package.tables, key.table):
                known = {one.casefold(): one for one in there}
                near = get_close_matches(text.casefold(), known, n=1)
                hint = f"; did you mean {known[near[0]]}?" if near else ""
                raise Refused(f"{field}: there is no {key.table} {text}{hint}")
