"""Brings out of a zip or store what must be read as files, and hashes the rest as it streams by.

The payload is never copied to disk: for each file that is only hashed, an empty file of its size
stands in the folder, so that names and sizes are compared as if the whole bag lay there.
"""

from __future__ import annotations

import errno
import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Protocol

from provenance._bag.bag_check import HEX_DIGITS, MANIFEST
from provenance._bag.hashing import (
    BATCH_BYTES,
    BATCH_FILES,
    NO_CHECKSUMS,
    Checksums,
    count_cores,
    in_threads,
)
from provenance._bag.hostile import (
    HostileBundle,
    listed_folder,
    refuse_full_disk,
    survey_sizes,
)
from provenance._bag.hostile_zip import DAMAGE, ZipBag, opened_file, opened_zip
from provenance._bag.verdict import BundleFinding
from provenance._base.disk import CHUNK_BYTES
from provenance._base.errors import UnusableInput
from provenance._base.progress import Progress, say_nothing
from provenance._gate.budget import DEFAULT_BUDGET, Budget
from provenance._record.given_out import LINEAGE_TABLE
from provenance._record.remote import Place, Remote

RECORDED = "sha256"
"""The checksum that the record's own tables have of files."""


class Container(Protocol):
    """A bag of which one file after the other can be read, wherever it lies."""

    @property
    def sizes(self) -> Mapping[str, int]:
        """The size of each file in bytes, by its path inside the bag, in a good order to read."""

    @property
    def side_by_side(self) -> bool:
        """Whether several files are best read at once."""

    def open(self, path: str) -> AbstractContextManager[IO[bytes]]:
        """Read one file."""


@dataclass(frozen=True)
class Folder:
    """A bag that lies as files in a folder, on a disk or in a store."""

    bundle: Place
    sizes: Mapping[str, int]

    @property
    def side_by_side(self) -> bool:
        """Whether several files are best read at once."""
        return not isinstance(self.bundle, Remote)

    def open(self, path: str) -> AbstractContextManager[IO[bytes]]:
        """Read one file."""
        return opened_file(self.bundle / path)


@dataclass(frozen=True)
class BroughtOut:
    """A bag in `folder`: tag files, tables and descriptions whole, all else empty files.

    `known` has the checksums of what was streamed; `findings` are about the container; `is_copy`
    tells the folder that was made for this from a bundle that lies there itself.
    """

    folder: Path
    known: Checksums
    findings: tuple[BundleFinding, ...] = ()
    is_copy: bool = False


@contextmanager
def opened_container(bundle: Place, limits: Budget, *, twins: bool = False) -> Iterator[Container]:
    """A zip or a folder, on disk or in a store, once its names do no harm (see `listed_folder`).

    Raises HostileBundle, UnusableInput and OSError.
    """
    if isinstance(bundle, Remote) and bundle.suffix.lower() != ".zip":
        sizes = dict(_sizes_below(bundle, limits))
        survey_sizes(bundle, sizes, limits, twins=twins)
        yield Folder(bundle, sizes)
    elif isinstance(bundle, Path) and bundle.is_dir():
        yield Folder(bundle, listed_folder(bundle, limits, twins=twins))
    else:
        with opened_zip(bundle, limits, twins=twins) as bag:
            yield bag


def _sizes_below(folder: Remote, limits: Budget) -> Iterator[tuple[str, int]]:
    to_do = [(folder, "")]
    count = 0
    while to_do and count <= limits.most_files:
        where, prefix = to_do.pop()
        if prefix.count("/") > limits.most_folders:
            raise UnusableInput(f"{where} is more than {limits.most_folders} folders deep")
        for entry in where.entries():
            if entry.is_folder:
                to_do.append((where / entry.name, f"{prefix}{entry.name}/"))
                continue
            size = entry.facts.get("size")
            if size is None:
                size = ((where / entry.name).facts() or {}).get("size")
            if size is None:
                raise UnusableInput(f"{where / entry.name}: the store does not tell its size")
            count += 1
            yield f"{prefix}{entry.name}", int(size)


def bring_out(
    container: Container,
    bundle: Place,
    folder: Path,
    *,
    fast: bool = False,
    known: Checksums = NO_CHECKSUMS,
    limits: Budget = DEFAULT_BUDGET,
    progress: Progress = say_nothing,
) -> BroughtOut:
    """Write what must be read as files into the empty `folder`, and hash all else as it streams.

    With `fast` nothing is hashed; nor is what `known` has. Raises HostileBundle when members of a
    zip are damaged or lie about their size, UnusableInput when the disk is too small.
    """
    sizes = container.sizes
    brought = [path for path, size in sizes.items() if is_read_as_file(path, size, limits)]
    refuse_full_disk(bundle, folder, sum(sizes[path] for path in brought))
    findings = container.stray if isinstance(container, ZipBag) else ()
    faults = list(known.faults)
    whole = set(brought)
    for path, size in sizes.items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        with open(target, "xb") as stream:
            if path not in whole:
                stream.truncate(size)
                continue
            try:
                _read_through(container, path, stream.write)
            except DAMAGE as error:
                faults.append(_damaged(container, path, error))
    if not fast:
        left = (path for path in sizes if path not in whole and path not in known.digests)
        streamed = hash_members(
            container, [path for path in left if path not in known.unreadable], progress=progress
        )
        known = known.with_more(streamed)
        faults += streamed.faults
    if faults:
        order = {path: place for place, path in enumerate(sizes)}
        faults.sort(key=lambda one: order.get(one.path.partition("/")[2], -1))
        raise HostileBundle(bundle, [*findings, *faults])
    return BroughtOut(folder, known, findings, is_copy=True)


def is_read_as_file(path: str, size: int, limits: Budget) -> bool:
    """Whether a file is brought out to be read: tag files, tables, descriptions of sound size."""
    if path.startswith("data/tables/"):
        return path.endswith(".csv")
    if path == f"data/{LINEAGE_TABLE}":
        return size <= limits.most_table_bytes
    if path.startswith("data/"):
        described = path.count("/") == 1 or path.startswith("data/schemas/")
        return described and path.endswith(".json") and size <= limits.most_json_bytes
    return size <= (
        limits.most_manifest_bytes if MANIFEST.fullmatch(path) else limits.most_tag_bytes
    )


def hash_members(
    container: Container, paths: Sequence[str], *, progress: Progress = say_nothing
) -> Checksums:
    """Hash files of a container as they stream by, each by what the manifests use for it.

    Raises HostileBundle for a member of a zip that is not of its declared size; damaged members
    are in `faults`, files that a store cannot read in `unreadable`.
    """
    algorithms = _algorithms(container.sizes)
    total = sum(container.sizes[path] for path in paths)
    done = 0
    digests: dict[str, Mapping[str, str]] = {}
    unreadable: dict[str, str] = {}
    faults: list[BundleFinding] = []
    threads = count_cores() if container.side_by_side else 1

    def work(batch: Sequence[str]) -> list[tuple[str, dict[str, str] | Exception]]:
        return [(path, _hash_one(container, path, algorithms, helpers)) for path in batch]

    with ThreadPoolExecutor(2) as helpers:
        for results in in_threads(work, batches(container.sizes, paths), threads):
            for path, result in results:
                done += container.sizes[path]
                if isinstance(result, OSError):
                    unreadable[path] = result.strerror or str(result)
                elif isinstance(result, Exception):
                    faults.append(_damaged(container, path, result))
                else:
                    digests[path] = result
            progress(done, total)
    return Checksums(digests, unreadable, tuple(faults))


def _algorithms(paths: Iterable[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What payload files and tag files are hashed by, from the names of the manifests."""
    payload, tags = {RECORDED}, set[str]()
    for path in paths:
        if (match := MANIFEST.fullmatch(path)) and match.group(2) in HEX_DIGITS:
            (tags if match.group(1) else payload).add(match.group(2))
    return tuple(sorted(payload)), tuple(sorted(tags))


def batches(
    sizes: Mapping[str, int],
    paths: Iterable[str],
    most_bytes: int = BATCH_BYTES,
    most_files: int = BATCH_FILES,
) -> Iterator[tuple[str, ...]]:
    """Neighbours together, so that a disk or store reads on; one that is larger is alone."""
    batch: list[str] = []
    byte_count = 0
    for path in paths:
        if batch and (byte_count + sizes[path] > most_bytes or len(batch) >= most_files):
            yield tuple(batch)
            batch, byte_count = [], 0
        batch.append(path)
        byte_count += sizes[path]
    if batch:
        yield tuple(batch)


def _hash_one(
    container: Container,
    path: str,
    algorithms: tuple[tuple[str, ...], tuple[str, ...]],
    helpers: ThreadPoolExecutor,
) -> dict[str, str] | Exception:
    wanted = algorithms[0] if path.startswith("data/") else algorithms[1]
    hashers = {name: hashlib.new(name, usedforsecurity=False) for name in wanted}
    first, *others = hashers.values() if hashers else (hashlib.sha256(),)

    def take(piece: bytes) -> object:
        # hashlib lets other threads run meanwhile: the algorithms share the cores
        shared = len(piece) >= CHUNK_BYTES
        jobs = [helpers.submit(one.update, piece) for one in others if shared]
        for one in (first, *(() if shared else others)):
            one.update(piece)
        for job in jobs:
            job.result()
        return None

    try:
        _read_through(container, path, take)
    except (*DAMAGE, OSError) as error:
        return error
    return {name: one.hexdigest() for name, one in hashers.items()}


def _read_through(container: Container, path: str, take: Callable[[bytes], object]) -> None:
    """Hand on all of a file in pieces, never more than its declared size; it must have that."""
    count = 0
    with container.open(path) as reader:
        while piece := reader.read(CHUNK_BYTES):
            count += len(piece)
            if count > container.sizes[path]:
                break
            take(piece)
    if isinstance(container, ZipBag):
        container.refuse_size_lie(path, count)
    elif count != container.sizes[path]:
        raise OSError(errno.EIO, f"{count} bytes came instead of {container.sizes[path]}", path)


def read_whole(container: Container, bundle: Place, path: str) -> list[bytes]:
    """All bytes of one file in pieces, for a file that fits into memory.

    Raises HostileBundle when a member of a zip is damaged or lies about its size, UnusableInput
    when it cannot be read.
    """
    pieces: list[bytes] = []
    try:
        _read_through(container, path, pieces.append)
    except DAMAGE as error:
        raise HostileBundle(bundle, [_damaged(container, path, error)]) from error
    except OSError as error:
        raise UnusableInput(
            f"{bundle}: {path} cannot be read: {error.strerror or error}"
        ) from error
    return pieces


def _damaged(container: Container, path: str, error: Exception) -> BundleFinding:
    if not isinstance(container, ZipBag):
        raise error
    return container.damaged(path, error)
