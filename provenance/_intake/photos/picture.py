"""Looks at one picture that a stranger may have made: its camera's data and the codes in view."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._drawing.pixels import BROKEN, bare_pixels, fits
from provenance._identity.payload import one_line
from provenance._intake.photos.camera import NOTHING_WRITTEN, Camera, camera_of

if TYPE_CHECKING:
    from PIL.Image import Image

FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "GIF", "BMP")
_PLAIN_ENDINGS = {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".gif", ".bmp"}
ENDINGS = frozenset(_PLAIN_ENDINGS | {".heic", ".heif", ".hif"})
INSTALL = "pip install 'treenail[photos]'"
COPY_PIXELS = 1280
"""The longer side of a converted copy: a page shows it small, and a click what a screen holds."""
COPY_QUALITY = 85
LONGEST_SIDE = 65_535
"""The longest that a JPEG can have (ISO/IEC 10918-1, B.2.2) and that codes are looked for in."""
MOST_CODES = 50
LONGEST_REASON = 120
_BRANDS = frozenset(b"heic heix heim heis hevc hevx mif1 msf1".split())
"""Brands of files with HEVC pictures in them (ISO/IEC 23008-12, annex B, and 10.2)."""


class _UnreadablePicture(Exception):
    """Why a picture cannot be looked at, and what to do; it goes on in the words of a remark."""


@dataclass(frozen=True)
class Look:
    """What was seen in a picture: its camera's data, the texts of codes, and what went wrong.

    `copy` is a JPEG that every browser shows, for a HEIC picture alone: upright, in sRGB, without
    metadata.
    """

    camera: Camera = NOTHING_WRITTEN
    codes: tuple[str, ...] = ()
    copy: bytes = b""
    trouble: str = ""


def is_picture(path: Path) -> bool:
    """Whether a file is one by its name; a damaged picture is one too."""
    return path.suffix.lower() in ENDINGS


def is_heif(path: Path) -> bool:
    """Whether a file begins as HEIC and HEIF do, whatever its name (ISO/IEC 14496-12, 4.3)."""
    with open(path, "rb") as stream:
        start = stream.read(64)
    length = int.from_bytes(start[:4], "big")
    brands = {start[8:12], *(start[at : at + 4] for at in range(16, min(length, 64), 4))}
    return start[4:8] == b"ftyp" and not brands.isdisjoint(_BRANDS)


def look_at(path: Path) -> Look:
    """Look at a picture; what cannot be read of it is said in `trouble`, and nothing is raised."""
    camera = NOTHING_WRITTEN
    try:
        with _opened(path) as picture:
            # Pillow unfolds the whole of a PNG to find what stands behind its pixels
            if fits(picture) or picture.format != "PNG":
                camera = camera_of(picture)
            _refuse_large(picture)
            grey = picture.convert("L")
            copy = _converted(picture) if picture.format == "HEIF" else b""
        return Look(camera, _codes_in(grey), copy)
    except _UnreadablePicture as error:
        return Look(camera, trouble=str(error))


def look_for_camera(path: Path) -> Camera:
    """The camera's data alone, without looking at the pixels; none where it cannot be read."""
    try:
        with _opened(path) as picture:
            return camera_of(picture) if fits(picture) else NOTHING_WRITTEN
    except _UnreadablePicture:
        return NOTHING_WRITTEN


def drawn_anew(path: Path, pixels: int) -> bytes:
    """The picture as a JPEG of its pixels alone, the longer side so long at most.

    Nothing that stood in the file is in it; b"" where it cannot be read.
    """
    try:
        with _opened(path) as picture:
            _refuse_large(picture)
            # a JPEG can be unfolded at an eighth of its size, in an eighth of the time
            picture.draft("RGB", (pixels, pixels))
            return _converted(picture, pixels)
    except _UnreadablePicture:
        return b""


def _refuse_large(picture: Image) -> None:
    if not fits(picture) or max(picture.size) > LONGEST_SIDE:
        raise _UnreadablePicture(
            f"it has {picture.width:,} by {picture.height:,} pixels, too many to look into"
        )


@contextmanager
def _opened(path: Path) -> Iterator[Image]:
    """The picture, its pixels unread; raises _UnreadablePicture, also while they are read."""
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            # what Pillow warns of (sizes, odd metadata) is judged here by the size itself
            warnings.simplefilter("ignore")
            with _heif(path) if is_heif(path) else Image.open(path, formats=FORMATS) as picture:
                yield picture
    except Image.DecompressionBombError:
        raise _UnreadablePicture("it has too many pixels to look into") from None
    except UnidentifiedImageError:
        raise _UnreadablePicture(
            "it is damaged, or no picture in a form that is read here; it is kept as it is, look "
            "for a better copy"
        ) from None
    except BROKEN as error:
        why = one_line(str(error).rstrip(". \n"), LONGEST_REASON)
        raise _UnreadablePicture(
            f"it cannot be read ({why}); it is kept as it is, look for a better copy"
        ) from error


def _heif(path: Path) -> Image:
    try:
        from pillow_heif import HeifImageFile
    except ImportError:
        raise _UnreadablePicture(
            f"HEIC pictures are read by the package 'pillow-heif': {INSTALL}, then attach it again"
        ) from None
    # Pillow's own opener would ask for the plugin to be registered for the whole program
    picture: Image = HeifImageFile(path)  # type: ignore[no-untyped-call]
    return picture


def _converted(picture: Image, pixels: int = COPY_PIXELS) -> bytes:
    """The picture as a JPEG; it is smaller itself afterwards."""
    # made small first, because bringing all of it to sRGB takes several times as long
    picture.thumbnail((pixels, pixels))
    buffer = io.BytesIO()
    bare_pixels(picture).convert("RGB").save(buffer, "JPEG", quality=COPY_QUALITY, optimize=True)
    return buffer.getvalue()


def can_read_codes() -> bool:
    """Whether the library that reads codes in pictures is installed."""
    from importlib.util import find_spec

    return find_spec("zxingcpp") is not None


def _codes_in(grey: Image) -> tuple[str, ...]:
    """The texts of the QR codes in view, each once; none where the library is not installed."""
    if not can_read_codes():
        return ()
    import zxingcpp

    found = zxingcpp.read_barcodes(
        grey,
        # one format will do for a set of them; the stub knows sets only
        formats=zxingcpp.BarcodeFormat.QRCode,  # type: ignore[arg-type]
        text_mode=zxingcpp.TextMode.Plain,
    )
    return tuple(dict.fromkeys(one.text for one in found))[:MOST_CODES]
