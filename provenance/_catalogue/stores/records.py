"""Reads the tables of a package or bundle, folder or zip, without unpacking."""

from __future__ import annotations

import hashlib
import os
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import IO, Any

from provenance._bag.bag import tags_in
from provenance._bag.hostile_zip import fault_of_member, opened_file
from provenance._base.disk import CHUNK_BYTES, state_of
from provenance._base.errors import UnusableInput, UnusablePackage
from provenance._catalogue.stores.stores import MARKERS, signature_in_store, survey_store
from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.documents import json_from
from provenance._gate.folders import is_plain_file
from provenance._gate.zips import refuse_directory
from provenance._record.package import DESCRIPTOR, bag_around
from provenance._record.reading import TableText, read_table_bytes
from provenance._record.remote import Place, Remote

LARGEST_TABLE_BYTES = DEFAULT_BUDGET.most_table_bytes
LARGEST_TEXT_BYTES = 16_000_000
"""A bundle may be hostile; what is larger is refused, not read."""

MANIFESTS = ("manifest-sha256.txt", "manifest-sha512.txt")
_DEEPEST = 2
"""Tables and documents of the record lie no deeper in a bag: the lines of all else are left out."""
_UNREADABLE = (
    UnicodeDecodeError, zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError,
    RuntimeError, OSError,
)  # fmt: skip


@dataclass(frozen=True)
class Source:
    """The files of one package or bundle.

    `path` as given; `root` the folder of the descriptor, or `archive` and the folder `inside` it.
    What is read of a bag is held against its list of checksums, unless `even_if_damaged`.
    """

    path: Place
    root: Place | None = None
    archive: zipfile.ZipFile | None = None
    inside: str = ""
    even_if_damaged: bool = False

    @property
    def is_bag(self) -> bool:
        """Whether the tables lie in the payload of a bag."""
        return self.archive is not None or self.root != self.path

    def table(self, table: str) -> TableText | None:
        """A table as written, None when it is not there; raises UnusableInput when it cannot be
        read, or has records that are not whole.
        """
        name = f"tables/{table}.csv"
        try:
            with self._opened(name, LARGEST_TABLE_BYTES) as stream:
                content = None if stream is None else self._as_packed(name, stream.read())
                text = None if content is None else read_table_bytes(content, name)
        except (*_UNREADABLE, UnusablePackage) as error:
            raise UnusableInput(f"{self.path}: {name} cannot be read: {error}") from error
        if text is not None and (why := text.trouble):
            raise UnusableInput(f"{self.path}: {name}: {why}")
        return text

    def document(self, name: str) -> dict[str, Any]:
        """A JSON object beside the descriptor, {} when there is none; raises UnusableInput."""
        text = self._text(name, listed=True)
        if not text:
            return {}
        raw = json_from(text.encode(), f"{self.path}: {name}")
        if not isinstance(raw, dict):
            raise UnusableInput(f"{self.path}: {name} does not hold a JSON object")
        return raw

    def bag_info(self) -> dict[str, str]:
        """The tags of bag-info.txt (RFC 8493 section 2.2.2); {} for a package that is no bag."""
        return tags_in(self._text("../bag-info.txt")) if self.is_bag else {}

    def identity(self) -> str:
        """The SHA-256 of the bag's list of checksums, by which its content is known anywhere.

        A folder and a zip of the same bundle have the same identity. '' for a package that is no
        bag, and for a bag without a list.
        """
        return next(filter(None, map(self._digest, MANIFESTS)), "")

    def bag_digest(self) -> str:
        """The SHA-256 of tagmanifest-sha256.txt, which stands for every byte; '' without one."""
        return self._digest("tagmanifest-sha256.txt")

    def _digest(self, name: str) -> str:
        if not self.is_bag:
            return ""
        digest = hashlib.sha256()
        try:
            with self._opened(f"../{name}", LARGEST_TABLE_BYTES) as stream:
                if stream is None:
                    return ""
                while piece := stream.read(CHUNK_BYTES):
                    digest.update(piece)
        except _UNREADABLE as error:
            raise UnusableInput(f"{self.path}: {name} cannot be read: {error}") from error
        return digest.hexdigest()

    @cached_property
    def _sums(self) -> tuple[str, dict[str, str]]:
        """(algorithm, checksum by path in the bag) of what is read here; ('', {}) for none."""
        for name in MANIFESTS if self.is_bag else ():
            with self._opened(f"../{name}", LARGEST_TABLE_BYTES) as stream:
                if stream is None:
                    continue
                lines = stream.read().decode("utf-8").splitlines()
            pairs = (line.split(maxsplit=1) for line in lines if line.count("/") <= _DEEPEST)
            listed = {pair[1].removeprefix("*"): pair[0].lower() for pair in pairs if pair[1:]}
            return name.removeprefix("manifest-").removesuffix(".txt"), listed
        return "", {}

    def _as_packed(self, name: str, content: bytes) -> bytes:
        """The content of a file of the payload; raises UnusableInput when it is not as packed."""
        algorithm, sums = self._sums
        if self.even_if_damaged or not algorithm:
            return content
        if hashlib.new(algorithm, content).hexdigest() != sums.get(f"data/{name}"):
            raise UnusableInput(
                f"{self.path} is not searched, because it is damaged: {name} is not what was "
                "packed. 'treenail verify' lists every fault; ask for the bundle again"
            )
        return content

    def _text(self, name: str, *, listed: bool = False) -> str:
        try:
            with self._opened(name, LARGEST_TEXT_BYTES) as stream:
                content = stream.read() if stream else b""
                if stream and listed:
                    content = self._as_packed(name, content)
                return content.decode("utf-8")
        except _UNREADABLE as error:
            raise UnusableInput(f"{self.path}: {name} cannot be read: {error}") from error

    @contextmanager
    def _opened(self, name: str, most_bytes: int) -> Iterator[IO[bytes] | None]:
        """A file by its path from the descriptor's folder ('../' once, for a tag file), or None."""
        if self.root is not None:
            path = self.root / name
            below = name.removeprefix("../")
            base = self.root if below == name else self.path
            plain = is_plain_file(base, below) if isinstance(base, Path) else path.is_file()
            if not plain:
                yield None
                return
            if isinstance(path, Remote):
                with path.open() as far:
                    if int((path.facts() or {}).get("size") or 0) > most_bytes:
                        raise UnusableInput(f"{self.path}: {name} is larger than it should be")
                    yield far
                return
            with open(path, "rb") as stream:
                if os.fstat(stream.fileno()).st_size > most_bytes:
                    raise UnusableInput(f"{self.path}: {name} is larger than it should be")
                yield stream
            return
        assert self.archive is not None
        inside = self.inside
        if name.startswith("../"):
            name, inside = name[3:], inside.removesuffix("data/")
        try:
            info = self.archive.getinfo(inside + name)
        except KeyError:
            yield None
            return
        if info.file_size > most_bytes:
            raise UnusableInput(f"{self.path}: {name} is larger than it should be")
        if fault := fault_of_member(info, DEFAULT_BUDGET):
            raise UnusableInput(f"{self.path}: {name} {fault[2]}; ask for the bundle again")
        with self.archive.open(info) as member:
            yield member


# -- what lies where -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Survey:
    """What lies at a place: path → signature of each package and bundle, in the order of the paths.

    `unreadable` maps folders that could not be looked into to the reason: what lies below them is
    not known, and must not be taken for gone.
    """

    signatures: dict[Place, str] = field(default_factory=dict)
    unreadable: dict[Place, str] = field(default_factory=dict)


def signature_of(path: Place) -> str | None:
    """What tells a changed package or bundle from an unchanged one; None when it is neither.

    Size and times of the zip, of a bag's list of checksums, or of a package's tables. The time of
    the last change of the entry (ctime) is in it, which no program can set back at will.
    """
    if isinstance(path, Remote):
        return signature_in_store(path)
    if path.suffix.lower() == ".zip" and path.is_file():
        return f"zip {state_of(path)}"
    for marker in MARKERS:
        if (path / marker).is_file():
            return f"bag {state_of(path / marker)}"
    if (path / DESCRIPTOR).is_file():
        tables = sorted((path / "tables").glob("*.csv"))
        states = " ".join(state_of(one) for one in (path / DESCRIPTOR, *tables))
        return f"package {hashlib.sha256(states.encode()).hexdigest()}"
    return None


def survey_place(place: Place) -> Survey:
    """Look for packages and bundles at or below `place`; links and hidden entries are left out.

    The payload of a bag stands for the bag. Raises UnusableInput when there is nothing at `place`,
    or it cannot be looked into.
    """
    if isinstance(place, Path):
        place = bag_around(place)
    try:
        signature = signature_of(place)
        is_folder = place.is_dir()
    except OSError as error:
        raise UnusableInput(f"{place} cannot be read: {error.strerror or error}") from error
    if signature is not None:
        return Survey({place: signature})
    if not is_folder:
        raise UnusableInput(f"{place} is neither a package, nor a bundle, nor a folder of them")
    survey = Survey()
    if isinstance(place, Remote):
        survey_store(place, survey.signatures.__setitem__, survey.unreadable.__setitem__)
        survey = Survey(dict(sorted(survey.signatures.items())), survey.unreadable)
    else:
        _survey_folder(place, survey)
    if place in survey.unreadable:
        raise UnusableInput(f"{place} cannot be read: {survey.unreadable[place]}")
    return survey


def _survey_folder(folder: Path, survey: Survey, depth: int = 0) -> None:
    if depth > DEFAULT_BUDGET.most_folders:
        survey.unreadable[folder] = f"lies more than {DEFAULT_BUDGET.most_folders} folders deep"
        return
    try:
        with os.scandir(folder) as entries:
            there = sorted(entries, key=lambda entry: entry.name)
    except OSError as error:
        survey.unreadable[folder] = error.strerror or str(error)
        return
    for entry in there:
        if entry.name.startswith(".") or entry.is_symlink():
            continue
        path = folder / entry.name
        try:
            is_folder = entry.is_dir()
            if not is_folder and path.suffix.lower() != ".zip":
                continue
            # a folder that may not be entered looks as if nothing were in it
            if is_folder and not os.access(path, os.R_OK | os.X_OK):
                raise PermissionError(13, "Permission denied")
            signature = signature_of(path)
        except FileNotFoundError:
            continue  # taken away since the folder was listed
        except OSError as error:
            survey.unreadable[path] = error.strerror or str(error)
            continue
        if signature is not None:
            survey.signatures[path] = signature
        elif is_folder:
            _survey_folder(path, survey, depth + 1)


def find_sources(place: Place) -> list[Place]:
    """The packages and bundles at or below `place`: itself, or those in its folders.

    Raises UnusableInput when there is nothing at `place`.
    """
    return list(survey_place(place).signatures)


def is_bundle(path: Place) -> bool:
    """Whether what lies at `path`, a source, is a bundle and not a package."""
    return not (signature_of(path) or "").startswith("package ")


@contextmanager
def open_source(path: Place, *, even_if_damaged: bool = False) -> Iterator[Source]:
    """Open a package folder, a bundle folder or a bundle zip; raises UnusableInput otherwise."""
    zipped = path.suffix.lower() == ".zip"
    for root in () if zipped and isinstance(path, Remote) else (path, path / "data"):
        if (root / DESCRIPTOR).is_file():
            yield Source(path, root=root, even_if_damaged=even_if_damaged)
            return
    if not path.is_file():
        raise UnusableInput(f"{path} is neither a package nor a bundle: it holds no {DESCRIPTOR}")
    with ExitStack() as opened:
        try:
            file = opened.enter_context(opened_file(path))
            refuse_directory(file, str(path))
            archive = opened.enter_context(zipfile.ZipFile(file))
        except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
            raise UnusableInput(f"{path} is not a readable zip: {error}") from error
        # the bag lies in one folder of the zip (RFC 8493 section 4), its payload in data/
        inside = [
            name.removesuffix(DESCRIPTOR)
            for name in archive.namelist()
            if name.endswith(f"data/{DESCRIPTOR}") and name.count("/") <= 2
        ]
        if len(inside) != 1:
            raise UnusableInput(f"{path} is not a bundle: it holds no data/{DESCRIPTOR}")
        yield Source(path, archive=archive, inside=inside[0], even_if_damaged=even_if_damaged)
