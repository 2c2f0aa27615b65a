"""The desk itself: its folder, who sits at it, its work in progress, and what it made."""

from __future__ import annotations

import secrets
import shutil
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from provenance._base.fault import fault_in_words
from provenance._base.languages import SOURCE
from provenance._desk.answers import Sent
from provenance._desk.jobs import Jobs
from provenance._desk.prepared import Prepared
from provenance._desk.things import thing_named, things_in

if TYPE_CHECKING:
    from provenance._desk.record.open_record import OpenRecord

MOST_MADE = 200
"""Files made for a person that can be fetched again while the desk is open."""


@dataclass
class Desk:
    """One folder, opened in one browser; `by` is who says what is entered.

    `scratch` holds uploads and what is made to be looked at; it goes when the desk is closed.
    """

    folder: Path
    by: str = ""
    language: str = SOURCE
    read_only: bool = False
    stop: Callable[[], None] = lambda: None
    """Ends the serving."""
    said: dict[str, str] = field(default_factory=dict)
    """Path of a page → what is said there when it is next shown."""
    held: dict[str, Any] = field(default_factory=dict)
    """What a person is in the middle of, by a name that the page gives it: files to be read."""

    def __post_init__(self) -> None:
        self._scratch = Path(tempfile.mkdtemp(prefix="treenail-desk-"))
        self._open: dict[Path, OpenRecord] = {}
        self._opening = threading.Lock()
        self._made: OrderedDict[str, Sent] = OrderedDict()
        self.jobs = Jobs(fault_in_words)
        self.prepared = Prepared()
        self.at_the_end = ExitStack()
        """What is let go of when the desk is closed."""

    @property
    def is_shelf(self) -> bool:
        """Whether the folder holds things beside each other, so that new ones can be put there."""
        return [one.path for one in things_in(self.folder)] != [self.folder]

    def path(self, name: str, kind: str) -> Path:
        """Where the thing of that name lies; raises NotHere."""
        return thing_named(self.folder, name, kind).path

    def free(self, name: str) -> Path:
        """Where something new of that name can be put: a free name in the folder, or in scratch."""
        folder = self.folder if self.is_shelf else self.scratch()
        stem, dot, ending = name.partition(".")
        number, path = 2, folder / name
        while path.exists():
            path = folder / f"{stem}-{number}{dot}{ending}"
            number += 1
        return path

    def open_record(self, folder: Path) -> OpenRecord:
        """The record in a folder as it is worked on here; the same one until the desk is closed."""
        # the check and the history, which the first page does not wait for
        from provenance._desk.record.open_record import OpenRecord

        folder = folder.resolve()
        with self._opening:
            if folder not in self._open:
                self._open[folder] = OpenRecord(folder, read_only=self.read_only)
            return self._open[folder]

    def scratch(self) -> Path:
        """A new empty folder for files that nobody needs when the desk is closed."""
        folder = self._scratch / secrets.token_hex(8)
        folder.mkdir()
        return folder

    def made(self, sent: Sent) -> str:
        """The address under which a file is fetched that was made for a person."""
        name = secrets.token_urlsafe(8)
        self._made[name] = sent
        while len(self._made) > MOST_MADE:
            self._made.popitem(last=False)
        return f"/made/{name}"

    def fetch(self, name: str) -> Sent:
        """What was made; raises KeyError."""
        return self._made[name]

    def close(self) -> None:
        """Write what waits to be written, and take away what only an open desk needs.

        Of several records each is written, whatever is wrong with another.
        """
        with ExitStack() as closing:
            closing.callback(shutil.rmtree, self._scratch, ignore_errors=True)
            closing.callback(self.at_the_end.close)
            for one in self._open.values():
                closing.callback(one.close)
