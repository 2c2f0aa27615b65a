"""Names the media type of a file by its ending, the same on every machine."""

from __future__ import annotations

from pathlib import PurePosixPath

UNKNOWN = "application/octet-stream"
_BY_SUFFIX = {
    ".bmp": "image/bmp",
    ".cff": "application/yaml",
    ".csv": "text/csv",
    ".dwg": "image/vnd.dwg",
    ".dxf": "image/vnd.dxf",
    ".docx": "application/vnd.openxmlformats-officedocument.wordprocessingml.document",
    ".geojson": "application/geo+json",
    ".gif": "image/gif",
    ".heic": "image/heic",
    ".heif": "image/heif",
    ".hif": "image/heif",
    ".html": "text/html",
    ".jpeg": "image/jpeg",
    ".jpg": "image/jpeg",
    ".json": "application/json",
    ".jsonld": "application/ld+json",
    ".md": "text/markdown",
    ".mp4": "video/mp4",
    ".ods": "application/vnd.oasis.opendocument.spreadsheet",
    ".pdf": "application/pdf",
    ".png": "image/png",
    ".rwl": "text/plain",
    ".svg": "image/svg+xml",
    ".tif": "image/tiff",
    ".tiff": "image/tiff",
    ".tsv": "text/tab-separated-values",
    ".txt": "text/plain",
    ".webp": "image/webp",
    ".xls": "application/vnd.ms-excel",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".xml": "application/xml",
    ".yaml": "application/yaml",
    ".yml": "application/yaml",
    ".zip": "application/zip",
}


SVG = "image/svg+xml"
_RUNS = frozenset({"text/html", SVG, "application/xml", UNKNOWN})
"""What a browser may run when it is opened from a disk, or take for something that it runs."""
MEDIA_TYPES = frozenset({*_BY_SUFFIX.values(), UNKNOWN})
"""Every media type that this program gives a file."""


def may_run(path: str) -> bool:
    """Whether a browser that opens a file may run what a stranger wrote into it.

    >>> [may_run(one) for one in ("plan.svg", "notes.HTML", "plan.pdf", "rings.rwl", "a.xht")]
    [True, True, False, False, True]
    """
    return media_type_of(path) in _RUNS


def media_type_of(path: str) -> str:
    """The IANA media type of a file name; unknown endings are plain bytes.

    The standard library's list is not asked, since it takes in what the operating system knows,
    and a bundle must not depend on the machine that packs it. Source: IANA media types.

    >>> media_type_of("files/Plan.TIF")
    'image/tiff'
    """
    return _BY_SUFFIX.get(PurePosixPath(path).suffix.lower(), UNKNOWN)
