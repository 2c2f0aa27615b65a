"""Holds a folder or a file for one process at a time, on every desktop.

The lock is the operating system's (LockFileEx on Windows, flock elsewhere), which goes with the
process however it ends. Where a disk has none, filelock leaves a mark with the process's number.
"""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._base.errors import TreenailError

if TYPE_CHECKING:
    from filelock import AcquireReturnProxy, FileLock

LOCK = ".lock"
"""The file by which a folder is held; it may stay there, empty, and is no part of a package."""

ASK_AFTER_SECONDS = 30.0
"""After this long of waiting a mark whose process nobody can ask after is told to the person."""

_NO_SUCH_LOCK = (errno.ENOSYS, errno.ENOLCK, errno.EOPNOTSUPP)
_NO_RIGHT = (errno.EACCES, errno.EPERM, errno.EROFS)


def take_lock(path: Path, *, wait: bool = True) -> AcquireReturnProxy[FileLock] | None:
    """Take the lock file `path`, which `with` gives back; None without `wait` when another has it.

    Raises OSError when the file cannot be written, and TreenailError for a mark of which nobody
    can tell whether its process still lives.
    """
    # loaded here, because who checks a record need not lock it
    from filelock import FileLock, Timeout

    lock = FileLock(path)
    while True:
        try:
            return lock.acquire(timeout=ASK_AFTER_SECONDS, blocking=wait)
        except Timeout as error:
            # the library names a holder only where it cannot ask the system whether it lives
            _, _, holder = str(error).partition(" is held by ")
            if holder:
                raise TreenailError(
                    f"{path} says that another program is at work there, and this computer cannot "
                    f"tell whether it still is ({holder.partition(', which')[0]}); wait until it "
                    f"ends, or if none is at work there any more, remove {path} and do it "
                    "again"
                ) from None
            if not wait:
                return None


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Hold the folder for one writer at a time; a second one waits."""
    try:
        lock = _take_folder(folder)
    except OSError as error:
        raise TreenailError(f"{folder} cannot be written to: {error.strerror}") from error
    with lock:
        yield


@contextmanager
def locked_for_reading(folder: Path) -> Iterator[None]:
    """Keep writers off the folder while it is read; another reader waits as a writer does.

    A folder in which this person may not write is read without a lock where none can be had: the
    lock of a writer is waited for, if it is there.
    """
    from filelock import lock_descriptor

    try:
        lock = _take_folder(folder)
    except OSError as error:
        if error.errno not in _NO_RIGHT:
            raise TreenailError(f"{folder} cannot be read: {error.strerror}") from error
    else:
        with lock:
            yield
        return
    try:
        stream = open(folder / LOCK, "rb")  # noqa: SIM115 - closed by the block below
    except FileNotFoundError:
        yield
        return
    except OSError as error:
        raise TreenailError(f"{folder / LOCK} cannot be read: {error.strerror}") from error
    with stream:
        # some network disks lock only what may be written
        with suppress(OSError):
            lock_descriptor(stream.fileno())
        yield


def _take_folder(folder: Path) -> AcquireReturnProxy[FileLock]:
    if not folder.is_dir():
        # the library would make it
        raise FileNotFoundError(errno.ENOENT, "there is no such folder", str(folder))
    lock = take_lock(folder / LOCK)
    assert lock is not None
    return lock


def hold_file(handle: int) -> bool | None:
    """Take the lock of an open file until it is closed; False when another has it.

    None where the system or the disk has no locks of open files, so that nobody can tell.
    """
    from filelock import lock_descriptor

    try:
        return lock_descriptor(handle, blocking=False)
    except OSError as error:
        if error.errno in _NO_SUCH_LOCK:
            return None
        raise
