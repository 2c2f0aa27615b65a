"""Sets lists of words in columns: the codes that sheets are filled in with, and cautions."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from provenance._base.languages import _, unreviewed
from provenance._drawing.fitting import beginning, draw_line, write_block, write_line
from provenance._drawing.fonts import ASCENT, BOLD, DESCENT, PLAIN, Typeface, printable
from provenance._drawing.paper import MM, Box, Paper
from provenance._model.schema import Model, Table
from provenance._printing.sheets.frame import (
    DEFERRAL,
    EDGE_MM,
    SMALLEST_TYPE,
    TIGHT_MM,
    Heading,
    PageDraft,
    content_box,
)
from provenance._printing.sheets.question import LONGEST_TICKED, code_in_words

GUTTER = 4.0 * MM
HEAD_MM = 12.0
UNREVIEWED_MM = 3.0
CODE_COLUMNS = (5, 6)


@dataclass(frozen=True)
class Entry:
    """`term` in bold with its `meaning` behind it; a `title` entry stands over those after it.

    A meaning that is `joined` is the rest of the word.
    """

    term: str
    meaning: str = ""
    title: bool = False
    joined: bool = False


def code_lists(model: Model, asked: Sequence[tuple[str, str]]) -> list[Entry]:
    """The words of each list once, `asked` being (list, heading of what is filled in with it).

    As much of a word is bold as tells it from the others of its list: a crew writes no more.
    """
    users: dict[str, list[str]] = {}
    for name, heading in asked:
        headings = users.setdefault(name, [])
        if heading not in headings:
            headings.append(heading)
    entries: list[Entry] = []
    for name in sorted(users, key=lambda name: len(model.vocabularies[name].terms)):
        entries.append(Entry(", ".join(users[name]), title=True))
        labels = [term.label for term in model.vocabularies[name].terms]
        for term in model.vocabularies[name].terms:
            words = code_in_words(term)
            if words != term.label:
                entries.append(Entry(term.code, term.label))
            else:
                told = shortest_beginning(term.label, labels)
                entries.append(Entry(told, term.label[len(told) :], joined=True))
    return entries


def shortest_beginning(label: str, labels: Sequence[str]) -> str:
    """The shortest beginning, of two letters at least, that no other label has.

    A label that is itself the beginning of another is written whole.

    >>> shortest_beginning("Door jamb", ["Door jamb", "Door leaf", "Door"])
    'Door j'
    >>> shortest_beginning("Door", ["Door jamb", "Door leaf", "Door"])
    'Door'
    """
    others = [one.casefold() for one in labels if one != label]
    for end in range(2, len(label)):
        start = label[:end].casefold()
        if not start.endswith(" ") and not any(one.startswith(start) for one in others):
            return label[:end]
    return label


def code_entries(model: Model, tables: Sequence[Table]) -> list[Entry]:
    """What the fields of the tables' forms mean, then the codes of each list that they use."""
    entries: list[Entry] = []
    users: dict[str, list[str]] = {}
    for table in tables:
        more = f": {table.title}" if len(tables) > 1 else ""
        entries.append(Entry(_("What is asked") + more, title=True))
        for one in table.form_fields():
            unit = f" ({model.unit_of(one)})" if one.unit else ""
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
        asked = (
            ""
            if titles == [vocabulary.title]
            else _("for: {titles}").format(titles=", ".join(titles))
        )
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


def lay_out_codes(entries: Sequence[Entry], heading: Heading, paper: Paper) -> list[PageDraft]:
    """The code lists on as few pages as they need, which they have for themselves."""
    page = Box(0, 0, paper.width, paper.height).inset(EDGE_MM * MM, TIGHT_MM * MM)
    # what an unread translation says of itself needs a line more
    head, below = page.cut_top((HEAD_MM + (UNREVIEWED_MM if unreviewed() else 0)) * MM)
    trials = [
        _lay_out(entries, below, columns, SMALLEST_TYPE, gap=0.0, gutter=2.5 * MM)
        for columns in CODE_COLUMNS
    ]
    pages = min(trials, key=len)
    return [
        PageDraft(partial(_draw_codes, draw, heading, head, (number, len(pages))), framed=False)
        for number, draw in enumerate(pages, start=1)
    ]


def _draw_codes(
    draw: Any, heading: Heading, head: Box, counted: tuple[int, int], canvas: Any
) -> None:
    number, of = counted
    title, rest = head.cut_left(48 * MM, 2 * MM)
    at = (title.x, head.top - 4.6 * MM)
    write_line(canvas, heading.title, BOLD, title.width, *at, largest=13, smallest=8)
    at = (title.x, head.top - 8 * MM)
    write_line(canvas, heading.about, PLAIN, title.width, *at, largest=7.5, smallest=SMALLEST_TYPE)
    at = (rest.right, head.top - 4.6 * MM)
    page = _("Page {number} of {count}").format(number=number, count=of)
    draw_line(canvas, page, BOLD, 8, *at, align="right")
    note = Box(rest.x, rest.y + 1 * MM, rest.width - 20 * MM, rest.height - 1 * MM)
    words = f"{heading.legend} {heading.caution} {_(DEFERRAL)} {unreviewed()}".strip()
    write_block(canvas, words, PLAIN, note, largest=8, smallest=SMALLEST_TYPE)
    draw(canvas)


def lay_out_listing(
    entries: Sequence[Entry], paper: Paper, *, columns: int, size: float = 7.0
) -> list[PageDraft]:
    """The framed pages that hold the entries in columns, evened on the last."""
    return [PageDraft(draw) for draw in _lay_out(entries, content_box(paper), columns, size)]


def _lay_out(
    entries: Sequence[Entry],
    page: Box,
    columns: int,
    size: float,
    gap: float = 0.14,
    gutter: float = GUTTER,
) -> list[Callable[[Any], None]]:
    """What draws each page: the entries in columns, filled one after the other."""
    width = (page.width - (columns - 1) * gutter) / columns
    blocks = [_set_entry(entry, width, size, gap) for entry in entries]
    filled = _fill([block for block in blocks if block.lines], page.height, page.height)
    drafts: list[Callable[[Any], None]] = []
    for start in range(0, len(filled), columns):
        group = filled[start : start + columns]
        if start + columns >= len(filled):
            group = _evened(group, columns, page.height)
        drafts.append(partial(_draw, group, page, width, size, gutter))
    return drafts


@dataclass(frozen=True)
class Block:
    """The lines of one entry."""

    lines: tuple[_Line, ...]
    title: bool = False

    @property
    def height(self) -> float:
        return sum(line.height + line.gap for line in self.lines)


def _set_entry(entry: Entry, width: float, size: float, gap: float) -> Block:
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
        parts = printable(text, face).split()
        for place, word in enumerate(parts, start=1):
            glued = entry.joined and face is BOLD and place == len(parts)
            blank = 0.0 if glued and not entry.meaning.startswith(" ") else face.width(" ", size)
            # no line ends between the bold beginning of a word and its rest
            rest = "" if blank or not glued else entry.meaning.partition(" ")[0]
            while True:
                wide = face.width(word, size)
                needed = wide + (PLAIN.width(rest, size) if x > indent else 0.0)
                if x + needed <= width + 1e-6:
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
        above = size * (0.65 if entry.title else gap)
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
    columns: Sequence[Sequence[Block]],
    page: Box,
    width: float,
    size: float,
    gutter: float,
    canvas: Any,
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
        x += width + gutter
