"""Pictures as phones make them, with what a camera writes and labels in view."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path

import numpy as np
from PIL import Image

from provenance._drawing.qr import encode_text
from provenance._printing.labels.facts import SampleFacts
from provenance._printing.labels.labels import print_labels
from provenance._printing.labels.stock import load_stock
from tests.printing.reading import rendered

MAKE, MODEL, EXIF_IFD, GPS_IFD = 0x010F, 0x0110, 0x8769, 0x8825
TAKEN, OFFSET = 0x9003, 0x9011


def an_exif(
    taken: str = "2024:06:04 10:11:12", offset: str = "", model: str = "M1", **more: str
) -> Image.Exif:
    """What a camera writes (Exif 3.0), with a position, which must go nowhere."""
    exif = Image.Exif()
    exif[MAKE], exif[MODEL] = "Inventa", model
    exif.get_ifd(EXIF_IFD)[TAKEN] = taken
    if offset:
        exif.get_ifd(EXIF_IFD)[OFFSET] = offset
    exif.get_ifd(GPS_IFD).update({1: "N", 2: (51.0, 28.0, 26.0), 3: "W", 4: (1.0, 17.0, 1.0)})
    return exif


def a_picture(*in_view: Image.Image, shade: int = 90) -> Image.Image:
    """A picture of wood with codes or labels laid on it."""
    width = 40 + sum(one.width + 40 for one in in_view)
    height = 80 + max((one.height for one in in_view), default=0)
    picture = Image.new("RGB", (width, height), (shade, 60, 30))
    x = 40
    for one in in_view:
        picture.paste(one, (x, 40))
        x += one.width + 40
    return picture


def save(path: Path, picture: Image.Image, exif: Image.Exif | None = None) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    picture.save(path, exif=exif or Image.Exif())
    return path


def as_jpeg(picture: Image.Image, exif: Image.Exif | None = None) -> bytes:
    buffer = io.BytesIO()
    picture.save(buffer, "JPEG", exif=exif or Image.Exif())
    return buffer.getvalue()


def a_code(text: str, pixels: int = 3) -> Image.Image:
    """The project's own code of a text, so many pixels a module, with its quiet zone."""
    rows = [np.frombuffer(row, np.uint8) for row in encode_text(text).rows]
    light = np.pad(255 * (1 - np.array(rows)), 4, constant_values=255).astype(np.uint8)
    return Image.fromarray(light).resize((pixels * light.shape[1],) * 2, Image.Resampling.NEAREST)


@cache
def printed_label(number: str, folder: Path) -> Image.Image:
    """A label as the project prints it, photographed a little askew."""
    facts = SampleFacts("HOLL", number, "Hollin Reach (invented)", "Core", "2024-06-04", "MB",
                        "B1-014", "Beam", "North house")  # fmt: skip
    stock = load_stock("a4_99x38")
    print_labels([facts], stock, folder / f"{number}.pdf")
    page = Image.fromarray(rendered(folder / f"{number}.pdf", 150))
    box = next(iter(stock.boxes()))
    scale = 150 / 72
    upper = page.height - box.top * scale
    label = page.crop(
        (round(box.x * scale), round(upper), round(box.right * scale),
         round(page.height - box.y * scale))
    )  # fmt: skip
    return label.rotate(7, expand=True, fillcolor=255, resample=Image.Resampling.BICUBIC)
