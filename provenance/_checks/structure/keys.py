"""Checks that keys are there, differ, and lead to a row of the table they point at."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import polars as pl

from provenance._base.errors import UnusablePackage
from provenance._checks.language.wording import found_in_rows
from provenance._checks.structure.suggestions import did_you_mean
from provenance._model.schema import ForeignKey, Model, Table
from provenance._record.cells import NOT_A_NUMBER, canonical
from provenance._record.joined import SEALED
from provenance._record.reading import TableText
from provenance._record.tables import ROW

FORMER_KEY = "former_key"
COMPUTED_BY = {
    **dict.fromkeys(("position", "position_place"), "survey compute"),
    **dict.fromkeys(("size", "span", "felling"), "derive"),
    **dict.fromkeys(("phase", "phase_piece", "phase_place", "phase_event"), "derive"),
    **dict.fromkeys(("tree_bound", "tree_bound_piece"), "derive"),
    **dict.fromkeys(("wood_use", "labor", "architecture"), "derive"),
    **dict.fromkeys(("build_order", "build_order_edge"), "derive"),
    **dict.fromkeys(("tree_age", "ring_series"), "derive"),
}
"""Table → the command that computes it."""
_MOST_GUESSED, _LARGEST_SEARCHED = 50, 5_000
"""Different broken links for which a guess is made, and rows among which it is looked for."""


def find_in_keys(table: Table, text: TableText) -> Iterator[pl.DataFrame]:
    """Findings about the primary key and about fields whose values must differ.

    A blank key whose fields are all required is not named again, nor is a repeated key of one
    field that must differ anyway.
    """
    _known_fields(table, table.primary_key)
    key = table.primary_key
    if not len(text):
        return
    has_key = bool(key) and all(name in text.frame.columns for name in key)
    if has_key:
        yield from _repeated("key_repeated", table, key, text)
        if not all(table.field(name).required for name in key):
            yield from _blank_keys(table, text)
    for one in table.fields:
        if not one.constraints.get("unique") or one.name not in text.frame.columns:
            continue
        if not (has_key and key == (one.name,)):
            yield from _repeated("not_unique", table, (one.name,), text)


def _repeated(
    name: str, table: Table, fields: tuple[str, ...], text: TableText
) -> Iterator[pl.DataFrame]:
    values = _key_texts(table, fields, text.frame)
    if len(fields) == 1:
        # the usual case on clean data: as many different values as rows
        column = values[fields[0]]
        if column.n_unique() == len(column):
            return
    written = values.with_columns(text.frame[ROW]).filter(_any_written(fields))
    same = pl.col(fields[0]) if len(fields) == 1 else pl.struct(fields)
    later = written.filter(~same.is_first_distinct())
    if not len(later):
        return
    first = (
        written.join(later, on=fields, how="semi", maintain_order="left")
        .unique(subset=fields, keep="first", maintain_order=True)
        .rename({ROW: "other"})
    )
    rows = later.join(first, on=fields, how="left", maintain_order="left")
    yield found_in_rows(
        name,
        table,
        rows.select(ROW, "other", value=_as_written(fields, text.frame, rows[ROW])),
        field=fields[0],
        title=table.field(fields[0]).title,
    )


def _blank_keys(table: Table, text: TableText) -> Iterator[pl.DataFrame]:
    key = table.primary_key
    values = _key_texts(table, key, text.frame).with_columns(text.frame[ROW])
    blank = values.filter(~_any_written(key), ~pl.col(ROW).is_in(text.blank.implode()))
    if len(blank):
        rows = blank.select(ROW, value=pl.lit(""))
        yield found_in_rows("key_blank", table, rows, field=key[0], title=table.field(key[0]).title)


def find_in_links(
    model: Model, table: Table, texts: Mapping[str, TableText]
) -> Iterator[pl.DataFrame]:
    """Findings about foreign keys that lead to no row; blank ones lead nowhere on purpose.

    A table whose file is not there (which has its own finding) is not looked into.
    """
    text = texts[table.name]
    for link in table.foreign_keys:
        if link.table not in model.tables:
            raise UnusablePackage(
                f"table '{table.name}' has a key to the table '{link.table}', which is missing"
            )
        _known_fields(table, link.fields)
        _known_fields(model.table(link.table), link.reference_fields)
        if len(link.fields) != len(link.reference_fields):
            raise UnusablePackage(f"table '{table.name}': a key has more fields than its target")
        if not len(text) or link.table not in texts:
            continue
        there = all(name in text.frame.columns for name in link.fields)
        if there and not text.unwritten.issuperset(link.fields):
            now = _keys_now(link, texts)
            yield from _broken(model, table, link, text.frame, texts[link.table].frame, now)


def _keys_now(link: ForeignKey, texts: Mapping[str, TableText]) -> dict[str, str]:
    """What rows of the table that a link leads to were called before → what they are called now."""
    former = texts.get(FORMER_KEY)
    if former is None or len(link.fields) > 1:
        return {}
    columns = ("table_name", "former_key", "row_key")
    said = {old: now for name, old, now in former.tuples(columns) if name == link.table}
    if not said or link.reference_fields[0] not in texts[link.table].frame.columns:
        return {}
    there = set(texts[link.table].frame[link.reference_fields[0]])
    return {old: now for old, now in said.items() if now in there}


def _broken(
    model: Model,
    table: Table,
    link: ForeignKey,
    frame: pl.DataFrame,
    target: pl.DataFrame,
    now: Mapping[str, str],
) -> Iterator[pl.DataFrame]:
    other = model.table(link.table)
    names = list(link.fields)
    types = {table.field(one).type for one in names}
    types.update(other.field(one).type for one in link.reference_fields)
    if types == {"string"} and _all_there(link, frame, target):
        return
    pointing = _key_texts(table, link.fields, frame)
    written = pointing.with_columns(frame[ROW]).filter(_any_written(link.fields))
    if not len(written):
        return
    # a column that is not there (which has its own finding) is as good as blank
    gone = [name for name in link.reference_fields if name not in target.columns]
    there = _key_texts(
        other, link.reference_fields, target.with_columns(pl.lit("").alias(name) for name in gone)
    )
    there = there.rename(dict(zip(there.columns, names, strict=True)))
    rows = written.join(there, on=names, how="anti", maintain_order="left")
    if table.name in SEALED and now:
        # what is sealed goes on naming a row as it was called then
        rows = rows.filter(~pl.col(names[0]).is_in(list(now)))
    if not len(rows):
        return
    values = _as_written(link.fields, frame, rows[ROW])
    hint = pl.lit(".")
    if len(names) == 1:
        meant = _near(rows[names[0]].unique(), there[names[0]])
        hints = {value: f"; did you mean '{code}'?" for value, code in meant.items()}
        command = COMPUTED_BY.get(table.name)
        again = f"; run 'treenail {command}' again" if command else ""
        hints |= {old: f"; that row is now '{new}'{again}." for old, new in now.items()}
        if hints:
            hint = pl.col("value").replace_strict(hints, default=".", return_dtype=pl.String)
    yield found_in_rows(
        "link_broken",
        table,
        rows.select(ROW, value=values).with_columns(hint=hint),
        field=link.fields[0],
        target=" and ".join(f"'{other.field(name).title}'" for name in link.reference_fields),
        target_table=other.title,
    )


def _all_there(link: ForeignKey, frame: pl.DataFrame, target: pl.DataFrame) -> bool:
    """Whether each of a few keys is among those that it leads to, which is quickly seen."""
    if len(link.fields) > 1 or len(frame) + len(target) > _LARGEST_SEARCHED:
        return False
    (name,) = link.reference_fields
    there = target[name].to_list() if name in target.columns else []
    return set(frame[link.fields[0]].to_list()) <= {"", *there}


def _near(lost: pl.Series, there: pl.Series) -> dict[str, str]:
    if len(lost) > _MOST_GUESSED or len(there) > _LARGEST_SEARCHED:
        return {}
    return did_you_mean(lost, {code: code for code in there.unique().sort() if code})


def _key_texts(table: Table, fields: tuple[str, ...], frame: pl.DataFrame) -> pl.DataFrame:
    """The key columns with one spelling a value; '' where nothing readable is written."""
    columns = []
    for name in fields:
        field_type = table.field(name).type
        column = frame[name]
        columns.append(column if field_type == "string" else _spelt_alike(column, field_type))
    return pl.DataFrame(columns)


def _spelt_alike(column: pl.Series, field_type: str) -> pl.Series:
    """A column of numbers or truth values with one spelling a value."""
    to_read = column if field_type == "integer" else column.clear(len(column))
    read = to_read.cast(pl.Int64, strict=False).cast(pl.String)
    odd = column.filter(read.is_null()).unique().to_list()
    spelt = {text: canonical(text, field_type) for text in odd}
    read = read.fill_null(column.replace_strict(spelt, default="", return_dtype=pl.String))
    if NOT_A_NUMBER in spelt.values():
        # it equals nothing, not even itself, so no two of them are one key
        each = pl.int_range(len(read), eager=True).cast(pl.String)
        apart = pl.Series([f"{NOT_A_NUMBER} {column.name} "]) + each
        read = read.zip_with(read != NOT_A_NUMBER, apart)
    return read.alias(column.name)


def _any_written(fields: tuple[str, ...]) -> pl.Expr:
    return pl.any_horizontal(pl.col(list(fields)) != "")


def _as_written(fields: tuple[str, ...], frame: pl.DataFrame, rows: pl.Series) -> pl.Series:
    """What stands in the key fields of some rows, as one text a row."""
    return (
        frame.select(pl.concat_str(fields, separator=" / ").alias("value"))
        .to_series()
        .gather(rows.cast(pl.Int64) - 2)
    )


def _known_fields(table: Table, names: tuple[str, ...]) -> None:
    for name in names:
        if name not in table:
            raise UnusablePackage(f"a key of table '{table.name}' names no field: '{name}'")
