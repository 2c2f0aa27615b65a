"""Reads the picture of a plan: upright pixels, resolution, and whether a camera took it."""

from __future__ import annotations

import base64
import hashlib
import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from provenance._base.errors import UnusableInput
from provenance._drawing.pixels import BROKEN, bare_pixels, fits
from provenance._gate.folders import read_plain
from provenance._survey.parts.observation import Floats
from provenance._survey.trace.fit import Fit

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_BYTES = 300_000_000
_EXIF_IFD, _ORIENTATION, _EXPOSURE_TIME, _F_NUMBER = 0x8769, 0x0112, 0x829A, 0x829D
"""CIPA DC-008 (Exif 3.0); a scanner writes neither an exposure nor an aperture."""
_LEAST_DPI = 100.0
"""Programs write 72 or 96 where they know nothing; nobody scans a plan so coarsely."""
_READ = ("PNG", "JPEG", "TIFF")
"""What is opened: other readers start programs, or unfold drawings."""
_SHOWN_AS_IT_IS = frozenset({"PNG", "JPEG"})
_PLAIN_MODES = frozenset({"1", "L", "P", "RGB"})
_JPEG_QUALITY = 88
_LONGEST_JPEG = 65_000
"""Pixels of a side; the format ends at 65,535 (ITU-T T.81)."""
_MOST_TIMES = 3
"""A copy square to the grid has no more than this many times the pixels of the picture."""


@dataclass(frozen=True)
class PlanPicture:
    """A picture of a plan: `width` and `height` in pixels of the upright picture.

    `dots_per_inch` is None where the file does not say it or cannot know it; `as_it_is` says that
    browsers and drawings show these bytes upright.
    """

    path: Path
    data: bytes
    width: int
    height: int
    dots_per_inch: float | None
    by_camera: bool
    as_it_is: bool
    media_type: str

    @cached_property
    def sha256(self) -> str:
        """Checksum of the file."""
        return hashlib.sha256(self.data).hexdigest()

    def address(self) -> str:
        """The upright picture as an address that holds it, pixel for pixel."""
        data, media_type = self.data, self.media_type
        if not self.as_it_is:
            with _opened(self.path, self.data) as picture:
                data, media_type = _encoded(bare_pixels(picture))
        return f"data:{media_type};base64,{base64.b64encode(data).decode('ascii')}"

    def seen(self, longest: int) -> tuple[bytes, str]:
        """The upright picture drawn anew, no side longer than that, and its media type."""
        with _opened(self.path, self.data) as picture:
            upright = bare_pixels(picture)
        if max(upright.size) > longest:
            if upright.mode in ("1", "I;16"):
                upright = upright.convert("L")
            upright.thumbnail((longest, longest))
        return _encoded(upright)

    def redrawn(self, fit: Fit, points: Floats) -> tuple[bytes, float, float, float]:
        """The picture square to the site grid: a JPEG, x and y of its lower left corner in m, and
        the metres in one of its pixels.

        All of it, or, of a photo, what lies round the `points` (n, 2) on the grid, because towards
        the horizon a pixel grows without end.
        """
        from PIL import Image

        size = fit.mean_metres_per_pixel()
        corners = np.array([[0, 0], [self.width, 0], [self.width, self.height], [0, self.height]])
        shown = fit.on_grid(corners.astype(float))
        if fit.model == "projective":
            spread = points.max(axis=0) - points.min(axis=0)
            shown = np.vstack([points - spread / 8, points + spread / 8])
        low, high = shown.min(axis=0), shown.max(axis=0)
        area = float(np.prod((high - low) / size))
        most = _MOST_TIMES * self.width * self.height
        size *= max(1.0, np.sqrt(area / most), float((high - low).max()) / size / _LONGEST_JPEG)
        width, height = np.ceil((high - low) / size).astype(int)
        # Pillow asks for the eight numbers that lead from a new pixel to an old one
        top = low[1] + height * size
        onto_grid = np.array([[size, 0, low[0]], [0, -size, top], [0, 0, 1]])
        back = np.linalg.inv(fit.matrix()) @ onto_grid
        numbers = (back / back[2, 2]).ravel()[:8]
        with _opened(self.path, self.data) as picture:
            upright = bare_pixels(picture)
        if upright.mode in ("1", "I;16"):
            upright = upright.convert("L")
        drawn = upright.transform(
            (int(width), int(height)),
            Image.Transform.PERSPECTIVE,
            tuple(numbers),
            Image.Resampling.BILINEAR,
            fillcolor="white",
        )
        return _encoded(drawn)[0], float(low[0]), float(low[1]), size


def open_plan(path: Path) -> PlanPicture:
    """The picture of a plan; raises UnusableInput for what is none, is broken or too large."""
    try:
        data = read_plain(path, MOST_BYTES)
    except OSError as error:
        raise UnusableInput(f"{path} cannot be read: {error.strerror}; check the name") from None
    if data.startswith(b"%PDF"):
        raise UnusableInput(
            f"{path.name} is a PDF; export the page of the plan as PNG or TIFF, at 300 dots per "
            "inch"
        )
    with _opened(path, data) as picture:
        tags = picture.getexif()
        more = tags.get_ifd(_EXIF_IFD)
        turned = tags.get(_ORIENTATION, 1)
        width, height = picture.size
        if turned in (5, 6, 7, 8):
            width, height = height, width
        return PlanPicture(
            path=path,
            data=data,
            width=width,
            height=height,
            dots_per_inch=_dots_per_inch(picture),
            by_camera=_EXPOSURE_TIME in more or _F_NUMBER in more,
            as_it_is=picture.format in _SHOWN_AS_IT_IS
            and turned == 1
            and picture.mode in _PLAIN_MODES,
            media_type={"PNG": "image/png", "JPEG": "image/jpeg"}.get(picture.format or "", ""),
        )


@contextmanager
def _opened(path: Path, data: bytes) -> Iterator[Image]:
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=_READ) as picture:
                if not fits(picture):
                    raise UnusableInput(
                        f"{path.name} has {picture.width:,} by {picture.height:,} pixels, which is "
                        "too much to work with; save it smaller, at 300 dots per inch or fewer"
                    )
                picture.load()
                yield picture
    except (*BROKEN, Image.DecompressionBombError) as error:
        raise UnusableInput(
            f"{path.name} is not a picture that can be read ({str(error)[:120]}); hand in PNG, "
            "JPEG or TIFF"
        ) from error


def _dots_per_inch(picture: Image) -> float | None:
    try:
        across, down = map(float, picture.info.get("dpi", (0, 0)))
    except (TypeError, ValueError):
        return None
    same = abs(across - down) <= 0.01 * across
    return across if same and _LEAST_DPI <= across < 1e5 else None


def _encoded(picture: Image) -> tuple[bytes, str]:
    """Black and white as PNG; shades, which would fill many times as much, as JPEG."""
    stream = io.BytesIO()
    if picture.mode == "I;16":
        picture = picture.convert("L")
    if picture.mode == "1":
        picture.save(stream, "PNG")
        return stream.getvalue(), "image/png"
    picture.save(stream, "JPEG", quality=_JPEG_QUALITY)
    return stream.getvalue(), "image/jpeg"
