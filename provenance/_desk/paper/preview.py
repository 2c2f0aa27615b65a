"""Draws the pages of a PDF as pictures, from the very file that a person prints."""

from __future__ import annotations

import io
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._base.languages import _
from provenance._desk.answers import Answer, Sent
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.things import NotHere

if TYPE_CHECKING:
    from provenance._desk.desk import Desk

pages = Pages()

DOTS_AN_INCH = 110
POINTS_AN_INCH = 72
PDF = "application/pdf"
_ONE_AT_A_TIME = threading.Lock()
"""The library that draws is not made for several threads."""


@dataclass(frozen=True)
class Shown:
    """A file that was made: `address` fetches it, `key` names it; sizes of its pages in pixels.

    What is no PDF has no pages to be shown.
    """

    address: str
    key: str
    name: str
    sizes: tuple[tuple[int, int], ...]


def keep(desk: Desk, paths: Sequence[Path]) -> str:
    """Keep files that were made, so that they can be shown and fetched; the key to all of them."""
    made = [
        desk.made(Sent(path, path.name, PDF, shown=True))
        if path.suffix == ".pdf"
        else desk.made(Sent(path, path.name))
        for path in paths
    ]
    return ".".join(one.rpartition("/")[2] for one in made)


def kept(desk: Desk, keys: str) -> list[Shown]:
    """The files of a key; raises NotHere where one was let go."""
    return [
        Shown(f"/made/{key}", key, path.name, _sizes(path) if path.suffix == ".pdf" else ())
        for key, path in ((key, path_of(desk, key)) for key in keys.split("."))
    ]


def path_of(desk: Desk, key: str) -> Path:
    """Where a file lies that was kept; raises NotHere where it was let go."""
    try:
        content = desk.fetch(key).content
    except KeyError:
        content = b""
    if not isinstance(content, Path):
        raise NotHere(_("This file is gone. Make it again."))
    return content


def _sizes(path: Path) -> tuple[tuple[int, int], ...]:
    import pypdfium2

    scale = DOTS_AN_INCH / POINTS_AN_INCH
    with _ONE_AT_A_TIME, pypdfium2.PdfDocument(path) as document:
        found = [document.get_page_size(number) for number in range(len(document))]
    return tuple((round(width * scale), round(height * scale)) for width, height in found)


@pages.shown("/record/{record}/print/page/{key}/{number}")
def page(asked: Asked) -> Answer:
    """One page of a file that was made, as a picture."""
    import pypdfium2

    path, number = path_of(asked.desk, asked.address["key"]), asked.address["number"]
    with _ONE_AT_A_TIME, pypdfium2.PdfDocument(path) as document:
        if not number.isdecimal() or not 1 <= int(number) <= len(document):
            raise NotHere(_("There is no such page."))
        picture = document[int(number) - 1].render(scale=DOTS_AN_INCH / POINTS_AN_INCH).to_pil()
    drawn = io.BytesIO()
    picture.save(drawn, "PNG")
    return Sent(drawn.getvalue(), f"{path.stem}-{number}.png", "image/png", shown=True)
