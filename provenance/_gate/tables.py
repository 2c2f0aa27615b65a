"""Counts on the bytes of a table what reading it would ask for, before it is read."""

from __future__ import annotations

from collections.abc import Iterable

from provenance._gate.budget import DEFAULT_BUDGET, Budget

_LINE_ENDS = (b"\n", b"\r")
_NO_TABLE = "no record needs as many"


def why_no_table(pieces: Iterable[bytes], budget: Budget = DEFAULT_BUDGET) -> str:
    """Why bytes, piece by piece, are not those of a table that may be read; '' when they are."""
    line_bytes = rows = byte_count = 0
    header: list[bytes] = []
    for piece in pieces:
        if b"\x00" in piece:
            return "holds a NUL, so it is not text"
        byte_count += len(piece)
        if byte_count > budget.most_table_bytes:
            return f"has more than {budget.most_table_bytes:,} bytes"
        first, *others = piece.split(b"\n")
        longest = max([line_bytes + len(first), *(len(line) for line in others)])
        if longest > budget.longest_line_bytes:
            return f"has a line of more than {budget.longest_line_bytes} bytes"
        if not rows:
            header.append(first.partition(b"\r")[0])
        line_bytes = len(others[-1]) if others else line_bytes + len(first)
        rows += len(others)
    return why_too_large(_columns_in(b"".join(header)), rows, budget)


def why_unreadable(data: bytes, budget: Budget = DEFAULT_BUDGET) -> str:
    """Why the bytes of a whole table may not be read, in a moment; '' when they may.

    A line is called too long where a whole stretch of the longest size has no end of line, so that
    none of twice that size is let pass.
    """
    stretch = budget.longest_line_bytes
    for start in range(0, len(data) - stretch, stretch):
        if all(data.find(end, start, start + stretch) < 0 for end in _LINE_ENDS):
            return f"has a line of more than {stretch} bytes"
    ends = [place for end in _LINE_ENDS if (place := data.find(end)) >= 0]
    rows = max(map(data.count, _LINE_ENDS))
    return why_too_large(_columns_in(data[: min(ends, default=len(data))]), rows, budget)


def _columns_in(header: bytes) -> int:
    """How many cells a line has; commas inside quotes count, of which no heading has thousands."""
    return header.count(b",") + 1


def why_too_large(columns: int, rows: int, budget: Budget = DEFAULT_BUDGET) -> str:
    """Why so many rows of so many cells are too many; '' when they are not."""
    if columns > budget.most_columns:
        return f"has {columns:,} columns; {_NO_TABLE}, and {budget.most_columns:,} may be"
    if rows > budget.most_rows:
        return f"has {rows:,} rows; {_NO_TABLE}, and {budget.most_rows:,} may be"
    if rows * columns > budget.most_cells:
        return f"has {rows * columns:,} cells; {_NO_TABLE}, and {budget.most_cells:,} may be"
    return ""
