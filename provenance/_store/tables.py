"""Reads and writes the tables of a store, as schemas/store describes them."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import Any

from provenance._base.errors import UnusableInput
from provenance._base.resources import shipped
from provenance._base.spreadsheet import plain_cell
from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.folders import read_plain
from provenance._gate.refusal import RefusedInput

Row = Mapping[str, str]
"""One row: the texts in its cells, by column."""


@dataclass(frozen=True)
class StoreTable:
    """A table of the store; `columns` in the order of the file."""

    name: str
    title: str
    description: str
    columns: tuple[str, ...]
    key: tuple[str, ...]
    fields: tuple[Mapping[str, Any], ...]

    @cached_property
    def required(self) -> tuple[str, ...]:
        """The columns in which no cell may be blank."""
        named = (one for one in self.fields if one.get("constraints", {}).get("required"))
        return tuple(str(one["name"]) for one in named)

    @cached_property
    def codes(self) -> dict[str, tuple[str, ...]]:
        """Column → what its cells may be; a column in which anything may stand is left out."""
        lists = {str(one["name"]): one.get("constraints", {}).get("enum") for one in self.fields}
        return {column: tuple(codes) for column, codes in lists.items() if codes}


@cache
def store_table(name: str) -> StoreTable:
    """The table that schemas/store/NAME.json describes."""
    raw = json.loads((shipped("schemas") / "store" / f"{name}.json").read_text(encoding="utf-8"))
    fields = tuple(raw["fields"])
    columns = tuple(str(one["name"]) for one in fields)
    key = tuple(raw["primaryKey"])
    return StoreTable(name, raw["title"], raw["description"], columns, key, fields)


def read_rows(path: Path, name: str) -> list[dict[str, str]]:
    """The rows of a table of the store in their order; [] where there is no such file.

    Columns of a later version that this one does not know are kept, those that it lacks are blank.
    Raises UnusableInput that names file, line, column and value.
    """
    if not path.exists():
        return []
    table = store_table(name)
    rows = read_cells(path)
    columns = rows[0] if rows else []
    if missing := [one for one in (*table.key, *table.required) if one not in columns]:
        raise UnusableInput(
            f"{path} is not a table of a store: its first line is '{','.join(columns)[:120]}' and "
            f"lacks '{missing[0]}'. Restore it from a copy (a program for spreadsheets may have "
            "written it again with other separators)"
        )
    found: list[dict[str, str]] = []
    seen: dict[tuple[str, ...], int] = {}
    blank = dict.fromkeys(table.columns, "")
    for place, cells in enumerate(rows[1:], start=2):
        if len(cells) != len(columns):
            raise UnusableInput(
                f"{path}, line {place}: it has {len(cells)} cells and should have {len(columns)}; "
                "restore it from a copy"
            )
        row = blank | dict(zip(columns, cells, strict=True))
        _refuse_cells(table, row, path, place)
        key = tuple(row[one] for one in table.key)
        if key in seen:
            raise UnusableInput(
                f"{path}, line {place}, column '{table.key[0]}': '{key[0]}' is in line {seen[key]} "
                "as well; find out which is right"
            )
        seen[key] = place
        found.append(row)
    return found


def _refuse_cells(table: StoreTable, row: Row, path: Path, place: int) -> None:
    for one in table.required:
        if not row[one]:
            raise UnusableInput(
                f"{path}, line {place}, column '{one}': the cell is blank; fill it in, or restore "
                "the file from a copy"
            )
    for one, codes in table.codes.items():
        if row[one] and row[one] not in codes:
            raise UnusableInput(
                f"{path}, line {place}, column '{one}': '{row[one][:80]}' is not one of "
                f"{', '.join(codes)}; correct it"
            )


def read_cells(path: Path) -> list[list[str]]:
    """The cells of a CSV file in the store, line by line; raises UnusableInput."""
    try:
        # a person names the store, so it may be a link; what that leads to is a plain file
        text = read_plain(path.resolve(), DEFAULT_BUDGET.most_manifest_bytes).decode("utf-8-sig")
        return list(csv.reader(io.StringIO(text, newline="")))
    except (OSError, UnicodeDecodeError, csv.Error, RefusedInput) as error:
        raise UnusableInput(f"{path} cannot be read: {error}; restore it from a copy") from error


def rows_bytes(name: str, rows: Iterable[Row]) -> bytes:
    """A table of the store as CSV with LF; no cell is taken for a formula by a spreadsheet."""
    rows = [{key: plain_cell(text) for key, text in row.items()} for row in rows]
    known = store_table(name).columns
    more = dict.fromkeys(key for row in rows for key in row if key not in known)
    return cells_bytes((*known, *more), rows)


def cells_bytes(columns: Sequence[str], rows: Iterable[Row]) -> bytes:
    """Rows as CSV with LF, every cell as it is; what a row lacks is blank."""
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode("utf-8")
