"""Finds where the records of CSV bytes end and which of them have too few or too many cells.

The fast reader fills up short records and drops blank ones without a word, so that rows are counted
here first, on the bytes, as everybody sees them: a record ends at a line end outside quotes.

Source: RFC 4180 for quotes; Python's csv module for what is sound and what is not.
"""

from __future__ import annotations

from typing import NamedTuple

_STRETCH_BYTES = 1 << 13
"""Looked at in one go; one with a fault is looked at again, a sixteenth at a time, and so on."""


class Record(NamedTuple):
    """A record by its number, from 0, and the offsets where it begins and the next one does."""

    number: int
    start: int
    end: int


class OddQuotes(Exception):
    """Quotes that only a full reading tells the meaning of."""


def end_of_record(data: bytes, start: int, least: int = 0) -> int:
    """The offset behind the record that begins at `start`; behind more, if it ends before `least`.

    The bytes end with a line end. Raises OddQuotes where a quote is never closed.
    """
    end = data.index(b"\n", max(start, least))
    quotes = data.count(b'"', start, end)
    while quotes % 2:
        closing = data.find(b'"', end)
        if closing < 0:
            raise OddQuotes
        line_end = data.index(b"\n", closing)
        quotes += data.count(b'"', end, line_end)
        end = line_end
    return end + 1


def count_records(
    data: bytes, cells: int, most_uneven: int, *, one_by_one: bool = False
) -> tuple[int, list[Record]]:
    """How many records there are, the header included, and those that have not so many cells.

    Past `most_uneven` of these the rest is not looked at.
    Unless they are counted `one_by_one`, the commas of several records are counted together, so
    that one that is too long may make up for others that are too short.
    The bytes end with a line end, and no carriage return is without a line feed behind it. Raises
    OddQuotes where there is a quote inside an unquoted cell, text behind a closing quote, or a
    quote that is never closed.
    """
    uneven: list[Record] = []
    stretch = 0 if one_by_one else _STRETCH_BYTES
    return _count(data, 0, len(data), 0, cells, stretch, uneven, most_uneven), uneven


def has_odd_line_ends(data: bytes) -> bool:
    """Whether there is a carriage return without a line feed behind it."""
    return b"\r" in data and data.count(b"\r") != data.count(b"\r\n")


def _count(
    data: bytes,
    start: int,
    end: int,
    number: int,
    cells: int,
    stretch: int,
    uneven: list[Record],
    most_uneven: int,
) -> int:
    """Count the records from `start`, which has that number, to `end`, and note uneven ones."""
    while start < end and len(uneven) <= most_uneven:
        behind = end_of_record(data, start, min(start + stretch, end - 1))
        outside = outside_quotes(data[start:behind])
        records = outside.count(b"\n")
        if outside.count(b",") == records * (cells - 1):
            number += records
        elif records == 1:
            uneven.append(Record(number, start, behind))
            number += 1
        else:
            smaller = stretch // 16
            number = _count(data, start, behind, number, cells, smaller, uneven, most_uneven)
        start = behind
    return number


def outside_quotes(records: bytes) -> bytes:
    """What stands outside quotes in some whole records; OddQuotes when these are odd."""
    if b'"' not in records:
        return records
    first, *between, last = outside = records.split(b'"')[::2]
    # nothing between two quotes is a doubled quote inside a cell
    if (
        first[-1:] not in b",\n"
        or last[:1] not in b",\r\n"
        or any(one[:1] not in b",\r\n" or one[-1:] not in b",\n" for one in set(between))
    ):
        raise OddQuotes
    return b"".join(outside)
