"""Writes the record as plain pages: index.html, and more pages for tables that are long.

Tables are read in stretches, so memory stays flat however long they are. A cell that names a row of
another table links to it; that row may lie on another page.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from provenance.bundle.editions import Edition
from provenance.bundle.hostile_text import visible
from provenance.bundle.pages import page_templates
from provenance.disk import write_text
from provenance.errors import UnusablePackage
from provenance.package import Package
from provenance.schema import Field, Table

if TYPE_CHECKING:
    from markupsafe import Markup

INLINE_ROWS = 200
"""A table of at most so many rows stands on the index itself."""
PAGE_ROWS = 1000
SHORT = 12
"""A cell of at most so many characters (a date, a code) stays on one line."""


@dataclass(frozen=True)
class _Column:
    """A column that holds something, and how its cells are shown."""

    name: str
    title: str
    unit: str
    is_number: bool
    target: str
    labels: Mapping[str, str]
    separator: str


@dataclass(frozen=True)
class _Shown:
    """A table as the pages show it: what is filled in, how many rows, on how many pages."""

    table: Table
    columns: tuple[_Column, ...]
    blank: tuple[str, ...]
    row_count: int

    @property
    def page_count(self) -> int:
        """How many pages it fills beside the index; 0 when it stands on the index."""
        return 0 if self.row_count <= INLINE_ROWS else -(-self.row_count // PAGE_ROWS)


def write_record_pages(
    package: Package,
    folder: Path,
    *,
    edition: Edition,
    facts: Sequence[tuple[str, str]],
    links: Sequence[Mapping[str, str]],
    files: Collection[str],
) -> None:
    """Write index.html and pages/ into `folder`.

    `facts` are shown at the top (name, value), `links` lead to the other files (href, name, text);
    `files` are the paths that a cell may link to.
    """
    shown = [_survey(package, table) for table in package.model.tables.values()]
    filled = [one for one in shown if one.row_count]
    where = _Whereabouts(package, filled, frozenset(files))
    templates = page_templates()
    tables = []
    for one in filled:
        inline = None
        if one.page_count:
            _write_pages(package, folder, one, where)
        else:
            rows = [row for _, row in _rows(package, one, where, page=0)]
            inline = _table(one, rows, f"{one.table.title}: {_rows_word(one.row_count)}")
        tables.append(
            {
                "name": one.table.name,
                "title": one.table.title,
                "description": one.table.description,
                "count": one.row_count,
                "href": f"#{one.table.name}",
                "inline": inline,
                "pages": [
                    {"href": _page_path(one.table.name, number), "name": _span(one, number)}
                    for number in range(1, one.page_count + 1)
                ],
            }
        )
    text = templates.get_template("index.html").render(
        title=package.title,
        edition=edition,
        facts=facts,
        links=links,
        tables=tables,
        empty=[one.table.title for one in shown if not one.row_count],
        cautions=package.model.cautions,
    )
    write_text(folder / "index.html", text)


def _write_pages(package: Package, folder: Path, one: _Shown, where: _Whereabouts) -> None:
    template = page_templates().get_template("page.html")
    name = one.table.name

    def write_page(number: int, rows: list[Markup]) -> None:
        heading = f"{one.table.title}, {_span(one, number)}"
        text = template.render(
            title=f"{heading} - {package.title}",
            record_title=package.title,
            heading=heading,
            description=one.table.description,
            number=number,
            of=one.page_count,
            before=f"{name}-{number - 1}.html" if number > 1 else None,
            after=f"{name}-{number + 1}.html" if number < one.page_count else None,
            table=_table(one, rows, heading),
        )
        write_text(folder / _page_path(name, number), text)

    rows: list[Markup] = []
    for place, row in _rows(package, one, where, page=1):
        rows.append(row)
        if len(rows) == PAGE_ROWS:
            write_page(-(-place // PAGE_ROWS), rows)
            rows = []
    if rows:
        write_page(one.page_count, rows)


def _page_path(table: str, number: int) -> str:
    return f"pages/{table}-{number}.html"


def _span(one: _Shown, number: int) -> str:
    first = (number - 1) * PAGE_ROWS + 1
    return f"rows {first} to {min(number * PAGE_ROWS, one.row_count)}"


def _rows_word(count: int) -> str:
    return "1 row" if count == 1 else f"{count} rows"


def _table(one: _Shown, rows: list[Markup], caption: str) -> dict[str, Any]:
    return {
        "title": one.table.title,
        "caption": caption,
        "columns": one.columns,
        "rows": rows,
        "blank": one.blank,
    }


# -- what a table holds --------------------------------------------------------------------------


def read_stretches(
    package: Package, table: str, columns: Sequence[str] | None = None
) -> Iterator[list[tuple[str, ...]]]:
    """The rows of a table, a stretch at a time, as texts in the order of `columns`.

    Reads as `Package.table` does, but in flat memory. Raises UnusablePackage for an unreadable
    file.
    """
    import pandas as pd

    path = package.table_path(table)
    try:
        with pd.read_csv(
            path,
            dtype=str,
            keep_default_na=False,
            encoding="utf-8",
            skip_blank_lines=False,
            chunksize=PAGE_ROWS,
        ) as stretches:
            for frame in stretches:
                if columns is not None:
                    frame = frame.reindex(columns=list(columns), fill_value="")
                yield list(frame.itertuples(index=False, name=None))
    except FileNotFoundError:
        raise UnusablePackage(
            f"{path} is missing; every table has its file, even an empty one"
        ) from None
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeDecodeError) as error:
        raise UnusablePackage(f"{path} is not a readable table: {error}") from error


def _survey(package: Package, table: Table) -> _Shown:
    used = [False] * len(table.names)
    count = 0
    for rows in read_stretches(package, table.name, table.names):
        count += len(rows)
        for place, column in enumerate(zip(*rows, strict=True)):
            used[place] = used[place] or any(column)
    fields = [one for one, is_used in zip(table.fields, used, strict=True) if is_used]
    # the key stands first, since it heads the row
    fields.sort(key=lambda one: one.name not in table.primary_key)
    blank = tuple(one.title for one, is_used in zip(table.fields, used, strict=True) if not is_used)
    targets = {key.fields[0]: key.table for key in table.foreign_keys if len(key.fields) == 1}
    return _Shown(
        table,
        tuple(_column(package, one, targets.get(one.name, "")) for one in fields),
        blank if count else (),
        count,
    )


def _column(package: Package, one: Field, target: str) -> _Column:
    vocabulary = package.model.vocabulary_of(one)
    labels = {term.code: term.label for term in vocabulary.terms} if vocabulary else {}
    if one.type == "boolean":
        labels = {"true": "yes", "false": "no"}
    return _Column(
        name=one.name,
        title=one.title,
        unit=one.unit or "",
        is_number=one.type in ("number", "integer"),
        target=target,
        labels=labels,
        separator=one.separator or "",
    )


class _Whereabouts:
    """Where each row of each table is to be found, so that cells can link to it."""

    def __init__(self, package: Package, shown: Sequence[_Shown], files: frozenset[str]) -> None:
        self.files = files
        self._page_of: dict[str, dict[str, int]] = {}
        pointed_at = {column.target for one in shown for column in one.columns if column.target}
        for one in shown:
            key = one.table.primary_key
            if one.table.name in pointed_at and len(key) == 1:
                places: dict[str, int] = {}
                for rows in read_stretches(package, one.table.name, key):
                    for (text,) in rows:
                        page = len(places) // PAGE_ROWS + 1 if one.page_count else 0
                        places.setdefault(text, page)
                self._page_of[one.table.name] = places

    def address(self, table: str, key: str, *, from_page: int) -> str | None:
        """The link to a row, as seen from the index (page 0) or a page in pages/."""
        page = self._page_of.get(table, {}).get(key)
        if page is None:
            return None
        if page:
            file = _page_path(table, page)
            return f"{'../' if from_page else ''}{file}#{_anchor(table, key)}"
        return f"{'../index.html' if from_page else ''}#{_anchor(table, key)}"


def _anchor(table: str, key: str) -> str:
    return f"{table}.{quote(key, safe='')}"


# -- rows ----------------------------------------------------------------------------------------


def _rows(
    package: Package, one: _Shown, where: _Whereabouts, *, page: int
) -> Iterator[tuple[int, Markup]]:
    """(place counted from 1, HTML of the row) of every row."""
    from markupsafe import Markup, escape

    def text_of(text: str) -> str:
        return str(escape(visible(text)))

    def linked(href: str | None, inside: str) -> str:
        return f'<a href="{escape(href)}">{inside}</a>' if href else inside

    def labelled(column: _Column, code: str) -> str:
        """What a person reads for a code, with the code itself where it says something else."""
        label = column.labels.get(code)
        if not label:
            return text_of(code)
        if label.casefold() == code.casefold().replace("_", " "):
            return text_of(label)
        return f"{text_of(label)} <small>{text_of(code)}</small>"

    def cell(column: _Column, text: str) -> str:
        if not text:
            return "<td></td>"
        codes = text.split(column.separator) if column.separator else [text]
        inside = f"{column.separator} ".join(labelled(column, code.strip()) for code in codes)
        if column.target:
            inside = linked(where.address(column.target, text, from_page=page), inside)
        elif column.name in ("path", "mapping_path") and text in where.files:
            inside = linked(f"{'../' if page else ''}{quote(text)}", inside)
        if column.is_number:
            return f'<td class="number">{inside}</td>'
        return f'<td class="short">{inside}</td>' if len(text) <= SHORT else f"<td>{inside}</td>"

    table = one.table
    names = [column.name for column in one.columns]
    key_places = [names.index(name) for name in table.primary_key if name in names]
    heading = key_places[0] if key_places else -1
    place = 0
    for rows in read_stretches(package, table.name, names):
        for values in rows:
            place += 1
            key = " / ".join(values[at] for at in key_places)
            cells = [
                f'<th scope="row">{text_of(text)}</th>' if at == heading else cell(column, text)
                for at, (column, text) in enumerate(zip(one.columns, values, strict=True))
            ]
            yield place, Markup(f'<tr id="{_anchor(table.name, key)}">{"".join(cells)}</tr>')


def row_counts(package: Package) -> dict[str, int]:
    """How many rows each table has, in the order of the model."""
    return {
        name: sum(len(rows) for rows in read_stretches(package, name))
        for name in package.model.tables
    }
