"""A room for one try: what is given, where it may be written, and what must never be touched.

Every file that is opened or changed by the program is seen by an audit hook (PEP 578), whatever
way led to it.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.fuzz.mutations import OUT

KEPT = b"what lies outside the folder given\n"
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
_BY_FIRST = {
    "os.mkdir", "os.rmdir", "os.remove", "os.truncate", "os.chmod", "os.chown", "os.utime",
}  # fmt: skip
_BY_SECOND = {"os.rename", "os.link", "os.symlink"}


class Room:
    """Folders of one try; `trespasses` are accesses that should not have been."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        self.folder.mkdir(parents=True, exist_ok=True)
        self.given = self.folder / "given"
        self.written = self.folder / "written"
        self.scratch = self.folder / "scratch"
        self.home = self.folder / "home"
        self.outside = self.folder / OUT
        self.trespasses: list[str] = []
        self.given_is_kept = True
        self._watching = False
        sys.addaudithook(self._noted)

    @contextmanager
    def fresh(self) -> Iterator[Room]:
        """The room with nothing in it but what lies outside; environment and folders set to it."""
        for one in (self.given, self.written, self.scratch, self.outside):
            shutil.rmtree(one, ignore_errors=True)
            one.mkdir(parents=True)
        self.home.mkdir(exist_ok=True)
        (self.outside / "kept").write_bytes(KEPT)
        os.environ.update(
            FUZZ_ROOM=str(self.folder), XDG_DATA_HOME=str(self.home), TMPDIR=str(self.scratch)
        )
        yield self
        assert list(self.outside.iterdir()) == [self.outside / "kept"]
        assert (self.outside / "kept").read_bytes() == KEPT

    @contextmanager
    def watched(self, *, given_is_kept: bool) -> Iterator[None]:
        """Note every trespass meanwhile; `given_is_kept` where nothing given may be changed."""
        self.given_is_kept = given_is_kept
        self.trespasses.clear()
        self._watching = True
        try:
            yield
        finally:
            self._watching = False
        assert not self.trespasses, self.trespasses[:5]

    def _noted(self, event: str, arguments: tuple[Any, ...]) -> None:
        if not self._watching:
            return
        if event == "open":
            path, _, flags = arguments
            writes = bool((flags or 0) & _WRITING)
        elif event in _BY_FIRST or event in _BY_SECOND:
            path, writes = arguments[1 if event in _BY_SECOND else 0], True
        else:
            return
        if not isinstance(path, str | bytes | os.PathLike):
            return
        if event in ("os.mkdir", "open") and os.path.isdir(path):
            return  # a folder that is there already, or the lock's file without a name in one
        self._watching = False
        try:
            if trespass := self._trespass(event, os.fsdecode(path), arguments, writes):
                self.trespasses.append(f"{event} {trespass}")
        finally:
            self._watching = True

    def _trespass(self, event: str, path: str, arguments: tuple[Any, ...], writes: bool) -> str:
        handle = arguments[-1] if event in ("os.remove", "os.rmdir", "os.mkdir") else -1
        if isinstance(handle, int) and handle >= 0 and not path.startswith("/"):
            path = os.path.join(os.readlink(f"/proc/self/fd/{handle}"), path)
        elif not path.startswith("/") and "/" not in path and event == "open":
            return ""  # by the handle of its folder, which has been looked at
        # what is renamed or removed is the entry itself, whatever it leads to
        head, name = os.path.split(path)
        where = os.path.realpath(path) if event == "open" else f"{os.path.realpath(head)}/{name}"
        if where.startswith(f"{self.outside}/") or where in ("/etc/passwd", "/dev/zero"):
            return where
        if not writes or where == "/dev/null":
            return ""
        roots = [self.written, self.scratch, self.home]
        if not self.given_is_kept:
            roots.append(self.given)
        inside = any(where == str(one) or where.startswith(f"{one}/") for one in roots)
        # a lock is no change of a package
        return "" if inside or name == ".lock" else where
