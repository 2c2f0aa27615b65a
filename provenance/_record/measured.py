"""Says the sizes of a record as its crew measures, at the step they were read with."""

from __future__ import annotations

from provenance._record.cells import float_of
from provenance._record.snapshot import Snapshot


def said(
    tables: Snapshot,
    table: str,
    field: str,
    value: float | str,
    *,
    u95_mm: float | None = None,
    other: bool = False,
) -> str:
    """A value of a field with its unit, as the record measures; see `Measures.say`."""
    one = tables.model.table(table).field(field)
    assert one.unit is not None
    return tables.model.measures.say(value, one.unit, one.measure, u95_mm=u95_mm, other=other)


def shown(
    tables: Snapshot, table: str, field: str, text: str | None, *, other: bool = False
) -> str:
    """What stands in a cell with its unit, as people read it; '' for a blank one.

    A text that is no number stays as it is written, with the unit of its column behind it.
    """
    if not text:
        return ""
    number = float_of(text)
    if number is None or not abs(number) < _SENSELESS:
        return f"{text} {tables.model.table(table).field(field).unit or ''}".strip()
    return said(tables, table, field, number, other=other)


_SENSELESS = 1e12
