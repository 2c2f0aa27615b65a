"""Searches bytes for a text or number in every spelling that could carry it."""

from __future__ import annotations

import base64
import gzip
import html
import io
import itertools
import re
import struct
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from urllib.parse import quote

import numpy as np

SEPARATOR = b"\x00<<>>\x00"
_CHECKSUM = re.compile(rb"\b[0-9a-f]{64}(?:[0-9a-f]{64})?\b")
_FEW_DIGITS = re.compile(rb"[0-9a-f]{1,8}")
"""Three letters as hexadecimal digits turn up in the checksums of some runs in a hundred."""


def text_spellings(text: str) -> set[bytes]:
    """A text as bytes: encodings, escapes, base64 in its three places, hexadecimal."""
    spelled = {text, quote(text, safe=""), html.escape(text)}
    spelled.add("".join(f"%{byte:02x}" for byte in text.encode()))
    spelled.add("".join(f"&#{ord(one)};" for one in text))
    spelled.add("".join(f"&#x{ord(one):x};" for one in text))
    spelled.add("".join(f"\\u{ord(one):04x}" for one in text))
    found = set()
    for one in spelled:
        for encoding in ("utf-8", "utf-16-le", "utf-16-be", "latin-1"):
            raw = one.encode(encoding, "replace")
            found |= {raw.lower(), raw.hex().encode()}
    return found


def exact_spellings(text: str) -> set[bytes]:
    """Spellings in which the case of letters counts: base64, of the text in three cases."""
    found = set()
    for one in {text, text.lower(), text.upper(), text.swapcase()}:
        for encoding in ("utf-8", "utf-16-le", "utf-16-be"):
            raw = one.encode(encoding)
            for before in range(3):
                coded = base64.b64encode(bytes(before) + raw)
                # what stands before and behind changes the characters at the ends
                piece = coded[(0, 2, 3)[before] : (before + len(raw)) * 8 // 6]
                found |= {piece, piece.replace(b"+", b"-").replace(b"/", b"_")}
    return found


def number_spellings(number: str) -> tuple[set[bytes], set[bytes]]:
    """A decimal number: (texts, in small letters, and bytes as machines store it)."""
    value = float(number)
    plain = number.lstrip("-")
    texts = {plain, plain.replace(".", ",")}
    mantissa, exponent = f"{abs(value):.15e}".split("e")
    short = mantissa.rstrip("0").rstrip(".")
    texts |= {f"{short}e{form}" for form in (f"{int(exponent)}", f"+{int(exponent)}", exponent)}
    decimals = len(plain.partition(".")[2])
    if decimals > 3:
        texts |= {f"{abs(value):.3f}", plain[: plain.index(".") + 4]}
    degrees, rest = divmod(abs(value) * 3600, 3600)
    minutes, seconds = divmod(rest, 60)
    whole = f"{int(degrees)}°{int(minutes)}'{int(seconds)}", f"{int(degrees)}° {int(minutes)}′"
    if abs(value) <= 180 and decimals >= 4:
        texts |= {*whole, f"{int(degrees)} {int(minutes)} {int(seconds)}"}
    spelled = set()
    for one in texts:
        for encoding in ("utf-8", "utf-16-le", "utf-16-be", "latin-1"):
            spelled.add(one.encode(encoding, "replace").lower())
    stored = {struct.pack(form, signed) for form in ("<d", ">d", "<f", ">f")
              for signed in (value, -value)}  # fmt: skip
    return spelled, stored


def every_stream(path: Path) -> Iterator[tuple[str, bytes]]:
    """(where, bytes) of everything in a file or folder: names, contents, and what lies in those."""
    files = [path] if path.is_file() else sorted(path.rglob("*"))
    for one in files:
        name = one.name if one == path else one.relative_to(path).as_posix()
        yield f"name of {name}", name.encode()
        if one.is_file():
            yield from unfolded(name, one.read_bytes())


def unfolded(name: str, raw: bytes, depth: int = 0) -> Iterator[tuple[str, bytes]]:
    """A file's bytes, and everything that is packed inside them, however deep."""
    assert depth < 8, f"{name} is packed too deep"
    if zipfile.is_zipfile(io.BytesIO(raw)):
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            yield name, _around_members(raw, archive.infolist())
            yield f"{name}: comment", archive.comment
            for member in archive.infolist():
                inside = f"{name}!{member.filename}"
                yield f"{inside}: name", member.filename.encode() + member.comment + member.extra
                yield from unfolded(inside, archive.read(member), depth + 1)
        return
    yield name, raw
    if raw.startswith(b"\x1f\x8b"):
        yield from unfolded(f"{name}!gzip", gzip.decompress(raw), depth + 1)
    if raw.startswith(b"%PDF"):
        yield from _pdf(name, raw)
    if raw.startswith((b"\xff\xd8", b"\x89PNG", b"RIFF")):
        yield from _picture(name, raw)


def _around_members(raw: bytes, members: Iterable[zipfile.ZipInfo]) -> bytes:
    """A zip without its members, which are searched unpacked.

    In some hundred thousand bytes that are packed, three letters turn up by chance.
    """
    left, done = [], 0
    for member in sorted(members, key=lambda one: one.header_offset):
        name, extra = struct.unpack_from("<HH", raw, member.header_offset + 26)
        begin = member.header_offset + 30 + name + extra
        left.append(raw[done:begin])
        done = begin + member.compress_size
    return SEPARATOR.join([*left, raw[done:]])


def _pdf(name: str, raw: bytes) -> Iterator[tuple[str, bytes]]:
    for place, match in enumerate(re.finditer(rb"stream\r?\n(.*?)endstream", raw, re.DOTALL)):
        try:
            yield f"{name}: stream {place}", zlib.decompressobj().decompress(match[1])
        except zlib.error:
            yield f"{name}: stream {place}", match[1]
    from pypdf import PdfReader

    reader = PdfReader(io.BytesIO(raw))
    yield f"{name}: properties", str(dict(reader.metadata or {})).encode()
    yield f"{name}: text", "".join(page.extract_text() for page in reader.pages).encode()


def _picture(name: str, raw: bytes) -> Iterator[tuple[str, bytes]]:
    """What stands beside the pixels, unfolded by Pillow, chunk by chunk."""
    from PIL import Image

    try:
        with Image.open(io.BytesIO(raw)) as picture:
            picture.load()
            yield f"{name}: beside the pixels", repr(picture.info).encode("utf-8", "replace")
            yield f"{name}: Exif", repr(dict(picture.getexif())).encode()
            for value in picture.info.values():
                if isinstance(value, bytes):
                    yield f"{name}: block", value
    except OSError:
        # not a picture, whatever it begins with: its raw bytes are searched like any others
        return


class Searched:
    """Bytes with a map of the eight that stand at each place, since most spellings stand nowhere.

    The map is hashed to 24 bits, so it says "perhaps" or "nowhere" and never "nowhere" in error.
    """

    def __init__(self, raw: bytes) -> None:
        self.raw = raw
        self._map = np.zeros(1 << 24, dtype=bool)
        count = max(0, len(raw) - 7)
        self._map[_hashed(np.ndarray(count, "<u8", raw if count else b"", strides=(1,)))] = True

    def those_in_it(self, spellings: Iterable[bytes]) -> list[bytes]:
        long = [one for one in spellings if len(one) >= 8]
        begin = np.frombuffer(b"".join(one[:8] for one in long), "<u8")
        found = [one for one in spellings if len(one) < 8]
        found += itertools.compress(long, self._map[_hashed(begin)])
        return [one for one in found if one in self.raw]


def _hashed(eights: np.ndarray) -> np.ndarray:
    return (eights * np.uint64(0x9E3779B97F4A7C15)) >> np.uint64(40)


class Haystack:
    """All streams of a file or folder, joined, so that one look goes through all of them."""

    def __init__(self, path: Path) -> None:
        self.streams = list(every_stream(path))
        raw = SEPARATOR.join(raw for _, raw in self.streams)
        self._raw = Searched(raw)
        self._small = Searched(raw.lower())
        # in the digits of checksums every short number turns up by chance, and what is few digits
        self._numbers = Searched(_CHECKSUM.sub(SEPARATOR, raw.lower()))

    def where(self, small: Iterable[bytes], exact: Iterable[bytes] = ()) -> list[str]:
        """The streams that hold one of the spellings; `small` ones are in small letters."""
        hit = [
            one
            for one in self._small.those_in_it(small)
            if not _FEW_DIGITS.fullmatch(one) or one in self._numbers.raw
        ]
        hit_exactly = self._raw.those_in_it(exact)
        if not hit and not hit_exactly:
            return []
        return [
            name
            for name, raw in self.streams
            if any(one in raw.lower() for one in hit) or any(one in raw for one in hit_exactly)
        ]

    def of_text(self, text: str) -> list[str]:
        return self.where(text_spellings(text), exact_spellings(text))

    def of_number(self, number: str) -> list[str]:
        small, exact = number_spellings(number)
        if not number.isdecimal():
            return self.where(self._numbers.those_in_it(small), exact)
        # a whole number has no point to tell it by: a file of 326144 bytes does not tell 32614
        alone = re.compile(rb"(?<![0-9])%s(?![0-9])" % number.encode())
        others = self._numbers.those_in_it(small - {number.encode()})
        return self.where(others, exact) + [
            name
            for name, raw in self.streams
            if alone.search(_CHECKSUM.sub(SEPARATOR, raw.lower()))
        ]
