"""Says the sizes of a record as its crew measures, at the step they were read with."""

from __future__ import annotations

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
