"""Reads printed pages back with programs that did not print them: PDFium, pypdf and ZXing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import zxingcpp

Image = np.ndarray[Any, Any]


def rendered(path: Path, dpi: int, page: int = 0) -> Image:
    """The page as PDFium draws it, grey, 0 black to 255 white; rows from the top."""
    document = pypdfium2.PdfDocument(path)
    try:
        bitmap = document[page].render(scale=dpi / 72, grayscale=True)
        return bitmap.to_numpy().reshape(bitmap.height, bitmap.width).copy()
    finally:
        document.close()


def decoded(image: Image) -> list[str]:
    """The texts of all QR codes that ZXing finds in the picture."""
    found = zxingcpp.read_barcodes(image, formats=zxingcpp.BarcodeFormat.QRCode)
    return [one.text for one in found]


def page_texts(path: Path) -> list[str]:
    """What PDFium extracts as text, a page at a time."""
    document = pypdfium2.PdfDocument(path)
    try:
        return [document[i].get_textpage().get_text_range() for i in range(len(document))]
    finally:
        document.close()


def page_sizes_mm(path: Path) -> list[tuple[float, float]]:
    """Width and height of each page in mm, as pypdf reads them."""
    import pypdf

    return [
        (float(page.mediabox.width) / 72 * 25.4, float(page.mediabox.height) / 72 * 25.4)
        for page in pypdf.PdfReader(path).pages
    ]


def ink_box_mm(image: Image, dpi: int) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of everything dark, in mm from the upper left corner."""
    rows, columns = np.nonzero(image < 128)
    to_mm = 25.4 / dpi
    return (
        float(columns.min()) * to_mm,
        float(rows.min()) * to_mm,
        float(columns.max() + 1) * to_mm,
        float(rows.max() + 1) * to_mm,
    )
