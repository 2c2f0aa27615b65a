"""Places measured pieces on pages, row by row, so that none overlaps another or leaves the page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from provenance._drawing.paper import MM, Box
from provenance._printing.sheets.cells import COLUMNS, GUTTER, span_width

ROW_GAPS = (2.2 * MM, 1.6 * MM, 1.1 * MM)
"""Between rows; the pieces move closer where that saves a page."""

HEADING_HEIGHT = 5.0 * MM
SECTION_GAP = 0.6 * MM

Content = TypeVar("Content")


@dataclass(frozen=True)
class Piece(Generic[Content]):
    """Takes `span` of the COLUMNS and `height` points; `stretch` lets it fill the last page."""

    content: Content
    span: int
    height: float
    stretch: bool = False


@dataclass(frozen=True)
class Section(Generic[Content]):
    """Pieces under one title, in order."""

    title: str
    pieces: tuple[Piece[Content], ...]


@dataclass(frozen=True)
class Placed(Generic[Content]):
    """A piece with its box on the page."""

    content: Content
    box: Box


@dataclass(frozen=True)
class PlacedTitle:
    """A section's title with its box; `continued` on a page where the section goes on."""

    title: str
    box: Box
    continued: bool


def flow_pages(
    sections: Sequence[Section[Content]], page: Box
) -> list[list[Placed[Content] | PlacedTitle]]:
    """The pages that hold the sections in order, each inside the box `page` (points).

    A row that does not fit goes to the next page with its section's title; a title never stands
    alone at the foot. A piece higher than the page is given the page's height.
    """
    trials = [_flow(sections, page, gap) for gap in ROW_GAPS]
    return min(trials, key=len)


def _flow(
    sections: Sequence[Section[Content]], page: Box, row_gap: float
) -> list[list[Placed[Content] | PlacedTitle]]:
    pages: list[list[Placed[Content] | PlacedTitle]] = [[]]
    y = page.top
    last_stretch: tuple[int, int] | None = None
    for section in sections:
        begun = False
        for row in _rows(section.pieces):
            tallest = min(max(piece.height for piece in row), page.height - HEADING_HEIGHT)
            titled = 0.0 if begun else HEADING_HEIGHT
            gap = 0.0 if y == page.top else row_gap + (0.0 if begun else SECTION_GAP)
            if y - gap - titled - tallest < page.y - 1e-6:
                pages.append([])
                y, gap, titled = page.top, 0.0, HEADING_HEIGHT
            y -= gap
            if titled:
                title_box = Box(page.x, y - HEADING_HEIGHT, page.width, HEADING_HEIGHT)
                pages[-1].append(PlacedTitle(section.title, title_box, continued=begun))
                y -= HEADING_HEIGHT
                begun = True
            column = 0
            for piece in row:
                left = page.x + (span_width(page.width, column) + GUTTER if column else 0.0)
                # all of a row are as high as its tallest, so that the lines to write on align
                box = Box(left, y - tallest, span_width(page.width, piece.span), tallest)
                last_stretch = (len(pages) - 1, len(pages[-1])) if piece.stretch else None
                pages[-1].append(Placed(piece.content, box))
                column += piece.span
            y -= tallest
    if last_stretch is not None:
        _stretch(pages, last_stretch, page)
    return pages


def _rows(pieces: Sequence[Piece[Content]]) -> list[list[Piece[Content]]]:
    rows: list[list[Piece[Content]]] = []
    used = COLUMNS
    for piece in pieces:
        if used + piece.span > COLUMNS:
            rows.append([])
            used = 0
        rows[-1].append(piece)
        used += piece.span
    return rows


def _stretch(
    pages: list[list[Placed[Content] | PlacedTitle]], at: tuple[int, int], page: Box
) -> None:
    """Let the last piece take what is left of its page."""
    placed = pages[at[0]][at[1]]
    box = placed.box
    pages[at[0]][at[1]] = replace(placed, box=Box(box.x, page.y, box.width, box.top - page.y))
