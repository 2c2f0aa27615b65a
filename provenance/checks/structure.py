"""Checks every table against its schema: header, lines, types, constraints and keys.

The verdicts are those of the reference library (frictionless 5): the same row, the same field, the
same kind. Where this layer says something else on purpose:

- A faulty header (a column missing, too many, doubled, unnamed or out of order) is reported as
  such, and the cells are then checked by the names of their columns. The reference library checks
  them by position and reports every shifted cell.
- A pattern that needs look-around or back-references is reported and not tried: a bundle may be
  hostile, and such a pattern can run for years.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from provenance.checks.casting import cast_column
from provenance.checks.kinds import KINDS
from provenance.checks.layout import Layout, read_layout
from provenance.checks.tables import ROW
from provenance.schema import Field, Model, Table, Vocabulary

if TYPE_CHECKING:
    from provenance.package import Package

__all__ = ["TableText", "check_table", "read_tables", "structure_findings"]

FINDING = ("kind", "table", "row", "field", "value", "message", "remedy")
NEAR_ENOUGH = 1000
"""So many unlike wrong codes get a 'did you mean'; more than that is another kind of trouble."""


@dataclass(frozen=True)
class TableText:
    """One table as it lies on disk: its layout and its columns, typed (null where unfit)."""

    table: Table
    layout: Layout
    typed: Mapping[str, pl.Series]


def read_tables(package: Package) -> dict[str, TableText]:
    """Read and type every table; raises UnusablePackage for one that cannot be read at all."""
    tables = {}
    for name, table in package.model.tables.items():
        layout = read_layout(package.table_path(name))
        typed = {
            one.name: cast_column(layout.text[one.name], one.type)
            for one in table.fields
            if one.name in layout.text.columns
        }
        tables[name] = TableText(table, layout, typed)
    return tables


def structure_findings(model: Model, tables: Mapping[str, TableText]) -> pl.DataFrame:
    """Everything the schemas find wrong, with the columns FINDING."""
    parts = [part for read in tables.values() for part in check_table(model, tables, read)]
    parts = [part for part in parts if not part.is_empty()]
    if not parts:
        return pl.DataFrame(schema=dict.fromkeys(FINDING, pl.String()) | {ROW: pl.UInt32()})
    return pl.concat(parts)


def check_table(
    model: Model, tables: Mapping[str, TableText], read: TableText
) -> list[pl.DataFrame]:
    """The findings of one table, a frame a kind and field."""
    parts = [*_header(read), *_lines(read)]
    for one in read.table.fields:
        if one.name in read.typed:
            parts += _cells(model, read, one)
    parts += _primary_key(read)
    parts += _foreign_keys(tables, read)
    return parts


# -- building findings ---------------------------------------------------------------------------


def _found(
    read: TableText,
    kind: str,
    rows: pl.Series | list[int],
    *,
    field: str | list[str] = "",
    value: pl.Series | list[str] | str = "",
    **words: Any,
) -> pl.DataFrame:
    """Findings of one kind; `words` fill the kind's sentences, a Series word by word."""
    count = len(rows)
    if count == 0:
        return pl.DataFrame(schema=dict.fromkeys(FINDING, pl.String()) | {ROW: pl.UInt32()})
    columns: dict[str, Any] = {ROW: pl.Series(rows, dtype=pl.UInt32)}
    given = {"field": field, "value": value, "table": read.table.name} | words
    for name, said in given.items():
        if isinstance(said, pl.Series):
            columns[name] = said.cast(pl.String).fill_null("")
        elif isinstance(said, list):
            columns[name] = pl.Series(said, dtype=pl.String)
        else:
            columns[name] = pl.repeat(str(said), count, dtype=pl.String, eager=True)
    from provenance.checks.rule import worded

    frame = pl.DataFrame(columns)
    sentences = KINDS[kind]
    names = frame.columns
    return frame.select(
        pl.lit(kind).alias("kind"),
        "table",
        ROW,
        "field",
        "value",
        worded(sentences.says, names).alias("message"),
        worded(sentences.remedy, names).alias("remedy"),
    ).select(FINDING)


def _at(read: TableText, wrong: pl.Series) -> pl.Series:
    return read.layout.text[ROW].filter(wrong)


# -- header and lines ----------------------------------------------------------------------------


def _header(read: TableText) -> list[pl.DataFrame]:
    header, wanted = list(read.layout.header), list(read.table.names)
    parts = []
    for name in wanted:
        if name not in header:
            near = difflib.get_close_matches(name, [h for h in header if h not in wanted], n=1)
            hint = f"rename '{near[0]}' to it" if near else "put it back"
            parts.append(_found(read, "missing_column", [1], field=name, hint=hint))
    for place, name in enumerate(header):
        if not name:
            parts.append(_found(read, "unnamed_column", [1], position=place + 1))
        elif name in header[:place]:
            parts.append(_found(read, "doubled_column", [1], field=name, value=name))
        elif name not in wanted:
            parts.append(_found(read, "extra_column", [1], field=name, value=name))
    there = [name for name in wanted if name in header]
    shown = [name for name in dict.fromkeys(header) if name in wanted]
    if there != shown:
        first = next(a for a, b in zip(shown, there, strict=True) if a != b)
        parts.append(
            _found(read, "column_order", [1], field=first, value=first, order=", ".join(wanted))
        )
    return parts


def _lines(read: TableText) -> list[pl.DataFrame]:
    layout, width = read.layout, len(read.layout.header)
    parts = [_found(read, "blank_row", list(layout.blank))]
    for row, cells in layout.short:
        missing = list(layout.header[cells:])
        parts.append(
            _found(read, "missing_cell", [row] * len(missing), field=missing, cells=cells,
                   wanted=width)
        )  # fmt: skip
    for row, cells in layout.long:
        parts.append(_found(read, "extra_cell", [row] * (cells - width), cells=cells, wanted=width))
    if layout.not_utf8 is not None:
        parts.append(_found(read, "not_utf8", [layout.not_utf8]))
    return parts


# -- cells ---------------------------------------------------------------------------------------


def _cells(model: Model, read: TableText, one: Field) -> list[pl.DataFrame]:
    text, typed = read.layout.text[one.name], read.typed[one.name]
    unit = f" in {one.unit}" if one.unit else ""
    parts = []

    def found(kind: str, wrong: pl.Series, **words: Any) -> None:
        if wrong.any():
            words = {"title": one.title, "unit": unit} | words
            rows, values = _at(read, wrong), text.filter(wrong)
            parts.append(_found(read, kind, rows, field=one.name, value=values, **words))

    written = text != ""
    if one.type != "string":
        found(f"not_{one.type}", written & typed.is_null())
    limits = one.constraints
    if limits.get("required"):
        wrong = ~written
        if read.layout.blank:
            wrong &= ~read.layout.text[ROW].is_in(pl.Series(read.layout.blank, dtype=pl.UInt32))
        found("required", wrong)
    for name, compared in (
        ("minimum", lambda limit: typed < limit),
        ("maximum", lambda limit: typed > limit),
        ("exclusiveMinimum", lambda limit: typed <= limit),
        ("exclusiveMaximum", lambda limit: typed >= limit),
    ):
        if name in limits:
            found(name, compared(limits[name]).fill_null(False), limit=f"{limits[name]:g}")
    if "minLength" in limits:
        wrong = typed.str.len_chars() < limits["minLength"]
        found("minLength", wrong.fill_null(False), limit=limits["minLength"])
    if "maxLength" in limits:
        wrong = typed.str.len_chars() > limits["maxLength"]
        found("maxLength", wrong.fill_null(False), limit=limits["maxLength"])
    if "enum" in limits:
        wrong = (~typed.is_in(list(limits["enum"]))).fill_null(False)
        found("not_in_list", wrong, **_list_words(model, one, text.filter(wrong)))
    if "pattern" in limits:
        parts += _pattern(model, read, one, typed)
    if limits.get("unique"):
        again = ~typed.is_first_distinct() & typed.is_not_null()
        found("unique", again, first=_first_rows(read, [one.name], again))
    return parts


def _pattern(model: Model, read: TableText, one: Field, typed: pl.Series) -> list[pl.DataFrame]:
    try:
        fits = typed.str.contains(f"^({one.constraints['pattern']})$")
    except pl.exceptions.ComputeError:
        return [_found(read, "pattern_not_tried", [1], field=one.name)]
    # a line break at the very end is passed over by the reference library's '$', and so here
    wrong = ~(fits | (typed.str.contains(r"\n$") & typed.str.strip_suffix("\n").str.contains(
        f"^({one.constraints['pattern']})$"))).fill_null(True)  # fmt: skip
    if not wrong.any():
        return []
    values = read.layout.text[one.name].filter(wrong)
    rows = _at(read, wrong)
    vocabulary = model.vocabulary_of(one)
    if vocabulary is not None:
        words = _list_words(model, one, values)
        return [
            _found(
                read, "not_in_list", rows, field=one.name, value=values, title=one.title, **words
            )
        ]
    notation = model.notations.get(one.notation or "")
    example = one.example or (notation.example if notation else "")
    written = notation.title if notation else "what the field needs"
    return [
        _found(
            read,
            "pattern",
            rows,
            field=one.name,
            value=values,
            title=one.title,
            written=written,
            example=f", for example {example}" if example else "",
        )
    ]


def _list_words(model: Model, one: Field, values: pl.Series) -> dict[str, Any]:
    """The name of the list and, value by value, the codes that were perhaps meant."""
    vocabulary = model.vocabulary_of(one)
    codes = list(vocabulary.codes) if vocabulary else [str(c) for c in one.constraints["enum"]]
    unlike = values.unique(maintain_order=True)
    hints = {value: _near(value, codes, vocabulary, one) for value in unlike.head(NEAR_ENOUGH)}
    short = ", ".join(codes[:12]) + (" …" if len(codes) > 12 else "")
    hinted = values.replace_strict(hints, default=f"; known are {short}", return_dtype=pl.String())
    return {"list": vocabulary.title if vocabulary else one.title, "hint": hinted}


def _near(value: str, codes: list[str], vocabulary: Vocabulary | None, one: Field) -> str:
    several = [part.strip() for part in value.split(one.separator)] if one.separator else [value]
    spelled = {code: code for code in codes}
    for term in vocabulary.terms if vocabulary else ():
        spelled |= dict.fromkeys((term.label.lower(), *term.synonyms), term.code)
    hints = []
    for part in several:
        if part in codes:
            continue
        near = difflib.get_close_matches(part.lower(), spelled, n=1, cutoff=0.6)
        if near:
            hints.append(f"'{spelled[near[0]]}'")
    if hints:
        return f"; did you mean {' and '.join(hints)}?"
    return f"; known are {', '.join(codes[:12])}{' …' if len(codes) > 12 else ''}"


# -- keys ----------------------------------------------------------------------------------------


def _key_frame(read: TableText, names: list[str]) -> pl.DataFrame:
    return pl.DataFrame([read.typed[name].alias(name) for name in names])


def _first_rows(read: TableText, names: list[str], again: pl.Series) -> pl.Series:
    """For each repeated key, the row in which it stands first."""
    keys = _key_frame(read, names).with_columns(read.layout.text[ROW])
    first = keys.unique(subset=names, keep="first", maintain_order=True)
    joined = keys.filter(again).join(
        first.rename({ROW: "first"}), on=names, how="left", nulls_equal=True, maintain_order="left"
    )
    return joined["first"]


def _primary_key(read: TableText) -> list[pl.DataFrame]:
    names = list(read.table.primary_key)
    if any(name not in read.typed for name in names):
        return []
    keys = _key_frame(read, names)
    empty = keys.select(pl.all_horizontal(pl.all().is_null())).to_series()
    again = ~(keys[names[0]] if len(names) == 1 else keys.to_struct()).is_first_distinct() & ~empty
    shown = read.layout.text.select(pl.concat_str(names, separator=" / ")).to_series()
    parts = []
    if empty.any():
        parts.append(_found(read, "key_missing", _at(read, empty), field=names[0]))
    if again.any():
        parts.append(
            _found(
                read,
                "key_doubled",
                _at(read, again),
                field=names[0],
                value=shown.filter(again),
                first=_first_rows(read, names, again),
            )
        )
    return parts


def _foreign_keys(tables: Mapping[str, TableText], read: TableText) -> list[pl.DataFrame]:
    parts = []
    for key in read.table.foreign_keys:
        names, there = list(key.fields), tables.get(key.table)
        if there is None or any(name not in read.typed for name in names):
            continue
        targets = list(key.reference_fields)
        if any(name not in there.typed for name in targets):
            continue
        given = _key_frame(read, names).with_columns(read.layout.text[ROW])
        given = given.filter(~pl.all_horizontal(pl.col(names).is_null()))
        known = _key_frame(there, targets).rename(dict(zip(targets, names, strict=True))).unique()
        lost = given.join(known, on=names, how="anti", nulls_equal=True, maintain_order="left")
        if lost.is_empty():
            continue
        wrong = read.layout.text[ROW].is_in(lost[ROW])
        shown = read.layout.text.select(pl.concat_str(names, separator=" / ")).to_series()
        parts.append(
            _found(
                read,
                "no_such_row",
                _at(read, wrong),
                field=names[0],
                value=shown.filter(wrong),
                title=read.table.field(names[0]).title,
                other=there.table.name,
                other_title=there.table.title,
            )
        )
    return parts
