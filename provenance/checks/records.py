"""Finds where the records of CSV bytes end and which of them have too few or too many cells.

The fast reader fills up short records and drops blank ones without a word, so that rows are counted
here first, on the bytes, as everybody sees them: a record ends at a line end outside quotes.

Source: RFC 4180 for quotes; Python's csv module for what is sound and what is not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["Outline", "outline_of"]

_COMMA, _LINE_FEED, _RETURN, _QUOTE = b","[0], b"\n"[0], b"\r"[0], b'"'[0]
_PIECE_BYTES = 1 << 22
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
    if data.count(b"\r") != data.count(b"\r\n"):
        return None
    if not data.endswith(b"\n"):
        data += b"\n"
    array = np.frombuffer(data, np.uint8)
    quoted = b'"' in data
    if quoted and not _quotes_are_sound(array):
        return None
    ends: list[Offsets] = []
    counts: list[npt.NDArray[np.int64]] = []
    open_before, commas_before = False, 0
    for offset in range(0, len(array), _PIECE_BYTES):
        piece = array[offset : offset + _PIECE_BYTES]
        parting = (piece == _COMMA) | (piece == _LINE_FEED)
        if quoted:
            inside, open_before = _inside_quotes(piece, open_before)
            parting &= ~inside
        places = np.flatnonzero(parting)
        line_ends = np.flatnonzero(piece[places] == _LINE_FEED)
        if len(line_ends) == 0:
            commas_before += len(places)
            continue
        commas = np.diff(line_ends, prepend=-1) - 1
        commas[0] += commas_before
        commas_before = len(places) - int(line_ends[-1]) - 1
        ends.append(places[line_ends] + (offset + 1))
        counts.append(commas)
    if not ends:
        return Outline(np.array([], np.int64), np.array([], np.int64))
    return Outline(np.concatenate(ends), np.concatenate(counts))


def _inside_quotes(piece: Bytes, open_before: bool) -> tuple[npt.NDArray[np.bool_], bool]:
    """Which bytes of a piece stand behind an odd number of quotes, and whether the last does."""
    odd = np.bitwise_xor.accumulate((piece == _QUOTE).view(np.uint8))
    inside = odd.view(np.bool_)
    if open_before:
        inside = ~inside
    return inside, bool(inside[-1])


def _quotes_are_sound(array: Bytes) -> bool:
    """Whether every quote opens a cell, closes one, or is doubled inside one."""
    places = np.concatenate(
        [
            np.flatnonzero(array[offset : offset + _PIECE_BYTES] == _QUOTE) + offset
            for offset in range(0, len(array), _PIECE_BYTES)
        ]
    )
    if len(places) % 2:
        return False
    opening, closing = places[::2], places[1::2]
    before = array[np.maximum(opening - 1, 0)]
    # a quote that opens right behind one that closes is the second half of a doubled quote
    opens_well = (opening == 0) | np.isin(before, [_COMMA, _LINE_FEED, _QUOTE])
    # the bytes end with a line end, so there is always one behind the last quote
    behind = array[closing + 1]
    closes_well = np.isin(behind, [_COMMA, _LINE_FEED, _RETURN, _QUOTE])
    return bool(opens_well.all() and closes_well.all())
