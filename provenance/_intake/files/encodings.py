"""Finds out in which encoding a text file was written.

Order of the rules: a byte order mark; UTF-8 if every byte fits; UTF-16 by its zero bytes; else the
old single-byte encodings of western computers, judged by whether the letters and signs that come
out stand where such letters and signs stand. General detectors were tried and fail on field forms:
a handful of accents in a thousand lines of figures is too little for them.
"""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from pathlib import Path

from provenance._base.errors import UnusableInput

CHUNK_BYTES = 1 << 20
MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
OLD = (
    ("cp1252", "Windows, western (cp1252)"),
    ("mac_roman", "old Macintosh (mac_roman)"),
    ("cp850", "DOS (cp850)"),
    ("cp437", "DOS, United States (cp437)"),
)
"""Single-byte encodings in the order in which a tie is decided."""

_SMALL = "àáâãäåæçèéêëìíîïñòóôõöøùúûüýÿœšžßðþłı"
_CAPITAL = "ÀÁÂÃÄÅÆÇÈÉÊËÌÍÎÏÑÒÓÔÕÖØÙÚÛÜÝŸŒŠŽÐÞŁ"
_AFTER_FIGURE = "°½¼¾²³′″º"
_SIGNS = "–—±×µ•…£€§©®·"


@dataclass(frozen=True)
class FoundEncoding:
    """`name` is Python's; `remark` shows what was decided, and is empty when it is certain."""

    name: str
    remark: str = ""


def find_encoding(path: Path) -> FoundEncoding:
    """The encoding of a text file, read in pieces.

    Raises UnusableInput for a file that is damaged UTF-8 or no text at all.
    """
    with open(path, "rb") as stream:
        head = stream.read(CHUNK_BYTES)
    for mark, name in MARKS:
        if head.startswith(mark):
            _refuse_undecodable(path, name)
            return FoundEncoding(name)
    bad = _first_bad_byte(path, "utf-8")
    if bad is None and b"\0" not in head:
        return FoundEncoding("utf-8")
    if wide := _zero_bytes_tell(head):
        _refuse_undecodable(path, wide)
        return FoundEncoding(wide, f"read as {wide.upper()}, going by its zero bytes")
    if b"\0" in head:
        raise UnusableInput(
            f"{path.name} is not text: it has zero bytes; hand in CSV, TSV, XLSX or ODS"
        )
    return _old_encoding(path)


def _first_bad_byte(path: Path, encoding: str) -> int | None:
    """Where the first byte stands that does not fit, or None."""
    decoder = codecs.getincrementaldecoder(encoding)()
    done = 0
    with open(path, "rb") as stream:
        while chunk := stream.read(CHUNK_BYTES):
            before = len(decoder.getstate()[0])
            try:
                decoder.decode(chunk)
            except UnicodeDecodeError as error:
                return done - before + error.start
            done += len(chunk)
    try:
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return done
    return None


def _refuse_undecodable(path: Path, encoding: str) -> None:
    bad = _first_bad_byte(path, encoding)
    if bad is not None:
        raise UnusableInput(
            f"{path.name} says it is {encoding.upper()}, but byte {bad + 1} does not fit: it is "
            "damaged or cut off; export it again"
        )


def _zero_bytes_tell(head: bytes) -> str | None:
    """UTF-16 without a mark: in tables every second byte is zero."""
    even, odd = head[0::2].count(0), head[1::2].count(0)
    half = max(len(head) // 2, 1)
    if odd / half > 0.6 and even / half < 0.05:
        return "utf-16-le"
    if even / half > 0.6 and odd / half < 0.05:
        return "utf-16-be"
    return None


def _lines_beyond_ascii(path: Path, most: int = 400) -> list[tuple[int, bytes]]:
    """The first lines that hold a byte above 127, with their numbers."""
    found = []
    with open(path, "rb") as stream:
        for number, line in enumerate(stream, start=1):
            if not line.isascii():
                found.append((number, line[:2000]))
                if len(found) == most:
                    break
    return found


def _old_encoding(path: Path) -> FoundEncoding:
    lines = _lines_beyond_ascii(path)
    _refuse_damaged_utf8(path, lines)
    scores = {name: sum(_plausibility(line, name) for _, line in lines) for name, _ in OLD}
    best = max(scores, key=lambda name: scores[name])
    number, line = lines[0]
    text = " ".join(re.split(r"[,;\t|]+", line.decode(best, "replace"))).strip()
    near = next((word for word in text.split() if not word.isascii()), text[:40])
    return FoundEncoding(
        best,
        f"read as {dict(OLD)[best]}, so that line {number} says '{near}'; if that is wrong, "
        "name the right one in the mapping (encoding:)",
    )


def _refuse_damaged_utf8(path: Path, lines: list[tuple[int, bytes]]) -> None:
    """Bytes that are UTF-8 but for a few: reading them as anything else would spoil the rest."""
    sequence = re.compile(rb"[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}")
    whole = sum(len(sequence.findall(line)) for _, line in lines)
    damaged = [
        (number, rest) for number, line in lines if not (rest := sequence.sub(b"", line)).isascii()
    ]
    broken = sum(sum(byte > 127 for byte in rest) for _, rest in damaged)
    if whole and whole >= 2 * broken:
        number, rest = damaged[0] if damaged else (0, b"")
        byte = next((byte for byte in rest if byte > 127), 0)
        raise UnusableInput(
            f"{path.name} is UTF-8 but for {broken or 'some'} byte(s), the first in row {number} "
            f"(0x{byte:02X}): two encodings were mixed; correct that row and save it as UTF-8, or "
            "name the encoding in the mapping (encoding:)"
        )


def _plausibility(line: bytes, encoding: str) -> float:
    """How well the signs beyond ASCII stand where they came out; below 0 is nonsense."""
    try:
        text = line.decode(encoding)
    except UnicodeDecodeError:
        return -10.0
    score = 0.0
    for place, sign in enumerate(text):
        if sign.isascii():
            continue
        before = text[place - 1] if place else " "
        after = text[place + 1] if place + 1 < len(text) else " "
        score += _fits(sign, before, after)
    return score


def _fits(sign: str, before: str, after: str) -> float:
    if sign in _SMALL:
        if not (before.isalpha() or after.isalpha()) or (after.isupper() and before.islower()):
            return -1.0
        return 1.0 if before.isalpha() else 0.8
    if sign in _CAPITAL:
        if before.islower():
            return -1.5
        return 1.0 if after.isalpha() else (0.5 if before.isupper() else -1.0)
    if sign in _AFTER_FIGURE:
        return 1.0 if before.isdigit() or before in ' ,;\t"' else -0.5
    if sign in "“‘„‚«":
        return 1.1 if not before.isalnum() and after.isalnum() else 0.0
    if sign in "”’»":
        return 1.1 if not before.isspace() else 0.0
    return 0.4 if sign in _SIGNS or sign == "\xa0" else -1.0
