"""Finds out how a CSV file is laid out: its header, and the lines that do not fit it.

Fast readers of tables stumble on short, long and blank lines, and shift or swallow them. So the
bytes are looked over first: where every line has as many separators as the header, the file may be
handed to a fast reader; otherwise the standard library's reader takes it line by line.

Row numbers count records as a reader of the file sees them: the header is 1, and a line break
inside quotes does not begin a new one.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

from provenance.checks.tables import ROW
from provenance.errors import UnusablePackage

if TYPE_CHECKING:
    import numpy as np

__all__ = ["Layout", "read_layout"]

COMMA, QUOTE, LF, CR = b',"\n\r'
WINDOW_BYTES = 1 << 25
LARGEST_CELL = 10_000_000
"""Characters; a cell beyond it is no cell of a record (and may be an attack)."""


@dataclass(frozen=True)
class Layout:
    """A table as text, and what is odd about its lines.

    `text` has ROW and the header's columns in their order, every cell text ('' where nothing is
    written); names that stand twice in the header have '#2', '#3' … behind them. `short` and `long`
    hold (row, number of cells) of lines that do not have as many cells as the header; `blank` the
    rows of blank lines. `not_utf8` is the row of the first byte that is no UTF-8, or None.
    """

    header: tuple[str, ...]
    text: pl.DataFrame
    short: tuple[tuple[int, int], ...] = ()
    long: tuple[tuple[int, int], ...] = ()
    blank: tuple[int, ...] = ()
    not_utf8: int | None = None


def read_layout(path: Path) -> Layout:
    """Read a CSV file (UTF-8, comma); raises UnusablePackage when missing or without header."""
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise UnusablePackage(
            f"{path} is missing; every table has its file, even an empty one"
        ) from None
    content = content.removeprefix(b"\xef\xbb\xbf")
    if not content.strip():
        raise UnusablePackage(f"{path} is empty; its first line must name the columns")
    not_utf8 = _first_bad_row(content)
    if not_utf8 is None and _is_regular(content):
        header = next(csv.reader(io.StringIO(content[: content.find(b"\n") + 1 or None].decode())))
        if len(set(header)) == len(header) and all(header):
            return Layout(tuple(header), _fast(content, header))
    return _line_by_line(path, content, not_utf8)


def _fast(content: bytes, header: list[str]) -> pl.DataFrame:
    text = pl.read_csv(
        io.BytesIO(content),
        has_header=False,
        skip_rows=1,
        new_columns=header,
        infer_schema=False,
        empty_string_is_null=False,
        raise_if_empty=False,
    )
    if text.is_empty():
        text = pl.DataFrame(schema=dict.fromkeys(header, pl.String()))
    return text.with_row_index(ROW, offset=2)


def _first_bad_row(content: bytes) -> int | None:
    try:
        content.decode("utf-8")
    except UnicodeDecodeError as error:
        return content.count(b"\n", 0, error.start) + 1
    return None


# -- the quick look ------------------------------------------------------------------------------


def _is_regular(content: bytes) -> bool:
    """Whether every line has as many cells as the first, and every quote stands where it may."""
    import numpy as np

    if b"\0" in content or content.replace(b"\r\n", b"").find(b"\r") >= 0:
        return False
    if not content.endswith(b"\n"):
        content += b"\n"
    expected: int | None = None
    inside = 0
    separators_before = 0
    last_byte = LF
    view = np.frombuffer(content, dtype=np.uint8)
    for start in range(0, len(view), WINDOW_BYTES):
        window = view[start : start + WINDOW_BYTES]
        is_comma, is_lf = window == COMMA, window == LF
        if QUOTE in window:
            following = view[min(start + len(window), len(view) - 1)]
            quoted = _quoted(window, inside, last_byte, int(following))
            if quoted is None:
                return False
            inside = int(quoted[-1])
            is_comma &= ~quoted
            is_lf &= ~quoted
        elif inside:
            continue
        commas, ends = np.flatnonzero(is_comma), np.flatnonzero(is_lf)
        if len(ends):
            upto = np.searchsorted(commas, ends)
            counts = np.diff(upto, prepend=0)
            counts[0] += separators_before
            if expected is None:
                expected = int(counts[0])
            if expected == 0 or (counts != expected).any():
                return False
            separators_before = len(commas) - int(upto[-1])
        else:
            separators_before += len(commas)
        last_byte = int(window[-1])
    return not inside


def _quoted(window: np.ndarray, inside: int, before: int, following: int) -> np.ndarray | None:
    """Which bytes lie inside quotes (the closing quote not); None when a quote stands oddly.

    An opening quote follows a separator, a line break or (doubled) a closing one; a closing quote
    is followed by a separator, a line break or (doubled) an opening one.
    """
    import numpy as np

    is_quote = window == QUOTE
    parity = (np.cumsum(is_quote, dtype=np.int64) + inside) & 1
    places = np.flatnonzero(is_quote)
    opening = places[parity[places] == 1]
    closing = places[parity[places] == 0]
    previous = np.concatenate(([before], window[:-1]))[opening]
    nexts = np.concatenate((window[1:], [following]))[closing]
    fit_before = np.isin(previous, (COMMA, LF, QUOTE))
    fit_behind = np.isin(nexts, (COMMA, LF, CR, QUOTE))
    return parity.astype(bool) if fit_before.all() and fit_behind.all() else None


# -- line by line --------------------------------------------------------------------------------


def _line_by_line(path: Path, content: bytes, not_utf8: int | None) -> Layout:
    written = content.decode("utf-8", errors="replace")
    csv.field_size_limit(LARGEST_CELL)
    reader = csv.reader(io.StringIO(written, newline=""))
    short: list[tuple[int, int]] = []
    long: list[tuple[int, int]] = []
    blank: list[int] = []
    rows: list[list[str]] = []
    header: list[str] = []
    try:
        for row, cells in enumerate(reader, start=1):
            if row == 1:
                header = cells
                continue
            if not any(cells):
                blank.append(row)
            elif len(cells) < len(header):
                short.append((row, len(cells)))
            elif len(cells) > len(header):
                long.append((row, len(cells)))
            rows.append((cells + [""] * len(header))[: len(header)])
    except csv.Error as error:
        raise UnusablePackage(
            f"{path}, line {reader.line_num}: {error}; a cell may lack its closing quote"
        ) from error
    names = _unlike(header)
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(names)
    data = dict(zip(names, columns, strict=True))
    text = pl.DataFrame(data, schema=dict.fromkeys(names, pl.String()))
    return Layout(
        tuple(header),
        text.with_row_index(ROW, offset=2),
        tuple(short),
        tuple(long),
        tuple(blank),
        not_utf8,
    )


def _unlike(header: list[str]) -> list[str]:
    seen: dict[str, int] = {}
    names = []
    for name in header:
        seen[name] = seen.get(name, 0) + 1
        names.append(name if seen[name] == 1 and name else f"{name}#{seen[name]}")
    return names
