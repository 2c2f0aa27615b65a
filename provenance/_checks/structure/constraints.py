"""Checks the cells of a table against the types and constraints of its fields.

Each constraint is one expression over a column; all of them run in one pass. What a column's own
reading cannot settle is settled exactly, once for each different text: odd spellings of numbers,
and values on a limit, where binary numbers may round to the wrong side.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import polars as pl

from provenance._base.errors import UnusablePackage
from provenance._checks.language.wording import found_in_cells
from provenance._checks.structure.forms import find_unlisted, find_wrong_forms
from provenance._checks.structure.patterns import Patience
from provenance._model.measures import METRIC, Measures
from provenance._model.schema import Field, Model, Table
from provenance._record.cells import FALSE_WORDS, TRUE_WORDS, canonical, decimal_of, whole_of
from provenance._record.reading import TableText
from provenance._record.tables import ROW

LIMITS: tuple[tuple[str, str, Callable[[Decimal, Decimal], bool]], ...] = (
    ("minimum", "too_small", operator.ge),
    ("maximum", "too_large", operator.le),
    ("exclusiveMinimum", "not_above", operator.gt),
    ("exclusiveMaximum", "not_below", operator.lt),
)
"""Constraint, the kind of finding when it is broken, and what must hold of value and limit."""

NOT_OF_TYPE = {
    "number": "not_a_number",
    "integer": "not_a_whole_number",
    "boolean": "not_yes_or_no",
}
_LIMIT_NAMES = {constraint for constraint, _, _ in LIMITS}
_SUPPORTED = {
    "string": {"required", "unique", "minLength", "maxLength", "pattern", "enum"},
    "number": {"required", "unique", "enum", *_LIMIT_NAMES},
    "integer": {"required", "unique", "enum", *_LIMIT_NAMES},
    "boolean": {"required", "unique", "enum"},
}
_LENGTHS: dict[str, tuple[str, Callable[[Any, Any], Any]]] = {
    "minLength": ("too_few_characters", operator.lt),
    "maxLength": ("too_many_characters", operator.gt),
}
_ODD = "odd"


@dataclass(frozen=True)
class _Probe:
    """One thing that can be wrong with the cells of one field, as an expression that finds it.

    `name` is the kind of the finding, or _ODD where each different text must be looked at.
    """

    field: Field
    name: str
    wrong: pl.Expr
    limit: str = ""


def find_in_cells(
    model: Model, table: Table, text: TableText, patience: Patience
) -> Iterator[pl.DataFrame]:
    """Findings about single cells, with the columns FOUND.

    Blank rows are passed over, and so are required cells that a short row lacks: those rows have
    their own finding. Raises UnusablePackage for a type or constraint that Table Schema lacks.
    """
    columns = set(text.frame.columns)
    present = [one for one in table.fields if one.name in columns]
    for one in present:
        _refuse_unknown(table, one)
    if len(text):
        yield from _find_by_probes(model, table, text, present)
    for one in present:
        # a pattern is tried on no cell at all, as it may be unusable
        frame = text.frame.clear() if one.name in text.unwritten else text.frame
        if "pattern" in one.constraints:
            yield from find_wrong_forms(model, table, one, frame, patience)
        if "enum" in one.constraints and one.type != "string":
            yield from _unlisted_numbers(model, table, one, frame)


def _find_by_probes(
    model: Model, table: Table, text: TableText, present: list[Field]
) -> Iterator[pl.DataFrame]:
    probes = [probe for one in present for probe in _probes(one, one.name in text.unwritten)]
    # numbers are read once, whatever is asked of them
    columns = text.frame.lazy().select(column for one in present for column in _columns(one))
    masks = columns.select(_numbered(probes, text)).collect()
    for probe, mask in zip(probes, masks, strict=True):
        if not mask.any():
            continue
        rows = text.frame.lazy().filter(mask).select(ROW, value=probe.field.name).collect()
        if probe.name == _ODD:
            yield from _settled(table, probe.field, rows, model.measures)
        elif probe.name == "not_in_list":
            yield find_unlisted(model, table, probe.field, rows)
        else:
            limit = _in_words(probe.limit, probe.field, model.measures)
            yield found_in_cells(probe.name, table, probe.field, rows, limit=limit)


def _numbered(probes: list[_Probe], text: TableText) -> Iterator[pl.Expr]:
    """The probes under their numbers, with blank rows and what short rows lack left out."""
    rows = text.frame[ROW]
    written = ~rows.is_in(text.blank.implode()) if len(text.blank) else None
    widths = None
    if text.faults.short:
        short = text.faults.short
        widths = rows.replace_strict(
            list(short), list(short.values()), default=len(text.labels), return_dtype=pl.Int64
        )
    for number, probe in enumerate(probes):
        wrong = probe.wrong
        if probe.name == "required":
            if written is not None:
                wrong &= pl.lit(written)
            if widths is not None:
                wrong &= pl.lit(widths > text.labels.index(probe.field.name))
        yield wrong.alias(str(number))


def _refuse_unknown(table: Table, one: Field) -> None:
    """Raise UnusablePackage for a type or constraint that Table Schema lacks."""
    where = f"field '{one.name}' of table '{table.name}'"
    if one.type not in _SUPPORTED:
        raise UnusablePackage(f"{where} has the type '{one.type}'; known are {[*_SUPPORTED]}")
    unknown = sorted(set(one.constraints) - _SUPPORTED[one.type])
    if unknown:
        raise UnusablePackage(f"{where}: a {one.type} cannot have the constraint '{unknown[0]}'")
    for name in _LENGTHS:
        limit = one.constraints.get(name)
        if limit is not None and (not isinstance(limit, int) or isinstance(limit, bool)):
            raise UnusablePackage(f"{where}: {name} is no whole number: {limit!r}")
    for constraint, _, _ in LIMITS:
        limit_of(one, constraint)


def _columns(one: Field) -> Iterator[pl.Expr]:
    """The texts of a field and, where they should be numbers, these."""
    yield pl.col(one.name).alias(_text(one))
    if one.type in ("number", "integer"):
        kind = pl.Int64 if one.type == "integer" else pl.Float64
        yield pl.col(one.name).cast(kind, strict=False).alias(_number(one))


def _text(one: Field) -> str:
    return f"text of {one.name}"


def _number(one: Field) -> str:
    return f"number of {one.name}"


def _probes(one: Field, unwritten: bool) -> Iterator[_Probe]:
    """What can be wrong with a field; where nothing is written, only that."""
    cell = pl.col(_text(one))
    if one.constraints.get("required"):
        yield _Probe(one, "required", cell == "")
    if unwritten:
        return
    if one.type == "string":
        yield from _string_probes(one)
    elif one.type == "boolean":
        yield _Probe(one, NOT_OF_TYPE["boolean"], ~cell.is_in(["", *TRUE_WORDS, *FALSE_WORDS]))
    else:
        yield from _number_probes(one)


def _string_probes(one: Field) -> Iterator[_Probe]:
    cell = pl.col(_text(one))
    if "enum" in one.constraints:
        codes = [str(code) for code in one.constraints["enum"]]
        yield _Probe(one, "not_in_list", ~cell.is_in(["", *codes]))
    characters = cell.str.len_chars().cast(pl.Int64)
    for constraint, (name, broken) in _LENGTHS.items():
        limit = one.constraints.get(constraint)
        if limit is None:
            continue
        yield _Probe(one, name, (cell != "") & broken(characters, limit), str(limit))


def _number_probes(one: Field) -> Iterator[_Probe]:
    """What can be wrong with numbers: those on a limit count as odd, as they need exactness."""
    number = pl.col(_number(one))
    limits = [
        (name, limit, holds)
        for constraint, name, holds in LIMITS
        if (limit := limit_of(one, constraint)) is not None
    ]
    usual = number.is_not_null() if one.type == "integer" else number.is_finite().fill_null(False)
    compare: Any
    for _, limit, _ in limits:
        usual &= number != float(limit)
    yield _Probe(one, _ODD, (pl.col(_text(one)) != "") & ~usual)
    for name, limit, compare in limits:
        broken = usual & ~compare(number, float(limit))
        yield _Probe(one, name, broken, f"{limit:f}")


def _in_words(limit: str, one: Field, measures: Measures) -> str:
    """A limit with its unit, behind it in the record's own where the cell holds another."""
    told = f"{limit} {one.unit}" if one.unit and one.type != "string" else limit
    if not limit or one.measure is None or measures.system == METRIC:
        return told
    return f"{measures.say(limit, one.unit or '', one.measure)} ({told})"


def _settled(
    table: Table, one: Field, rows: pl.DataFrame, measures: Measures
) -> Iterator[pl.DataFrame]:
    """Findings about numbers that have to be looked at one by one."""
    texts: dict[str, list[str]] = {}
    for text in rows["value"].unique().sort().to_list():
        for name in faults_of_number(text, one):
            texts.setdefault(name, []).append(text)
    limits = {name: limit_of(one, constraint) for constraint, name, _ in LIMITS}
    for name, faulty in texts.items():
        limit = limits.get(name)
        words = {} if limit is None else {"limit": _in_words(f"{limit:f}", one, measures)}
        yield found_in_cells(name, table, one, rows.filter(pl.col("value").is_in(faulty)), **words)


def _unlisted_numbers(
    model: Model, table: Table, one: Field, frame: pl.DataFrame
) -> Iterator[pl.DataFrame]:
    """Numbers and truth values that a list lacks, however they are spelt."""
    listed = {canonical(str(value), one.type) for value in one.constraints["enum"]}
    spelt = frame[one.name].unique().to_list()
    wrong = [text for text in spelt if (value := canonical(text, one.type)) and value not in listed]
    if wrong:
        rows = frame.filter(pl.col(one.name).is_in(wrong)).select(ROW, value=one.name)
        yield find_unlisted(model, table, one, rows)


# -- one text at a time ---------------------------------------------------------------------------


def limit_of(field: Field, constraint: str) -> Decimal | None:
    """The limit that a constraint sets; None without it; UnusablePackage when it is no number."""
    if constraint not in field.constraints:
        return None
    written = field.constraints[constraint]
    limit = decimal_of(str(written))
    if limit is None or not limit.is_finite():
        raise UnusablePackage(f"field '{field.name}': {constraint} is no number: {written!r}")
    return limit


def faults_of_number(text: str, field: Field) -> tuple[str, ...]:
    """The kinds of finding that a text in a field of numbers gives rise to.

    'Not a number' is a number in Table Schema, but it keeps no limit.
    """
    number: Decimal | None
    if field.type == "integer":
        whole = whole_of(text)
        number = None if whole is None else Decimal(whole)
    else:
        number = decimal_of(text)
    if number is None:
        return (NOT_OF_TYPE[field.type],)
    limits = [(name, holds, limit_of(field, constraint)) for constraint, name, holds in LIMITS]
    return tuple(
        name
        for name, holds, limit in limits
        if limit is not None and (number.is_nan() or not holds(number, limit))
    )
