"""Prints chain-of-custody tags to tie to a sample or parcel, with a stub that is torn off."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from provenance._base.errors import TreenailError
from provenance._base.languages import N_, _
from provenance._base.progress import Progress, say_nothing
from provenance._drawing.document import Pages, printed_pages
from provenance._drawing.fitting import (
    Pair,
    draw_block,
    draw_line,
    draw_pairs,
    fit_line,
    write_line,
)
from provenance._drawing.fonts import ASCENT, CAP_HEIGHT, MONO, PLAIN, printable
from provenance._drawing.paper import MM, Box, Paper
from provenance._drawing.qr import draw_code, encode_label
from provenance._printing.labels.facts import SampleFacts, joined
from provenance._printing.labels.labels import Printed
from provenance._printing.labels.sample_label import draw_framed_check
from provenance._printing.papers.parcel import Parcel

TAGS_A_PAGE = 3
STUB_MM = 56.0
CODE_MM = 27.0
HANDOVERS = 4
MARGIN_MM = 8.0


@dataclass(frozen=True)
class Tag:
    """What one tag says: the number or code in large, the code's text or '', and words below."""

    number: str
    check: str
    code_text: str
    title: str
    pairs: tuple[Pair, ...]


def sample_tag(facts: SampleFacts, resolver: str = "") -> Tag:
    """The tag of one sample."""
    return Tag(
        number=facts.number,
        check=facts.check,
        code_text=facts.payload(resolver),
        title=_("Sample"),
        pairs=(
            (_("site"), facts.site_words),
            (_("taken"), joined(" · ", facts.kind, facts.collected_on)),
            (_("by"), facts.collected_by),
            (_("from"), joined(", ", facts.wood_words, facts.place)),
        ),
    )


def parcel_tag(parcel: Parcel) -> Tag:
    """The tag of one parcel."""
    return Tag(
        number=parcel.consignment_id,
        check="",
        code_text=parcel.code_text,
        title=_("Parcel"),
        pairs=(
            (_("from"), parcel.sender.in_words),
            (_("to"), parcel.receiver.in_words),
            (_("holds"), joined(" · ", parcel.count_in_words, parcel.purpose)),
            (_("seal"), parcel.seal_number),
            (_("code"), parcel.code_text.partition(" ")[2]),
        ),
    )


def print_tags(
    tags: Sequence[Tag], paper: Paper, out: Path, *, progress: Progress = say_nothing
) -> Printed:
    """Write the tags, three a page, to `out` (PDF); raises TreenailError when there are none."""
    if not tags:
        raise TreenailError("there is nothing to print: no sample is selected")
    with printed_pages(out, (paper.width, paper.height), title=_("Custody tags")) as pages:
        draw_tags(pages, paper, tags, progress)
    return Printed(tuple(pages.paths), len(tags), pages.page_count)


def draw_tags(
    pages: Pages, paper: Paper, tags: Iterable[Tag], progress: Progress = say_nothing
) -> None:
    """Begin as many pages as the tags need, and draw them."""
    tags = list(tags)
    margin = MARGIN_MM * MM
    height = (paper.height - 2 * margin) / TAGS_A_PAGE
    canvas: Any = None
    for done, tag in enumerate(tags):
        place = done % TAGS_A_PAGE
        if place == 0:
            canvas = pages.begin_page()
        y = paper.height - margin - (place + 1) * height
        whole = Box(margin, y, paper.width - 2 * margin, height)
        _draw_tag(canvas, whole.inset(0, 1.5 * MM), tag)
        progress(done + 1, len(tags))


def _draw_tag(canvas: Any, box: Box, tag: Tag) -> None:
    body, stub = box.cut_left(box.width - STUB_MM * MM)
    canvas.setLineWidth(0.7)
    canvas.roundRect(box.x, box.y, box.width, box.height, 3 * MM)
    canvas.saveState()
    canvas.setDash(1, 2.5)
    canvas.line(stub.x, stub.y, stub.x, stub.top)
    canvas.restoreState()
    _draw_body(canvas, body, tag)
    _draw_stub(canvas, stub.inset(4 * MM, 3.5 * MM), tag)


def _draw_body(canvas: Any, body: Box, tag: Tag) -> None:
    edge, rest = body.cut_left(10 * MM)
    canvas.setLineWidth(0.7)
    canvas.circle(edge.x + 6 * MM, edge.middle_y, 2.5 * MM)
    canvas.setLineWidth(0.3)
    canvas.circle(edge.x + 6 * MM, edge.middle_y, 4.2 * MM)
    rest = rest.inset(2.5 * MM, 3.5 * MM)
    head, table = rest.cut_top(CODE_MM * MM, 2.5 * MM)
    if tag.code_text:
        code, head = head.cut_left(CODE_MM * MM, 2 * MM)
        drawn = encode_label(tag.code_text, CODE_MM, tag.number)
        draw_code(canvas, drawn, code.x, code.y, code.width)
    number, words = head.cut_top(8 * MM, 2.5 * MM)
    draw_numbered(canvas, number, tag.number, tag.check, tag.title)
    draw_pairs(canvas, words, tag.pairs, word_width=10 * MM, largest=8.5)
    _draw_handovers(canvas, table)


def draw_numbered(canvas: Any, box: Box, number: str, check: str, title: str) -> None:
    """The number in large from the left, its check letters framed, at the right what it is."""
    said = PLAIN.width(title, 8)
    draw_line(canvas, title, PLAIN, 8, box.right, box.top - 8 * ASCENT, align="right")
    room = box.width - said - 2 * MM
    one = MONO.width("0", 1.0)
    framed = 2.1 * one if check else 0.0
    share = MONO.width(number, 1.0) + framed
    size = min(box.height / CAP_HEIGHT, room / share)
    baseline = box.top - size * CAP_HEIGHT
    draw_line(canvas, number, MONO, size, box.x, baseline)
    if check:
        x = box.x + (share - framed + 0.4 * one) * size
        frame = Box(x, baseline, 1.7 * one * size, size * CAP_HEIGHT)
        draw_framed_check(canvas, frame, check)


_COLUMNS = (
    (N_("Given by: name, signature"), 0.31),
    (N_("day, hour"), 0.15),
    (N_("Taken by: name, signature"), 0.31),
    (N_("day, hour"), 0.15),
    (N_("state"), 0.08),
)


def _draw_handovers(canvas: Any, box: Box) -> None:
    """A ruled table in which each change of hands is signed."""
    head = 4.2 * MM
    row = (box.height - head) / HANDOVERS
    canvas.setLineWidth(0.4)
    canvas.rect(box.x, box.y, box.width, box.height)
    for number in range(HANDOVERS):
        y = box.y + number * row + row
        canvas.line(box.x, y, box.right, y)
    x = box.x
    for place, (word, share) in enumerate(_COLUMNS):
        if place:
            canvas.line(x, box.y, x, box.top)
        width = box.width * share
        room, at = width - 1.6 * MM, (x + 0.8 * MM, box.top - 2.9 * MM)
        write_line(canvas, _(word), PLAIN, room, *at, largest=6.5, smallest=4.5)
        x += width


def _draw_stub(canvas: Any, box: Box, tag: Tag) -> None:
    number, words = box.cut_top(7 * MM, 2 * MM)
    draw_numbered(canvas, number, tag.number, tag.check, _("stub"))
    site = next((value for word, value in tag.pairs if word in (_("site"), _("holds"))), "")
    shown = printable(site, PLAIN)
    fitted = fit_line(shown, PLAIN, words.width, largest=7.5, smallest=5)
    draw_block(canvas, fitted, PLAIN, words)
    lines = words.cut_top(5 * MM, 1 * MM)[1]
    asked = (_("given to"), _("name"), _("signature"), _("day, hour"), _("state"), _("seal"))
    pitch = (lines.height - 5 * MM) / len(asked)
    canvas.setLineWidth(0.4)
    for place, word in enumerate(asked, start=1):
        baseline = lines.top - place * pitch + 1 * MM
        draw_line(canvas, word, PLAIN, 6.5, lines.x, baseline)
        canvas.line(lines.x + 14 * MM, baseline - 0.5, lines.right, baseline - 0.5)
    note = _("Tear off here when it changes hands; the giver keeps it.")
    write_line(canvas, note, PLAIN, lines.width, lines.x, lines.y, largest=5.2, smallest=4)
