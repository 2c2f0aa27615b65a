"""Flushes to the disk itself and renames in one step, by the means that each system has."""

from __future__ import annotations

import os
import time
from contextlib import suppress
from pathlib import Path

from provenance._base.errors import TreenailError

try:
    import fcntl

    # macOS: fsync(2) there leaves the bytes in the drive's own memory
    _FULL_SYNC = getattr(fcntl, "F_FULLFSYNC", None)
except ImportError:  # Windows
    _FULL_SYNC = None


_HELD_OPEN = (5, 32)
"""ERROR_ACCESS_DENIED and ERROR_SHARING_VIOLATION (Microsoft, 'System Error Codes')."""

_WAITS_SECONDS = (0.05, 0.1, 0.2, 0.4, 0.8, 1.6)
_WINDOWS = os.name == "nt"


def sync_file(handle: int) -> None:
    """Force an open file's bytes to the disk itself."""
    if _FULL_SYNC is not None:
        with suppress(OSError):  # a network disk may know no such call
            fcntl.fcntl(handle, _FULL_SYNC)
            return
    os.fsync(handle)


def sync_path(path: Path) -> None:
    """Force the bytes of a file that is closed to the disk itself."""
    # Windows flushes no file that is open for reading only
    handle = os.open(path, os.O_RDWR if _WINDOWS else os.O_RDONLY)
    try:
        sync_file(handle)
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """Force the folder's entries to disk: a rename is only durable after this (POSIX fsync).

    Windows opens no folder for this; its file systems keep renames in a journal.
    """
    if not _WINDOWS:
        sync_path(folder)


def put_in_place(source: Path, target: Path) -> None:
    """Rename within one disk in one step, over a file that is there; folders are not synced.

    Windows refuses while a program has one of the two open, be it only to look for viruses: then
    it is tried again for some seconds. Raises TreenailError when that program does not let go.
    """
    for wait in (*_WAITS_SECONDS, None):
        try:
            os.replace(source, target)
        except OSError as error:
            if getattr(error, "winerror", None) not in _HELD_OPEN:
                raise
            if wait is None:
                raise TreenailError(
                    f"{target} cannot be replaced: it is open in another program, or protected; "
                    "close it there, then do it again"
                ) from error
            time.sleep(wait)
        else:
            return
