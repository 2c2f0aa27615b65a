"""Prints the one page for relocating a hole: where it is, where to tape from, what to heed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from provenance._base.languages import N_, _, speaking, unreviewed
from provenance._base.progress import Progress, say_nothing
from provenance._drawing.clock_face import draw_clock_face
from provenance._drawing.document import printed_pages
from provenance._drawing.drawing import Item
from provenance._drawing.fitting import draw_block, draw_line, fit_block, fit_line, write_line
from provenance._drawing.fonts import BOLD, MONO, PLAIN, printable
from provenance._drawing.paper import MM, Box, Paper, paper_named
from provenance._drawing.pdf import draw_items
from provenance._drawing.stamp_face import draw_stamp_face
from provenance._printing.labels.sample_label import draw_framed_check
from provenance._record.package import Package
from provenance._record.trust import trust_words
from provenance._survey.hole.known_points import KnownPoints, known_points
from provenance._survey.plan.elevation import draw_strip
from provenance._survey.plan.plan_content import file_name_parts, stamps_of
from provenance._survey.plan.plan_sheet import SECRET
from provenance._survey.plan.round_hole import surroundings, view_round
from provenance._survey.plan.sheet_parts import north_arrow, scale_bar
from provenance._survey.relocation_facts import Relocation, gather_relocation

_MARGIN, _GAP = 12 * MM, 4 * MM
_MAP_WIDTH_MM, _MAP_SHARE = 112.0, 0.265
"""Share of the page's height, so that a shorter page leaves room for the cautions."""
_STRIP_MM, _FACTS_MM = 32.0, 43.0
_DOUBT_MM, _PLACE_MM, _MORE_FACTS_MM = 14.0, 3.4, 6.0
"""What a warning takes, each place in it, and how much more the facts about a doubt take."""
_COLUMN_MM = 15.5


def write_relocation_sheets(
    package: Package,
    samples: Sequence[str],
    out: Path,
    *,
    paper: str = "a4",
    progress: Progress = say_nothing,
) -> tuple[Path, ...]:
    """Write `relocation-SAMPLE.pdf` for each sample into the folder `out`; returns the paths.

    All are worked out before the first is written. Raises UnusableInput that says what is missing
    when one cannot be placed.
    """
    with speaking(package.model.language):
        return _written(package, samples, out, paper, progress)


def _written(
    package: Package, samples: Sequence[str], out: Path, paper: str, progress: Progress
) -> tuple[Path, ...]:
    known = known_points(package)
    sheet_paper = paper_named(paper)
    gathered = [gather_relocation(package, known, one) for one in samples]
    # of all samples, so that a sheet has the same name whichever others are printed with it
    names = file_name_parts(known.record.column("sample", "sample_id"))
    paths = []
    for number, facts in enumerate(gathered):
        if verdict := package.verdict:
            said = _("This sheet is from a bundle of the record.")
            said += f" {verdict[:1].upper()}{verdict[1:]}."
            facts = replace(facts, cautions=(said, *facts.cautions))
        path = out / f"relocation-{names[facts.sample_id]}.pdf"
        size = (sheet_paper.width, sheet_paper.height)
        title = f"{facts.heading}, {facts.identifier}"
        with printed_pages(path, size, title=title, subject=facts.wood) as pages:
            left = draw_relocation(pages.begin_page(), package, known, facts, sheet_paper)
            if left:
                box = Box(0, 0, *size).inset(_MARGIN)
                _draw_more_cautions(pages.begin_page(), facts, left, box)
        paths.append(path)
        progress(number + 1, len(gathered))
    return tuple(paths)


def draw_relocation(
    canvas: Any, package: Package, known: KnownPoints, facts: Relocation, paper: Paper
) -> Sequence[str]:
    """Draw one sheet on a blank page of that paper; returns the cautions that found no room."""
    page = Box(0, 0, paper.width, paper.height).inset(_MARGIN)
    head, rest = page.cut_top(17 * MM)
    _draw_head(canvas, facts, head)
    if facts.doubt:
        height = _DOUBT_MM + _PLACE_MM * len(facts.places)
        band, rest = rest.cut_top(height * MM, _GAP)
        _draw_doubt(canvas, facts, band)
    # what a doubt takes more, in the warning or among the facts, is taken from the map
    less = _MORE_FACTS_MM if trust_words(facts.hole.trust, facts.measures) else 0.0
    more = 0.0 if facts.places else less
    row, rest = rest.cut_top(_MAP_SHARE * paper.height + (6 - less) * MM, _GAP)
    left, right = row.cut_left(_MAP_WIDTH_MM * MM, _GAP * 1.5)
    _draw_plan(canvas, package, known, facts, left)
    _draw_faces(canvas, facts, right)
    row, rest = rest.cut_top(_STRIP_MM * MM, _GAP / 2)
    _draw_strip(canvas, package, known, facts, row)
    row, rest = rest.cut_top((_FACTS_MM + more) * MM, _GAP)
    half = (row.width - _GAP) / 2
    left, right = row.cut_left(half, _GAP)
    _draw_tapes(canvas, facts, left)
    _draw_lines(
        canvas, _("On the wood and in the room"), (*facts.on_the_wood, *facts.in_space), right
    )
    row, rest = rest.cut_top(28 * MM, _GAP)
    for share, heading, lines in (
        (0.25, _("What was taken"), facts.taken),
        (0.21, _("Where the sample is"), facts.keeper),
        (0.23, _("Results to date"), facts.results),
        (0.31, _("Possible positions for another core"), facts.clear_places),
    ):
        column, row = row.cut_left((page.width - 3 * _GAP) * share, _GAP)
        _draw_lines(canvas, heading, lines, column)
    if facts.photo is not None:
        picture, rest = rest.cut_left(52 * MM, _GAP)
        _draw_photo(canvas, facts, picture)
    left_over = _draw_cautions(canvas, facts.cautions, rest)
    draw_line(canvas, f"{_(SECRET)} {unreviewed()}".strip(), PLAIN, 6, page.x, _MARGIN - 4 * MM)
    return left_over


def _draw_head(canvas: Any, facts: Relocation, box: Box) -> None:
    frame = Box(box.right - 9 * MM, box.top - 6.5 * MM, 9 * MM, 6.5 * MM)
    right = frame.x - 1.5 * MM
    width, at = right - box.x, (box.x, box.top - 15)
    heading, identifier = printable(facts.heading, BOLD), printable(facts.identifier, MONO)
    write_line(canvas, heading, BOLD, width, *at, largest=17, smallest=8)
    if facts.check:
        draw_framed_check(canvas, frame, facts.check)
    # a long number as found needs the whole line; the site is named below
    if BOLD.width(heading, 17) + MONO.width(identifier, 12) < width:
        draw_line(canvas, identifier, MONO, 12, right, box.top - 14, align="right")
    for line, text in enumerate(
        (f"{facts.wood}", _("{place}. Site {site}").format(place=facts.place, site=facts.site))
    ):
        fitted = fit_line(printable(text, PLAIN), PLAIN, box.width, largest=9, smallest=6)
        if fitted.lines:
            y = box.top - 28 - 11.5 * line
            draw_line(canvas, fitted.lines[0], PLAIN, fitted.size, box.x, y)


def _draw_doubt(canvas: Any, facts: Relocation, box: Box) -> None:
    """In a heavy frame why nobody must rely on one point."""
    canvas.setLineWidth(1.2)
    canvas.rect(box.x, box.y, box.width, box.height)
    inner = box.inset(2.5 * MM, 1.2 * MM)
    draw_line(canvas, _("Do not rely on one point"), BOLD, 9.5, inner.x, inner.top - 9)
    lines = (" ".join(facts.doubt), *facts.places)
    _draw_paragraphs(canvas, lines, inner.cut_top(12)[1], largest=8.0, smallest=5.5)


def _heading(canvas: Any, text: str, box: Box) -> Box:
    """Draw a heading on a rule; returns what is left below it."""
    write_line(canvas, text, BOLD, box.width, box.x, box.top - 8, largest=8.5, smallest=6)
    canvas.setLineWidth(0.5)
    canvas.line(box.x, box.top - 10.5, box.right, box.top - 10.5)
    return box.cut_top(12.5)[1]


def _draw_lines(canvas: Any, heading: str, lines: Sequence[str], box: Box) -> None:
    """A heading and short paragraphs, all in the largest size that holds them."""
    box = _heading(canvas, heading, box)
    _draw_paragraphs(canvas, lines, box, largest=8.0, smallest=5.5)


def _draw_paragraphs(
    canvas: Any, lines: Sequence[str], box: Box, *, largest: float, smallest: float, mark: str = ""
) -> None:
    size = largest
    indent = PLAIN.width(mark, size) if mark else 0.0
    texts = [printable(line, PLAIN) for line in lines]
    while size > smallest:
        fitted = [
            fit_block(text, PLAIN, box.width - indent, box.height, largest=size, smallest=size)
            for text in texts
        ]
        if all(one.whole for one in fitted) and _stacked(fitted) <= box.height:
            break
        size -= 0.25
    left = box
    for text in texts:
        one = fit_block(text, PLAIN, left.width - indent, left.height, largest=size, smallest=size)
        if not one.lines:
            break
        if mark:
            draw_line(canvas, mark, PLAIN, size, left.x, left.top - size * 0.928)
        inner = Box(left.x + indent, left.y, left.width - indent, left.height)
        draw_block(canvas, one, PLAIN, inner)
        left = left.cut_top(one.height + 1.2)[1]


def _stacked(fitted: Sequence[Any]) -> float:
    return float(sum(one.height + 1.2 for one in fitted))


def _draw_plan(
    canvas: Any, package: Package, known: KnownPoints, facts: Relocation, box: Box
) -> None:
    width, height = box.width / MM, box.height / MM - 6.0
    area = (5.0, 6.0, width - 5.0, height - 6.0)
    content = surroundings(package, known, facts.element_row)
    view = view_round(content, facts.hole, area)
    draw_items(canvas, view.items(facts.hole), x=box.x - 5 * MM * 0.4, y=box.y + 6 * MM)
    under: list[Item] = [
        *scale_bar(3.0, 0.4, view.transform.scale, content.measures, most_mm=26.0),
        *north_arrow(width - 4.0, -0.6, 4.5, content.grid_north_deg),
    ]
    draw_items(canvas, under, x=box.x, y=box.y + 2 * MM)


def _draw_faces(canvas: Any, facts: Relocation, box: Box) -> None:
    """The stamp both ways up, and the clock face."""
    box = _heading(canvas, _("The stamp, right way up and upside down"), box)
    radius = 10.5 * MM
    row, rest = box.cut_top(2 * radius + 13 * MM)
    y = row.top - radius - 2 * MM
    left_x, right_x = row.x + row.width * 0.25, row.x + row.width * 0.75
    draw_stamp_face(canvas, left_x, y, radius, facts.stamp, facts.mark)
    draw_stamp_face(canvas, right_x, y, radius, facts.stamp, facts.mark, upside_down=True)
    foot = y - radius - 4.2 * MM
    if facts.stamp:
        upright = _("right way up: {stamp}").format(stamp=facts.stamp)
        other = _("upside down: {words}").format(words=facts.turned_words)
    else:
        upright, other = _("no stamp recorded"), ""
    for words, x in ((upright, left_x), (other, right_x)):
        width = row.width / 2
        write_line(canvas, words, PLAIN, width, x, foot, largest=7.5, smallest=5.0, align="centre")
    if not facts.hole.is_hole:
        _draw_lines(canvas, _("The cut"), (_("No drill hole: a piece was cut out."),), rest)
        return
    rest = _heading(canvas, _("The wood seen from end A toward end B"), rest)
    clock_radius = min(11 * MM, (rest.height - 16 * MM) / 2)
    centre_y = rest.top - clock_radius - 5 * MM
    draw_clock_face(
        canvas, rest.middle_x, centre_y, clock_radius, hours=facts.clock, direction=facts.direction
    )
    told = (
        facts.on_the_wood[1]
        if facts.clock is not None
        else _("The clock position is not recorded.")
    )
    fitted = fit_block(printable(told, PLAIN), PLAIN, rest.width, 9 * MM, largest=7.5, smallest=5.5)
    under = Box(rest.x, rest.y, rest.width, centre_y - clock_radius - 5.5 * MM - rest.y)
    draw_block(canvas, fitted, PLAIN, under, align="centre")


def _draw_strip(
    canvas: Any, package: Package, known: KnownPoints, facts: Relocation, box: Box
) -> None:
    inner = _heading(canvas, _("The wood from its side (3 o'clock), end A on the left"), box)
    area = (0.0, 0.0, inner.width / MM - 18, inner.height / MM)
    strip = draw_strip(known, stamps_of(package), facts.element_row, area, marked=facts.sample_id)
    draw_items(canvas, strip.items, x=inner.x, y=inner.y)


def _draw_tapes(canvas: Any, facts: Relocation, box: Box) -> None:
    box = _heading(canvas, _("Tape from"), box)
    if not facts.hole.tapes:
        _draw_paragraphs(canvas, (facts.tape_note,), box, largest=8, smallest=6)
        return
    fitted = fit_block(
        printable(facts.tape_note, PLAIN), PLAIN, box.width, 15, largest=6, smallest=5
    )
    box, note = box.cut_top(box.height - fitted.height - 1)
    draw_block(canvas, fitted, PLAIN, note)
    each = box.height / 3
    for tape in facts.hole.tapes:
        columns = tape.shown(facts.measures)
        row, box = box.cut_top(each)
        taken = max(_COLUMN_MM * len(columns), 30) * MM
        name, row = row.cut_left(17 * MM, 2)
        words, numbers = row.cut_left(row.width - taken, 2)
        if len(columns) > 2:  # what the datum is goes below its name
            words = Box(name.x, row.y, name.width + words.width, row.height - 12)
        fitted = fit_line(tape.datum_id, BOLD, name.width, largest=9, smallest=6)
        draw_line(canvas, fitted.lines[0], BOLD, fitted.size, name.x, name.top - 9)
        text = printable(tape.description or _("(not described)"), PLAIN)
        block = fit_block(text, PLAIN, words.width, words.height, largest=7.5, smallest=5.5)
        draw_block(canvas, block, PLAIN, words)
        for column, (told, below) in enumerate(columns):
            number, numbers = numbers.cut_left(numbers.width / (len(columns) - column))
            draw_line(canvas, told, MONO, 9, number.right, number.top - 9, align="right")
            draw_line(canvas, below, PLAIN, 7, number.right, number.top - 17.5, align="right")


def _draw_photo(canvas: Any, facts: Relocation, box: Box) -> None:
    from reportlab.lib.utils import ImageReader

    assert facts.photo is not None
    box = _heading(canvas, _("Photo"), box)
    caption = fit_block(
        printable(facts.photo_title, PLAIN), PLAIN, box.width, 16, largest=6.5, smallest=5
    )
    room = Box(box.x, box.y + caption.height + 2, box.width, box.height - caption.height - 2)
    picture = ImageReader(str(facts.photo))
    width, height = picture.getSize()
    share = min(room.width / width, room.height / height)
    drawn = (width * share, height * share)
    canvas.drawImage(picture, room.x, room.top - drawn[1], width=drawn[0], height=drawn[1])
    under = Box(box.x, box.y, box.width, room.top - drawn[1] - 2 - box.y)
    draw_block(canvas, caption, PLAIN, under)


_LARGE_CAUTION, _SMALL_CAUTION = 8.0, 7.0
_ON_THE_NEXT_PAGE = N_("The other cautions are on the next page. Read them too.")


def _draw_cautions(canvas: Any, cautions: Sequence[str], box: Box) -> Sequence[str]:
    """The cautions in a heavy frame, in two columns where there is the width.

    None is set too small to be read on a ladder; returns those that found no room.
    """
    canvas.setLineWidth(1.2)
    canvas.rect(box.x, box.y, box.width, box.height)
    inner = box.inset(2.5 * MM, 2 * MM)
    inner = _heading(canvas, _("Before anyone drills here again"), inner)
    columns = [inner]
    if inner.width > 140 * MM:
        columns = list(inner.cut_left((inner.width - _GAP) / 2, _GAP))
    size = _LARGE_CAUTION
    drawn = _filling(cautions, columns, size)
    while sum(map(len, drawn)) < len(cautions) and size > _SMALL_CAUTION:
        size -= 0.25
        drawn = _filling(cautions, columns, size)
    left = cautions[sum(map(len, drawn)) :]
    if left:
        *columns, last = columns
        columns.append(last.cut_top(last.height - 2 * size)[0])
        drawn = _filling(cautions, columns, size)
        left = cautions[sum(map(len, drawn)) :]
        draw_line(canvas, _(_ON_THE_NEXT_PAGE), BOLD, size, last.x, last.y + 0.5 * size)
    for column, lines in zip(columns, drawn, strict=True):
        _draw_paragraphs(canvas, lines, column, largest=size, smallest=size, mark=_MARK)
    return left


def _draw_more_cautions(canvas: Any, facts: Relocation, cautions: Sequence[str], box: Box) -> None:
    box = _heading(
        canvas,
        _("Hole of {identifier}: before anyone drills here again").format(
            identifier=facts.identifier
        ),
        box,
    )
    _draw_paragraphs(canvas, cautions, box, largest=10, smallest=_SMALL_CAUTION, mark=_MARK)
    draw_line(canvas, f"{_(SECRET)} {unreviewed()}".strip(), PLAIN, 6, box.x, _MARGIN - 4 * MM)


_MARK = "•  "


def _filling(cautions: Sequence[str], columns: Sequence[Box], size: float) -> list[list[str]]:
    """As many cautions as each column holds in that size, in their order."""
    found: list[list[str]] = []
    waiting = list(cautions)
    indent = PLAIN.width(_MARK, size)
    for box in columns:
        room, own = box.height, []
        while waiting:
            text = printable(waiting[0], PLAIN)
            one = fit_block(text, PLAIN, box.width - indent, room, largest=size, smallest=size)
            if not one.lines or not one.whole:
                break
            room -= one.height + 1.2
            own.append(waiting.pop(0))
        found.append(own)
    return found
