"""Lays out core sheets, two to a page to be cut apart: one core or slice with its wood and hole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

from provenance._base.languages import _, unreviewed
from provenance._drawing.fitting import (
    draw_block,
    draw_line,
    fit_block,
    fit_line,
    write_block,
    write_line,
)
from provenance._drawing.fonts import BOLD, MONO, PLAIN, printable
from provenance._drawing.paper import MM, Box, Paper
from provenance._model.schema import Field, Model
from provenance._printing.sheets.asked import Asked, asked_of, sheet_words
from provenance._printing.sheets.cells import EMPTY_BOX, TICKED_BOX
from provenance._printing.sheets.frame import (
    DEFERRAL,
    EDGE_MM,
    PUNCH_MM,
    SMALLEST_TYPE,
    TIGHT_MM,
    Heading,
    PageDraft,
    draw_small_code,
)
from provenance._printing.sheets.log import GRAY, PAD, draw_marks
from provenance._printing.sheets.plan_grid import draw_squares
from provenance._record.snapshot import Row, Snapshot

OUTER_MM, CUT_MM = 8.0, 5.0
HEAD_MM, CODE_MM, NUMBER_MM = 18.0, 18.0, 44.0
BOX_MM, GAP_MM = 9.1, 0.7
TICK_LINE_MM = 4.1
SQUARE_MM = 3.0
SKETCH_SHARE = 0.36
TICK_SIZE, LARGEST_VALUE = 7.25, 9.5


@dataclass(frozen=True)
class _Ticks:
    """One question with boxes: the codes that are offered, and how wide it runs."""

    heading: str
    table: str
    field: Field
    choices: tuple[tuple[str, str], ...]

    @cached_property
    def pieces(self) -> list[tuple[str, str, float]]:
        """(code or '', words, width in points) of the heading and each box."""
        heading = printable(self.heading, BOLD)
        pieces = [("", heading, BOLD.width(heading, TICK_SIZE) + 1.6 * MM)]
        for code, label in self.choices:
            words = printable(label, PLAIN)
            pieces.append((code, words, PLAIN.width(words, TICK_SIZE) + 6.2 * MM))
        return pieces


@dataclass(frozen=True)
class CoreSheet:
    """What the sheet asks of a record."""

    model: Model
    words: Mapping[str, Any]
    first: tuple[Asked, ...]
    rows: tuple[tuple[Asked, ...], ...]
    ticks: tuple[_Ticks, ...]

    @property
    def boxes(self) -> list[Asked]:
        """Every box, in order."""
        return [*self.first, *(one for row in self.rows for one in row)]


@dataclass(frozen=True)
class CoreRows:
    """One core: its sample, timber and plug by table ('' and no rows for a blank), its heading."""

    number: str
    rows: Mapping[str, Row]
    heading: Heading


def core_sheet_of(model: Model) -> CoreSheet:
    """The core sheet for a model: what the record has no field for is not asked."""
    words = sheet_words("core")

    def boxes(raw: Sequence[Mapping[str, Any]]) -> tuple[Asked, ...]:
        asked = (asked_of(model, one) for one in raw)
        return tuple(one for one in asked if one is not None)

    rows = tuple(boxes(raw) for raw in words["rows"])
    ticks = tuple(one for raw in words["ticks"] if (one := _ticks_of(model, raw)) is not None)
    return CoreSheet(model, words, boxes(words["first"]), tuple(row for row in rows if row), ticks)


def _ticks_of(model: Model, raw: Mapping[str, Any]) -> _Ticks | None:
    table, name = raw["field"].split(".")
    shown = model.tables[table].form_fields() if table in model.tables else ()
    one = next((one for one in shown if one.name == name), None)
    vocabulary = model.vocabulary_of(one) if one is not None else None
    if one is None or vocabulary is None:
        return None
    terms = [vocabulary.term(code) for code in raw["codes"]]
    choices = tuple((term.code, term.label) for term in terms if term is not None)
    return _Ticks(raw["heading"], table, one, choices) if choices else None


def lay_out_cores(
    sheet: CoreSheet, cores: Sequence[CoreRows], tables: Snapshot | None, paper: Paper
) -> list[PageDraft]:
    """The pages for the cores, two to a page."""
    names = tuple(name for box in sheet.boxes for name in box.names)
    names += tuple(one.field.name for one in sheet.ticks)
    return [
        PageDraft(
            partial(_draw_page, sheet, cores[start : start + 2], tables, paper),
            fields=names,
            framed=False,
        )
        for start in range(0, len(cores), 2)
    ]


def _draw_page(
    sheet: CoreSheet,
    cores: Sequence[CoreRows],
    tables: Snapshot | None,
    paper: Paper,
    canvas: Any,
) -> None:
    middle = paper.height / 2
    width = paper.width - (PUNCH_MM + EDGE_MM) * MM
    height = middle - (OUTER_MM + CUT_MM) * MM
    for core, y in zip(cores, (middle + CUT_MM * MM, OUTER_MM * MM), strict=False):
        _draw_core(canvas, sheet, core, tables, Box(PUNCH_MM * MM, y, width, height))
    canvas.setDash(3, 3)
    canvas.setLineWidth(0.4)
    canvas.line(TIGHT_MM * MM, middle, paper.width - TIGHT_MM * MM, middle)
    canvas.setDash()


def _draw_core(
    canvas: Any, sheet: CoreSheet, core: CoreRows, tables: Snapshot | None, page: Box
) -> None:
    head, rest = page.cut_top(HEAD_MM * MM, GAP_MM * MM)
    draw_small_code(canvas, core.heading, CODE_MM, head.right, head.top)
    left = Box(head.x, head.y, head.width - (CODE_MM + 1) * MM, head.height)
    words, number = left.cut_left(left.width - NUMBER_MM * MM, 1.5 * MM)
    title, boxes = words.cut_top(words.height - BOX_MM * MM)
    _draw_title(canvas, sheet, core, title)
    _draw_number(canvas, sheet, core, number)
    _draw_row(canvas, sheet, sheet.first, core, tables, boxes)
    for asked in sheet.rows:
        row, rest = rest.cut_top(BOX_MM * MM, GAP_MM * MM)
        _draw_row(canvas, sheet, asked, core, tables, row)
    rest = _draw_ticks(canvas, sheet, core, rest)
    cautions = f"{core.heading.caution} {sheet.words['cautions']} {_(DEFERRAL)} {unreviewed()}"
    room = Box(rest.x, rest.y, rest.width, rest.height / 2)
    lines = fit_block(
        printable(cautions, PLAIN),
        PLAIN,
        room.width,
        room.height,
        largest=SMALLEST_TYPE,
        smallest=SMALLEST_TYPE,
    )
    draw_block(canvas, lines, PLAIN, Box(rest.x, rest.y, rest.width, lines.height))
    below = lines.height + 1 * MM
    sketches = Box(rest.x, rest.y + below, rest.width, rest.height - below)
    _draw_sketches(canvas, sheet, core, sketches)


def _draw_title(canvas: Any, sheet: CoreSheet, core: CoreRows, box: Box) -> None:
    baseline = box.top - 4.2 * MM
    fitted = write_line(
        canvas, sheet.words["title"], BOLD, box.width * 0.5, box.x, baseline, largest=13, smallest=9
    )
    x = box.x + max(BOLD.width(line, fitted.size) for line in fitted.lines) + 2 * MM
    write_line(
        canvas, sheet.words["below"], PLAIN, box.right - x, x, baseline, largest=8, smallest=7
    )
    at = (box.x, box.top - 7.8 * MM)
    write_line(canvas, core.heading.about, PLAIN, box.width, *at, largest=7.5, smallest=7)


def _draw_number(canvas: Any, sheet: CoreSheet, core: CoreRows, box: Box) -> None:
    canvas.setLineWidth(1.2)
    canvas.rect(box.x, box.y, box.width, box.height)
    titled = Box(box.x + PAD, box.y, box.width - 2 * PAD, box.height - 0.8 * MM)
    upper, lower = titled.cut_top(6.4 * MM)
    write_block(canvas, sheet.words["number"], PLAIN, upper, largest=7, smallest=SMALLEST_TYPE)
    at = (lower.middle_x, lower.y + 2.6 * MM)
    write_line(canvas, core.number, MONO, lower.width, *at, largest=22, smallest=8, align="centre")


def _draw_row(
    canvas: Any,
    sheet: CoreSheet,
    asked: Sequence[Asked],
    core: CoreRows,
    tables: Snapshot | None,
    row: Box,
) -> None:
    gaps = GAP_MM * MM * (len(asked) - 1)
    unit = (row.width - gaps) / sum(one.share for one in asked)
    x = row.x
    for one in asked:
        box = Box(x, row.y, one.share * unit, row.height)
        canvas.setLineWidth(1.2 if one.bold else 0.5)
        canvas.rect(box.x, box.y, box.width, box.height)
        face = BOLD if one.bold else PLAIN
        canvas.setFillGray(0 if one.bold else GRAY / 2)
        at = (box.x + PAD, box.top - 2.6 * MM)
        width = box.width - 1.5 * PAD
        write_line(canvas, one.heading, face, width, *at, largest=7.25, smallest=SMALLEST_TYPE)
        canvas.setFillGray(0)
        below = Box(box.x, box.y, box.width, box.height - 3.2 * MM)
        text = printable(one.words(sheet.model, tables, core.rows), PLAIN)
        if text:
            _draw_answer(canvas, text, below)
        else:
            draw_marks(canvas, one.marks(sheet.model), below)
        x += box.width + GAP_MM * MM


def _draw_answer(canvas: Any, text: str, box: Box) -> None:
    """One line in the largest size that holds it, else two in the smallest."""
    room = box.inset(PAD, 0.1 * MM)
    one = fit_line(text, PLAIN, room.width, largest=LARGEST_VALUE, smallest=SMALLEST_TYPE)
    if one.whole:
        draw_line(canvas, one.lines[0], PLAIN, one.size, room.x, room.y + 1.5 * MM)
    else:
        write_block(canvas, text, PLAIN, room, largest=SMALLEST_TYPE, smallest=SMALLEST_TYPE)


def _draw_ticks(canvas: Any, sheet: CoreSheet, core: CoreRows, page: Box) -> Box:
    """Draw the questions with boxes, as many to a line as fit; what is left of the page."""
    x, y = page.x, page.top - TICK_LINE_MM * MM + 0.8 * MM
    for asked in sheet.ticks:
        said = core.rows.get(asked.table, {}).get(asked.field.name, "")
        whole = sum(width for _, _, width in asked.pieces)
        if x > page.x and x + whole > page.right:
            x, y = page.x, y - TICK_LINE_MM * MM
        for code, words, width in asked.pieces:
            if x > page.x and x + width > page.right:
                x, y = page.x + 4 * MM, y - TICK_LINE_MM * MM
            if not code:
                draw_line(canvas, words, BOLD, TICK_SIZE, x, y)
            else:
                ticked = code == said
                draw_line(canvas, TICKED_BOX if ticked else EMPTY_BOX, PLAIN, 11, x, y - 1.1)
                draw_line(canvas, words, PLAIN, TICK_SIZE, x + 3.9 * MM, y)
            x += width
        x += 2.5 * MM
    foot = y - 1.6 * MM
    return Box(page.x, page.y, page.width, foot - page.y)


def _draw_sketches(canvas: Any, sheet: CoreSheet, core: CoreRows, page: Box) -> None:
    step = SQUARE_MM * MM
    across, up = int(page.width * SKETCH_SHARE / step), int(page.height / step)
    x = page.x
    for title in sheet.words["sketches"]:
        box = Box(x, page.top - up * step, across * step, up * step)
        draw_squares(canvas, box, step)
        _caption(canvas, title, box)
        x += box.width + 1.2 * MM
    remarks = Box(x, page.top - up * step, page.right - x, up * step)
    canvas.setLineWidth(0.6)
    canvas.rect(remarks.x, remarks.y, remarks.width, remarks.height)
    asked = sheet.words["remarks"]
    table, name = asked["field"].split(".")
    said = core.rows.get(table, {}).get(name, "")
    lines_top = remarks.top - 4 * MM
    if said:
        room = Box(remarks.x, remarks.y, remarks.width, lines_top - remarks.y).inset(PAD, 0.5 * MM)
        lines_top = write_block(canvas, said, PLAIN, room, largest=8, smallest=SMALLEST_TYPE)
    canvas.setStrokeGray(0.7)
    canvas.setLineWidth(0.4)
    y = lines_top - 6.5 * MM
    while y > remarks.y + 1 * MM:
        canvas.line(remarks.x + 1 * MM, y, remarks.right - 1 * MM, y)
        y -= 6.5 * MM
    canvas.setStrokeGray(0)
    _caption(canvas, asked["heading"], remarks)


def _caption(canvas: Any, text: str, box: Box) -> None:
    """A caption on white in the upper left corner of a box."""
    fitted = fit_line(printable(text, PLAIN), PLAIN, box.width - 2 * MM, largest=7.25, smallest=7)
    for line in fitted.lines:
        width = PLAIN.width(line, fitted.size) + 1.6 * MM
        canvas.setFillGray(1)
        canvas.rect(box.x + 0.3, box.top - 3.9 * MM, width, 3.8 * MM, stroke=0, fill=1)
        canvas.setFillGray(0)
        draw_line(canvas, line, PLAIN, fitted.size, box.x + PAD, box.top - 2.9 * MM)
