"""Takes the pixels of a picture, upright and in sRGB, and nothing else that a camera wrote."""

from __future__ import annotations

import io
import struct
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_BYTES = 360_000_000
"""Larger pictures are not unfolded: some kilobytes can hold thousands of times as much."""
_BYTES_EACH = {"1": 1, "L": 1, "I;16": 2, "RGB": 3, "YCbCr": 3}
_WEBP = 9
"""Bytes a pixel while that format is unfolded, which holds several copies."""

BROKEN = (OSError, ValueError, SyntaxError, EOFError, IndexError, KeyError, TypeError, struct.error)
"""What Pillow's readers raise for a broken picture."""


def fits(picture: Image) -> bool:
    """Whether a picture may be unfolded: 120 million pixels in three colors, 40 million as WebP."""
    each = _WEBP if picture.format == "WEBP" else _BYTES_EACH.get(picture.mode, 4)
    return picture.width * picture.height * max(each, 3) <= MOST_BYTES


def bare_pixels(picture: Image) -> Image:
    """The upright picture in sRGB, which knows nothing else any more; `picture` is used up.

    What is transparent becomes white: under an erased part the pixels often still stand.
    """
    from PIL import Image, ImageOps

    profile = picture.info.get("icc_profile")
    ImageOps.exif_transpose(picture, in_place=True)
    upright = picture
    if "transparency" in picture.info or picture.mode in ("PA", "LA", "La", "RGBA", "RGBa"):
        clear = picture if picture.mode == "RGBA" else picture.convert("RGBA")
        upright = Image.new("RGB", clear.size, "white")
        upright.paste(clear, mask=clear)
    elif picture.mode == "P":
        upright = picture.convert("RGB")
    if profile and upright.mode in ("RGB", "CMYK", "L"):
        upright = _in_srgb(upright, profile)
    if upright.mode not in ("1", "L", "RGB", "I;16"):
        upright = upright.convert("RGB")
    # another copy of the largest would take more memory than many a machine can spare
    upright.info.clear()
    return upright


def _in_srgb(picture: Image, profile: bytes) -> Image:
    """The picture in sRGB; as it is where its colour profile cannot be used."""
    from PIL import ImageCms

    try:
        turned = ImageCms.profileToProfile(
            picture,
            ImageCms.ImageCmsProfile(io.BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            outputMode="RGB",
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        # a broken profile changes shades at most, and goes no further
        return picture
    return turned if turned is not None else picture
