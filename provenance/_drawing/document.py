"""Writes pages as PDF, the same bytes from the same input, with memory that does not grow.

The PDF library keeps a document in memory until it is saved, so a long run is cut into several
files of PAGES_PER_FILE pages: labels.pdf, labels-2.pdf, labels-3.pdf … Either all of them are put
in place or none.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO, Any

from provenance._base.disk import writing
from provenance._base.errors import TreenailError

PAGES_PER_FILE = 500
CREATOR = "treenail"


class Pages:
    """Gives out one page after the other; the canvas of each works in points from the lower left.

    `paths` are the files, in order.
    """

    def __init__(self, path: Path, size: tuple[float, float], title: str, subject: str) -> None:
        self.paths: list[Path] = []
        self.page_count = 0
        self._path = path
        self._size = size
        self._title = title
        self._subject = subject
        self._canvas: Any = None
        self._stream: IO[bytes] | None = None
        self._files = ExitStack()

    def begin_page(self) -> Any:
        """End the page before and return the canvas, blank and black, for the next one."""
        if self._canvas is not None:
            self._canvas.showPage()
            if self.page_count % PAGES_PER_FILE == 0:
                self._save()
        if self._canvas is None:
            self._open()
        self.page_count += 1
        self._canvas.setStrokeGray(0)
        self._canvas.setFillGray(0)
        return self._canvas

    def _open(self) -> None:
        from reportlab.pdfgen.canvas import Canvas

        path = self._path
        if self.paths:
            path = path.with_name(f"{path.stem}-{len(self.paths) + 1}{path.suffix}")
        self.paths.append(path)
        self._stream = self._files.enter_context(writing(path))
        self._canvas = Canvas(
            self._stream, pagesize=self._size, invariant=1, pageCompression=1, lang="en"
        )
        self._canvas.setTitle(self._title)
        self._canvas.setAuthor(CREATOR)
        self._canvas.setCreator(CREATOR)
        self._canvas.setSubject(self._subject)

    def _save(self) -> None:
        with _binary_streams():
            self._canvas.save()
        self._canvas = None

    @contextmanager
    def _kept(self) -> Iterator[Pages]:
        """Put the files in place when the block ends well, and leave nothing if it does not."""
        with self._files:
            yield self
            if not self.page_count:
                raise TreenailError(f"there is nothing to print; {self._path} was not written")
            self._canvas.showPage()
            self._save()


@contextmanager
def _binary_streams() -> Iterator[None]:
    """Let the PDF library leave out its text armour, which makes files a quarter larger."""
    from reportlab import rl_config

    before = rl_config.useA85
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = before


@contextmanager
def printed_pages(
    path: Path, size: tuple[float, float], *, title: str, subject: str = ""
) -> Iterator[Pages]:
    """Write the pages begun inside the block to `path` (PDF); `size` is width and height in points.

    Raises TreenailError when no page was begun; nothing is written then, nor when the block fails.
    """
    with Pages(path, size, title, subject)._kept() as pages:
        yield pages
