"""Writes every row of every table as plain pages, which need no script and no memory."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from provenance._bundle.finding_aid.addresses import PAGED, anchor
from provenance._bundle.finding_aid.cells import PAGE_ROWS, Cells, link, shown, table_page
from provenance._bundle.finding_aid.writing import Page, Writer
from provenance._history.history import CHANGE
from provenance._model.schema import Field, Table
from provenance._record.tables import is_blank

SHORT = 12
"""A cell of at most so many characters (a date, a code) stays on one line."""
_ROOT = "../../"


@dataclass(frozen=True)
class TableSummary:
    """A table with its row count and the addresses of its pages, as seen from index.html."""

    name: str
    title: str
    description: str
    count: int
    pages: tuple[tuple[str, str], ...]


def write_table_pages(cells: Cells, writer: Writer) -> list[TableSummary]:
    """Write the pages of every table that has rows; returns all tables, the empty ones too.

    What each act says is many times the record itself: its line leads to the table's own file.
    """
    return [_write(cells, writer, table) for table in cells.record.model.tables.values()]


def _write(cells: Cells, writer: Writer, table: Table) -> TableSummary:
    texts = cells.record.package.tables.texts(table.name)
    count = len(texts)
    if table.name == CHANGE and count:
        pages = ((f"tables/{table.name}.csv", "as CSV"),)
        return TableSummary(table.name, table.title, table.description, count, pages)
    if not count:
        return TableSummary(table.name, table.title, table.description, count, ())
    used = {name for name in texts.columns if name in table and not is_blank(texts[name])}
    fields = [one for one in table.fields if one.name in used]
    # the key stands first, since it heads the row
    fields.sort(key=lambda one: one.name not in table.primary_key)
    blank = [one.title for one in table.fields if one.name not in used]
    names = [one.name for one in fields]
    of = -(-count // PAGE_ROWS)
    spans = [_span(number, count) for number in range(1, of + 1)]

    def write_page(number: int, rows: list[Markup]) -> None:
        heading = table.title if of == 1 else f"{table.title}, {spans[number - 1]}"
        writer.write(
            Page(table_page(table.name, number), "table_page.html", heading),
            description=table.description,
            number=number,
            of=of,
            before=f"{table.name}-{number - 1}.html" if number > 1 else None,
            after=f"{table.name}-{number + 1}.html" if number < of else None,
            caption=f"{heading}: {len(rows)} row{'' if len(rows) == 1 else 's'}",
            columns=[(one.title, cells.unit(one)) for one in fields],
            rows=rows,
            blank=blank,
        )

    key_places = [names.index(name) for name in table.primary_key if name in names]
    waiting: list[Markup] = []
    number = 1
    seen: set[str] = set()
    for values in cells.record.package.tables.tuples(table.name, names):
        waiting.append(_row(cells, table, fields, values, key_places, seen))
        if len(waiting) == PAGE_ROWS:
            write_page(number, waiting)
            waiting, number = [], number + 1
    if waiting:
        write_page(number, waiting)
    return TableSummary(
        table.name,
        table.title,
        table.description,
        count,
        tuple((table_page(table.name, at), span) for at, span in enumerate(spans, start=1)),
    )


def _span(number: int, count: int) -> str:
    first = (number - 1) * PAGE_ROWS + 1
    return f"rows {first} to {min(number * PAGE_ROWS, count)}"


def _row(
    cells: Cells,
    table: Table,
    fields: Sequence[Field],
    values: tuple[str, ...],
    key_places: list[int],
    seen: set[str],
) -> Markup:
    key = " / ".join(values[at] for at in key_places)
    heading = key_places[0] if key_places else -1
    parts: list[str] = []
    for at, (one, text) in enumerate(zip(fields, values, strict=True)):
        if at == heading:
            target = cells.address(table.name, key) if table.name in PAGED else None
            parts.append(f'<th scope="row">{link(target, shown(text), _ROOT)}</th>')
        elif not text:
            parts.append("<td></td>")
        else:
            inside = cells.value(table.name, one, text, _ROOT)
            if one.type in ("number", "integer"):
                parts.append(f'<td class="number">{inside}</td>')
            elif len(text) <= SHORT:
                parts.append(f'<td class="short">{inside}</td>')
            else:
                parts.append(f"<td>{inside}</td>")
    # a key that stands twice is a fault of the record; an id must not
    number = "" if key in seen else f' id="{anchor(table.name, key)}"'
    seen.add(key)
    return Markup(f"<tr{number}>{''.join(parts)}</tr>")
