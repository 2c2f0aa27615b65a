"""Puts pages on disk: one template, one frame, one way from each page to the others."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from provenance._base.page_templates import page_templates

if TYPE_CHECKING:
    from jinja2 import Template


@dataclass(frozen=True)
class Page:
    """A page to be written: its path as seen from index.html, its template and its heading."""

    path: str
    template: str
    heading: str

    @property
    def root(self) -> str:
        """The way from the page to the folder of index.html."""
        return "../" * self.path.count("/")


class Writer:
    """Writes pages into the folder of a bundle that is still being built."""

    def __init__(self, folder: Path, record_title: str) -> None:
        self.folder = folder
        self.record_title = record_title
        self.count = 0
        templates = page_templates("bundle")
        self._template = cache(templates.get_template)

    def write(self, page: Page, **values: Any) -> None:
        """Render a page with these values and put it in its place."""
        template: Template = self._template(page.template)
        title = page.heading
        if page.path != "index.html":
            title = f"{page.heading} - {self.record_title}"
        text = template.render(
            title=title,
            heading=page.heading,
            record_title=self.record_title,
            root=page.root,
            **values,
        )
        put(self.folder / page.path, text.encode("utf-8"))
        self.count += 1


def put(path: Path, content: bytes) -> None:
    """Write one of very many small files.

    The folder is not in its place before all of it is on disk (`disk.building_folder`), so that
    forcing each file to disk on its own would only take time: ten times as long for 20,000 pages.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
