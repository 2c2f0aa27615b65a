"""Writes to disk so that a file or folder is either whole or not there."""

from __future__ import annotations

import errno
import fcntl
import hashlib
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from provenance._base.errors import AlreadyThere, TreenailError

CHUNK_BYTES = 1 << 20

STALE_SECONDS = 60.0
"""Younger leftovers are let be: their maker may not have had the time to lock them."""

_TEMPORARY = re.compile(r"\.(?P<name>.+)\.[0-9a-f]{12}\.part")

_REMEDIES = {
    errno.EACCES: "ask for the right to read and write there, or choose another place",
    errno.EPERM: "ask for the right to read and write there, or choose another place",
    errno.EROFS: "choose another place",
    errno.ENOSPC: "make room on the disk, then do it again",
    errno.EDQUOT: "make room on the disk, then do it again",
    errno.EFBIG: "choose a disk that takes larger files",
    errno.ENAMETOOLONG: "choose a shorter name",
    errno.ENOENT: "check the name",
    errno.ENOTDIR: "a part of the path is a file, not a folder; choose another name",
    errno.EEXIST: "choose another name",
    errno.EISDIR: "name a file, not a folder",
}
"""What a person can do about an error of the disk, by its number (POSIX errno)."""


def _temporary_beside(path: Path) -> Path:
    """A name in the same folder (so that a rename is atomic) which listings hide."""
    return path.with_name(f".{path.name[:80]}.{secrets.token_hex(6)}.part")


def disk_trouble(error: OSError) -> str:
    """What the disk refused, where, and what to do, in one sentence.

    A temporary name is told as the name it was to become, which is the one that a person gave.
    """
    found = (error.strerror or str(error) or type(error).__name__).rstrip(".")
    where = ""
    if isinstance(error.filename, str | os.PathLike) and os.fspath(error.filename):
        # not by pathlib, which would write the address of a store with one stroke too few
        parts = os.fsdecode(error.filename).split(os.sep)
        known = [_TEMPORARY.fullmatch(part) for part in parts]
        whole = [one["name"] if one else part for one, part in zip(known, parts, strict=True)]
        where = f"{os.sep.join(whole)}: "
    remedy = _REMEDIES.get(error.errno or 0, "check the disk and the name, then do it again")
    return f"{where}{found}; {remedy}"


def sync_folder(folder: Path) -> None:
    """Force the folder's entries to disk: a rename is only durable after this (POSIX fsync)."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def writable_folder(folder: Path) -> None:
    """Make the folder if it is missing, and raise OSError now when nothing can be written there."""
    folder.mkdir(parents=True, exist_ok=True)
    probe = _temporary_beside(folder / "probe")
    try:
        probe.touch()
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(folder)) from error
    probe.unlink()


@contextmanager
def writing(path: Path, *, mode: str = "wb") -> Iterator[IO[bytes]]:
    """Open a temporary neighbour of `path`, and put it in place when the block ends well.

    The folder is made if it is missing. An exception inside the block leaves `path` as it was.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = _temporary_beside(path)
    try:
        with open(temporary, mode) as stream:
            # for whoever comes after a kill and asks whether anybody is at work on it
            fcntl.flock(stream, fcntl.LOCK_EX)
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(temporary, path)
        sync_folder(path.parent)
    except BaseException as error:
        temporary.unlink(missing_ok=True)
        if isinstance(error, OSError) and error.filename is None:
            error.filename = str(path)  # a full disk does not say which file it had no room for
        raise


def clear_stale(target: Path) -> list[Path]:
    """Remove what a killed process left of writing `target`; returns what was removed.

    Whoever writes holds a lock (flock) on the temporary neighbour, which goes with the process
    however it ends: one without a lock that is not young is nobody's. Its folder is looked through,
    so this is for large single things, not for each of many files.
    """
    removed = []
    with os.scandir(target.parent) as entries:
        left = [
            Path(entry.path)
            for entry in entries
            if (found := _TEMPORARY.fullmatch(entry.name)) and found["name"] == target.name[:80]
        ]
    for path in sorted(left):
        try:
            handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW)
        except OSError:
            continue  # gone meanwhile, or not ours to look at
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            if time.time() - os.fstat(handle).st_mtime < STALE_SECONDS:
                continue
            if path.is_dir():
                shutil.rmtree(path)
            else:
                path.unlink()
            removed.append(path)
        except BlockingIOError:
            continue  # somebody is at work on it
        finally:
            os.close(handle)
    return removed


def write_bytes(path: Path, content: bytes) -> None:
    """Put `content` at `path` whole or not at all."""
    with writing(path) as stream:
        stream.write(content)


def write_text(path: Path, content: str) -> None:
    """Put `content` at `path` as UTF-8 with the line ends as given, whole or not at all."""
    write_bytes(path, content.encode("utf-8"))


def copy_file(source: Path, target: Path) -> str:
    """Copy byte for byte, whole or not at all; return the SHA-256 of what was copied."""
    digest = hashlib.sha256()
    with open(source, "rb") as reader, writing(target) as writer:
        while chunk := reader.read(CHUNK_BYTES):
            digest.update(chunk)
            writer.write(chunk)
    return digest.hexdigest()


def sha256_of(path: Path) -> str:
    """The SHA-256 of a file's bytes as lower-case hexadecimal."""
    with open(path, "rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@contextmanager
def scratch_folder(target: Path) -> Iterator[Path]:
    """Yield an empty hidden folder beside `target` for what it is made from; removed at the end.

    What killed processes left of the same target is removed too.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    clear_stale(target)
    temporary = _temporary_beside(target)
    temporary.mkdir()
    lock = os.open(temporary, os.O_RDONLY)
    try:
        # for whoever comes after a kill and asks whether anybody is at work on it
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield temporary
    finally:
        shutil.rmtree(temporary, ignore_errors=True)
        os.close(lock)


@contextmanager
def building_folder(target: Path) -> Iterator[Path]:
    """Yield an empty hidden folder beside `target`, renamed to `target` when the block ends well.

    What killed processes left of the same folder is removed. Raises AlreadyThere when `target`
    exists: a folder is never merged or replaced.
    """
    if target.exists() or target.is_symlink():
        raise AlreadyThere(f"{target} is already there; choose another name or remove it first")
    with scratch_folder(target) as temporary:
        yield temporary
        for folder, _, names in os.walk(temporary):
            for name in names:
                handle = os.open(os.path.join(folder, name), os.O_RDONLY)
                try:
                    os.fsync(handle)
                finally:
                    os.close(handle)
            sync_folder(Path(folder))
        # rename(2) puts a folder over an EMPTY folder without a word, so look once more
        if target.exists():
            raise AlreadyThere(f"{target} appeared while it was being written; nothing replaced")
        os.rename(temporary, target)
        sync_folder(target.parent)


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold the folder for one writer at a time; a second writer waits (flock on `.lock`)."""
    lock_path = folder / ".lock"
    try:
        stream = open(lock_path, "a+b")  # noqa: SIM115 - closed below, also when flock is broken off
    except OSError as error:
        raise TreenailError(f"{folder} cannot be written to: {error.strerror}") from error
    try:
        fcntl.flock(stream, fcntl.LOCK_EX)
        yield
    finally:
        stream.close()


@contextmanager
def locked_for_reading(folder: Path) -> Iterator[None]:
    """Keep writers off the folder while it is read; other readers may come in.

    A folder in which this person may not write is read without a lock where none can be had: the
    `.lock` of a writer is waited for, if it is there.
    """
    lock_path = folder / ".lock"
    try:
        stream = open(lock_path, "a+b")  # noqa: SIM115 - closed below, also when flock is broken off
    except OSError as error:
        if error.errno not in (errno.EACCES, errno.EPERM, errno.EROFS):
            raise TreenailError(f"{folder} cannot be read: {error.strerror}") from error
        try:
            stream = open(lock_path, "rb")  # type: ignore[assignment]  # noqa: SIM115
        except FileNotFoundError:
            yield
            return
        except OSError as again:
            raise TreenailError(f"{lock_path} cannot be read: {again.strerror}") from again
    try:
        fcntl.flock(stream, fcntl.LOCK_SH)
        yield
    finally:
        stream.close()
