"""Draws a photo anew, so that nothing but its pixels goes into the public edition.

What a camera or program wrote beside the pixels (position, serial number, owner, thumbnail, colour
profile, comments, bytes behind the end) is not copied, because nothing is copied but the pixels.
The picture is turned upright first and brought to sRGB, which the left-out data asked of viewers,
and what is transparent becomes white.
"""

from __future__ import annotations

import warnings
from pathlib import Path

from provenance._base.disk import writing
from provenance._base.errors import TreenailError
from provenance._drawing.pixels import BROKEN, bare_pixels, fits

KINDS = {".jpg": "JPEG", ".jpeg": "JPEG", ".png": "PNG", ".webp": "WEBP"}
"""The endings that a redrawn photo may have; the bytes must be of that kind."""
JPEG_QUALITY = 92


class NotRedrawn(TreenailError):
    """A file that cannot go into a public edition as a picture; says why."""


def redraw(source: Path, target: Path) -> None:
    """Write the pixels of a photo, and nothing else of it, to `target`, in the same file format.

    Raises NotRedrawn for a file that is no such picture, is too large, or is broken.
    """
    from PIL import Image, UnidentifiedImageError

    kind = KINDS.get(source.suffix.lower())
    if kind is None:
        raise NotRedrawn(f"only {', '.join(KINDS)} can be redrawn")
    try:
        with warnings.catch_warnings():
            # the size is judged below, before any pixel is read
            warnings.simplefilter("ignore")
            with Image.open(source, formats=[kind]) as picture:
                if not fits(picture):
                    width, height = picture.size
                    raise NotRedrawn(f"{width} by {height} pixels are too many to decode")
                pixels = bare_pixels(picture)
    except NotRedrawn:
        raise
    except UnidentifiedImageError:
        raise NotRedrawn(f"its bytes are not a {kind} picture") from None
    except (*BROKEN, Image.DecompressionBombError) as error:
        raise NotRedrawn(f"the picture cannot be read: {error}") from error
    with writing(target) as stream:
        if kind == "JPEG":
            flat = pixels if pixels.mode in ("L", "RGB") else pixels.convert("RGB")
            flat.save(stream, "JPEG", quality=JPEG_QUALITY, subsampling=0)
        elif kind == "WEBP":
            pixels.save(stream, "WEBP", lossless=True)
        else:
            pixels.save(stream, "PNG", compress_level=6)
