"""Draws a photo anew, so that nothing but its pixels goes into the public edition.

What a camera or program wrote beside the pixels (position, serial number, owner, thumbnail, colour
profile, comments, bytes behind the end) is not copied, because nothing is copied but the pixels.
The picture is turned upright first and brought to sRGB, which the left-out data asked of viewers.
"""

from __future__ import annotations

import io
import warnings
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._base.disk import writing
from provenance._base.errors import TreenailError

if TYPE_CHECKING:
    from PIL.Image import Image

KINDS = {".jpg": "JPEG", ".jpeg": "JPEG", ".png": "PNG", ".webp": "WEBP"}
"""The endings that a redrawn photo may have; the bytes must be of that kind."""
MOST_PIXELS = 120_000_000
"""Larger pictures are not unfolded: they would fill the memory."""
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
        raise NotRedrawn(f"only {', '.join(KINDS)} can be drawn anew")
    try:
        with warnings.catch_warnings():
            # the size is judged below, before any pixel is read
            warnings.simplefilter("ignore")
            with Image.open(source, formats=[kind]) as picture:
                width, height = picture.size
                if width * height > MOST_PIXELS:
                    raise NotRedrawn(f"{width} by {height} pixels are more than can be unfolded")
                pixels = _pixels(picture)
    except NotRedrawn:
        raise
    except UnidentifiedImageError:
        raise NotRedrawn(f"its bytes are no {kind} picture") from None
    except (OSError, ValueError, SyntaxError, EOFError, Image.DecompressionBombError) as error:
        raise NotRedrawn(f"the picture cannot be read: {error}") from error
    with writing(target) as stream:
        if kind == "JPEG":
            flat = pixels if pixels.mode in ("L", "RGB") else pixels.convert("RGB")
            flat.save(stream, "JPEG", quality=JPEG_QUALITY, subsampling=0)
        elif kind == "WEBP":
            pixels.save(stream, "WEBP", lossless=True)
        else:
            pixels.save(stream, "PNG", compress_level=6)


def _pixels(picture: Image) -> Image:
    """The upright picture in sRGB, as a new one that knows nothing else."""
    from PIL import Image, ImageOps

    profile = picture.info.get("icc_profile")
    upright = ImageOps.exif_transpose(picture)
    if upright.mode in ("P", "PA") or (upright.mode in ("L", "RGB") and _has_clear(upright)):
        upright = upright.convert("RGBA" if _has_clear(upright) else "RGB")
    if profile and upright.mode in ("RGB", "RGBA", "CMYK", "L"):
        upright = _in_srgb(upright, profile)
    if upright.mode not in ("1", "L", "LA", "RGB", "RGBA", "I;16"):
        upright = upright.convert("RGB")
    return Image.frombytes(upright.mode, upright.size, upright.tobytes())


def _has_clear(picture: Image) -> bool:
    return "transparency" in picture.info or picture.mode in ("PA", "LA", "RGBA")


def _in_srgb(picture: Image, profile: bytes) -> Image:
    """The picture in sRGB; as it is where its colour profile cannot be used."""
    from PIL import ImageCms

    mode = "RGBA" if picture.mode == "RGBA" else "RGB"
    try:
        turned = ImageCms.profileToProfile(
            picture,
            ImageCms.ImageCmsProfile(io.BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            outputMode=mode,
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        # a broken profile changes shades at most, and goes no further
        return picture
    return turned if turned is not None else picture
