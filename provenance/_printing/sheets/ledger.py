"""Lays out the ledger: many rows a page, a column a field, for work that goes on beam after beam.

The columns of a table that is wider than the page go on to a further page (part 2, part 3 …), each
with the line number and the key again, so that the pages lie side by side. A printed row is as high
on every part as its longest value needs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from provenance._drawing.fitting import FittedText, draw_block, draw_line, fit_block, fit_line
from provenance._drawing.fonts import BOLD, PLAIN, printable
from provenance._drawing.paper import MM, Box, Paper
from provenance._model.schema import Field, Model, Table
from provenance._printing.sheets.cells import LINE_MM, broken
from provenance._printing.sheets.frame import SMALLEST_TYPE, PageDraft, content_box
from provenance._printing.sheets.question import LONGEST_HINT, value_in_words

ROW = (LINE_MM + 1.0) * MM
TALLEST_ROW = 45 * MM
NUMBER_WIDTH = 7.0 * MM
PAD = 0.9 * MM
HEADER_SIZE = 7.0
VALUE_SIZE = 9.0
SECTION_ROW = 4.2 * MM
LONGEST_HEADER_LINES = 6


@dataclass(frozen=True)
class _Column:
    """A field with its least width in points and its share of what is left over."""

    field: Field
    width: float
    grows: float


def lay_out_ledger(
    model: Model,
    table: Table,
    rows: Sequence[Mapping[str, str]],
    paper: Paper,
    preset: Mapping[str, str] | None = None,
) -> list[PageDraft]:
    """The pages for the rows (texts), or for a page of blank lines when there are none.

    `preset` is printed on every blank line, such as the site's code.
    """
    page = content_box(paper, landscape=True)
    parts = _parts(table, page.width, model)
    header = max(_header_height(part, page.width) for part in parts)
    room = page.height - header - SECTION_ROW
    if rows:
        heights = [_row_height(model, parts, row, page.width) for row in rows]
    else:
        rows = [dict(preset or {})] * int(room / ROW)
        heights = [ROW] * len(rows)
    pages: list[PageDraft] = []
    start = 0
    while start < len(rows):
        end, used = start, 0.0
        while end < len(rows) and used + heights[end] <= room + 1e-6:
            used += heights[end]
            end += 1
        lines = list(
            zip(range(start + 1, end + 1), rows[start:end], heights[start:end], strict=True)
        )
        for place, part in enumerate(parts):
            told = f"part {place + 1} of {len(parts)}" if len(parts) > 1 else ""
            draw = _Page(model, table, part, lines, page, header, told).draw
            fields = tuple(column.field.name for column in part[1 if place else 0 :])
            keys = (_key(table, rows[start]), _key(table, rows[end - 1]))
            pages.append(PageDraft(draw, landscape=True, fields=fields, keys=keys))
        start = end
    return pages


def _key(table: Table, row: Mapping[str, str]) -> str:
    return table.key_of(row) if all(name in row for name in table.primary_key) else ""


def _columns(model: Model, table: Table) -> list[_Column]:
    fields = sorted(table.form_fields(), key=lambda one: one.name not in table.primary_key)
    columns = []
    for one in fields:
        width, grows = _width_mm(model, table, one)
        words = printable(_header(one), BOLD).split()
        longest = max((BOLD.width(word, HEADER_SIZE) for word in words), default=0.0)
        columns.append(_Column(one, max(width * MM, min(longest, 30 * MM) + 2 * PAD), grows))
    return columns


def _width_mm(model: Model, table: Table, one: Field) -> tuple[float, float]:
    """The least width of a column in mm, and how much it wants of what is left over."""
    if one.type in ("number", "integer", "boolean"):
        return 12.0, 0.3
    if one.vocabulary:
        return 20.0, 1.0
    if any(one.name in key.fields for key in table.foreign_keys):
        return 16.0, 0.6
    notation = model.notations.get(one.notation or "")
    if notation:
        return (18.0, 0.5) if len(notation.example) <= LONGEST_HINT else (34.0, 1.5)
    return (40.0, 3.0) if one.section == "notes" else (28.0, 2.0)


def _header(one: Field) -> str:
    unit = f" ({one.unit})" if one.unit else ""
    return f"{one.title}{unit}{'*' if one.required else ''}"


def _parts(table: Table, page_width: float, model: Model) -> list[list[_Column]]:
    """The columns of each page, the key first on every one, in as few pages as can be."""
    columns = _columns(model, table)
    keys = [column for column in columns if column.field.name in table.primary_key]
    room = page_width - NUMBER_WIDTH - sum(column.width for column in keys)
    rest = columns[len(keys) :]
    least = _fill(rest, room)
    # the same number of pages with columns of about the same sum, instead of a near-empty last one
    whole = sum(column.width for column in rest)
    for share in range(0, 100, 5):
        target = min(room, whole / max(1, len(least)) * (1 + share / 100))
        parts = _fill(rest, target)
        if len(parts) == len(least):
            return [keys + part for part in parts]
    return [keys + part for part in least]


def _fill(columns: Sequence[_Column], room: float) -> list[list[_Column]]:
    parts: list[list[_Column]] = [[]]
    used = 0.0
    for column in columns:
        if parts[-1] and used + column.width > room:
            parts.append([])
            used = 0.0
        parts[-1].append(column)
        used += column.width
    return parts


def _widths(part: Sequence[_Column], page_width: float) -> list[float]:
    left = page_width - NUMBER_WIDTH - sum(column.width for column in part)
    grows = sum(column.grows for column in part)
    if left < 0:
        # one field with a very long word in its title; all give way alike
        shrink = (page_width - NUMBER_WIDTH) / sum(column.width for column in part)
        return [column.width * shrink for column in part]
    return [column.width + left * column.grows / grows for column in part]


def _header_lines(one: Field, width: float) -> tuple[str, ...]:
    text = printable(_header(one), BOLD)
    lines = broken(text, BOLD, width - 2 * PAD, HEADER_SIZE)
    if len(lines) <= LONGEST_HEADER_LINES:
        return lines
    return (*lines[: LONGEST_HEADER_LINES - 1], "…")


def _header_height(part: Sequence[_Column], page_width: float) -> float:
    widths = _widths(part, page_width)
    count = max(
        len(_header_lines(column.field, width)) for column, width in zip(part, widths, strict=True)
    )
    return FittedText(("",) * count, HEADER_SIZE, True).height + 2 * PAD


def _fit_value(text: str, width: float, height: float) -> FittedText:
    """On one line if any size allows, else in lines that part no word which could stay whole."""
    room = width - 2 * PAD
    one = fit_line(text, PLAIN, room, largest=VALUE_SIZE, smallest=SMALLEST_TYPE)
    if one.whole:
        return one
    longest = max(PLAIN.width(word, 1.0) for word in text.split())
    largest = max(SMALLEST_TYPE, min(VALUE_SIZE, int(4 * room / longest) / 4))
    return fit_block(text, PLAIN, room, height - 2 * PAD, largest=largest, smallest=SMALLEST_TYPE)


def _shown(model: Model, one: Field, row: Mapping[str, str]) -> str:
    words = value_in_words(model.vocabulary_of(one), one, row.get(one.name, ""))
    return printable(words, PLAIN)


def _row_height(
    model: Model, parts: Sequence[Sequence[_Column]], row: Mapping[str, str], page_width: float
) -> float:
    tallest = ROW
    for part in parts:
        for column, width in zip(part, _widths(part, page_width), strict=True):
            text = _shown(model, column.field, row)
            if text and not _fit_value(text, width, tallest).whole:
                lines = broken(text, PLAIN, width - 2 * PAD, SMALLEST_TYPE)
                needed = FittedText(lines, SMALLEST_TYPE, True).height + 2 * PAD + 0.1
                tallest = min(TALLEST_ROW, max(tallest, needed))
    return tallest


@dataclass(frozen=True)
class _Page:
    """One page: `lines` are number, row and height; `told` says which part it is, if of several."""

    model: Model
    table: Table
    part: Sequence[_Column]
    lines: Sequence[tuple[int, Mapping[str, str], float]]
    page: Box
    header: float
    told: str

    def draw(self, canvas: Any) -> None:
        """Draw it; a text that does not fit is cut, which the foot then says."""
        page, header = self.page, self.header
        widths = _widths(self.part, page.width)
        foot = page.top - SECTION_ROW - header - sum(height for _, _, height in self.lines)
        self._draw_sections(canvas, widths)
        top = page.top - SECTION_ROW
        x = page.x + NUMBER_WIDTH
        for column, width in zip(self.part, widths, strict=True):
            titles = FittedText(_header_lines(column.field, width), HEADER_SIZE, True)
            draw_block(canvas, titles, BOLD, Box(x + PAD, top - header, width, header - PAD))
            x += width
        y = top - header
        cut = False
        for number, row, height in self.lines:
            at = (page.x + NUMBER_WIDTH - PAD, y - height / 2 - SMALLEST_TYPE * 0.36)
            draw_line(canvas, str(number), PLAIN, SMALLEST_TYPE, *at, align="right")
            x = page.x + NUMBER_WIDTH
            for column, width in zip(self.part, widths, strict=True):
                text = _shown(self.model, column.field, row)
                if text:
                    fitted = _fit_value(text, width, height)
                    cut = cut or not fitted.whole
                    down = (height - fitted.height) / 2
                    box = Box(x + PAD, y - height, width, height - down)
                    draw_block(canvas, fitted, PLAIN, box)
                x += width
            y -= height
        self._draw_rules(canvas, widths, foot)
        if cut:
            note = "A text that ends in … is cut here; the package has the whole."
            if foot - page.y > 3 * MM:
                draw_line(canvas, note, PLAIN, SMALLEST_TYPE, page.x, foot - 2.9 * MM)

    def _draw_sections(self, canvas: Any, widths: Sequence[float]) -> None:
        """The names of the sections over their columns, white on black, and which part this is."""
        page = self.page
        bar = Box(page.x, page.top - SECTION_ROW, page.width, SECTION_ROW)
        canvas.setFillGray(0)
        canvas.rect(bar.x, bar.y, bar.width, bar.height, stroke=0, fill=1)
        canvas.setFillGray(1)
        if words := self.told:
            draw_line(canvas, words, BOLD, 7.5, bar.right - PAD, bar.y + 1.1 * MM, align="right")
            bar = Box(bar.x, bar.y, bar.width - BOLD.width(words, 7.5) - 3 * PAD, bar.height)
        x = page.x + NUMBER_WIDTH
        spans: list[tuple[str, float, float]] = []
        for column, width in zip(self.part, widths, strict=True):
            title = self.table.sections[column.field.section]
            if spans and spans[-1][0] == title:
                spans[-1] = (title, spans[-1][1], spans[-1][2] + width)
            else:
                spans.append((title, x, width))
            x += width
        for title, start, width in spans:
            room = min(width, bar.right - start) - 2 * PAD
            text = printable(title, BOLD)
            fitted = fit_block(text, BOLD, room, SECTION_ROW, largest=7.5, smallest=SMALLEST_TYPE)
            for line in fitted.lines[:1]:
                draw_line(canvas, line, BOLD, fitted.size, start + PAD, bar.y + 1.1 * MM)
        canvas.setFillGray(0)

    def _draw_rules(self, canvas: Any, widths: Sequence[float], foot: float) -> None:
        page, header = self.page, self.header
        top = page.top - SECTION_ROW
        canvas.setLineWidth(0.4)
        x = page.x + NUMBER_WIDTH
        for width in (0.0, *widths[:-1]):
            x += width
            canvas.line(x, top, x, foot)
        y = top - header
        for _, _, height in self.lines[:-1]:
            y -= height
            canvas.line(page.x, y, page.x + page.width, y)
        canvas.setLineWidth(0.9)
        canvas.line(page.x, top - header, page.x + page.width, top - header)
        canvas.rect(page.x, foot, page.width, top - foot)
