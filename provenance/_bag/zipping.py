"""Writes a bag as one zip file whose bytes depend on nothing but the bag.

Members are in the order of their paths and bear the record's date; text is deflated, media that are
compressed already are stored. The bag lies in one folder inside the zip, as bagging programs expect
it (common practice). The deflated bytes are those of the zlib in use: another zlib may squeeze the
same content differently; the checksums inside stay the same.
"""

from __future__ import annotations

import zipfile
import zlib
from datetime import date
from pathlib import Path
from typing import IO

from provenance._bag.bag import files_of
from provenance._base.disk import CHUNK_BYTES
from provenance._base.progress import Progress, say_nothing
from provenance._gate.budget import DEFAULT_BUDGET

DEFLATED_SUFFIXES = frozenset(
    {
        ".cff", ".csv", ".css", ".fh", ".geojson", ".html", ".json", ".md", ".rwl", ".svg",
        ".tsv", ".txt", ".xml", ".yaml", ".yml",
    }
)  # fmt: skip
"""Texts, which deflate makes much smaller; pictures and scans are stored as they are, for speed."""

_LEVEL = zlib.Z_DEFAULT_COMPRESSION  # what zipfile uses
_PLAIN_FILE = 0o100644 << 16
_UNIX = 3


def write_zip(
    bag: Path, stream: IO[bytes], *, base_name: str, day: str, progress: Progress = say_nothing
) -> None:
    """Write the bag in folder `bag` as a zip (zip64 where needed) into `stream`.

    `base_name` is the one folder inside, `day` the date YYYY-MM-DD that every member bears;
    `progress` is told the bytes written and in total, before compression.
    """
    paths = files_of(bag)
    total = sum((bag / path).stat().st_size for path in paths)
    done = 0
    with zipfile.ZipFile(stream, "w", allowZip64=True) as archive:
        for path in paths:
            source = bag / path
            size = source.stat().st_size
            member = zipfile.ZipInfo(f"{base_name}/{path}", zip_date(day))
            member.create_system = _UNIX
            member.external_attr = _PLAIN_FILE
            member.file_size = size
            member.compress_type = _method(source, size)
            with (
                open(source, "rb") as reader,
                archive.open(member, "w", force_zip64=size >= 2**31) as writer,
            ):
                while chunk := reader.read(CHUNK_BYTES):
                    writer.write(chunk)
                    done += len(chunk)
                    progress(done, total)


def zip_date(day: str) -> tuple[int, int, int, int, int, int]:
    """Midnight of that day; a zip knows the years 1980 to 2107 only (APPNOTE.TXT 4.4.6)."""
    moment = date.fromisoformat(day)
    moment = min(max(moment, date(1980, 1, 1)), date(2107, 12, 31))
    return (moment.year, moment.month, moment.day, 0, 0, 0)


def _method(source: Path, size: int) -> int:
    if source.suffix.lower() not in DEFLATED_SUFFIXES:
        return zipfile.ZIP_STORED
    if size < DEFAULT_BUDGET.ratio_from_bytes:
        return zipfile.ZIP_DEFLATED
    # a large file that shrinks too well would look like a zip bomb to whoever opens it, us included
    squeezer = zlib.compressobj(_LEVEL, zlib.DEFLATED, -15)
    squeezed = 0
    with open(source, "rb") as reader:
        while chunk := reader.read(CHUNK_BYTES):
            squeezed += len(squeezer.compress(chunk))
    squeezed += len(squeezer.flush())
    suspicious = size > squeezed * DEFAULT_BUDGET.most_ratio / 2
    return zipfile.ZIP_STORED if suspicious else zipfile.ZIP_DEFLATED
