"""The review as one page to read and decide on, which needs neither network nor server."""

from __future__ import annotations

import base64
import io
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from provenance._base.disk import write_text
from provenance._base.languages import _
from provenance._base.page_templates import page_templates
from provenance._base.progress import Progress, say_nothing
from provenance._base.visible import visible
from provenance._bundle.redaction.decisions import shape_of
from provenance._bundle.redaction.release import FILE, LIST, PACKAGE, PICTURE, PROFILE, Asked
from provenance._bundle.redaction.words import unknown_words
from provenance._bundle.review.deciding import REPLACED
from provenance._bundle.review.review import Review
from provenance._bundle.review.sheet import COLUMNS, suggestions
from provenance._drawing.pixels import BROKEN, bare_pixels, fits
from provenance._model.spoken import spoken

THUMBNAIL = 640
"""Pixels of the longer side: enough to see a house number, little enough for a thousand photos."""
LOOK_FOR = ("faces", "names and house numbers", "road signs", "number plates",
            "a skyline or view that leads to the place", "the way in")  # fmt: skip
_LINES_SHOWN = 40
_MOST_SHOWN = 4000


def write_page(review: Review, out: Path, *, progress: Progress = say_nothing) -> int:
    """Write the page for all that waits; returns how much that is. `progress` counts it."""
    items = review.open
    told = []
    instead = suggestions(review, items)
    for place, (one, other) in enumerate(zip(items, instead, strict=True), start=1):
        told.append(item_words(review, one, other))
        progress(place, len(items))
    page = page_templates("review", "bundle").get_template("review.html")
    html = page.render(
        title=f"Review of {visible(review.package.title)}",
        package=review.package.name,
        items=told,
        fields=_fields(review, items),
        columns=list(COLUMNS),
        look_for=LOOK_FOR,
    )
    write_text(out, html)
    return len(items)


def _fields(review: Review, items: Sequence[Asked]) -> list[dict[str, Any]]:
    """The fields in which something waits, with what each is called."""
    titles = field_titles(review, items)
    wheres = dict.fromkeys((one.kind == PICTURE, one.where) for one in items)
    return [
        {"where": where, "photos": photos, "title": "Photos" if photos else titles[where]}
        for photos, where in wheres
    ]


def field_titles(review: Review, items: Sequence[Asked]) -> dict[str, str]:
    """What each field of a review is called."""
    titles = {
        f"{table.name}.{one.name}": f"{table.title}: {one.title}"
        for table, one in spoken(review.package.model).every_field()
    }
    titles["file.path"] = _("Files of text and data")
    for one in items:
        table, _dot, name = one.where.partition(".")
        words = name.replace("_", " ")
        if one.kind == PACKAGE:
            titles[one.where] = _("About the package: {words}").format(words=words)
        elif one.kind == PROFILE:
            about = words if table == "profile" else one.where
            titles[one.where] = _("Words of the profile: {words}").format(words=about)
        elif one.kind == LIST:
            titles[one.where] = _("Codes added to the list {name}").format(name=one.where)
    return titles


def item_words(review: Review, one: Asked, instead: str) -> dict[str, Any]:
    """What a page has to know of one thing."""
    told: dict[str, Any] = {
        "identity": one.identity,
        "kind": one.kind,
        "where": one.where,
        "text": one.text,
        "shown": visible(one.text),
        "parts": _parts(one),
        "times": one.count,
        "found": [visible(said) for said in one.found],
        "why": one.why,
        "shape": shape_of(one.text),
        "instead": instead if one.kind in REPLACED else None,
    }
    path = review.package.folder / one.text
    if one.kind == PICTURE:
        told["picture"] = thumbnail(path)
    elif one.kind == FILE:
        lines = path.read_bytes().decode("utf-8", "replace").splitlines()
        shown = "\n".join(lines[:_LINES_SHOWN])[:_MOST_SHOWN]
        more = len(lines) - _LINES_SHOWN
        told["lines"] = visible(shown) + (f"\n… and {more} lines more" if more > 0 else "")
    return told


def _parts(one: Asked) -> list[tuple[str, str]]:
    """The text in pieces, each with '' or what it is: 'hit' or 'unknown'."""
    kinds = [""] * len(one.text)
    for start, end in unknown_words(one.text) if one.kind not in (PICTURE, FILE) else ():
        kinds[start:end] = ["unknown"] * (end - start)
    for hit in one.hits:
        kinds[hit.start : hit.end] = ["hit"] * (hit.end - hit.start)
    parts: list[tuple[str, str]] = []
    for character, kind in zip(one.text, kinds, strict=True):
        if parts and parts[-1][1] == kind:
            parts[-1] = (parts[-1][0] + character, kind)
        else:
            parts.append((character, kind))
    return [(visible(text), kind) for text, kind in parts]


def thumbnail(path: Path) -> str:
    """A small JPEG of a photo as an address that holds it; '' for one that cannot be read."""
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path) as picture:
                if not fits(picture):
                    return ""
                picture.draft("RGB", (2 * THUMBNAIL, 2 * THUMBNAIL))
                small = bare_pixels(picture)
                small.thumbnail((THUMBNAIL, THUMBNAIL))
                small = small.convert("RGB")
    except (*BROKEN, Image.DecompressionBombError):
        # what cannot be drawn here cannot go out either; packing says so
        return ""
    stream = io.BytesIO()
    small.save(stream, "JPEG", quality=75)
    return "data:image/jpeg;base64," + base64.b64encode(stream.getvalue()).decode("ascii")
