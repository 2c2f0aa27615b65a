"""Measures and draws one question on a form: its title, its boxes, its line to write on.

A line to write on is LINE_MM high, so that a hand in a glove can use it; a box to tick is about
3.5 mm wide and stands TICK_PITCH_MM above the next. An answer that is printed makes the cell as
high as it needs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from provenance._drawing.fitting import draw_line, fit_block, fit_line
from provenance._drawing.fonts import ASCENT, BOLD, CAP_HEIGHT, DESCENT, PLAIN, Typeface, printable
from provenance._drawing.paper import MM, Box
from provenance._printing.sheets.question import Choice, Question

COLUMNS = 5
GUTTER = 4.0 * MM
LINE_MM = 7.5
NOTE_LINES = 2
TITLE_SIZE = 8.0
HINT_SIZE = 7.0
TITLE_LEADING = 3.5 * MM
LABEL_SIZE = 8.0
LABEL_LEADING = 3.4 * MM
TICK_PITCH_MM = 5.3
TICK_SIZE = 12.5
TICK_WIDTH = 5.0 * MM
TICK_GAP = 2.5 * MM
MOST_ACROSS = 6
ANSWER_SIZE, SMALLEST_ANSWER = 10.5, 8.0
ROWS_FOR_SPAN = {1: 1, 2: 2, 3: 2}
ANSWER_LINES_FOR_SPAN = {1: 2, 2: 3, 3: 4}

EMPTY_BOX, TICKED_BOX = "☐", "☒"


def broken(text: str, face: Typeface, width: float, size: float) -> tuple[str, ...]:
    """The text in lines of at most `width` points in that size."""
    return fit_block(text, face, width, 1e6, largest=size, smallest=size).lines


@dataclass(frozen=True)
class _Tick:
    """One box at x, and at `down` below the top of the body, with its label in lines."""

    choice: Choice
    x: float
    down: float
    lines: tuple[str, ...]


@dataclass(frozen=True)
class _Cell:
    """A measured question: title lines, whether the hint has a line of its own, and the body."""

    title: tuple[str, ...]
    hint_below: bool
    ticks: tuple[_Tick, ...]
    ticks_height: float
    lines: tuple[str, ...]
    answer_size: float
    lines_height: float

    @property
    def title_height(self) -> float:
        return (len(self.title) + self.hint_below) * TITLE_LEADING

    @property
    def height(self) -> float:
        return self.title_height + self.ticks_height + self.lines_height


def measure_cell(question: Question, page_width: float) -> tuple[int, float]:
    """How many of the COLUMNS a question takes on a page that wide, and its height in points."""
    for span in (1, 2, 3, COLUMNS):
        if span < _least_span(question):
            continue
        cell = _lay_out(question, span_width(page_width, span))
        if span == COLUMNS or _agreeable(question, cell, span):
            return span, cell.height
    raise AssertionError("the full width is always taken")


def span_width(page_width: float, span: int) -> float:
    """The width of so many columns with the gutters between them, in points."""
    one = (page_width - (COLUMNS - 1) * GUTTER) / COLUMNS
    return span * one + (span - 1) * GUTTER


def _least_span(question: Question) -> int:
    return {"long": 2, "notes": COLUMNS}.get(question.kind, 1)


def _agreeable(question: Question, cell: _Cell, span: int) -> bool:
    """Whether the cell is not too tall for so few columns."""
    rows = len({tick.down for tick in cell.ticks})
    wrapped = any(len(tick.lines) > 1 for tick in cell.ticks)
    return (
        rows <= ROWS_FOR_SPAN[span]
        and not wrapped
        and len(cell.title) <= 1 + (not cell.ticks)
        and len(cell.lines) <= ANSWER_LINES_FOR_SPAN[span]
    )


def _lay_out(question: Question, width: float) -> _Cell:
    title = _title_lines(question, width)
    hint = printable(question.hint, PLAIN)
    hint_below = False
    if hint:
        used = BOLD.width(title[-1] + " ", TITLE_SIZE)
        hint_below = used + PLAIN.width(hint, HINT_SIZE) > width
    ticks, ticks_height = _lay_ticks(question.choices, width)
    answer = printable(question.answer, PLAIN)
    lines: tuple[str, ...] = ()
    size = ANSWER_SIZE
    lines_height = 0.0
    if answer or not ticks:
        room = width - _unit_width(question)
        one_line = fit_line(answer, PLAIN, room, largest=ANSWER_SIZE, smallest=SMALLEST_ANSWER)
        size = one_line.size
        lines = one_line.lines if one_line.whole else broken(answer, PLAIN, room, SMALLEST_ANSWER)
        blank_lines = NOTE_LINES if question.kind == "notes" else 1
        text_height = (len(lines) + 0.5) * size * 1.2
        lines_height = max(blank_lines * LINE_MM * MM, text_height)
    return _Cell(title, hint_below, ticks, ticks_height, lines, size, lines_height)


def _title_lines(question: Question, width: float) -> tuple[str, ...]:
    star = "*" if question.required else ""
    text = printable(question.title, BOLD) or question.name
    return broken(text + star, BOLD, width, TITLE_SIZE)


def _unit_width(question: Question) -> float:
    if not question.unit:
        return 0.0
    return PLAIN.width(printable(question.unit, PLAIN), LABEL_SIZE) + 1.2 * MM


def _lay_ticks(choices: tuple[Choice, ...], width: float) -> tuple[tuple[_Tick, ...], float]:
    """Boxes in one row where they fit, else in columns, read across."""
    if not choices:
        return (), 0.0
    labels = [printable(choice.label, PLAIN) for choice in choices]
    widths = [TICK_WIDTH + PLAIN.width(label, LABEL_SIZE) for label in labels]
    if sum(widths) + TICK_GAP * (len(widths) - 1) <= width:
        ticks = []
        x = 0.0
        for choice, label, one in zip(choices, labels, widths, strict=True):
            ticks.append(_Tick(choice, x, 0.0, (label,)))
            x += one + TICK_GAP
        return tuple(ticks), TICK_PITCH_MM * MM
    lefts = _tick_columns(widths, width)
    across = len(lefts)
    rights = [*(left - TICK_GAP for left in lefts[1:]), width]
    ticks = []
    down = 0.0
    for start in range(0, len(choices), across):
        tallest = 1
        for place in range(start, min(start + across, len(choices))):
            left, right = lefts[place - start], rights[place - start]
            lines = broken(labels[place], PLAIN, right - left - TICK_WIDTH + 0.01, LABEL_SIZE)
            ticks.append(_Tick(choices[place], left, down, lines))
            tallest = max(tallest, len(lines))
        down += TICK_PITCH_MM * MM + (tallest - 1) * LABEL_LEADING
    return tuple(ticks), down


def _tick_columns(widths: list[float], width: float) -> list[float]:
    """Where the columns of boxes begin: as many as fit, what is left over shared between them."""
    for across in range(min(len(widths), MOST_ACROSS), 1, -1):
        columns = [max(widths[column::across]) for column in range(across)]
        spare = width - sum(columns) - TICK_GAP * (across - 1)
        if spare >= 0:
            share = spare / across
            return [sum(columns[:column]) + column * (TICK_GAP + share) for column in range(across)]
    return [0.0]


def draw_cell(canvas: Any, question: Question, box: Box) -> None:
    """Draw the question into its box; a box that is higher than measured gives more lines."""
    cell = _lay_out(question, box.width)
    baseline = box.top - TITLE_SIZE * ASCENT
    for line in cell.title:
        draw_line(canvas, line, BOLD, TITLE_SIZE, box.x, baseline)
        baseline -= TITLE_LEADING
    hint = printable(question.hint, PLAIN)
    if hint and cell.hint_below:
        draw_line(canvas, hint, PLAIN, HINT_SIZE, box.x, baseline)
    elif hint:
        x = box.x + BOLD.width(cell.title[-1] + " ", TITLE_SIZE)
        draw_line(canvas, hint, PLAIN, HINT_SIZE, x, baseline + TITLE_LEADING)
    top = box.top - cell.title_height
    for tick in cell.ticks:
        _draw_tick(canvas, tick, box.x, top)
    if cell.lines_height:
        lines_top = top - cell.ticks_height
        _draw_lines(canvas, question, cell, Box(box.x, box.y, box.width, lines_top - box.y))


def _draw_tick(canvas: Any, tick: _Tick, left: float, top: float) -> None:
    middle = top - tick.down - TICK_PITCH_MM * MM / 2
    mark = TICKED_BOX if tick.choice.ticked else EMPTY_BOX
    # the glyph of the box sits as high above the baseline as a capital, and a little below it
    draw_line(canvas, mark, PLAIN, TICK_SIZE, left + tick.x - 0.5 * MM, middle - 4.0)
    face = BOLD if tick.choice.ticked else PLAIN
    baseline = middle - LABEL_SIZE * CAP_HEIGHT / 2
    for line in tick.lines:
        size = LABEL_SIZE
        wide = face.width(line, size)
        room = PLAIN.width(line, size)
        if wide > room:
            # bold letters are wider; they keep to the room that was measured for plain ones
            canvas.saveState()
            canvas.translate(left + tick.x + TICK_WIDTH, baseline)
            canvas.scale(room / wide, 1)
            draw_line(canvas, line, face, size, 0, 0)
            canvas.restoreState()
        else:
            draw_line(canvas, line, face, size, left + tick.x + TICK_WIDTH, baseline)
        baseline -= LABEL_LEADING


def _draw_lines(canvas: Any, question: Question, cell: _Cell, box: Box) -> None:
    canvas.setLineWidth(0.6)
    count = 1
    if question.kind == "notes" and not cell.lines:
        count = max(1, int(box.height / (LINE_MM * MM) + 1e-6))
    unit_width = _unit_width(question)
    for line in range(count):
        y = box.y + line * LINE_MM * MM
        canvas.line(box.x, y, box.right - unit_width, y)
    foot = box.y + (count - 1) * LINE_MM * MM
    if question.unit:
        unit = printable(question.unit, PLAIN)
        draw_line(canvas, unit, PLAIN, LABEL_SIZE, box.right, foot + 0.3 * MM, align="right")
    leading = cell.answer_size * 1.2
    baseline = foot + cell.answer_size * DESCENT + (len(cell.lines) - 1) * leading
    for line_text in cell.lines:
        draw_line(canvas, line_text, PLAIN, cell.answer_size, box.x, baseline)
        baseline -= leading
