"""Reads a table's CSV into a frame of texts in which every record keeps its number.

The columnar reader is given nothing but sound bytes: records with too few or too many cells are
mended first and reported, and a file whose quotes, line ends or encoding are odd is written out
anew by Python's csv module. So record n of the file is always row n, the header being record 1,
also behind blank records and behind line ends inside quotes.

Source: RFC 4180; Table Dialect v2 (datapackage.org/standard/table-dialect) for the defaults.
"""

from __future__ import annotations

import csv
import io
import os
import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

import polars as pl

from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.folders import read_plain
from provenance._gate.refusal import RefusedInput
from provenance._gate.tables import why_too_large, why_unreadable
from provenance._record.records import (
    OddQuotes,
    Record,
    count_records,
    end_of_record,
    has_odd_line_ends,
    outside_quotes,
)
from provenance._record.tables import ROW, is_blank

FIRST_ROW = 2
"""Record number of the first row; the header is record 1."""

_STRETCH_ROWS = 1000
_LONG, _MOST_PIECES = 50_000, 16
"""Rows of a table that is not put into one piece each time that something is added to it."""
_UTF8_BOM = b"\xef\xbb\xbf"
_UNDECODABLE = re.compile("[\udc80-\udcff]")
_LAST_LINE = "end,end"
"""Two cells when it is read as a record, part of one when a quote is open."""


@dataclass(frozen=True)
class Faults:
    """What is odd about the records of a file; rows are record numbers, the header being 1.

    `short` maps rows to the number of cells they have, `long` to that number and the text of the
    cells they have too many, `undecodable` to the positions (from 0) of cells that are no UTF-8.
    `unclosed` is the row in which a quote is still open at the end of the file, or None.
    """

    short: dict[int, int] = field(default_factory=dict)
    long: dict[int, tuple[int, str]] = field(default_factory=dict)
    undecodable: dict[int, tuple[int, ...]] = field(default_factory=dict)
    unclosed: int | None = None


@dataclass(frozen=True)
class TableText:
    """A table as written.

    `labels` is the header, () when the file is empty or begins with a blank record. `frame` has ROW
    and one column of texts for each different label that is not blank (of two with the same label
    the first counts), '' where nothing is written, bytes that are no UTF-8 as \\xNN; record n is at
    position n - 2. `blank` has the rows in which nothing is written, `unwritten` the columns.
    `empty` says that the file holds no record at all.
    """

    labels: tuple[str, ...]
    frame: pl.DataFrame
    blank: pl.Series
    faults: Faults = Faults()
    empty: bool = False
    unwritten: frozenset[str] = frozenset()

    def __len__(self) -> int:
        """The number of records behind the header, blank ones included."""
        return len(self.frame)

    def tuples(self, columns: Sequence[str]) -> Iterator[tuple[str, ...]]:
        """The rows as tuples of texts in the order of `columns`, '' for a column not there."""
        if not columns:
            return iter([()] * len(self))
        there = set(self.frame.columns)
        nothing = pl.Series([""]).new_from_index(0, len(self.frame))
        chosen = [self.frame[one] if one in there else nothing.alias(one) for one in columns]
        return pl.DataFrame(chosen).iter_rows(buffer_size=_STRETCH_ROWS)

    @property
    def trouble(self) -> str:
        """Why the table cannot be used as it stands, in words for people; '' when it can."""
        if self.empty or not self.labels:
            return "it has no header; restore its first line from schemas/"
        faults, where = self.faults, ""
        uneven = faults.short | {row: cells for row, (cells, _) in faults.long.items()}
        if faults.unclosed is not None:
            where = f"a quote that is open in row {faults.unclosed} is never closed"
        elif uneven:
            row = min(uneven)
            where = f"row {row} has {uneven[row]} cells, and the header has {len(self.labels)}"
        elif faults.undecodable:
            where = f"row {min(faults.undecodable)} has bytes that are not UTF-8"
        return f"{where}; 'treenail check' names every such row" if where else ""


def read_table_text(path: Path) -> TableText:
    """Read a CSV file, as `read_table_bytes`; raises FileNotFoundError when there is none."""
    return read_table_bytes(read_plain(path, DEFAULT_BUDGET.most_table_bytes), path)


def read_table_bytes(data: bytes, where: str | os.PathLike[str] = "the table") -> TableText:
    """Read a table from the bytes of its CSV; `where` is what a person knows them by.

    What is odd about the content is no error here, but stands in the value that is returned; only
    what is beyond the budget raises RefusedInput.
    """
    try:
        return (_small if len(data) <= _SMALL_BYTES else _whole)(data)
    except _TooLarge as error:
        raise RefusedInput(where, str(error)) from None


def _whole(data: bytes) -> TableText:
    data = data.removeprefix(_UTF8_BOM)
    if not data:
        return TableText((), _numbered(0), _numbered(0)[ROW], empty=True)
    if why := why_unreadable(data):
        raise _TooLarge(why)
    return _read(data)


_SMALL_BYTES = 32_768
_small = lru_cache(maxsize=256)(_whole)
"""The same bytes are the same table, which nobody changes: most of a record that is opened again
and again, by its review, the packing and the check of what was packed, is what it was before.
"""


class _TooLarge(Exception):
    """What a table asks for, which may turn out only while it is read."""


def _read(data: bytes) -> TableText:
    with _any_cell_size():
        table = _read_sound(data) if _is_utf8(data) else None
        # a table without rows is as good as false, and has been read all the same
        return _read_anew(data) if table is None else table


def _read_sound(data: bytes) -> TableText | None:
    """Read a file whose quotes and line ends are sound, and mend uneven records first."""
    if has_odd_line_ends(data):
        return None
    if not data.endswith(b"\n"):
        data += b"\n"
    try:
        header_end = end_of_record(data, 0)
        # with one label only, a blank record and an empty cell would look the same
        if b"," not in outside_quotes(data[:header_end]):
            return None
        labels = tuple(next(csv.reader([data[:header_end].decode()])))
        _refuse_too_large(len(labels), 0)
        most = DEFAULT_BUDGET.most_uneven_rows
        count, uneven = count_records(data, len(labels), most)
        try:
            return _with_mended(data, header_end, labels, count, uneven)
        except (pl.exceptions.ComputeError, pl.exceptions.SchemaError):
            # some are too long, and as many others too short
            count, uneven = count_records(data, len(labels), most, one_by_one=True)
            return _with_mended(data, header_end, labels, count, uneven)
    except OddQuotes:
        return None


def _with_mended(
    data: bytes, header_end: int, labels: tuple[str, ...], count: int, uneven: list[Record]
) -> TableText:
    """Read the records behind the header, each with as many cells as there are labels."""
    # commas inside quotes make it less, never more
    written = sum(min(data.count(b",", one.start, one.end) + 1, len(labels)) for one in uneven)
    missing = len(labels) * len(uneven) - written
    _refuse_too_large(len(labels), count, len(uneven), missing)
    faults = Faults()
    whole = memoryview(data)
    pieces: list[bytes | memoryview] = []
    sound_from = header_end
    for number, start, end in uneven:
        pieces.append(whole[sound_from:start])
        sound_from = end
        text = str(whole[start:end], "utf-8")
        cells = next(csv.reader(io.StringIO(text, newline="")), [])
        pieces.append(_as_line(_fitted(cells, number + 1, len(labels), faults)))
    pieces.append(whole[sound_from:])
    return _with_frame(labels, b"".join(pieces), records=count - 1, faults=faults)


def _read_anew(data: bytes) -> TableText:
    """Read with Python's csv module, record by record, and write sound CSV for the fast reader."""
    text = io.TextIOWrapper(io.BytesIO(data), "utf-8", errors="surrogateescape", newline="")
    labels: tuple[str, ...] = ()
    faults = Faults()
    sound = io.BytesIO()
    row = missing = 0
    for cells, swallowed_end in _records(text):
        row += 1
        if swallowed_end:
            faults = replace(faults, unclosed=row)
        bad = tuple(i for i, cell in enumerate(cells) if _UNDECODABLE.search(cell))
        if bad:
            faults.undecodable[row] = bad
            cells = [_shown(cell) for cell in cells]
        if row == 1:
            labels = tuple(cells)
            _refuse_too_large(len(labels), 0)
        elif labels:
            missing += max(len(labels) - len(cells), 0)
            sound.write(_as_line(_fitted(cells, row, len(labels), faults)))
            _refuse_too_large(len(labels), row, len(faults.short) + len(faults.long), missing)
    if not labels:
        return TableText((), _numbered(row - 1), _numbered(0)[ROW], faults)
    return _with_frame(labels, sound.getvalue(), records=row - 1, faults=faults)


def _refuse_too_large(columns: int, rows: int, uneven: int = 0, missing: int = 0) -> None:
    """Raise _TooLarge for more than the budget lets be, in the whole table as far as it is known.

    A row that lacks cells may be a byte long, and takes as much room as any when it is filled up.
    """
    budget = DEFAULT_BUDGET
    why = why_too_large(columns, rows)
    if uneven > budget.most_uneven_rows:
        why = f"has {uneven:,} rows with too few or too many cells, so it is not a table"
    elif missing > budget.most_missing_cells:
        why = f"is not a table: it lacks more than {budget.most_missing_cells:,} cells in its rows"
    if why:
        raise _TooLarge(why)


def _records(lines: Iterable[str]) -> Iterator[tuple[list[str], bool]]:
    """The records, each with whether an unclosed quote runs to the end of the file in it."""
    ended = False

    def and_one_more() -> Iterator[str]:
        nonlocal ended
        yield from lines
        ended = True
        yield _LAST_LINE

    for cells in csv.reader(and_one_more()):
        if not ended:
            yield cells, False
        elif cells != _LAST_LINE.split(","):
            # the line of ours behind the end became part of a cell
            cells[-1] = cells[-1].removesuffix(_LAST_LINE)
            yield cells, True


def _fitted(cells: list[str], row: int, width: int, faults: Faults) -> list[str]:
    """The cells of a row, cut or filled up to the header; the fault is noted."""
    if len(cells) < width:
        faults.short[row] = len(cells)
        return cells + [""] * (width - len(cells))
    if len(cells) > width:
        faults.long[row] = (len(cells), ",".join(cells[width:]))
        return cells[:width]
    return cells


def _as_line(cells: Iterable[str]) -> bytes:
    return ('"' + '","'.join(cell.replace('"', '""') for cell in cells) + '"\n').encode()


def _shown(cell: str) -> str:
    """A cell with undecodable bytes written as \\xNN."""
    return _UNDECODABLE.sub(lambda found: f"\\x{ord(found[0]) - 0xDC00:02x}", cell)


def _numbered(records: int) -> pl.DataFrame:
    rows = pl.int_range(FIRST_ROW, records + FIRST_ROW, dtype=pl.UInt32, eager=True)
    return pl.DataFrame([rows.alias(ROW)])


@lru_cache(maxsize=128)
def _without_rows(columns: tuple[str, ...]) -> pl.DataFrame:
    """A frame of no rows; most tables of most records are such, with the same columns."""
    return pl.DataFrame(schema={ROW: pl.UInt32(), **dict.fromkeys(columns, pl.String())})


def _with_frame(labels: tuple[str, ...], body: bytes, *, records: int, faults: Faults) -> TableText:
    kept: dict[str, str] = {}
    for position, label in enumerate(labels):
        if label not in ("", ROW):
            kept.setdefault(label, str(position))
    if not records:
        none = _without_rows(tuple(kept))
        return TableText(labels, none, none[ROW], faults)
    positions = [str(position) for position in range(len(labels))]
    schema = dict.fromkeys(positions, pl.String())
    frame = pl.read_csv(body, has_header=False, schema=schema, empty_string_is_null=False)
    if len(frame) != records:
        raise RuntimeError(f"{records} records were counted, and {len(frame)} were read")
    return _in_memory(labels, kept, frame, faults)


def table_of(frame: pl.DataFrame) -> TableText:
    """What is read from the file that is written of these columns of texts."""
    names = {name: name for name in frame.columns}
    if len(frame) < _LONG or frame.n_chunks() > _MOST_PIECES:
        frame = frame.rechunk()
    if not len(frame):
        none = _without_rows(tuple(names))
        return TableText(tuple(names), none, none[ROW])
    return _in_memory(tuple(names), names, frame, Faults())


def _in_memory(
    labels: tuple[str, ...], kept: dict[str, str], frame: pl.DataFrame, faults: Faults
) -> TableText:
    """The table of a frame; `kept` has the column of the frame for each label."""
    records, first = len(frame), frame.columns[0]
    rows = _numbered(records)[ROW]
    blank = rows.clear()
    # of the rows whose first cell is empty few are blank altogether
    doubtful = frame[first] == ""
    if doubtful.any():
        without_first = frame.hstack([rows]).filter(doubtful)
        blank = without_first.filter(pl.all_horizontal(pl.col(frame.columns) == ""))[ROW]
    # most columns of most records are blank, and blank columns share one piece of memory
    unwritten = frozenset(new for new, old in kept.items() if is_blank(frame[old]))
    nothing = pl.Series([""]).new_from_index(0, records)
    columns = [
        (nothing if new in unwritten else frame.get_column(old)).alias(new)
        for new, old in kept.items()
    ]
    whole = pl.DataFrame([rows, *columns])
    return TableText(labels, whole, blank, faults, unwritten=unwritten)


def _is_utf8(data: bytes) -> bool:
    if data.isascii():
        return True
    try:
        data.decode()
    except UnicodeDecodeError:
        return False
    return True


@contextmanager
def _any_cell_size() -> Iterator[None]:
    """Let Python's csv module read cells of any length, and set its limit back afterwards."""
    before = csv.field_size_limit(sys.maxsize)
    try:
        yield
    finally:
        csv.field_size_limit(before)
