"""Sets lists of words with their meaning in columns: the backs of the sheets, and cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from provenance._drawing.fitting import beginning, draw_line
from provenance._drawing.fonts import ASCENT, BOLD, DESCENT, PLAIN, Typeface, printable
from provenance._drawing.paper import MM, Box, Paper
from provenance._model.schema import Model, Table
from provenance._printing.sheets.frame import PageDraft, content_box
from provenance._printing.sheets.question import LONGEST_TICKED, code_in_words

GUTTER = 4.0 * MM


@dataclass(frozen=True)
class Entry:
    """`term` in bold with its `meaning` behind it; a `title` entry stands over those after it."""

    term: str
    meaning: str = ""
    title: bool = False


def code_entries(model: Model, tables: Sequence[Table]) -> list[Entry]:
    """What the fields of the tables' forms mean, then the codes of each list that they use."""
    entries: list[Entry] = []
    users: dict[str, list[str]] = {}
    for table in tables:
        more = f": {table.title}" if len(tables) > 1 else ""
        entries.append(Entry(f"What is asked{more}", title=True))
        for one in table.form_fields():
            unit = f" ({one.unit})" if one.unit else ""
            entries.append(
                Entry(f"{one.title}{unit}{'*' if one.required else ''}", one.description)
            )
            if one.vocabulary:
                titles = users.setdefault(one.vocabulary, [])
                if one.title not in titles:
                    titles.append(one.title)
    # short lists explain boxes; the long ones, from which words are written in, stand last
    by_length = sorted(users, key=lambda name: len(model.vocabularies[name].terms) > LONGEST_TICKED)
    for name in by_length:
        titles = users[name]
        vocabulary = model.vocabularies[name]
        asked = "" if titles == [vocabulary.title] else f"for: {', '.join(titles)}"
        entries.append(Entry(vocabulary.title, asked, title=True))
        entries += [Entry(code_in_words(term), term.definition) for term in vocabulary.terms]
    return entries


@dataclass(frozen=True)
class _Line:
    """Words set side by side from x = 0, each with its face."""

    words: tuple[tuple[float, str, Typeface], ...]
    height: float
    ruled: bool = False
    gap: float = 0.0


def lay_out_listing(
    entries: Sequence[Entry],
    paper: Paper,
    *,
    columns: int,
    size: float = 7.0,
    landscape: bool = False,
) -> list[PageDraft]:
    """The pages that hold the entries in columns, filled one after the other, evened at the end."""
    page = content_box(paper, landscape)
    width = (page.width - (columns - 1) * GUTTER) / columns
    blocks = [_set_entry(entry, width, size) for entry in entries]
    filled = _fill([block for block in blocks if block.lines], page.height, page.height)
    drafts = []
    for start in range(0, len(filled), columns):
        group = filled[start : start + columns]
        if start + columns >= len(filled):
            group = _evened(group, columns, page.height)
        drafts.append(PageDraft(partial(_draw, group, page, width, size), landscape))
    return drafts


@dataclass(frozen=True)
class Block:
    """The lines of one entry."""

    lines: tuple[_Line, ...]
    title: bool = False

    @property
    def height(self) -> float:
        return sum(line.height + line.gap for line in self.lines)


def _set_entry(entry: Entry, width: float, size: float) -> Block:
    runs = [(entry.term, BOLD)]
    if entry.meaning:
        runs.append((entry.meaning, PLAIN))
    leading = size * 1.22
    lines: list[_Line] = []
    words: list[tuple[float, str, Typeface]] = []
    indent = 2.2 * MM if entry.term and not entry.title else 0.0
    x = 0.0

    def end_line() -> None:
        nonlocal words, x
        lines.append(_Line(tuple(_joined(words)), leading))
        words, x = [], indent

    for text, face in runs:
        blank = face.width(" ", size)
        for word in printable(text, face).split():
            while True:
                wide = face.width(word, size)
                if x + wide <= width + 1e-6:
                    words.append((x, word, face))
                    x += wide + blank
                    break
                if x > indent:
                    end_line()
                    continue
                part = beginning(word, face, width - x, size)
                words.append((x, part, face))
                word = word[len(part) :]
                end_line()
    if words:
        end_line()
    if lines:
        above = size * (0.65 if entry.title else 0.14)
        lines[0] = replace(lines[0], gap=above)
        lines[-1] = replace(lines[-1], ruled=entry.title)
    return Block(tuple(lines), entry.title)


def _joined(words: Sequence[tuple[float, str, Typeface]]) -> list[tuple[float, str, Typeface]]:
    """Neighbours of one face as one text."""
    joined: list[tuple[float, str, Typeface]] = []
    for x, word, face in words:
        if joined and joined[-1][2] is face:
            joined[-1] = (joined[-1][0], f"{joined[-1][1]} {word}", face)
        else:
            joined.append((x, word, face))
    return joined


def _fill(blocks: Sequence[Block], height: float, page_height: float) -> list[list[Block]]:
    """Columns of blocks: an entry stays whole, a title keeps the two entries below it."""
    columns: list[list[Block]] = [[]]
    used = 0.0
    for place, block in enumerate(blocks):
        needed = block.height
        if block.title:
            needed += sum(after.height for after in blocks[place + 1 : place + 3])
        if used and used + needed > height:
            columns.append([])
            used = 0.0
        # an entry that is longer than the page is the only one that is parted
        parts = [block] if block.height <= page_height else [Block((line,)) for line in block.lines]
        for part in parts:
            if used and used + part.height > page_height:
                columns.append([])
                used = 0.0
            columns[-1].append(part)
            used += part.height
    return columns


def _evened(group: list[list[Block]], columns: int, page_height: float) -> list[list[Block]]:
    """The last page's columns at about the same length, so that they are easy to search."""
    blocks = [block for column in group for block in column]
    least = sum(block.height for block in blocks) / columns
    for more in range(0, 100, 4):
        evened = _fill(blocks, min(page_height, least * (1 + more / 100)), page_height)
        if len(evened) <= columns:
            return evened
    return group


def _draw(
    columns: Sequence[Sequence[Block]], page: Box, width: float, size: float, canvas: Any
) -> None:
    x = page.x
    for column in columns:
        y = page.top
        for line in (line for block in column for line in block.lines):
            y -= line.gap
            baseline = y - line.height + size * (DESCENT + (1.22 - ASCENT - DESCENT) / 2)
            for at, word, face in line.words:
                draw_line(canvas, word, face, size, x + at, baseline)
            y -= line.height
            if line.ruled:
                canvas.setLineWidth(0.5)
                canvas.line(x, y, x + width, y)
        x += width + GUTTER
