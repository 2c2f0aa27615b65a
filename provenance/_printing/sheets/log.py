"""Lays out a log: one row a line, ROWS lines a page, one page wide, to be written on a ladder."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from provenance._base.languages import N_, _, unreviewed
from provenance._drawing.fitting import (
    FittedText,
    draw_block,
    draw_line,
    fit_block,
    write_block,
    write_line,
)
from provenance._drawing.fonts import BOLD, PLAIN, Typeface, printable
from provenance._drawing.paper import MM, Box, Paper
from provenance._model.schema import Model
from provenance._printing.sheets.asked import TIMES, Asked, log_columns, sheet_words
from provenance._printing.sheets.cells import broken
from provenance._printing.sheets.frame import (
    DEFERRAL,
    EDGE_MM,
    SMALLEST_TYPE,
    TIGHT_MM,
    Heading,
    PageDraft,
    draw_blanks,
    draw_small_code,
)
from provenance._record.snapshot import Row, Snapshot

ROWS = 20
FIFTH = 5
HEAD_MM, TITLES_MM, FOOT_MM, UNREVIEWED_MM = 8.0, 10.0, 8.0, 3.0
CODE_MM = 17.0
NARROWEST_MM, WIDEST_WORD_MM = 11.0, 22.0
TITLE_MM = 50.0
PAD = 0.8 * MM
GRAY = 0.4
VALUE_SIZE = 9.0


@dataclass(frozen=True)
class Log:
    """The log of one table: its columns, and the words above and below them."""

    model: Model
    columns: tuple[Asked, ...]
    head: tuple[str, ...]
    note: str


def log_of(model: Model, table: str) -> Log:
    """The log of a table as the model's profile wants it; raises as `log_columns`."""
    words = sheet_words("logs")[table]
    return Log(model, tuple(log_columns(model, table)), tuple(words["head"]), words["note"])


def lay_out_log(
    log: Log, lines: Sequence[Sequence[str]], heading: Heading, paper: Paper, pages: int = 1
) -> list[PageDraft]:
    """The pages for the lines, each the texts of the columns ('' is left blank to write on).

    The last page is filled up with empty lines; there are at least `pages`.
    """
    pages = max(pages, -(-len(lines) // ROWS))
    drafts = []
    for number in range(pages):
        part = lines[number * ROWS : (number + 1) * ROWS]
        counted = _("Page {number} of {count}").format(number=number + 1, count=pages)
        draw = partial(_draw_page, log, part, heading, counted, paper.turned())
        names = tuple(name for column in log.columns for name in column.names)
        drafts.append(PageDraft(draw, landscape=True, fields=names, framed=False))
    return drafts


def column_widths(model: Model, columns: Sequence[Asked], width: float) -> list[float]:
    """The widths in points: by share, none narrower than NARROWEST_MM or a word that it shows."""
    least = [_least_width(model, one) for one in columns]
    least[-1] += CODE_MM * MM
    narrow: set[int] = set()
    while True:
        left = width - sum(least[place] for place in narrow)
        shares = sum(one.share for place, one in enumerate(columns) if place not in narrow)
        widths = [
            least[place] if place in narrow else left * one.share / shares
            for place, one in enumerate(columns)
        ]
        tight = {place for place, one in enumerate(widths) if one < least[place] - 1e-9}
        if not tight or len(narrow | tight) == len(columns):
            break
        narrow |= tight
    # very long words give way: the page is no wider
    shrink = min(1.0, width / sum(widths))
    return [one * shrink for one in widths]


def _least_width(model: Model, column: Asked) -> float:
    """Where no word of its heading and codes is parted, and nothing above the cells is cut."""
    labels = {
        term.label
        for _, one in column.fields
        if (vocabulary := model.vocabulary_of(one)) is not None
        for term in vocabulary.terms
        if not term.code.isupper()  # of species the codes are written
    }
    wide = [_narrowest(column.heading, BOLD, 3), _narrowest(column.below, PLAIN, 2)]
    longest = max([*wide, *(_narrowest(label, PLAIN, len(label)) for label in labels)])
    return max(NARROWEST_MM * MM, min(longest + 2 * PAD + 0.1, WIDEST_WORD_MM * MM))


def _narrowest(text: str, face: Typeface, lines: int) -> float:
    """The width in which a text in the smallest type takes so many lines and no word is parted."""
    words = printable(text, face).split()
    widths = [face.width(word, SMALLEST_TYPE) for word in words]
    runs = {
        face.width(" ".join(words[first:last]), SMALLEST_TYPE)
        for last in range(1, len(words) + 1)
        for first in range(last)
    }
    fits = (
        width
        for width in sorted(runs)
        if width >= max(widths)
        and len(broken(" ".join(words), face, width + 0.01, SMALLEST_TYPE)) <= lines
    )
    return next(fits, 0.0)


def _draw_page(
    log: Log,
    lines: Sequence[Sequence[str]],
    heading: Heading,
    counted: str,
    sheet: Paper,
    canvas: Any,
) -> None:
    page = Box(0, 0, sheet.width, sheet.height).inset(EDGE_MM * MM, TIGHT_MM * MM)
    head, rest = page.cut_top(HEAD_MM * MM)
    titles, below = rest.cut_top(TITLES_MM * MM)
    # an unread translation is told on a line of its own
    foot_mm = FOOT_MM + (UNREVIEWED_MM if unreviewed() else 0)
    cells = Box(below.x, below.y + foot_mm * MM, below.width, below.height - foot_mm * MM)
    height = cells.height / ROWS
    words = head.cut_left(head.width - CODE_MM * MM)[0]
    _draw_head(canvas, words, log.head, heading, counted)
    # the code stands above the lines, beside the heading of the last column
    draw_small_code(canvas, heading, CODE_MM, page.right, page.top + 0.5 * MM)
    widths = column_widths(log.model, log.columns, cells.width)
    canvas.setFillGray(0.93)
    canvas.rect(titles.x, titles.y, titles.width - CODE_MM * MM, titles.height, stroke=0, fill=1)
    canvas.setFillGray(0)
    cut = _draw_columns(canvas, log, lines, widths, titles, cells, height)
    canvas.setLineWidth(1.0)
    canvas.line(titles.x, titles.top, titles.right - CODE_MM * MM, titles.top)
    for row in range(ROWS + 1):
        canvas.setLineWidth(1.4 if row % FIFTH == 0 else 0.35)
        canvas.line(cells.x, cells.top - row * height, cells.right, cells.top - row * height)
    note = f"{log.note} {_(CUT_NOTE)}" if cut else log.note
    foot = Box(page.x, page.y + (foot_mm - FOOT_MM) * MM, page.width, FOOT_MM * MM - 1 * MM)
    draw_line(canvas, unreviewed(), PLAIN, SMALLEST_TYPE, page.x, page.y + 2)
    see = _("All cautions: see the cover.")
    cautions = f"{heading.caution} {see} {_(DEFERRAL)}"
    upper, lower = foot.cut_top(foot.height / 2)
    write_line(
        canvas, note, PLAIN, foot.width, foot.x, upper.y + 2, largest=7.5, smallest=SMALLEST_TYPE
    )
    at = (lower.x, lower.y + 2)
    write_line(canvas, cautions, PLAIN, foot.width, *at, largest=7.5, smallest=SMALLEST_TYPE)


CUT_NOTE = N_("Where a text ends in …, the record has the rest.")


def _draw_head(
    canvas: Any, box: Box, blanks: Sequence[str], heading: Heading, counted: str
) -> None:
    title, rest = box.cut_left(TITLE_MM * MM, 2 * MM)
    at = (title.x, box.y + 4.4 * MM)
    write_line(canvas, heading.title, BOLD, title.width, *at, largest=13, smallest=8)
    at = (title.x, box.y + 1.2 * MM)
    write_line(canvas, heading.about, PLAIN, title.width, *at, largest=7.5, smallest=SMALLEST_TYPE)
    page_width = PLAIN.width(counted, 8) + 2 * MM
    at = (rest.right - 1 * MM, box.y + 2 * MM)
    draw_line(canvas, counted, BOLD, 8, *at, align="right")
    lines = Box(rest.x, box.y + 1.8 * MM, rest.width - page_width - 2 * MM, rest.height)
    draw_blanks(canvas, lines, [(blank, 1 / len(blanks)) for blank in blanks])


def _draw_columns(
    canvas: Any,
    log: Log,
    lines: Sequence[Sequence[str]],
    widths: Sequence[float],
    titles: Box,
    cells: Box,
    height: float,
) -> bool:
    """Draw the headings and the cells; whether a text had to be cut."""
    x, cut = cells.x, False
    for place, (column, width) in enumerate(zip(log.columns, widths, strict=True)):
        last = place == len(widths) - 1
        room = width - (CODE_MM * MM if last else 0) - 2 * PAD
        if room > 0:
            _draw_title(canvas, column, Box(x + PAD, titles.y, room, titles.height - PAD))
        marks = column.marks(log.model)
        for row in range(ROWS):
            cell = Box(x, cells.top - (row + 1) * height, width, height)
            text = printable(lines[row][place], PLAIN) if row < len(lines) else ""
            if text:
                cut |= not draw_value(canvas, text, cell)
            else:
                draw_marks(canvas, marks, cell)
        canvas.setLineWidth(1.0 if place == 0 else 0.35)
        canvas.line(x, titles.top if room > 0 or not last else cells.top, x, cells.y)
        x += width
    canvas.setLineWidth(1.0)
    canvas.line(x, cells.top, x, cells.y)
    return cut


def _draw_title(canvas: Any, column: Asked, box: Box) -> None:
    kept = 3.0 * MM if column.below else 0.0
    name = _fit_words(column.heading, BOLD, box.width, box.height - kept, 8.0)
    if not name.whole:
        # a long heading takes the room of what stands below, which the cells say too
        name = _fit_words(column.heading, BOLD, box.width, box.height, 8.0)
    foot = draw_block(canvas, name, BOLD, box)
    canvas.setFillGray(GRAY)
    below = Box(box.x, box.y, box.width, foot - box.y)
    write_block(canvas, column.below, PLAIN, below, largest=7, smallest=SMALLEST_TYPE)
    canvas.setFillGray(0)


def draw_value(canvas: Any, text: str, cell: Box) -> bool:
    """Draw a recorded text in the middle of a cell; whether it is whole."""
    room = cell.inset(PAD, 0.2 * MM)
    fitted = _fit_words(text, PLAIN, room.width, room.height, VALUE_SIZE)
    first, times, second = text.partition(TIMES)
    if times and len(fitted.lines) > 1:
        # two sizes stand below each other: '9 1/2 in × 8' and '7/8 in' would be misread
        pair = (f"{first}{TIMES.rstrip()}", second)
        widest = max(PLAIN.width(line, 1.0) for line in pair)
        size = max(SMALLEST_TYPE, min(VALUE_SIZE, int(4 * room.width / widest) / 4))
        fitted = FittedText(pair, size, widest * size <= room.width)
    down = (room.height - fitted.height) / 2
    draw_block(canvas, fitted, PLAIN, Box(room.x, room.y, room.width, room.height - down))
    return fitted.whole


def _fit_words(
    text: str, face: Typeface, width: float, height: float, largest: float
) -> FittedText:
    """A text in lines; a word is parted only where it is too wide in the smallest size too."""
    text = printable(text, face)
    longest = max((face.width(word, 1.0) for word in text.split()), default=0.1)
    largest = max(SMALLEST_TYPE, min(largest, int(4 * width / longest) / 4))
    return fit_block(text, face, width, height, largest=largest, smallest=SMALLEST_TYPE)


def draw_marks(canvas: Any, marks: Sequence[str], cell: Box) -> None:
    """Draw in gray what an empty cell has: feet and inches, the unit, what parts two values."""
    if not marks:
        return
    canvas.setFillGray(GRAY)
    low, high = cell.y + 1.0 * MM, cell.top - 3.2 * MM
    if marks == ("'", '"'):
        draw_line(canvas, "'", PLAIN, 11, cell.x + cell.width * 0.42, high - 1)
        draw_line(canvas, '"', PLAIN, 11, cell.right - PAD, high - 1, align="right")
        marks = ()
    for mark in marks:
        if mark in ("×", "/"):
            middle = cell.middle_x - (1.2 * MM if len(marks) > 1 else 0)
            draw_line(canvas, mark, PLAIN, 9, middle, cell.middle_y - 3, align="centre")
        elif mark == '"':
            draw_line(canvas, mark, PLAIN, 11, cell.right - PAD, high - 1, align="right")
        else:
            draw_line(canvas, mark, PLAIN, 7, cell.right - PAD, low, align="right")
    canvas.setFillGray(0)


def lines_of(
    log: Log,
    table: str,
    rows: Sequence[Row],
    tables: Snapshot,
    samples: Mapping[str, Sequence[str]],
) -> list[list[str]]:
    """The texts of each row for the columns of the log of a table.

    `samples` are the samples of each timber, which a column that asks whether it was sampled shows.
    """
    lines = []
    for row in rows:
        texts = [column.words(log.model, tables, {table: row}) for column in log.columns]
        for place, column in enumerate(log.columns):
            if "sampled" in column.names:
                taken = ", ".join(samples.get(row["element_id"], ()))
                texts[place] = taken or column.last_words(log.model, tables, {table: row})
        lines.append(texts)
    return lines
