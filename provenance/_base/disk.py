"""Writes to disk so that a file or folder is either whole or not there."""

from __future__ import annotations

import errno
import hashlib
import os
import re
import secrets
import shutil
import stat
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from provenance._base.durable import put_in_place, sync_file, sync_folder, sync_path
from provenance._base.errors import AlreadyThere, TreenailError, UnusableInput
from provenance._base.locks import LOCK, hold_file, locked, take_lock
from provenance._base.portable import unholdable_because

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
            hold_file(stream.fileno())
            yield stream
            stream.flush()
            sync_file(stream.fileno())
        put_in_place(temporary, path)
        sync_folder(path.parent)
    except BaseException as error:
        temporary.unlink(missing_ok=True)
        if isinstance(error, OSError) and error.filename is None:
            error.filename = str(path)  # a full disk does not say which file it had no room for
        raise


def clear_stale(target: Path) -> list[Path]:
    """Remove what a killed process left of writing `target`; returns what was removed.

    Whoever writes holds a lock, on the temporary file itself or in the temporary folder, which goes
    with the process however it ends: what has none and is not young is nobody's. Its folder is
    looked through, so this is for large single things, not for each of many files.
    """
    with os.scandir(target.parent) as entries:
        left = [
            Path(entry.path)
            for entry in entries
            if (found := _TEMPORARY.fullmatch(entry.name)) and found["name"] == target.name[:80]
        ]
    return [path for path in sorted(left) if _is_stale(path) and _is_removed(path)]


def _is_stale(path: Path) -> bool:
    """Whether something temporary is old, and no process holds it."""
    try:
        status = path.lstat()
        if stat.S_ISLNK(status.st_mode) or time.time() - status.st_mtime < STALE_SECONDS:
            return False
        if stat.S_ISDIR(status.st_mode):
            lock = take_lock(path / LOCK, wait=False)
            if lock is None:
                return False
            with lock:
                return True
        with open(path, "rb") as stream:
            return hold_file(stream.fileno()) is True
    except (OSError, TreenailError):
        return False  # gone meanwhile, not ours to look at, or its holder cannot be asked after


def _is_removed(path: Path) -> bool:
    """Remove what is nobody's; another process may be removing it too."""
    with suppress(OSError):
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink()
    return not path.exists()


def write_bytes(path: Path, content: bytes) -> None:
    """Put `content` at `path` whole or not at all."""
    with writing(path) as stream:
        stream.write(content)


def write_text(path: Path, content: str) -> None:
    """Put `content` at `path` as UTF-8 with the line ends as given, whole or not at all."""
    write_bytes(path, content.encode("utf-8"))


def sha256_of(path: Path) -> str:
    """The SHA-256 of a file's bytes as lower-case hexadecimal."""
    with open(path, "rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def state_of(path: Path) -> str:
    """What changes when a file does, also where a program sets its time back; '' where none is.

    Raises OSError.
    """
    try:
        state = path.stat()
    except FileNotFoundError:
        return ""
    return f"{state.st_size} {state.st_mtime_ns} {state.st_ctime_ns}"


@contextmanager
def scratch_folder(target: Path) -> Iterator[Path]:
    """Yield a hidden folder beside `target` for what it is made from; removed at the end.

    It holds nothing but its lock. What killed processes left of the same target is removed too.
    Raises UnusableInput for a name that not every desktop can hold.
    """
    if reason := unholdable_because(target.name):
        raise UnusableInput(
            f"{target} is not a valid name on every desktop: {reason}; choose another"
        )
    target.parent.mkdir(parents=True, exist_ok=True)
    clear_stale(target)
    temporary = _temporary_beside(target)
    temporary.mkdir()
    try:
        # for whoever comes after a kill and asks whether anybody is at work on it
        with locked(temporary):
            yield temporary
    finally:
        shutil.rmtree(temporary, ignore_errors=True)


@contextmanager
def building_folder(target: Path) -> Iterator[Path]:
    """Yield an empty hidden folder beside `target`, renamed to `target` when the block ends well.

    What killed processes left of the same folder is removed. Raises AlreadyThere when `target`
    exists: a folder is never merged or replaced; and UnusableInput as `scratch_folder`.
    """
    if target.exists() or target.is_symlink():
        raise AlreadyThere(f"{target} is already there; choose another name or remove it first")
    with scratch_folder(target) as scratch:
        # one deeper, because Windows renames no folder in which its lock is open
        being_built = scratch / "new"
        being_built.mkdir()
        yield being_built
        for folder, _, names in os.walk(being_built):
            for name in names:
                sync_path(Path(folder) / name)
            sync_folder(Path(folder))
        # rename(2) puts a folder over an EMPTY folder without a word, so look once more
        if target.exists():
            raise AlreadyThere(f"{target} appeared while it was being written; nothing replaced")
        put_in_place(being_built, target)
        sync_folder(target.parent)
