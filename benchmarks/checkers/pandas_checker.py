"""The same structure checks in plain pandas: columns of texts, masks, merges."""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd

from provenance._model.schema import Field, Model, Table


def check(folder: Path, model: Model) -> pd.DataFrame:
    """Findings as table, row, field, kind, value; no sentences."""
    frames, found = {}, []
    for name in model.tables:
        frames[name], faults = _read(folder / "tables" / f"{name}.csv")
        found += [(name, row, "", kind, "") for row, kind in faults]
    parts = [pd.DataFrame(found, columns=["table", "row", "field", "kind", "value"])]
    for name, table in model.tables.items():
        blank = [row for table_, row, _, kind, _ in found if (table_, kind) == (name, "blank-row")]
        frame = frames[name] = frames[name].drop(index=blank)
        for one in table.fields:
            if one.name in frame:
                parts += list(_cells(name, frame[one.name], one))
        parts += list(_keys(table, frames))
    return pd.concat(parts, ignore_index=True)


def _read(path: Path) -> tuple[pd.DataFrame, list[tuple[int, str]]]:
    try:
        frame = pd.read_csv(
            path, dtype=str, keep_default_na=False, skip_blank_lines=False, encoding="utf-8"
        )
        # pandas fills up short rows silently, so widths are counted all the same
        uneven = _widths(path, len(frame.columns))
    except pd.errors.ParserError:
        uneven = _widths(path, None)
        with open(path, newline="", encoding="utf-8") as stream:
            header, *rows = csv.reader(stream)
        fitted = [(row + [""] * len(header))[: len(header)] for row in rows]
        frame = pd.DataFrame(fitted, columns=header, dtype=str)
    frame.index = pd.RangeIndex(2, len(frame) + 2)
    return frame, uneven


def _widths(path: Path, width: int | None) -> list[tuple[int, str]]:
    faults = []
    with open(path, newline="", encoding="utf-8") as stream:
        for row, cells in enumerate(csv.reader(stream), start=1):
            width = width or len(cells)
            if not any(cells):
                faults.append((row, "blank-row"))
            elif len(cells) != width:
                faults.append((row, "missing-cell" if len(cells) < width else "extra-cell"))
    return faults


def _cells(name: str, column: pd.Series, one: Field):
    filled, limits = column != "", one.constraints
    masks = {}
    if limits.get("required"):
        masks["required"] = ~filled
    if one.type in ("number", "integer"):
        numbers = pd.to_numeric(column.where(filled), errors="coerce")
        masks["type"] = filled & numbers.isna()
        if one.type == "integer":
            masks["type"] |= filled & (numbers % 1 != 0)
        for constraint, wrong in (
            ("minimum", numbers.lt),
            ("maximum", numbers.gt),
            ("exclusiveMinimum", numbers.le),
            ("exclusiveMaximum", numbers.ge),
        ):
            if constraint in limits:
                masks[constraint] = wrong(limits[constraint])
    elif one.type == "boolean":
        masks["type"] = filled & ~column.isin(["true", "True", "TRUE", "1", "false", "0"])
    if "enum" in limits and one.type == "string":
        masks["enum"] = filled & ~column.isin(limits["enum"])
    if "pattern" in limits:
        fits = pd.Series(column.unique()).set_axis(column.unique()).str.fullmatch(limits["pattern"])
        masks["pattern"] = filled & ~column.map(fits).astype(bool)
    for kind, mask in masks.items():
        if mask.any():
            yield _found(name, column[mask], one.name, kind)


def _keys(table: Table, frames: dict[str, pd.DataFrame]):
    frame = frames[table.name]
    key = list(table.primary_key)
    again = frame.duplicated(key) & (frame[key] != "").any(axis=1)
    if again.any():
        yield _found(table.name, frame.loc[again, key[0]], key[0], "primary-key")
    for link in table.foreign_keys:
        column = frame[link.fields[0]]
        lost = (column != "") & ~column.isin(frames[link.table][link.reference_fields[0]])
        if lost.any():
            yield _found(table.name, column[lost], link.fields[0], "foreign-key")


def _found(name: str, values: pd.Series, field: str, kind: str) -> pd.DataFrame:
    return pd.DataFrame(
        {"table": name, "row": values.index, "field": field, "kind": kind, "value": values.array}
    )
