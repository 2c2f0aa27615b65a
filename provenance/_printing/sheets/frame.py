"""What every sheet has around its content: heading, code, place to sign, page n of m.

Logs, core sheets and code lists need the page for themselves: their heads are drawn where they are
laid out, with the small code from here. On all others the long sides keep PUNCH_MM
free for the holes of a binder (their centers lie 12 mm from the edge, ISO 838, cited from memory),
the short sides EDGE_MM. Office printers need about 5 mm (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from provenance._base.languages import N_, _, unreviewed
from provenance._drawing.fitting import draw_line, write_block, write_line
from provenance._drawing.fonts import BOLD, MONO, PLAIN
from provenance._drawing.paper import MM, Box, Paper
from provenance._drawing.qr import draw_code, encode_to_fit
from provenance._identity.sheet_code import SheetCode, compose_sheet_code

PUNCH_MM = 16.0
EDGE_MM = 11.0
TIGHT_MM = 7.0
HEAD_MM = 22.0
FOOT_MM = 19.0
GAP_MM = 2.5
CODE_MM = 22.0
SMALL_CODE_BYTES = 105
"""What a small code can hold and still be read."""

SMALLEST_TYPE = 7.0

DEFERRAL = N_("Local codes, permits and licensed practice come first.")


@dataclass(frozen=True)
class Heading:
    """What the head and foot of a sheet say.

    `title` names the sheet, `about` the package and site, `key` the row or '' for blanks;
    `caution` is the short line of the footer, `legend` that above the rule of the head.
    """

    title: str
    about: str
    key: str
    code: SheetCode
    caution: str
    legend: str = ""


def inner_box(paper: Paper, landscape: bool = False) -> Box:
    """The page without its margins, in points."""
    sheet = paper.turned() if landscape else paper
    across, up = (EDGE_MM, PUNCH_MM) if landscape else (PUNCH_MM, EDGE_MM)
    return Box(0, 0, sheet.width, sheet.height).inset(across * MM, up * MM)


def content_box(paper: Paper, landscape: bool = False) -> Box:
    """The part of the page between head and foot, in points."""
    inner = inner_box(paper, landscape)
    foot = (FOOT_MM + GAP_MM) * MM
    head = (HEAD_MM + GAP_MM) * MM
    return Box(inner.x, inner.y + foot, inner.width, inner.height - foot - head)


def draw_frame(
    canvas: Any, paper: Paper, heading: Heading, number: int, count: int, *, landscape: bool = False
) -> None:
    """Draw head and foot of page `number` of `count` on a canvas in points."""
    inner = inner_box(paper, landscape)
    head, rest = inner.cut_top(HEAD_MM * MM)
    _draw_head(canvas, head, heading)
    foot = Box(rest.x, rest.y, rest.width, FOOT_MM * MM)
    _draw_foot(canvas, foot, heading, number, count)


def _draw_head(canvas: Any, box: Box, heading: Heading) -> None:
    text = compose_sheet_code(heading.code)
    code = encode_to_fit(text, CODE_MM, f"the sheet '{heading.title}'")
    # the quiet zone may reach to the edge of the margin, so the dark part ends near it
    draw_code(canvas, code, box.right - CODE_MM * MM, box.top - CODE_MM * MM, CODE_MM * MM)
    words = Box(box.x, box.y, box.width - (CODE_MM + 2) * MM, box.height)
    title_width = words.width * (0.56 if heading.key else 1)
    title_at = (words.x, words.top - 6.5 * MM)
    write_line(canvas, heading.title, BOLD, title_width, *title_at, largest=18, smallest=9)
    key = (heading.key, MONO, words.width * 0.42, words.right, words.top - 6.5 * MM)
    write_line(canvas, *key, largest=18, smallest=8, align="right")
    about = Box(words.x, box.top - 18.5 * MM, words.width, 9.5 * MM)
    write_block(canvas, heading.about, PLAIN, about, largest=9.5, smallest=SMALLEST_TYPE)
    draw_line(canvas, heading.legend, PLAIN, SMALLEST_TYPE, words.x, box.y + 1.5 * MM)
    canvas.setLineWidth(1.2)
    canvas.line(words.x, box.y, words.right, box.y)


def _draw_foot(canvas: Any, box: Box, heading: Heading, number: int, count: int) -> None:
    line_y = box.y + 8.6 * MM
    texts = [
        (_("Filled in by (initials)"), 0.27),
        (_("Date"), 0.17),
        (_("Checked by (initials)"), 0.25),
    ]
    x = box.x
    for text, share in (*texts, (_("Date"), 0.17)):
        width = box.width * share
        draw_line(canvas, text, PLAIN, 7.5, x, line_y + 0.8 * MM)
        start = x + PLAIN.width(text, 7.5) + 1.2 * MM
        canvas.setLineWidth(0.6)
        canvas.line(start, line_y, x + width - 2.5 * MM, line_y)
        x += width
    page = _("Page {number} of {count}").format(number=number, count=count)
    draw_line(canvas, page, BOLD, 9, box.right, line_y + 0.8 * MM, align="right")
    text = f"{heading.caution} {_(DEFERRAL)} {unreviewed()}".strip()
    below = Box(box.x, box.y + 0.3 * MM, box.width, 6.6 * MM)
    write_block(canvas, text, PLAIN, below, largest=7.5, smallest=SMALLEST_TYPE)


def draw_small_code(
    canvas: Any, heading: Heading, side_mm: float, right: float, top: float
) -> None:
    """Draw the code of a sheet so large, with its upper right corner at that point."""
    # the table and the row are what a photo of the sheet is matched by; what else a code can say
    # would make it too fine to be read in a photo of the whole page
    short = SheetCode(
        heading.code.table, heading.code.key, heading.code.row, package=heading.code.package
    )
    text = compose_sheet_code(short, SMALL_CODE_BYTES)
    code = encode_to_fit(text, side_mm, f"the sheet '{heading.title}'")
    draw_code(canvas, code, right - side_mm * MM, top - side_mm * MM, side_mm * MM)


def draw_blanks(canvas: Any, box: Box, texts: Sequence[tuple[str, float]], size: float = 8) -> None:
    """Draw words, each with its share of the width and a line to write on up to the next."""
    x = box.x
    canvas.setLineWidth(0.6)
    for text, share in texts:
        room = box.width * share
        fitted = write_line(
            canvas,
            text,
            PLAIN,
            room * 0.7,
            x,
            box.y + 0.6 * MM,
            largest=size,
            smallest=SMALLEST_TYPE,
        )
        start = (
            x + max((PLAIN.width(line, fitted.size) for line in fitted.lines), default=0) + 1 * MM
        )
        canvas.line(start, box.y, x + room - 2 * MM, box.y)
        x += room


@dataclass(frozen=True)
class PageDraft:
    """One page: `draw` draws its content on a canvas; `fields` are the schema's fields it asks.

    Around a page that is not `framed` nothing else is drawn.
    """

    draw: Callable[[Any], None]
    landscape: bool = False
    fields: tuple[str, ...] = ()
    framed: bool = True


@dataclass(frozen=True)
class SheetSet:
    """Pages that belong together and are counted together: 'page n of m'."""

    heading: Heading
    pages: tuple[PageDraft, ...]
