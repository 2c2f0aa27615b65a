"""What a trade rule is, and how its findings are worded."""

from __future__ import annotations

import re
import string
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from math import isfinite

import polars as pl

from provenance._model.measures import METRIC, MM_PER, SI
from provenance._model.schema import Model
from provenance._record.cells import float_of
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

COMMON_PRACTICE = "common practice, no source"
EVERY_TABLE = "every table"
"""What a rule over many tables names as its table; its findings have a column 'table'."""

Find = Callable[[Snapshot], pl.DataFrame]


@dataclass(frozen=True)
class Rule:
    """One check across tables.

    `find` returns one line a finding, with the column `row` (record number in `table`) and every
    column that `says` and `remedy` name in braces. `field` is the field the finding points at;
    when `find` returns a column 'field' that wins. A rule over many tables has EVERY_TABLE for its
    `table` and returns a column 'table'. The value shown is the field's own text. One that is
    `on_disk` looks at more than the tables, and may have something to say of one without rows.
    """

    id: str
    table: str
    field: str
    severity: str
    says: str
    remedy: str
    source: str
    find: Find
    on_disk: bool = False

    @property
    def subject(self) -> str:
        """The first part of the id, by which rules are grouped."""
        return self.id.split(".")[0]


def rule(
    id: str, *, table: str, field: str = "", severity: str, says: str, remedy: str, source: str
) -> Callable[[Find], Rule]:
    """Turn a function over the tables into a Rule; its docstring is the rule's reason.

    Only a rule over many tables goes without a `field`.
    """

    def make(find: Find) -> Rule:
        return Rule(id, table, field, severity, says, remedy, source, find)

    return make


def over_fields(word: str, found: Iterable[tuple[str, str, pl.DataFrame]]) -> pl.DataFrame:
    """What a rule about every table returns: for (table, field, rows) each row with its `word`."""
    parts = [
        rows.select(pl.lit(table).alias("table"), ROW, pl.lit(field).alias("field"), word)
        for table, field, rows in found
        if len(rows)
    ]
    columns = {"table": pl.String, ROW: pl.UInt32, "field": pl.String, word: pl.String}
    return pl.concat([pl.DataFrame(schema=columns), *parts])


_LENGTH = re.compile(r"\w+_(mm|cm|m)")
_TO_THE_NEXT = (" and ", " by ", " to ")
"""Between two lengths that have their unit behind the second."""


def worded(template: str, columns: list[str], model: Model | None = None) -> pl.Expr:
    """A column of sentences: the template with the values of each line; nothing known is '?'.

    A value of a column whose name ends with the unit that follows it in the template ('{length_mm}
    mm', '{first_cm} and {second_cm} cm') is a length and said as the record of `model` measures.
    """
    pieces: list[pl.Expr] = []
    parts = list(string.Formatter().parse(template))
    for at, (literal, name, spec, _) in enumerate(parts):
        said_before = _length_at(parts, at - 1) if at else None
        if said_before:
            literal = literal.removeprefix(f" {said_before}")
        if literal:
            pieces.append(pl.lit(literal))
        if name is not None:
            if name not in columns:
                raise KeyError(f"the sentence names '{name}', which the rule does not return")
            value = pl.col(name)
            if unit := _length_at(parts, at):
                bare = parts[at + 1][0] in _TO_THE_NEXT
                say = partial(_said, model, name, unit, spec or "", bare)
                words = value.map_elements(say, return_dtype=pl.String)
                pieces.append(words.fill_null(f"? {unit}"))
                continue
            if spec:
                value = value.round(int(spec.removeprefix(".").removesuffix("f")))
            # a person reads '98 mm', not '98.0 mm'
            shown = value.cast(pl.String).str.replace(r"^(-?[0-9]+)\.0$", "${1}")
            pieces.append(shown.fill_null("?"))
    return pl.concat_str(pieces) if pieces else pl.lit("")


_Part = tuple[str, str | None, str | None, str | None]


def _length_at(parts: Sequence[_Part], at: int) -> str | None:
    """The unit of the length that is the value of a part of a template; None for other values."""
    name = parts[at][1]
    unit = match[1] if name and (match := _LENGTH.fullmatch(name)) else None
    if unit is None or at + 1 == len(parts):
        return None
    literal, following = parts[at + 1][:2]
    if re.match(rf" {unit}\b", literal):
        return unit
    pair = literal in _TO_THE_NEXT and following and following.endswith(f"_{unit}")
    return unit if pair and _length_at(parts, at + 1) == unit else None


def _said(model: Model | None, name: str, unit: str, spec: str, bare: bool, value: object) -> str:
    """One length in words; `spec` ('.2f') has the decimals of a metric one that was computed.

    A `bare` metric one has the unit of the length that follows it.
    """
    number = float_of(str(value))
    if number is None or not isfinite(number):
        return f"{value} {unit}"
    measures = model.measures if model else SI
    kind = _kinds(model).get(name) if model else None
    if kind is None and unit == "m":
        kind = "timber"
    digits = int(spec.removeprefix(".").removesuffix("f")) if spec else None
    metric = measures.system == METRIC
    step = MM_PER[unit] / 10**digits if metric and digits is not None else None
    text = measures.say(number, unit, kind, step=step)
    # a person reads '98 mm', not '98.0 mm'
    text = re.sub(r"\.?0+ (?=(?:mm|cm|m)$)", " ", text) if "." in text else text
    return text.removesuffix(f" {unit}") if bare else text


def _kinds(model: Model) -> dict[str, str]:
    """The kind of length of each column that is called as a field is."""
    return model.once(
        "kinds of lengths",
        lambda of: {field.name: field.measure for _, field in of.every_field() if field.measure},
    )
