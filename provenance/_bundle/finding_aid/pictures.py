"""Makes small previews of photos and drawings, and says why where there is none.

A file of a record is a stranger's: its header alone is read before its size is known, only plain
raster formats are opened, and nothing of it but the picture goes into the preview.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from provenance._bundle.finding_aid.addresses import page_name
from provenance._bundle.finding_aid.cells import Cells
from provenance._bundle.finding_aid.writing import put
from provenance._drawing.pixels import BROKEN, bare_pixels, fits
from provenance._model.media_types import SVG, may_run, media_type_of
from provenance._record.snapshot import Row

PICTURE_KINDS = frozenset({"photo", "plan", "drawing"})
FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "GIF", "BMP")
PREVIEW_PIXELS = 480
_QUALITY = 72


@dataclass(frozen=True)
class Attachment:
    """A file about a row as a page shows it; addresses are as seen from index.html.

    `href` is None where the file is not in the bundle, or a browser could run what is in it, which
    `may_run` then says; `preview` is None for what is no picture,
    and `without_preview` then says why, if it should be one. `shown_by` is the address of the
    converted copy where the preview shows that and not the file itself, '' elsewhere.
    """

    title: str
    kind: str
    path: str
    taken: str
    href: str | None
    preview: str | None
    width: int
    height: int
    without_preview: str
    shown_by: str = ""
    may_run: bool = False


class Pictures:
    """Previews of the files of one record, each made once."""

    def __init__(self, cells: Cells, source: Path, folder: Path, *, shows_svg: bool = True) -> None:
        self._cells = cells
        self._source = source
        self._folder = folder
        self._shows_svg = shows_svg
        self._done: dict[str, Attachment] = {}

    def about(self, table: str, key: str) -> Sequence[Attachment]:
        """The files about a row, in the order of the table 'file'."""
        rows = self._cells.record.files_about.get((table, key), [])
        return [self._attachment(row) for row in rows]

    def _attachment(self, row: Row) -> Attachment:
        key = f"{row['file_id']}\n{row['path']}"
        if key not in self._done:
            self._done[key] = self._shown(row)
        return self._done[key]

    def _shown(self, row: Row) -> Attachment:
        record, path = self._cells.record, row["path"]
        there = path in self._cells.files
        made: _Preview | str = "" if there else "the file is not in this bundle"
        shown = path
        if row["kind"] in PICTURE_KINDS:
            made = _preview(self._source / path) if there else made
            for copy in self._copies_of(row) if isinstance(made, str) else ():
                if not isinstance(of_copy := _preview(self._source / copy), str):
                    made, shown = of_copy, copy
                    break
        preview, size, why = None, (0, 0), ""
        if there and self._shows_svg and media_type_of(path) == SVG:
            # as a picture in a page it shows what is drawn in it, and runs nothing
            preview = quote(path)
        elif isinstance(made, str):
            why = made
        else:
            content, size = made
            # the path sets apart two rows that bear one number
            preview = f"pages/preview/{page_name(shown)}.jpg"
            put(self._folder / preview, content)
        return Attachment(
            title=row.get("title") or path,
            kind=record.label("file", "kind", row["kind"]),
            path=path,
            taken=row.get("taken_on", ""),
            href=quote(path) if there and not may_run(path) else None,
            preview=preview,
            width=size[0],
            height=size[1],
            without_preview=why,
            shown_by=quote(shown) if shown != path else "",
            may_run=there and may_run(path),
        )

    def _copies_of(self, row: Row) -> list[str]:
        """The paths of pictures in the bundle that were made of a file, such as a HEIC photo."""
        copies = self._cells.record.files_about.get(("file", row["file_id"]), [])
        return [
            one["path"]
            for one in copies
            if one["kind"] in PICTURE_KINDS
            and one["path"] in self._cells.files
            and not may_run(one["path"])
        ]


_Preview = tuple[bytes, tuple[int, int]]


def _preview(path: Path) -> _Preview | str:
    """A small JPEG and its size in pixels, or why there is none."""
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            # what Pillow warns of (sizes, odd metadata) is judged here by the size itself
            warnings.simplefilter("ignore")
            with Image.open(path, formats=FORMATS) as image:
                if not fits(image):
                    pixels = image.width * image.height
                    return f"it has {pixels / 1e6:,.0f} million pixels, too many for a preview"
                image.draft("RGB", (2 * PREVIEW_PIXELS, 2 * PREVIEW_PIXELS))
                bare = bare_pixels(image)
                if bare.mode == "1":
                    bare = bare.convert("L")  # or a thin line would be gone in the small picture
                bare.thumbnail((PREVIEW_PIXELS, PREVIEW_PIXELS))
                bare = bare.convert("RGB")
    except Image.DecompressionBombError:
        return "it has too many pixels for a preview"
    except UnidentifiedImageError:
        return f"it is not a picture in a form that is read here ({', '.join(FORMATS)})"
    except BROKEN:
        return "its picture is damaged and cannot be read"
    buffer = io.BytesIO()
    bare.save(buffer, "JPEG", quality=_QUALITY, optimize=True)
    return buffer.getvalue(), bare.size
