"""The same structure checks in DuckDB: one query a table for the cells, one a key."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import duckdb
import pandas as pd

from provenance._model.schema import Field, Model, Table

TRUTHS = "'true', 'True', 'TRUE', '1', 'false', 'False', 'FALSE', '0'"


def check(folder: Path, model: Model) -> pd.DataFrame:
    """Findings as table, row, field, kind, value; no sentences.

    Records that are too short, too long or blank are kept apart by the reader, with their line;
    the numbers of the others are moved on by as many. What is in such a record is lost to the other
    checks, so that links to it look broken; that is as near as this reader comes.
    """
    base = duckdb.connect()
    parts = []
    for name, table in model.tables.items():
        _read(base, folder / "tables" / f"{name}.csv", table)
    parts.append(base.execute(_uneven(model)).df())
    for table in model.tables.values():
        parts.append(base.execute(_cells(table)).df())
        parts += [base.execute(query).df() for query in _keys(table)]
    return pd.concat(parts, ignore_index=True)


def _read(base: duckdb.DuckDBPyConnection, path: Path, table: Table) -> None:
    columns = ", ".join(f"'{name}': 'VARCHAR'" for name in table.names)
    base.execute(
        f"""CREATE TEMP TABLE "read_{table.name}" AS
        SELECT row_number() OVER () AS position, * FROM read_csv(
            '{path}', auto_detect=false, header=true, delim=',', quote='"', escape='"',
            new_line='\\n', columns={{{columns}}}, strict_mode=true, store_rejects=true,
            rejects_table='rejects_{table.name}', rejects_scan='scan_{table.name}',
            rejects_limit=0)"""
    )
    # blank lines are passed over without a word, so they are looked for here; line numbers are
    # record numbers as long as no cell has a line end in it
    lines = path.read_bytes().split(b"\n")[:-1]
    blank = [number for number, line in enumerate(lines, start=1) if not line]
    base.execute(f'CREATE TEMP TABLE "blank_{table.name}" (line BIGINT)')
    if blank:
        base.execute(f'INSERT INTO "blank_{table.name}" SELECT unnest(?)', [blank])
    base.execute(
        f"""CREATE TEMP TABLE "{table.name}" AS
        WITH bad AS (
            SELECT line FROM "rejects_{table.name}" UNION SELECT line FROM "blank_{table.name}"),
        skipped AS (
            SELECT line - row_number() OVER (ORDER BY line) AS before, line FROM bad),
        counted AS (
            SELECT before, count(*) OVER (ORDER BY before) AS n FROM skipped)
        SELECT position + 1 + coalesce(c.n, 0) AS "row", r.* EXCLUDE position
        FROM "read_{table.name}" r
        ASOF LEFT JOIN (SELECT before, max(n) AS n FROM counted GROUP BY before) c
        ON r.position >= c.before"""
    )


def _uneven(model: Model) -> str:
    return " UNION ALL ".join(
        f"""SELECT '{name}' AS "table", line AS "row", '' AS field,
        any_value(error_type)::VARCHAR AS kind, '' AS value
        FROM "rejects_{name}" GROUP BY line
        UNION ALL SELECT '{name}', line, '', 'blank-row', '' FROM "blank_{name}" """
        for name in model.tables
    )


def _cells(table: Table) -> str:
    """One pass over the table: a list of what is wrong with each row, unnested."""
    wrong = [
        f"""CASE WHEN {test} THEN {{'field': '{one.name}', 'kind': '{kind}',
        'value': "{one.name}"}} END"""
        for one in table.fields
        for kind, test in _tests(one)
    ]
    return f"""SELECT '{table.name}' AS "table", "row", found.field AS field, found.kind AS kind,
        found.value AS value
        FROM (SELECT "row", unnest(list_filter([{", ".join(wrong)}], lambda x: x IS NOT NULL))
              AS found FROM "{table.name}")"""


def _tests(one: Field) -> Iterator[tuple[str, str]]:
    cell, limits = f'"{one.name}"', one.constraints
    # the reader makes NULL of an empty cell
    if limits.get("required"):
        yield "required", f"{cell} IS NULL"
    if one.type in ("number", "integer"):
        number = f"try_cast({cell} AS {'BIGINT' if one.type == 'integer' else 'DOUBLE'})"
        # a cast to BIGINT rounds what has a fraction
        whole = f" OR NOT regexp_full_match({cell}, '[+-]?[0-9]+')" if one.type == "integer" else ""
        yield "type", f"{cell} IS NOT NULL AND ({number} IS NULL{whole})"
        for constraint, sign in (
            ("minimum", "<"),
            ("maximum", ">"),
            ("exclusiveMinimum", "<="),
            ("exclusiveMaximum", ">="),
        ):
            if constraint in limits:
                yield constraint, f"{number} {sign} {limits[constraint]}"
    elif one.type == "boolean":
        yield "type", f"{cell} NOT IN ({TRUTHS})"
    if "enum" in limits and one.type == "string":
        yield "enum", f"{cell} NOT IN ({', '.join(_quoted(str(v)) for v in limits['enum'])})"
    if "pattern" in limits:
        yield "pattern", f"NOT regexp_full_match({cell}, {_quoted(limits['pattern'])})"


def _keys(table: Table) -> Iterator[str]:
    key = table.primary_key[0]
    yield f"""SELECT '{table.name}' AS "table", "row", '{key}' AS field, 'primary-key' AS kind,
        "{key}" AS value FROM "{table.name}" WHERE "{key}" IN (
            SELECT "{key}" FROM "{table.name}" GROUP BY "{key}" HAVING count(*) > 1)
        QUALIFY row_number() OVER (PARTITION BY "{key}" ORDER BY "row") > 1"""
    for link in table.foreign_keys:
        mine, other = link.fields[0], link.reference_fields[0]
        yield f"""SELECT '{table.name}' AS "table", "row", '{mine}' AS field,
            'foreign-key' AS kind, "{mine}" AS value FROM "{table.name}" t
            WHERE "{mine}" IS NOT NULL AND NOT EXISTS (
                SELECT 1 FROM "{link.table}" o WHERE o."{other}" = t."{mine}")"""


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
