"""Sets words and what they stand for in two columns that never leave their box."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from provenance._drawing.boxes import Box
from provenance._drawing.fitting import STEP, FittedText, draw_block, draw_line, fit_block
from provenance._drawing.fonts import ASCENT, DESCENT, PLAIN, printable

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
        share = box.height / len(pairs) - _gap(size)
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
