"""Draws one label about one sample: on a rectangle, a flag round a tube, or a round tag.

Size rule: the number stands as large as the label allows, at least 5 mm high wherever there is room
(that is about 25 minutes of arc at arm's length, 0.7 m; 20 to 22 are called comfortable, value from
memory). A number that could not even stand SMALLEST_NUMBER_MM high is refused, never cut. Other
text shrinks to SMALLEST_TEXT points, breaks, and is then cut with '…'; the record says it in full.
The check letters stand apart from the number, smaller and in a frame that says 'check'. The number
that a store gave has a line of its own.
"""

from __future__ import annotations

from math import sqrt
from typing import Any

from provenance._base.languages import _
from provenance._drawing.fitting import (
    FittedText,
    draw_block,
    draw_line,
    fit_block,
    fit_line,
    write_block,
    write_line,
)
from provenance._drawing.fonts import (
    BOLD,
    CAP_HEIGHT,
    MONO,
    PLAIN,
    Typeface,
    printable,
    unprintable_characters,
)
from provenance._drawing.paper import MM, Box
from provenance._drawing.qr import (
    LABEL_QUIET_MODULES,
    draw_code,
    encode_label,
    needed_side_mm,
    whole_dots,
)
from provenance._model.schema import AS_FOUND
from provenance._printing.labels.facts import SampleFacts, joined
from provenance._printing.labels.stock import Stock, UnusableStock

READABLE_NUMBER_MM = 5.0
SMALLEST_NUMBER_MM = 2.0
LARGEST_NUMBER_MM = 13.0
SMALLEST_TEXT = 5.0
LARGEST_TEXT = 9.0
LARGEST_CODE_MM = 34.0
LONGEST_FRAME_MM = 6.0
GAP = 1.5 * MM

SMALLEST_CHECK_WORD = 4.0
_FRAME = 1.4
"""Width of the frame of the check letters, as a share of the width of one digit of the number."""


def draw_sample_label(
    canvas: Any, stock: Stock, box: Box, facts: SampleFacts, resolver: str = ""
) -> None:
    """Draw the label inside its edges `box` (points).

    Raises CodeTooLarge or UnusableStock when the stock is smaller than what it must hold.
    """
    pad = stock.padding_mm * MM
    if stock.draws == "flag":
        _draw_flag(canvas, stock, box.inset(0, pad), pad, facts, resolver)
    elif stock.draws == "disc":
        _draw_disc(canvas, stock, box, box.width / 2 - pad, facts, resolver)
    elif stock.draws == "sample":
        _draw_rectangle(canvas, stock, box.inset(pad), facts, resolver)
    else:
        raise UnusableStock(
            f"stock '{stock.name}' is for {stock.draws}, not for labels of single samples"
        )


def unprintable_in(facts: SampleFacts) -> tuple[str, ...]:
    """Characters in the facts that no typeface has; the label shows '□' in their places."""
    texts = (
        *(facts.number, facts.site_code, facts.site_name, facts.kind),
        *(facts.wood, facts.place, facts.collected_by),
    )
    return tuple(c for text in texts for c in unprintable_characters(text, PLAIN))


def _draw_code(canvas: Any, stock: Stock, facts: SampleFacts, resolver: str, box: Box) -> None:
    scarce = stock.draws in ("disc", "flag")
    text, side = facts.payload(resolver), box.width
    code = encode_label(text, side / MM, facts.identifier, scarce=scarce)
    x, y = box.x, box.y
    if stock.dpi:
        height = stock.page_size[1]
        x, top, side = whole_dots(code, x, height - box.top, side, 72 / stock.dpi)
        y = height - top - side
    draw_code(canvas, code, x, y, side)


def _draw_number(canvas: Any, box: Box, facts: SampleFacts) -> None:
    """The number from the left of the box, as high as it allows, and the framed check letters."""
    digits = MONO.width(facts.number, 1.0)
    one = MONO.width("0", 1.0)
    # number, a gap of half a digit, and the frame
    share = digits + one * (0.5 + _FRAME)
    size = min(box.width / share, box.height / CAP_HEIGHT, LARGEST_NUMBER_MM * MM / CAP_HEIGHT)
    if facts.numbering == AS_FOUND and _is_tiny(size):
        _draw_long_number(canvas, box, facts)
        return
    _refuse_tiny(size, facts)
    baseline = box.middle_y - size * CAP_HEIGHT / 2
    draw_line(canvas, facts.number, MONO, size, box.x, baseline)
    x = box.x + (digits + one * 0.5) * size
    frame = Box(x, baseline, one * _FRAME * size, size * CAP_HEIGHT)
    draw_framed_check(canvas, frame, facts.check)


def _draw_long_number(canvas: Any, box: Box, facts: SampleFacts) -> None:
    """A number or name as found that one line cannot hold, on several."""
    width = min(box.width * 0.2, LONGEST_FRAME_MM * MM)
    words, right = box.cut_left(box.width - width - GAP, GAP)
    frame, _rest = right.cut_top(min(width * 0.7, right.height))
    draw_framed_check(canvas, frame, facts.check)
    smallest = SMALLEST_NUMBER_MM * MM / CAP_HEIGHT
    text, sizes = printable(facts.number, MONO), {"largest": 2 * smallest, "smallest": smallest}
    fitted = fit_block(text, MONO, words.width, words.height, **sizes)
    if not fitted.whole:
        raise UnusableStock(
            f"number {facts.number} is too long for this label; choose a larger stock"
        )
    draw_block(canvas, fitted, MONO, words)


def _is_tiny(size: float) -> bool:
    return size * CAP_HEIGHT < SMALLEST_NUMBER_MM * MM - 1e-6


def _refuse_tiny(size: float, facts: SampleFacts) -> None:
    if _is_tiny(size):
        raise UnusableStock(
            f"number {facts.number} would stand {size * CAP_HEIGHT / MM:.1f} mm high and could not "
            "be read; choose a larger stock"
        )


def draw_framed_check(canvas: Any, frame: Box, check: str) -> None:
    """The check letters in a frame, so that nobody takes it for a part of the number.

    Where there is room for a word that can be read, the frame says what it is.
    """
    canvas.saveState()
    canvas.setLineWidth(max(0.4, frame.height * 0.03))
    canvas.roundRect(frame.x, frame.y, frame.width, frame.height, frame.height * 0.15)
    told = _("check")
    room, word_size = frame, frame.width * 0.84 / PLAIN.width(told, 1.0)
    word_size = min(word_size, frame.height * 0.24)
    if word_size >= SMALLEST_CHECK_WORD:
        room, word = frame.cut_top(frame.height * 0.7)
        baseline = word.y + word.height * 0.3
        draw_line(canvas, told, PLAIN, word_size, word.middle_x, baseline, align="centre")
    size = min(room.height * 0.67 / CAP_HEIGHT, room.width * 0.8 / MONO.width(check, 1.0))
    middle = room.middle_y - size * CAP_HEIGHT / 2
    draw_line(canvas, check, MONO, size, room.middle_x, middle, align="centre")
    canvas.restoreState()


def _draw_about(canvas: Any, box: Box, facts: SampleFacts, size: float) -> None:
    """Kind, day and collector on one line; the collector is the first to go."""
    short = joined(" · ", facts.kind, facts.collected_on)
    for text in (joined(" · ", short, facts.collected_by), short):
        text = printable(text, PLAIN)
        fitted = fit_line(text, PLAIN, box.width, largest=size, smallest=SMALLEST_TEXT)
        if fitted.whole:
            break
    draw_block(canvas, fitted, PLAIN, box)


def _draw_site_line(canvas: Any, box: Box, facts: SampleFacts, largest: float) -> None:
    """The site's code, bold, and its name behind it as far as there is room."""
    code = facts.site_code
    fitted = fit_line(code, BOLD, box.width, largest=largest, smallest=SMALLEST_TEXT)
    size = min(fitted.size, box.height)
    baseline = box.y + size * 0.24
    draw_line(canvas, fitted.lines[0], BOLD, size, box.x, baseline)
    used = BOLD.width(fitted.lines[0], size) + GAP
    name, room = printable(facts.site_name, PLAIN), box.width - used
    if name and name != code and room > 6 * MM:
        at, largest = (box.x + used, baseline), size * 0.92
        write_line(canvas, name, PLAIN, room, *at, largest=largest, smallest=SMALLEST_TEXT)


def _draw_words(canvas: Any, box: Box, facts: SampleFacts) -> None:
    """Site, kind, date, wood and place in the box; or lines to write on when it is a blank."""
    largest = min(1.3 * LARGEST_TEXT, max(LARGEST_TEXT, box.height * 0.14))
    line_height = min(largest * 1.25, max(SMALLEST_TEXT * 1.17, box.height / 4))
    site, rest = box.cut_top(line_height)
    _draw_site_line(canvas, site, facts, largest)
    if facts.blank:
        _draw_writing_lines(canvas, rest)
        return
    if facts.store_number:
        line, rest = rest.cut_top(min(line_height, rest.height))
        words, size = _("Store {number}").format(number=facts.store_words), line.height / 1.17
        at = (line.width, line.x, line.y + size * 0.24)
        write_line(canvas, words, BOLD, *at, largest=size, smallest=SMALLEST_TEXT)
    if rest.height < SMALLEST_TEXT * 1.17:
        return
    line, rest = rest.cut_top(min(line_height, rest.height))
    largest = min(largest - 0.5, line.height / 1.17)
    _draw_about(canvas, line, facts, largest)
    origin = joined(", ", facts.wood_words, facts.place)
    write_block(canvas, origin, PLAIN, rest, largest=largest, smallest=SMALLEST_TEXT)


def _draw_writing_lines(canvas: Any, box: Box) -> None:
    """As many of wood, date and by as can be written on with a pencil (5 mm a line)."""
    words = (_("wood"), _("date"), _("by"))[: max(0, int(box.height / (4.6 * MM)))]
    canvas.saveState()
    canvas.setLineWidth(0.4)
    for place, word in enumerate(words):
        baseline = box.top - (place + 1) * box.height / len(words) + 0.8 * MM
        draw_line(canvas, word, PLAIN, 5.5, box.x, baseline)
        start = box.x + max(PLAIN.width(one, 5.5) for one in words) + 0.8 * MM
        canvas.line(start, baseline, box.right, baseline)
    canvas.restoreState()


def _draw_rectangle(canvas: Any, stock: Stock, box: Box, facts: SampleFacts, resolver: str) -> None:
    side = min(box.height, box.width * 0.46, LARGEST_CODE_MM * MM)
    code, text = box.cut_left(side, GAP / 2)
    _draw_code(canvas, stock, facts, resolver, Box(code.x, code.middle_y - side / 2, side, side))
    number, words = text.cut_top(max(READABLE_NUMBER_MM * MM, text.height * 0.36), GAP)
    _draw_number(canvas, number, facts)
    _draw_words(canvas, words, facts)


def _draw_flag(
    canvas: Any, stock: Stock, box: Box, pad: float, facts: SampleFacts, resolver: str
) -> None:
    """Two ends that are glued back to back, and the number once more on the tube between them."""
    end_width = (box.width - stock.wrap_mm * MM) / 2
    left, rest = box.cut_left(end_width)
    wrap, right = rest.cut_left(stock.wrap_mm * MM)
    _draw_flag_code(canvas, stock, left.inset(pad, 0), facts, resolver)
    inner = right.inset(pad, 0)
    number, words = inner.cut_top(max(READABLE_NUMBER_MM * MM, inner.height * 0.36), GAP / 2)
    _draw_number(canvas, number, facts)
    _draw_words(canvas, words, facts)
    canvas.saveState()
    canvas.setLineWidth(0.4)
    canvas.setDash(1, 2)
    for x in (wrap.x, wrap.right):
        canvas.line(x, box.y - pad, x, box.top + pad)
    canvas.restoreState()
    size = min(
        box.height * 0.9 / MONO.width(facts.number, 1.0), READABLE_NUMBER_MM * MM / CAP_HEIGHT
    )
    if _is_tiny(2 * size):
        return  # of a long number as found; it stands on the end
    number_line = FittedText((facts.number,), size, True)
    # upright on the tube, three times, so that one of them always faces the eye
    for third in (1, 3, 5):
        x = wrap.x + wrap.width * third / 6
        _draw_upright(canvas, number_line, MONO, x, box.middle_y)


def _draw_flag_code(canvas: Any, stock: Stock, box: Box, facts: SampleFacts, resolver: str) -> None:
    """The code, and beside it the site's code and the check letters where there is room."""
    side = min(box.height, box.width)
    _draw_code(canvas, stock, facts, resolver, Box(box.x, box.middle_y - side / 2, side, side))
    room = box.width - side
    if room < 4 * MM:
        return
    width = min(room - 1 * MM, 7.5 * MM)
    frame = Box(box.right - width, box.top - width * 0.8, width, width * 0.8)
    draw_framed_check(canvas, frame, facts.check)
    below = frame.y - 1 * MM - box.y
    site = facts.site_code
    fitted = fit_line(site, BOLD, below, largest=LARGEST_TEXT, smallest=SMALLEST_TEXT)
    if fitted.whole:
        _draw_upright(canvas, fitted, BOLD, frame.middle_x, box.y + below / 2)


def _draw_upright(canvas: Any, fitted: FittedText, face: Typeface, x: float, y: float) -> None:
    """One line about its middle at x, y, read from the right-hand side."""
    canvas.saveState()
    canvas.translate(x, y)
    canvas.rotate(90)
    for line in fitted.lines:
        baseline = -fitted.size * CAP_HEIGHT / 2
        draw_line(canvas, line, face, fitted.size, 0, baseline, align="centre")
    canvas.restoreState()


def _draw_disc(
    canvas: Any, stock: Stock, box: Box, radius: float, facts: SampleFacts, resolver: str
) -> None:
    """The code high in the circle, the number below, site and check letters at the sides."""
    x, y = box.middle_x, box.middle_y
    least = needed_side_mm(facts.payload(resolver), quiet=LABEL_QUIET_MODULES) * MM
    side = max(least, radius * 1.2)
    if side > radius * sqrt(2):
        raise UnusableStock(
            f"the code of {facts.identifier} needs a disc of "
            f"{(least * sqrt(2) + box.width - 2 * radius) / MM:.0f} mm and this one has "
            f"{box.width / MM:.0f} mm; choose a larger stock, or a shorter web address"
        )
    half = side / 2
    top = sqrt(radius**2 - half**2)
    _draw_code(canvas, stock, facts, resolver, Box(x - half, y + top - side, side, side))
    _draw_disc_number(canvas, x, y, radius, y + top - side, facts)
    middle = y + top - half
    reach = sqrt(radius**2 - (top - half + half * 0.45) ** 2)
    room = reach - half
    width = min(room * 0.9, 3.4 * MM)
    said, share = (facts.store_number, 0.9) if facts.store_number else (facts.site_code, 0.6)
    canvas.saveState()
    canvas.translate(x + half + room / 2, middle)
    canvas.rotate(90)
    draw_framed_check(canvas, Box(-width * 0.85, -width / 2, width * 1.7, width), facts.check)
    canvas.restoreState()
    largest = min(LARGEST_TEXT, room * 0.8 / CAP_HEIGHT)
    smallest = SMALLEST_TEXT - 1
    fitted = fit_line(said, BOLD, side * share, largest=largest, smallest=smallest)
    _draw_upright(canvas, fitted, BOLD, x - half - room / 2, middle)


def _draw_disc_number(
    canvas: Any, x: float, y: float, radius: float, ceiling: float, facts: SampleFacts
) -> None:
    """The number in the segment of the circle below `ceiling`, as large as its corners allow."""
    share = MONO.width(facts.number, 1.0)
    size = (ceiling - (y - radius)) / CAP_HEIGHT
    while size * CAP_HEIGHT > SMALLEST_NUMBER_MM * MM:
        foot = ceiling - size * CAP_HEIGHT
        if (y - foot) ** 2 + (share * size / 2) ** 2 <= radius**2:
            break
        size -= 0.25
    _refuse_tiny(size, facts)
    draw_line(canvas, facts.number, MONO, size, x, ceiling - size * CAP_HEIGHT, align="centre")
