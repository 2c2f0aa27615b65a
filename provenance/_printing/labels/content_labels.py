"""Prints labels for boxes and drawers that list the samples inside, with their count."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from provenance._base.errors import TreenailError
from provenance._base.languages import _, ngettext
from provenance._base.progress import Progress, say_nothing
from provenance._drawing.document import printed_pages
from provenance._drawing.fitting import draw_block, draw_line, fit_block, write_block, write_line
from provenance._drawing.fonts import ASCENT, BOLD, MONO, PLAIN
from provenance._drawing.paper import MM, Box
from provenance._drawing.qr import CodeTooLarge, draw_code, encode_label
from provenance._identity.payload import compose_inside, inside_code
from provenance._ledger.holdings import Holding, holdings_of
from provenance._printing.labels.calibration import TRUE, Calibration
from provenance._printing.labels.facts import SampleFacts, joined, rows_by_key
from provenance._printing.labels.labels import Printed, check_start, lay_out, print_labels
from provenance._printing.labels.stock import Stock, UnusableStock
from provenance._record.package import Package

SMALLEST_TEXT = 6.0
FOOT_TEXT = 6.5
FOOT_MM = 2.4
_NUMBER = re.compile(r"(\D*)(\d+)")


@dataclass(frozen=True)
class Content:
    """What lies in one box or drawer of one holder; '' where it is not recorded."""

    place_held: str
    holder: str
    site_id: str
    site_name: str
    numbers: tuple[str, ...]

    @property
    def code_text(self) -> str:
        """The text of its code; '' where the place is not recorded, or longer than codes say."""
        code = inside_code(self.place_held)
        return compose_inside(self.site_id, code) if code else ""


def contents_by_place(package: Package, facts: Sequence[SampleFacts]) -> list[Content]:
    """The samples grouped by where the custody ledger says they lie, and by site.

    Samples of which no place is recorded make a group of their own, with room to write; those that
    are lost, used up, on the way or on loan lie in no box and are left out.
    """
    held = holdings_of(package.tables)
    parties = rows_by_key(package, "party")
    groups: dict[tuple[str, str, str], list[SampleFacts]] = {}
    for one in facts:
        holding = held.get(one.sample_id, Holding(one.sample_id))
        place = holding.place_held
        if holding.gone or holding.on_the_way_to or (holding.lender and not place):
            continue
        holder = holding.holder if place else ""
        groups.setdefault((holder, place, one.site_id), []).append(one)
    return [
        Content(
            place_held=place,
            holder=parties[holder]["name"] if holder in parties else holder,
            site_id=site_id,
            site_name=members[0].site_name,
            numbers=tuple(one.number for one in members),
        )
        for (holder, place, site_id), members in sorted(groups.items(), key=lambda item: item[0])
    ]


def ranges_of(numbers: Sequence[str]) -> list[str]:
    """The numbers in order, neighbours drawn together.

    >>> ranges_of(["204", "201", "202", "203", "304B", "210"])
    ['201–204', '210', '304B']
    """
    counted: list[tuple[str, int, str]] = []
    others: list[str] = []
    for number in dict.fromkeys(numbers):
        match = _NUMBER.fullmatch(number)
        # '007' is not drawn together with '8', since nobody could tell '008' from it
        if match and match[2] == str(int(match[2])):
            counted.append((match[1], int(match[2]), number))
        else:
            others.append(number)
    runs: list[list[tuple[str, int, str]]] = []
    for one in sorted(counted):
        if runs and runs[-1][-1][0] == one[0] and runs[-1][-1][1] + 1 == one[1]:
            runs[-1].append(one)
        else:
            runs.append([one])
    written = []
    for run in runs:
        if len(run) > 2:
            written.append(f"{run[0][2]}–{run[-1][2]}")
        else:
            written += [number for _, _, number in run]
    return written + sorted(others)


def print_labels_of_stock(
    package: Package | None,
    facts: Sequence[SampleFacts],
    stock: Stock,
    out: Path,
    **laid_out: Any,
) -> Printed:
    """Write the labels that the stock is for: of the samples, or of the boxes they lie in.

    `laid_out` is what `print_labels` and `print_content_labels` have in common; they also say what
    is raised. So is TreenailError for a stock that lists contents where there is no package.
    """
    if stock.draws != "content":
        resolver = str(package.descriptor.get("resolver", "")) if package else ""
        return print_labels(facts, stock, out, resolver=resolver, **laid_out)
    if package is None:
        raise TreenailError("a label that lists contents needs a package")
    return print_content_labels(contents_by_place(package, facts), stock, out, **laid_out)


def print_content_labels(
    contents: Sequence[Content],
    stock: Stock,
    out: Path,
    *,
    start_at: int = 1,
    copies: int = 1,
    crop_marks: bool = False,
    calibration: Calibration = TRUE,
    progress: Progress = say_nothing,
) -> Printed:
    """Write a label a box or drawer to `out` (PDF); a long list goes on on a second label.

    Raises TreenailError as `print_labels` does.
    """
    check_start(stock, start_at, copies)
    if not contents:
        raise TreenailError("there is nothing to print: no sample that is selected lies in a box")
    with printed_pages(
        out, stock.page_size, title=_("Content labels"), subject=stock.title
    ) as pages:
        labels = [
            (content, part, number, len(parts))
            for content in contents
            for parts in [_parts(stock, content)]
            for number, part in enumerate(parts, start=1)
            for _ in range(copies)
        ]
        places = lay_out(pages, stock, len(labels), start_at, crop_marks, calibration)
        for done, (canvas, box) in enumerate(places):
            content, part, number, of = labels[done]
            inner = box.inset(stock.padding_mm * MM)
            _draw_content(canvas, inner, content, part, number, of)
            progress(done + 1, len(labels))
    return Printed(tuple(pages.paths), len(labels), pages.page_count)


def _divided(box: Box) -> tuple[Box, Box, Box, Box]:
    """Heading, line of site and count, the list below them, and a line at the foot."""
    heading, rest = box.cut_top(min(box.height * 0.3, 11 * MM), 0.6 * MM)
    line, rest = rest.cut_top(min(box.height * 0.2, 6 * MM), 1 * MM)
    listing, foot = rest.cut_top(rest.height - FOOT_MM * MM)
    return heading, line, listing, foot


def _parts(stock: Stock, content: Content) -> list[str]:
    """The list of numbers in as many pieces as labels are needed to print all of it."""
    box = Box(0, 0, stock.label_width_mm * MM, stock.label_height_mm * MM)
    _, _, listing, _ = _divided(box.inset(stock.padding_mm * MM))
    remaining = ranges_of(content.numbers)
    parts: list[str] = []
    while remaining:
        taken = _most_that_fit(listing, remaining)
        if taken == 0:
            raise UnusableStock(
                f"stock '{stock.name}' has no room to list what lies inside; choose a larger one"
            )
        parts.append(", ".join(remaining[:taken]))
        remaining = remaining[taken:]
    return parts


def _most_that_fit(listing: Box, entries: list[str]) -> int:
    """How many of the entries the box holds in the smallest size."""

    room = (listing.width, listing.height)

    def cut(count: int) -> bool:
        text, size = ", ".join(entries[:count]), SMALLEST_TEXT
        return not fit_block(text, PLAIN, *room, largest=size, smallest=size).whole

    high = 32
    while high < len(entries) and not cut(high):
        high *= 2
    return bisect_left(range(1, min(high, len(entries)) + 1), True, key=cut)


def _draw_code(canvas: Any, content: Content, heading: Box, line: Box) -> tuple[Box, Box]:
    """Draw the code at the right of both where it can be read there; what is left of them."""
    side = heading.top - line.y - 1 * MM
    try:
        code = encode_label(content.code_text, side / MM, content.place_held)
    except CodeTooLarge:
        # a small label still says at its foot what the code would
        return heading, line
    draw_code(canvas, code, heading.right - side, heading.top - side, side)
    room = heading.width - side - 1 * MM
    return Box(heading.x, heading.y, room, heading.height), Box(line.x, line.y, room, line.height)


def _draw_content(canvas: Any, box: Box, content: Content, part: str, number: int, of: int) -> None:
    heading, line, listing, foot = _divided(box)
    if content.code_text:
        heading, line = _draw_code(canvas, content, heading, line)
    count = ngettext("{n} sample", "{n} samples", len(content.numbers)).format(
        n=len(content.numbers)
    )
    # what a person types where the code cannot be read
    draw_line(canvas, content.code_text.partition(" ")[2], MONO, FOOT_TEXT, foot.x, foot.y)
    if of > 1:
        part_of = _("label {number} of {count}").format(number=number, count=of)
        draw_line(canvas, part_of, PLAIN, FOOT_TEXT, foot.right, foot.y, align="right")
    if content.place_held:
        held = content.place_held
        write_block(canvas, held, BOLD, heading, largest=22, smallest=SMALLEST_TEXT)
    else:
        canvas.setLineWidth(0.5)
        kept = _("Kept at")
        draw_line(canvas, kept, PLAIN, 8, heading.x, heading.y + 1 * MM)
        start = heading.x + max(14 * MM, PLAIN.width(kept, 8) + 2 * MM)
        canvas.line(start, heading.y + 1 * MM, heading.right, heading.y + 1 * MM)
    baseline = line.top - 11 * ASCENT
    counted = write_line(
        canvas,
        count,
        BOLD,
        line.width * 0.6,
        line.right,
        baseline,
        largest=11,
        smallest=SMALLEST_TEXT,
        align="right",
    )
    left = line.width - BOLD.width(counted.lines[0], counted.size) - 2 * MM
    holder = content.holder and _("with {holder}").format(holder=content.holder)
    site = joined(" · ", joined(" ", content.site_id, content.site_name), holder)
    words = Box(line.x, line.y, left, line.height)
    write_block(canvas, site, PLAIN, words, largest=9, smallest=SMALLEST_TEXT)
    canvas.setLineWidth(0.6)
    canvas.line(box.x, line.y, box.right, line.y)
    # the list may be longer than any text that somebody writes, and none of it may be cut
    room = (listing.width, listing.height)
    fitted = fit_block(part, PLAIN, *room, largest=15, smallest=SMALLEST_TEXT)
    draw_block(canvas, fitted, PLAIN, listing)
