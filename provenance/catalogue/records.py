"""Reads the tables of a package or bundle, folder or zip, without unpacking and without pandas."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from provenance.errors import UnusableInput
from provenance.package import DESCRIPTOR

__all__ = ["Source", "find_sources", "open_source", "signature_of"]

LARGEST_TABLE_BYTES = 2_000_000_000
LARGEST_CELL = 10_000_000
"""A bundle may be hostile; what is larger is refused, not read."""


@dataclass(frozen=True)
class Source:
    """The tables of one package or bundle: `path` as given, `root` the folder of the descriptor."""

    path: Path
    root: Path | None = None
    archive: zipfile.ZipFile | None = None
    inside: str = ""

    def rows(self, table: str) -> Iterator[dict[str, str]]:
        """The rows of a table as texts; none when the table is not there.

        Raises UnusableInput when the table cannot be read.
        """
        name = f"tables/{table}.csv"
        csv.field_size_limit(LARGEST_CELL)
        try:
            with self._opened(name) as stream:
                if stream is not None:
                    reader = csv.DictReader(io.TextIOWrapper(stream, "utf-8-sig", newline=""))
                    for row in reader:
                        yield {key: value or "" for key, value in row.items() if key is not None}
        except (UnicodeDecodeError, csv.Error, zipfile.BadZipFile, OSError) as error:
            raise UnusableInput(f"{self.path}: {name} cannot be read: {error}") from error

    @contextmanager
    def _opened(self, name: str) -> Iterator[IO[bytes] | None]:
        if self.root is not None:
            path = self.root / name
            if not path.is_file() or path.is_symlink():
                yield None
                return
            with open(path, "rb") as stream:
                yield stream
            return
        assert self.archive is not None
        try:
            info = self.archive.getinfo(self.inside + name)
        except KeyError:
            yield None
            return
        if info.file_size > LARGEST_TABLE_BYTES:
            raise UnusableInput(f"{self.path}: {name} is larger than any table should be")
        with self.archive.open(info) as member:
            yield member


def signature_of(path: Path) -> str | None:
    """What tells a changed package or bundle from an unchanged one; None when it is neither."""
    if path.is_file() and path.suffix.lower() == ".zip":
        state = path.stat()
        return f"zip {state.st_size} {state.st_mtime_ns}"
    for marker in ("manifest-sha256.txt", "manifest-sha512.txt"):
        if (path / marker).is_file():
            state = (path / marker).stat()
            return f"bag {state.st_size} {state.st_mtime_ns}"
    if (path / DESCRIPTOR).is_file():
        tables = sorted((path / "tables").glob("*.csv"))
        states = [table.stat() for table in tables]
        size = sum(state.st_size for state in states)
        return f"package {size} {max((s.st_mtime_ns for s in states), default=0)}"
    return None


def find_sources(place: Path) -> list[Path]:
    """The packages and bundles at or below `place`: itself, or those in its folders."""
    if signature_of(place) is not None:
        return [place]
    if not place.is_dir():
        raise UnusableInput(f"{place} is neither a package, nor a bundle, nor a folder of them")
    found: list[Path] = []
    for below in sorted(place.iterdir()):
        if below.name.startswith(".") or below.is_symlink():
            continue
        if signature_of(below) is not None:
            found.append(below)
        elif below.is_dir():
            found.extend(find_sources(below))
    return found


@contextmanager
def open_source(path: Path) -> Iterator[Source]:
    """Open a package folder, a bundle folder or a bundle zip; raises UnusableInput otherwise."""
    for root in (path, path / "data"):
        if (root / DESCRIPTOR).is_file():
            yield Source(path, root=root)
            return
    if not path.is_file():
        raise UnusableInput(f"{path} is no package and no bundle: it holds no {DESCRIPTOR}")
    try:
        archive = zipfile.ZipFile(path)
    except (zipfile.BadZipFile, OSError) as error:
        raise UnusableInput(f"{path} is not a readable zip: {error}") from error
    with archive:
        # the bag lies in one folder of the zip (RFC 8493 section 4), its payload in data/
        inside = [
            name.removesuffix(DESCRIPTOR)
            for name in archive.namelist()
            if name.endswith(f"data/{DESCRIPTOR}") and name.count("/") <= 2
        ]
        if len(inside) != 1:
            raise UnusableInput(f"{path} is no bundle: it holds no data/{DESCRIPTOR}")
        yield Source(path, archive=archive, inside=inside[0])
