"""Takes the pixels of a picture, upright and in sRGB, and nothing else that a camera wrote."""

from __future__ import annotations

import io
import struct
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_PIXELS = 120_000_000
"""Larger pictures are not unfolded: at 3 bytes a pixel they would take more than 360 MB."""

BROKEN = (OSError, ValueError, SyntaxError, EOFError, IndexError, KeyError, TypeError, struct.error)
"""What Pillow's readers raise for a broken picture."""


def bare_pixels(picture: Image) -> Image:
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
