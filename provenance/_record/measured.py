"""Says the sizes of a record as its crew measures, at the step they were read with."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from fractions import Fraction

import polars as pl

from provenance._model.measures import KIND_OF_UNIT, KINDS, METRIC, MM_PER, step_of_column
from provenance._model.schema import Field
from provenance._model.written import reading, step_of
from provenance._record.cells import float_of
from provenance._record.snapshot import Snapshot

READING = "reading"
_BORES = ("bore_mm", "dowel_mm")
_PLAIN = r"^-?[0-9]+\.?([0-9]*)$"


def said(
    tables: Snapshot,
    table: str,
    field: str,
    value: float | str,
    *,
    u95_mm: float | None = None,
    other: bool = False,
) -> str:
    """A value of a field with its unit, as the record measures; see `Measures.say`.

    It has the finest step that anybody read in that column.
    """
    one = tables.model.table(table).field(field)
    assert one.unit is not None
    step = tables.once(f"step of {table}.{field}", lambda _: _step(tables, table, one))
    measures = tables.model.measures
    # older schemas do not name the kind, and a bit to whole millimeters would be none
    kind = one.measure or ("bore" if field in _BORES else None)
    return measures.say(value, one.unit, kind, step=step, u95_mm=u95_mm, other=other)


def reading_of(tables: Snapshot, table: str, row_key: str, field: str) -> str:
    """A length as it was written, with its unit; '' where none was, or the value is another now."""
    found = readings(tables).get((table, row_key, field))
    if found is None:
        return ""
    unit = tables.model.table(table).field(field).unit
    values = tables.once(f"{field} of {table}", lambda _: _by_key(tables, table, field))
    value = values.get(row_key, "")
    return found if unit and reading(found, value, unit) else ""


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
        measures = tables.model.measures
        if measures.system != METRIC and _CORNERS.fullmatch(text):
            said_one = _NUMBER.sub(lambda one: measures.say(one[0], "m", "survey")[:-3], text)
            return f"{said_one} ft"
        return f"{text} {tables.model.table(table).field(field).unit or ''}".strip()
    return said(tables, table, field, number, other=other)


_SENSELESS = 1e12
_NUMBER = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")
# the corners of a place in the meters of the site grid, as the schema of places has them
_CORNERS = re.compile(
    rf"{_NUMBER.pattern} {_NUMBER.pattern}(?:, ?{_NUMBER.pattern} {_NUMBER.pattern})+"
)


def readings(tables: Snapshot) -> Mapping[tuple[str, str, str], str]:
    """Table, key and field of a length → how it was written, also where the table was edited by
    hand since.
    """
    return tables.once("readings", _readings)


def _readings(tables: Snapshot) -> Mapping[tuple[str, str, str], str]:
    if not _kept(tables):
        return {}
    rows = tables.tuples(READING, ("table_name", "row_key", "field", "as_written"))
    return {(table, key, field): text for table, key, field, text in rows}


def _kept(tables: Snapshot) -> bool:
    """Whether readings are kept: older schemas have no table for them."""
    return READING in tables.model.tables and tables.written(READING) is not None


def _by_key(tables: Snapshot, table: str, field: str) -> dict[str, str]:
    frame = tables.whole(table).select(_key(tables, table), field)
    return dict(frame.iter_rows())


def _key(tables: Snapshot, table: str) -> pl.Expr:
    return pl.concat_str(tables.model.table(table).primary_key, separator=" / ").alias("key")


def _steps_written(tables: Snapshot) -> dict[tuple[str, str], list[Fraction]]:
    """Table and field → the divisions in mm to which lengths there were read."""
    found: dict[tuple[str, str], list[Fraction]] = {}
    if _kept(tables):
        places = ("table_name", "field", "step_mm")
        some = tables.texts(READING).group_by(places).agg(pl.col("as_written").first())
        for table, field, _, written in some.iter_rows():
            if (step := step_of(written)) is not None:
                found.setdefault((table, field), []).append(step)
    return found


def _step(tables: Snapshot, table: str, one: Field) -> Fraction | None:
    """The finest division that anybody read in a column; None where nobody did."""
    if one.obtained == "computed":
        return None
    steps: Iterable[Fraction] = tables.once("steps of readings", _steps_written).get(
        (table, one.name), []
    )
    system = tables.model.units
    if system == METRIC:
        steps = [*steps, *_plain_steps(tables, table, one)]
    return step_of_column(steps, system)


def _plain_steps(tables: Snapshot, table: str, one: Field) -> list[Fraction]:
    """The step of numbers that were written in the unit of the column, as they are stored."""
    assert one.unit is not None
    frame = tables.whole(table)
    written = [key for name, key, field in readings(tables) if (name, field) == (table, one.name)]
    plain = frame.filter(~_key(tables, table).is_in(written)) if written else frame
    decimals = plain[one.name].str.extract(_PLAIN).str.len_chars().max()
    if not isinstance(decimals, int):
        return []
    kind = KINDS[one.measure or KIND_OF_UNIT[one.unit]]
    step = MM_PER[one.unit] / 10**decimals
    # a digit more than the kind has may be read; still more come from a conversion
    return [step] if step >= MM_PER[kind.metric] / 10 ** (kind.decimals + 1) else []
