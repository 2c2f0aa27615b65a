"""Looks at the list of members at the end of a zip before the library reads it.

The library makes a value of every member that is listed, so that a list of some megabytes fills the
memory; what the end says of their number it does not ask. The format is APPNOTE.TXT's (4.3.12 to
4.3.16).
"""

from __future__ import annotations

import io
import os
import struct
import zipfile
from typing import IO

from provenance._gate.budget import DEFAULT_BUDGET, Budget
from provenance._gate.refusal import RefusedInput, at_most

_END = b"PK\x05\x06"
_END_BYTES = 22
_LONGEST_COMMENT = 65_535
_MEMBER = b"PK\x01\x02"
_END_64 = b"PK\x06\x06"
_END_64_BYTES = 56
_POINTER_64 = b"PK\x06\x07"
_POINTER_64_BYTES = 20
_PIECE_BYTES = 1 << 20


def end_of_zip(stream: IO[bytes]) -> tuple[int, bytes]:
    """Where the record stands that ends a zip, and all from there to the end of the file.

    Raises BadZipFile where there is none.
    """
    size = stream.seek(0, io.SEEK_END)
    start = max(size - _END_BYTES - _LONGEST_COMMENT, 0)
    stream.seek(start)
    tail = stream.read()
    # as the library does: without a comment it is the last thing in the file
    at = len(tail) - _END_BYTES
    if at < 0 or tail[at : at + 4] != _END or tail[-2:] != b"\x00\x00":
        at = tail.rfind(_END)
    if at < 0 or len(tail) - at < _END_BYTES:
        raise zipfile.BadZipFile("File is not a zip file")
    return start + at, tail[at:]


def refuse_directory(
    stream: IO[bytes], where: str | os.PathLike[str], budget: Budget = DEFAULT_BUDGET
) -> None:
    """Raise RefusedInput for a zip that lists more members, or longer ones, than may be.

    They are counted by the mark that each begins with, which may stand in a name too. Raises
    BadZipFile and OSError.
    """
    end, record = end_of_zip(stream)
    size = int.from_bytes(record[12:16], "little")
    if end >= _POINTER_64_BYTES + _END_64_BYTES:
        stream.seek(end - _POINTER_64_BYTES - _END_64_BYTES)
        before = stream.read(_POINTER_64_BYTES + _END_64_BYTES)
        if before[:4] == _END_64 and before[_END_64_BYTES:][:4] == _POINTER_64:
            size = struct.unpack_from("<Q", before, 40)[0]
            end -= _POINTER_64_BYTES + _END_64_BYTES
    if size > budget.most_directory_bytes:
        limit = at_most(budget.most_directory_bytes, "bytes")
        raise RefusedInput(where, f"has a list of members of {size:,} bytes", limit=limit)
    stream.seek(max(end - size, 0))
    members, left, carried = 0, min(size, end), b""
    while left and (piece := stream.read(min(left, _PIECE_BYTES))):
        left -= len(piece)
        piece = carried + piece
        members += piece.count(_MEMBER)
        # a mark on the border of two pieces is seen in the second, and none is seen twice
        carried = piece[-(len(_MEMBER) - 1) :]
    if members > budget.most_files:
        limit = at_most(budget.most_files, "files")
        raise RefusedInput(where, f"holds {members:,} files", limit=limit)
