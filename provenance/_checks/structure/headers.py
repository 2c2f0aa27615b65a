"""Checks the header of a table and the shape of its rows.

Columns are matched by their headings, as everywhere in this project; Table Schema's own default
(fieldsMatch: exact) also wants them in the schema's order, which is one finding here.
"""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl

from provenance._checks.language.wording import found_in_rows, shortened
from provenance._checks.structure.suggestions import did_you_mean
from provenance._model.schema import Table
from provenance._record.reading import FIRST_ROW, TableText
from provenance._record.tables import ROW


def find_in_header(table: Table, text: TableText) -> Iterator[pl.DataFrame]:
    """Findings about the file as a whole (row 0) and its header (row 1)."""
    if text.empty:
        yield found_in_rows("file_empty", table, _row(0))
        return
    names = ", ".join(table.names)
    if not text.labels:
        yield found_in_rows("header_blank", table, _row(1), labels=names)
        return
    yield from _odd_labels(table, text.labels)
    for one in table.fields:
        if one.name not in text.labels:
            yield found_in_rows("label_missing", table, _row(1), field=one.name, title=one.title)
    known = list(dict.fromkeys(label for label in text.labels if label in table))
    in_order = [name for name in table.names if name in known]
    for label, expected in zip(known, in_order, strict=True):
        if label != expected:
            yield found_in_rows(
                "label_order", table, _row(1, label), field=label, labels=", ".join(in_order)
            )
            return


def _odd_labels(table: Table, labels: tuple[str, ...]) -> Iterator[pl.DataFrame]:
    missing = [name for name in table.names if name not in labels]
    spoken = {word: name for name in missing for word in (name, table.field(name).title)}
    meant = did_you_mean({label for label in labels if label not in table}, spoken)
    found: dict[str, list[dict[str, str]]] = {
        "label_blank": [],
        "label_duplicate": [],
        "label_extra": [],
    }
    seen: set[str] = set()
    for position, label in enumerate(labels, start=1):
        if not label:
            found["label_blank"].append({"value": "", "position": str(position)})
        elif label in seen:
            field = label if label in table else ""
            found["label_duplicate"].append({"value": label, "field": field})
        elif label not in table:
            hint = f"; did you mean '{meant[label]}'?" if label in meant else "."
            found["label_extra"].append({"value": label, "hint": hint})
        seen.add(label)
    for name, rows in found.items():
        if rows:
            yield found_in_rows(name, table, pl.DataFrame(rows).with_columns(pl.lit(1).alias(ROW)))


def find_in_shape(table: Table, text: TableText) -> Iterator[pl.DataFrame]:
    """Findings about rows that are blank, too short, too long, or not to be deciphered."""
    faults = text.faults
    if faults.unclosed is not None:
        yield found_in_rows("quote_open", table, _row(faults.unclosed))
    yield from _undecodable(table, text)
    if len(text.blank):
        yield found_in_rows("row_blank", table, pl.DataFrame({ROW: text.blank, "value": ""}))
    blank = set(text.blank.to_list())
    short = {row: count for row, count in faults.short.items() if row not in blank}
    if short:
        yield found_in_rows("row_short", table, _short_rows(table, text, short))
    long = {row: cells for row, cells in faults.long.items() if row not in blank}
    if long:
        rows = pl.DataFrame(
            {
                ROW: list(long),
                "value": [cells for _, cells in long.values()],
                "count": [str(count) for count, _ in long.values()],
            }
        )
        yield found_in_rows("row_long", table, rows, width=str(len(text.labels)))


def _short_rows(table: Table, text: TableText, short: dict[int, int]) -> pl.DataFrame:
    """One line a short row, which names the first cell that is missing."""
    counts = list(short.values())
    titles = [table.field(one).title if one in table else one for one in text.labels]
    return pl.DataFrame(
        {
            ROW: list(short),
            "value": pl.Series([""] * len(short), dtype=pl.String),
            "count": [str(count) for count in counts],
            "width": [str(len(text.labels))] * len(short),
            "field": [text.labels[count] for count in counts],
            "title": [titles[count] for count in counts],
        }
    )


def _undecodable(table: Table, text: TableText) -> Iterator[pl.DataFrame]:
    found = []
    for row, positions in sorted(text.faults.undecodable.items()):
        for position in positions:
            label = text.labels[position] if position < len(text.labels) else ""
            in_frame = row > 1 and label in text.frame.columns
            value = text.frame[label][row - FIRST_ROW] if in_frame else label
            found.append({ROW: row, "value": value, "field": label if label in table else ""})
    if found:
        yield found_in_rows("not_utf8", table, pl.DataFrame(found))


def _row(row: int, value: str = "") -> pl.DataFrame:
    return pl.DataFrame({ROW: [row], "value": [shortened(value)]})
