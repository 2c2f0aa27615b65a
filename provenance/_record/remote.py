"""Names a file or folder in a store that is reached through fsspec, as a path names one on disk.

fsspec (filesystem-spec.readthedocs.io) reads what lies at memory://, s3://, http://, sftp://,
zip://inside::/an/archive.zip and many more; most need a package of their own. Nothing is written.
"""

from __future__ import annotations

import errno
import io
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from provenance._base.errors import UnusableInput

_ADDRESS = re.compile(r"(?:[a-z][a-z0-9+.-]*::)*[a-z][a-z0-9+.-]*://", re.IGNORECASE)
_WITH_PASSWORD = re.compile(r"://[^/@:]*:[^/@]+@")
_BUFFER_BYTES = 1 << 20
_NOT_THERE = (404, 410)  # RFC 9110 sections 15.5.5 and 15.5.11


@dataclass(frozen=True)
class Entry:
    """What a listing says of one entry of a folder; `facts` is what the store knows of it."""

    name: str
    is_folder: bool
    facts: Mapping[str, Any]


@dataclass(frozen=True, order=True)
class Remote:
    """A file or folder at an fsspec address; named and asked like a path.

    Every failure of the store or of the way to it is an OSError, whatever its library raises, so
    that 'cannot be read now' is never taken for 'is not there'.
    """

    address: str

    def __str__(self) -> str:
        """The address."""
        return self.address

    def _split(self) -> tuple[str, str, str]:
        """What stands before, in and after that part of a chained address which has the path."""
        links = self.address.split("::")
        number = next(place for place, link in enumerate(links) if "://" in link)
        protocol, _, path = links[number].partition("://")
        before = "".join(f"{link}::" for link in links[:number]) + f"{protocol}://"
        return before, path, "".join(f"::{link}" for link in links[number + 1 :])

    @property
    def name(self) -> str:
        """The last step of the path."""
        return self._split()[1].rstrip("/").rpartition("/")[2]

    @property
    def suffix(self) -> str:
        """What follows the last dot of the name, with the dot, as of a path."""
        return Path(self.name).suffix

    def __truediv__(self, name: str) -> Remote:
        """What is called `name` (with '/' for deeper, '../' before it for beside) below this."""
        before, path, after = self._split()
        while name.startswith("../"):
            name, path = name[3:], path.rstrip("/").rpartition("/")[0]
        joined = f"{path.rstrip('/')}/{name}" if path.strip("/") else f"{path}{name}"
        return Remote(f"{before}{joined}{after}")

    def is_relative_to(self, other: Remote) -> bool:
        """Whether this lies at or below `other`."""
        before, path, after = self._split()
        other_before, other_path, other_after = other._split()
        inside = f"{other_path.rstrip('/')}/" if other_path.strip("/") else other_path
        below = f"{path.rstrip('/')}/".startswith(inside)
        return (before, after) == (other_before, other_after) and below

    def absolute(self) -> Remote:
        """Itself: an address is never relative."""
        return self

    def is_symlink(self) -> bool:
        """False: what a store links to is not followed here but by the store."""
        return False

    def facts(self) -> Mapping[str, Any] | None:
        """What the store knows of it (size in bytes, times, tags), None when it is not there."""
        system, path = self._reach()
        with self._in_words():
            try:
                found: dict[str, Any] = system.info(path)
            except FileNotFoundError as error:
                # of a server that does not answer, this one says that nothing is there
                why = error.__cause__
                absent = isinstance(why, FileNotFoundError)
                absent = absent or getattr(why, "status", None) in _NOT_THERE
                if self._is_web and isinstance(why, Exception) and not absent:
                    raise why from None
                return None
        if self._is_web and self._looks_like_folder(found):
            return {**found, "type": "directory"}
        return found

    @property
    def _is_web(self) -> bool:
        return self.address.startswith(("http://", "https://"))

    def _looks_like_folder(self, facts: Mapping[str, Any]) -> bool:
        """Whether a web server shows a page where a path ends that names no page."""
        is_page = str(facts.get("mimetype", "")).startswith("text/html")
        return is_page and self.suffix.lower() not in (".html", ".htm")

    def exists(self) -> bool:
        """Whether the store has something there."""
        return self.facts() is not None

    def is_file(self) -> bool:
        """Whether a file lies there."""
        facts = self.facts()
        return facts is not None and facts.get("type") == "file"

    def is_dir(self) -> bool:
        """Whether a folder lies there, or what is listed as one."""
        facts = self.facts()
        return facts is not None and facts.get("type") == "directory"

    def entries(self) -> list[Entry]:
        """What lies in the folder, in the order of the names; raises OSError."""
        system, path = self._reach()
        with self._in_words():
            if self._is_web and (self / "index.html").exists():
                raise OSError(
                    errno.ENOTSUP,
                    "it has an index.html, which web servers show in place of a list of the "
                    "files; serve the bundle as a zip, or through another protocol",
                    self.address,
                )
            listed = system.ls(path, detail=True)
        own = path.rstrip("/")
        found = {}
        for facts in listed:
            full = str(facts["name"]).rstrip("/")
            # a page of links may lead anywhere, and some stores list the folder itself
            if own and not full.startswith(f"{own}/") and not f"/{full}".startswith(f"{own}/"):
                continue
            name = full.rpartition("/")[2]
            if name and full != own:
                found[name] = Entry(name, facts.get("type") == "directory", facts)
        return [found[name] for name in sorted(found)]

    @contextmanager
    def open(self) -> Iterator[IO[bytes]]:
        """Read the file; it can be read at any place where the store allows it. Raises OSError."""
        system, path = self._reach()
        with self._in_words():
            opened = system.open(path, "rb")
        with io.BufferedReader(_Raw(self, opened), _BUFFER_BYTES) as stream:
            yield stream

    def look_afresh(self) -> None:
        """Forget what was listed before: a store may have changed since."""
        system, _ = self._reach()
        system.invalidate_cache()

    def _reach(self) -> tuple[Any, str]:
        """The file system of fsspec, and the path in it; raises UnusableInput when it lacks."""
        from fsspec.core import url_to_fs

        with self._in_words():
            try:
                system, path = url_to_fs(self.address)
            except ImportError as error:
                raise UnusableInput(
                    f"{self.address} cannot be read here: {error}; install that with pip, then try "
                    "again"
                ) from error
            except ValueError as error:
                raise UnusableInput(f"{self.address} cannot be read: {error}") from error
        return system, str(path)

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        try:
            yield
        except UnusableInput:
            raise
        except OSError as error:
            error.filename = error.filename or self.address
            raise
        except Exception as error:
            raise self._trouble(error) from error

    def _trouble(self, error: Exception) -> OSError:
        words = f"{type(error).__name__}: {error}"
        if self._is_web and isinstance(error, ValueError) and "range requests" in str(error):
            words = (
                "the web server sends no parts of files (HTTP range requests, RFC 9110 section "
                "14); copy the bundle to a disk, or ask for another address"
            )
        return OSError(errno.EIO, words, self.address)


class _Raw(io.RawIOBase):
    """A file of fsspec whose failures are those of a disk."""

    def __init__(self, remote: Remote, file: Any) -> None:
        self._remote = remote
        self._file = file

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return bool(self._file.seekable())

    def readinto(self, buffer: Any) -> int:
        with self._remote._in_words():
            piece = self._file.read(len(buffer))
        buffer[: len(piece)] = piece
        return len(piece)

    def seek(self, offset: int, whence: int = 0) -> int:
        with self._remote._in_words():
            return int(self._file.seek(offset, whence))

    def tell(self) -> int:
        return int(self._file.tell())

    def close(self) -> None:
        if not self.closed:
            self._file.close()
        super().close()


Place = Path | Remote
"""Where something lies: on a disk of this machine, or in a store."""


def lies_below(one: Place, other: Place) -> bool:
    """Whether `one` lies at or below `other`; what lies in a store is below no path of a disk."""
    if isinstance(one, Remote) or isinstance(other, Remote):
        both = isinstance(one, Remote) and isinstance(other, Remote)
        return both and one.is_relative_to(other)  # type: ignore[arg-type]
    return one.is_relative_to(other)


def place_at(text: str | Path | Remote) -> Place:
    """The place that a person names: an address with '://', else a path.

    Raises UnusableInput for an address with a password in it, which reports and the catalogue would
    keep for all to read.

    >>> place_at("memory://shelf/one").name
    'one'
    >>> place_at("file:///srv/shelf")
    PosixPath('/srv/shelf')
    """
    if not isinstance(text, str):
        return text
    if not _ADDRESS.match(text):
        return Path(text)
    if _WITH_PASSWORD.search(text):
        shown = _WITH_PASSWORD.sub("://…@", text)
        raise UnusableInput(
            f"{shown} has a password in it, which would be kept with every bundle; leave it out "
            "and give it to the store's own settings (fsspec configuration, environment)"
        )
    if text.startswith("file://"):
        return Path(text.removeprefix("file://"))
    return Remote(text.rstrip("/") if "::" not in text and not text.endswith("://") else text)
