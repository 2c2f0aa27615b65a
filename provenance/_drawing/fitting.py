"""Fits text into the space there is: it shrinks, then breaks, then is cut with '…', in that order.

The rule, everywhere: a text is set in its largest size if it fits on one line. If not, it shrinks
down to the smallest size that is still read easily; where there is room for more lines it breaks at
blanks (a word that is wider than the line breaks anywhere). What is then still too long is cut, and
'…' says so.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from provenance._drawing.fonts import ASCENT, DESCENT, PLAIN, Typeface, printable
from provenance._drawing.paper import Box

LEADING = 1.18
"""From baseline to baseline, as a share of the size: lines of the sans faces never touch."""

STEP = 0.25
"""Sizes are multiples of this, in points."""

ELLIPSIS = "…"


@dataclass(frozen=True)
class FittedText:
    """Lines that fit, and the size in points; `whole` is False when something was cut off."""

    lines: tuple[str, ...]
    size: float
    whole: bool

    @property
    def height(self) -> float:
        """What the lines take from the top of the first to the foot of the last, in points."""
        if not self.lines:
            return 0.0
        return self.size * (ASCENT + DESCENT + LEADING * (len(self.lines) - 1))


def _stepped(size: float) -> float:
    return int(size / STEP + 1e-9) * STEP


def fit_line(
    text: str, face: Typeface, width: float, *, largest: float, smallest: float
) -> FittedText:
    """One line in at most `width` points, between the two sizes, cut if it must be."""
    at_one = face.width(text, 1.0)
    if at_one * largest <= width:
        return FittedText((text,) if text else (), largest, True)
    size = max(smallest, min(largest, _stepped(width / at_one)))
    if at_one * size <= width + 1e-6:
        return FittedText((text,), size, True)
    cut = _cut(text, face, width, size)
    return FittedText((cut,) if cut else (), size, False)


def _cut(text: str, face: Typeface, width: float, size: float) -> str:
    """The longest beginning that fits with '…' behind it; '' when not even that fits."""
    if face.width(ELLIPSIS, size) > width:
        return ""
    part = _longest(text, lambda part: face.width(part.rstrip() + ELLIPSIS, size) <= width)
    return part.rstrip() + ELLIPSIS


def _longest(text: str, fits: Callable[[str], bool]) -> str:
    """The longest beginning that fits; a longer one than does not fit does not fit either."""
    ends = range(1, len(text) + 1)
    return text[: bisect_left(ends, True, key=lambda end: not fits(text[:end]))]


def _broken(text: str, face: Typeface, width: float, size: float) -> list[str]:
    """The text in lines of at most `width`, broken at blanks, long words broken anywhere."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if face.width(longer, size) <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while len(line) > 1 and face.width(line, size) > width:
            lines.append(beginning(line, face, width, size))
            line = line[len(lines[-1]) :]
    return [*lines, line] if line else lines


def beginning(word: str, face: Typeface, width: float, size: float) -> str:
    """As much of a word as fits into `width`; its first character at least."""
    return _longest(word, lambda part: face.width(part, size) <= width) or word[:1]


def fit_block(
    text: str, face: Typeface, width: float, height: float, *, largest: float, smallest: float
) -> FittedText:
    """Lines in at most `width` by `height` points, in the largest size that holds them all."""
    if not text or width <= 0:
        return FittedText((), largest, not text)
    size = largest
    while size > smallest - 1e-9:
        lines = _broken(text, face, width, size)
        fitted = FittedText(tuple(lines), size, True)
        if fitted.height <= height + 1e-6 and _all_fit(lines, face, width, size):
            return fitted
        size -= STEP * (4 if size > 2 * smallest else 1)
    if height < smallest * (ASCENT + DESCENT) - 1e-6:
        return FittedText((), smallest, False)
    room = 1 + int((height / smallest - ASCENT - DESCENT) / LEADING + 1e-9)
    lines = _broken(text, face, width, smallest)
    if not _all_fit(lines, face, width, smallest):
        # the box is narrower than one character
        return FittedText((), smallest, False)
    if len(lines) <= room:
        return FittedText(tuple(lines), smallest, True)
    last = lines[room - 1]
    if face.width(last + ELLIPSIS, smallest) <= width:
        last += ELLIPSIS
    else:
        last = _cut(last, face, width, smallest)
    return FittedText((*lines[: room - 1], last), smallest, False)


def _all_fit(lines: list[str], face: Typeface, width: float, size: float) -> bool:
    return all(face.width(line, size) <= width + 1e-6 for line in lines)


def draw_line(
    canvas: Any,
    text: str,
    face: Typeface,
    size: float,
    x: float,
    baseline: float,
    *,
    align: str = "left",
) -> None:
    """Draw one line; `x` is its left end, middle or right end as `align` says."""
    canvas.setFont(face.name, size)
    if align == "centre":
        canvas.drawCentredString(x, baseline, text)
    elif align == "right":
        canvas.drawRightString(x, baseline, text)
    else:
        canvas.drawString(x, baseline, text)


def draw_block(
    canvas: Any, fitted: FittedText, face: Typeface, box: Box, *, align: str = "left"
) -> float:
    """Draw fitted lines from the top of the box downwards; returns the y of their foot."""
    x = {"left": box.x, "centre": box.middle_x, "right": box.right}[align]
    baseline = box.top - fitted.size * ASCENT
    for line in fitted.lines:
        draw_line(canvas, line, face, fitted.size, x, baseline, align=align)
        baseline -= fitted.size * LEADING
    return box.top - fitted.height


def write_line(
    canvas: Any,
    text: str,
    face: Typeface,
    width: float,
    x: float,
    baseline: float,
    *,
    largest: float,
    smallest: float,
    align: str = "left",
) -> FittedText:
    """Draw any text on one line, as `fit_line` fits it; returns what was drawn."""
    fitted = fit_line(printable(text, face), face, width, largest=largest, smallest=smallest)
    for line in fitted.lines:
        draw_line(canvas, line, face, fitted.size, x, baseline, align=align)
    return fitted


def write_block(
    canvas: Any,
    text: str,
    face: Typeface,
    box: Box,
    *,
    largest: float,
    smallest: float,
    align: str = "left",
) -> float:
    """Draw any text in the box, as `fit_block` fits it; returns the y of its foot."""
    shown = printable(text, face)
    fitted = fit_block(shown, face, box.width, box.height, largest=largest, smallest=smallest)
    return draw_block(canvas, fitted, face, box, align=align)


Pair = tuple[str, str]
"""What it is, in a word or two, and what is said of it."""

_LINE = ASCENT + DESCENT
_ENDLESS = 10_000.0


def draw_pairs(
    canvas: Any,
    box: Box,
    pairs: Sequence[Pair],
    *,
    word_width: float,
    largest: float = 9.0,
    smallest: float = 5.5,
) -> float:
    """Draw the pairs from the top of the box; returns the y of their foot.

    All are set in one size, the largest in which all fit, as `fitting` has it. At the smallest each
    is cut to its share of the height. A pair without a value gets a line to write on.
    """
    if not pairs:
        return box.top
    width = box.width - word_width
    size = largest
    blocks = _set(pairs, width, size)
    while size > smallest and _height(blocks, size) > box.height:
        size = max(smallest, size - STEP)
        blocks = _set(pairs, width, size)
    if _height(blocks, size) > box.height:
        # a line at least: a blank one would say that nothing is known
        share = max(box.height / len(pairs) - _gap(size), size * _LINE)
        blocks = _set(pairs, width, size, share)
    y = box.top
    for (word, _), block in zip(pairs, blocks, strict=True):
        baseline = y - size * ASCENT
        draw_line(canvas, word, PLAIN, size * 0.86, box.x, baseline)
        if block.lines:
            value = Box(box.x + word_width, y - block.height, width, block.height)
            draw_block(canvas, block, PLAIN, value)
        else:
            canvas.setLineWidth(0.4)
            foot = baseline - size * 0.12
            canvas.line(box.x + word_width, foot, box.right, foot)
        y -= max(block.height, size * _LINE) + _gap(size)
    return y


def _gap(size: float) -> float:
    return size * 0.22


def _set(
    pairs: Sequence[Pair], width: float, size: float, height: float = _ENDLESS
) -> list[FittedText]:
    return [
        fit_block(printable(value, PLAIN), PLAIN, width, height, largest=size, smallest=size)
        for _, value in pairs
    ]


def _height(blocks: Sequence[FittedText], size: float) -> float:
    return sum(max(block.height, size * _LINE) + _gap(size) for block in blocks)
