"""Reads from a picture when and with what it was made, and nothing of where.

Source of the tags: CIPA DC-008 (Exif 3.0), tables of the attributes of IFD 0 and of the Exif IFD.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from provenance._identity.payload import one_line
from provenance._model.edtf import is_edtf

if TYPE_CHECKING:
    from PIL.Image import Image

MAKE, MODEL, EXIF_IFD = 0x010F, 0x0110, 0x8769
DATE_TIME_ORIGINAL, OFFSET_TIME_ORIGINAL, SUB_SEC_TIME_ORIGINAL = 0x9003, 0x9011, 0x9291
LONGEST_NAME = 60
_MOMENT = re.compile(
    r"([0-9]{4})[:/-]([0-9]{2})[:/-]([0-9]{2})(?:[ T]([0-9]{2}:[0-9]{2}:[0-9]{2}))?"
)


@dataclass(frozen=True)
class Camera:
    """What a camera wrote into a picture; '' where it did not.

    `moment` is EDTF, with time and offset from UTC as far as they are given; `fraction` the digits
    behind its second; `made_with` make and model in one line; `size` width and height in pixels as
    the picture is stored.
    """

    moment: str = ""
    fraction: str = ""
    made_with: str = ""
    size: tuple[int, int] = (0, 0)

    @property
    def mark(self) -> tuple[object, ...] | None:
        """What two files share that are one picture saved twice; None where too little is known.

        Turning a picture upright exchanges its width and height.
        """
        if "T" not in self.moment or not self.made_with:
            return None
        return self.moment, self.fraction, self.made_with, *sorted(self.size)


NOTHING_WRITTEN = Camera()


def camera_of(picture: Image) -> Camera:
    """What the camera wrote; raises what Pillow raises (BROKEN) where it cannot be read."""
    tags = picture.getexif()
    more = tags.get_ifd(EXIF_IFD)
    return Camera(
        moment=_moment(_text(more.get(DATE_TIME_ORIGINAL)), _text(more.get(OFFSET_TIME_ORIGINAL))),
        fraction=_text(more.get(SUB_SEC_TIME_ORIGINAL)),
        made_with=_made_with(_text(tags.get(MAKE)), _text(tags.get(MODEL))),
        size=picture.size,
    )


def _text(value: Any) -> str:
    """A tag as one line; '' for one that is no text, which is no use of these tags."""
    if isinstance(value, bytes):
        value = value.decode("ascii", "replace")
    return one_line(value.replace("\0", " "), LONGEST_NAME) if isinstance(value, str) else ""


def _moment(written: str, offset: str) -> str:
    """A date, with time and offset if they can be, in EDTF; '' for none or one that cannot be."""
    found = _MOMENT.match(written)
    if not found:
        return ""
    day, time = "-".join(found.group(1, 2, 3)), found[4]
    forms = [f"{day}T{time}{offset}", f"{day}T{time}"] if time else []
    return next((one for one in [*forms, day] if is_edtf(one)), "")


def _made_with(make: str, model: str) -> str:
    if model.casefold().startswith(make.casefold()):
        return model
    return one_line(f"{make} {model}", LONGEST_NAME)
