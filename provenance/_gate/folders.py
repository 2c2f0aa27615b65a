"""Opens files in a folder that may be a stranger's: plain files only, and no way out of it.

A link may lead anywhere, a pipe may never end, and a device may answer for ever (CWE-59, CWE-67).
Another name of the same file (a hard link) is let pass: backups make them, and every writer here
puts a new file in place, so that what else bears the name is never changed.
"""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Collection
from pathlib import Path

from provenance._gate.budget import DEFAULT_BUDGET, Budget
from provenance._gate.refusal import RefusedInput, at_most

_NO_LINKS = getattr(os, "O_NOFOLLOW", 0)
_NO_WAITING = getattr(os, "O_NONBLOCK", 0)
_BYTES = getattr(os, "O_BINARY", 0)
_IS_LINK = (errno.ELOOP, errno.EMLINK)  # POSIX, and what FreeBSD says
_REMEDY = "put the file or folder itself there, or ask the sender what it is"


def what_it_is(mode: int) -> str:
    """What an entry is that is no plain file, by its mode."""
    if stat.S_ISDIR(mode):
        return "is a folder, not a file"
    kind = "a link" if stat.S_ISLNK(mode) else "a device, pipe or socket"
    return f"is {kind}, not a file; it is not followed"


def refuse_links(folder: Path, names: Collection[str] | None = None) -> None:
    """Raise RefusedInput when an entry of `folder` is a link or the like; others in it are let be.

    Only those called one of `names` are looked at, unless it is None. A folder that is not there
    has none.
    """
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                if names is not None and entry.name not in names:
                    continue
                # the listing itself tells a file from a link, so that nothing is asked for each
                if entry.is_symlink() or not (entry.is_file() or entry.is_dir()):
                    mode = entry.stat(follow_symlinks=False).st_mode
                    raise RefusedInput(folder / entry.name, what_it_is(mode), remedy=_REMEDY)
    except (FileNotFoundError, NotADirectoryError):
        return


def refuse_way_out(folder: Path, path: str) -> None:
    """Raise RefusedInput when `path`, below `folder`, climbs out of it or goes through a link.

    What is not there yet is no fault. The last step may be a file; all before are folders.
    """
    parts = path.split("/")
    if path.startswith("/") or "\\" in path or not set(parts).isdisjoint(("", ".", "..")):
        raise RefusedInput(folder, f"has a file at {path[:200]!r}, which is not in it")
    where = os.fspath(folder)
    for part in parts:
        where = os.path.join(where, part)
        try:
            mode = os.lstat(where).st_mode
        except (FileNotFoundError, NotADirectoryError):
            return
        if not (stat.S_ISDIR(mode) or stat.S_ISREG(mode)):
            raise RefusedInput(where, what_it_is(mode), remedy=_REMEDY)


def files_below(
    folder: Path,
    budget: Budget = DEFAULT_BUDGET,
    *,
    hidden: bool = True,
    links_refused: bool = False,
) -> list[str]:
    """The paths of all plain files below a folder, in order, with forward slashes.

    Without `hidden` what is hidden is left out; so are links and the like, unless they raise
    RefusedInput. More files than may be raise it too, and folders nested deeper.
    """
    found: list[str] = []
    to_do = [""]
    while to_do:
        inside = to_do.pop()
        if inside.count("/") > budget.most_folders:
            limit = at_most(budget.most_folders, "folders, one in the other,")
            raise RefusedInput(folder / inside, "lies too deep", limit=limit)
        with os.scandir(folder / inside) as entries:
            for entry in entries:
                if not hidden and entry.name.startswith("."):
                    continue
                if entry.is_dir(follow_symlinks=False):
                    to_do.append(f"{inside}{entry.name}/")
                elif entry.is_file(follow_symlinks=False):
                    found.append(f"{inside}{entry.name}")
                elif links_refused:
                    mode = entry.stat(follow_symlinks=False).st_mode
                    raise RefusedInput(
                        folder / inside / entry.name, what_it_is(mode), remedy=_REMEDY
                    )
        if len(found) > budget.most_files:
            limit = at_most(budget.most_files, "files")
            raise RefusedInput(folder, f"holds {len(found):,} files or more", limit=limit)
    # as paths are sorted, step by step
    return sorted(found, key=lambda path: path.split("/"))


def is_plain_file(folder: Path, path: str) -> bool:
    """Whether a plain file lies at `path` below `folder`, by a way that leads nowhere else."""
    try:
        refuse_way_out(folder, path)
        return (folder / path).is_file()
    except (RefusedInput, OSError, ValueError):
        return False


def read_plain(path: Path, most_bytes: int) -> bytes:
    """The bytes of a plain file of at most that size.

    Raises FileNotFoundError, OSError, and RefusedInput for a link, a pipe or a larger file.
    """
    if not _NO_LINKS and path.is_symlink():  # Windows, which knows no such way to open
        raise RefusedInput(path, what_it_is(stat.S_IFLNK), remedy=_REMEDY)
    try:
        # asked of what was opened, so that nobody can exchange it in between
        handle = os.open(path, os.O_RDONLY | _NO_LINKS | _NO_WAITING | _BYTES)
    except OSError as error:
        if error.errno in _IS_LINK and path.is_symlink():
            raise RefusedInput(path, what_it_is(stat.S_IFLNK), remedy=_REMEDY) from None
        raise
    try:
        status = os.fstat(handle)
        if not stat.S_ISREG(status.st_mode):
            raise RefusedInput(path, what_it_is(status.st_mode), remedy=_REMEDY)
        size, data = status.st_size, b""
        if size <= most_bytes:
            with open(handle, "rb", closefd=False) as stream:
                # no further than a byte beyond, should it grow meanwhile
                data = stream.read(most_bytes + 1)
    finally:
        os.close(handle)
    if max(size, len(data)) > most_bytes:
        found = f"has {max(size, len(data)):,} bytes"
        raise RefusedInput(path, found, limit=at_most(most_bytes, "bytes"))
    return data
