"""Finds where the records of CSV bytes end and which of them have too few or too many cells.

The fast reader fills up short records and drops blank ones without a word, so that rows are counted
here first, on the bytes, as everybody sees them: a record ends at a line end outside quotes.

Source: RFC 4180 for quotes; Python's csv module for what is sound and what is not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

_COMMA, _LINE_FEED, _RETURN, _QUOTE = b","[0], b"\n"[0], b"\r"[0], b'"'[0]
_PIECE_BYTES = 1 << 20
"""Looked at in one go: large enough for numpy, small enough for the processor's cache."""

Bytes = npt.NDArray[np.uint8]
Offsets = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Outline:
    """Where each record of a file ends and how many commas part its cells.

    `ends` are offsets just behind the line end of each record; `commas` counts those outside
    quotes. Both have one entry a record, the header included.
    """

    ends: Offsets
    commas: npt.NDArray[np.int64]

    def start(self, record: int) -> int:
        """The offset at which a record (from 0) begins."""
        return int(self.ends[record - 1]) if record else 0


def outline_of(data: bytes) -> Outline | None:
    """The outline of CSV bytes; None where quotes or line ends are odd.

    Odd are a quote inside an unquoted cell, text behind a closing quote, a quote that is never
    closed, and a carriage return without a line feed: only a full reading tells what they mean.
    """
    if has_odd_line_ends(data):
        return None
    if not data.endswith(b"\n"):
        data += b"\n"
    array = np.frombuffer(data, np.uint8)
    quoted = b'"' in data
    ends: list[Offsets] = []
    counts: list[npt.NDArray[np.int64]] = []
    quotes_before, commas_before = 0, 0
    for offset in range(0, len(array), _PIECE_BYTES):
        piece = array[offset : offset + _PIECE_BYTES]
        telling = (piece == _COMMA) | (piece == _LINE_FEED)
        if quoted:
            telling |= piece == _QUOTE
        places = np.flatnonzero(telling)
        kinds = piece[places]
        if quoted:
            is_quote = kinds == _QUOTE
            numbers = np.cumsum(is_quote) + quotes_before
            if not _are_sound(array, places[is_quote] + offset, quotes_before):
                return None
            quotes_before = int(numbers[-1]) if len(numbers) else quotes_before
            outside = ~is_quote & (numbers % 2 == 0)
            places, kinds = places[outside], kinds[outside]
        line_ends = np.flatnonzero(kinds == _LINE_FEED)
        if len(line_ends) == 0:
            commas_before += len(places)
            continue
        commas = np.diff(line_ends, prepend=-1) - 1
        commas[0] += commas_before
        commas_before = len(places) - int(line_ends[-1]) - 1
        ends.append(places[line_ends] + (offset + 1))
        counts.append(commas)
    if quotes_before % 2 or not ends:
        return None
    return Outline(np.concatenate(ends), np.concatenate(counts))


def has_odd_line_ends(data: bytes) -> bool:
    """Whether there is a carriage return without a line feed behind it."""
    return b"\r" in data and data.count(b"\r") != data.count(b"\r\n")


def _are_sound(array: Bytes, quotes: Offsets, quotes_before: int) -> bool:
    """Whether every quote opens a cell, closes one, or is doubled inside one."""
    opening, closing = quotes[quotes_before % 2 :: 2], quotes[1 - quotes_before % 2 :: 2]
    before = array[np.maximum(opening - 1, 0)]
    # a quote that opens right behind one that closes is the second half of a doubled quote
    opens_well = (opening == 0) | _is_any(before, _COMMA, _LINE_FEED, _QUOTE)
    # the bytes end with a line end, so there is always one behind the last quote
    behind = array[closing + 1]
    closes_well = _is_any(behind, _COMMA, _LINE_FEED, _RETURN, _QUOTE)
    return bool(opens_well.all() and closes_well.all())


def _is_any(found: Bytes, *wanted: int) -> npt.NDArray[np.bool_]:
    known = np.zeros(256, dtype=np.bool_)
    known[list(wanted)] = True
    return known[found]
