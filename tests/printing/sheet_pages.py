"""Prints sheets once a test session and reads them back, for the tests of record sheets."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2

from provenance._drawing.paper import paper_named
from provenance._model.profile import load_model
from provenance._model.schema import Model
from provenance._printing.sheets.frame import SheetSet
from provenance._printing.sheets.plan_grid import scale_named
from provenance._printing.sheets.record_sheets import Drafter, SheetKind, write_sheets
from provenance._printing.sheets.rows import ChosenRows
from tests.builders import a_package
from tests.printing.reading import Image, page_texts, rendered


def draft_sheets(
    model: Model,
    kind: SheetKind,
    *,
    rows: ChosenRows | None = None,
    paper: str = "a4",
    scale: str = "1:50",
    blanks: int | None = None,
) -> list[SheetSet]:
    """The sheets of one kind before they are printed; arguments as `write_sheets` has them."""
    drafter = Drafter(model, rows, paper_named(paper), scale_named(scale), blanks)
    return list(drafter.draft(kind))


def print_blank(folder: Path, profile: str = "blank", **options: Any) -> Path:
    path = folder / f"{profile}.pdf"
    write_sheets(load_model(profile), path, **options)
    return path


def in_colour(path: Path, dpi: int, page: int = 0) -> np.ndarray[Any, Any]:
    """The page as PDFium draws it, rows, columns, and three colours from 0 to 255."""
    document = pypdfium2.PdfDocument(path)
    try:
        bitmap = document[page].render(scale=dpi / 72)
        return bitmap.to_numpy().reshape(bitmap.height, bitmap.width, -1)[:, :, :3].copy()
    finally:
        document.close()


def page_count(path: Path) -> int:
    document = pypdfium2.PdfDocument(path)
    try:
        return len(document)
    finally:
        document.close()


def dark_lines(image: Image, along: int, share: float) -> list[float]:
    """Middles of the lines that run straight across most of a part of the page, in pixels.

    Gray lines are found too. `along` 0 finds lines that run down the page, 1 such that run across;
    a line counts when `share` of its pixels are not white.
    """
    dark = (image < 225).mean(axis=along) >= share
    places = np.flatnonzero(dark)
    groups = np.split(places, np.flatnonzero(np.diff(places) > 1) + 1)
    return [float(group.mean()) for group in groups if len(group)]


def margins_white(path: Path, millimetres: float, dpi: int = 60) -> list[int]:
    """The pages (from 0) that have ink nearer to the edge than that."""
    strip = int(millimetres / 25.4 * dpi)
    inked = []
    for page in range(page_count(path)):
        image = rendered(path, dpi, page)
        edge = image.copy()
        edge[strip:-strip, strip:-strip] = 255
        if (edge < 250).any():
            inked.append(page)
    return inked


def flat(text: str) -> str:
    """The words of a page without its line ends, so that a broken title is found."""
    return " ".join(text.split())


def print_filled(rows: ChosenRows, out: Path, **options: Any) -> list[str]:
    """Print the rows of a package and give the text of each page."""
    write_sheets(rows.package.model, out, package=rows.package, **options)
    return [flat(text) for text in page_texts(out)]


def two_logs(folder: Path) -> ChosenRows:
    """A package of two logs, each with a core and its plug."""
    builder = a_package(folder, "log_building").with_chain().with_row("datum").with_row("tie")
    builder.with_row("element", element_id="B1-015", tool_marks="adze; pit_saw", notes="Reused.")
    builder.with_row("sample", sample_id="232", element_id="B1-015", clock="9.5")
    builder.with_row("plug", plug_id="P-232", sample_id="232", stamp="232").with_row("file")
    return ChosenRows(builder.package)


def overlapping_texts(path: Path, slack: float = 0.6) -> list[tuple[int, str, str]]:
    """Pages and pieces of text whose boxes, as PDFium has them, lie on one another (points)."""
    document = pypdfium2.PdfDocument(path)
    found = []
    try:
        for number in range(len(document)):
            page = document[number].get_textpage()
            boxes = np.array([page.get_rect(place) for place in range(page.count_rects())])
            boxes = boxes.reshape(-1, 4)
            low, high = boxes[:, None, :2], boxes[:, None, 2:]
            shared = np.minimum(high, boxes[None, :, 2:]) - np.maximum(low, boxes[None, :, :2])
            for pair in np.argwhere(np.triu((shared > slack).all(axis=2), k=1)):
                texts = (page.get_text_bounded(*boxes[place].tolist()) for place in pair)
                found.append((number, *texts))
    finally:
        document.close()
    return found
