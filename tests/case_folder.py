"""A mounted folder that keeps the case of names and ignores it when it looks them up.

As NTFS and APFS do by default (Microsoft, 'Adjust case sensitivity'; Apple File System Guide): for
tests on Linux only, by FUSE. It needs mfusepy and the system packages fuse3 and libfuse2.

    python tests/case_folder.py REAL MOUNTPOINT &      # later: fusermount3 -u MOUNTPOINT
"""

from __future__ import annotations

import os
import sys
import unicodedata
from typing import Any

import mfusepy

STAT = ("st_gid", "st_uid", "st_mode", "st_nlink", "st_size")
TIMES = ("st_atime", "st_ctime", "st_mtime")
STATVFS = (
    *("f_bavail", "f_bfree", "f_blocks", "f_bsize", "f_frsize"),
    *("f_favail", "f_ffree", "f_files", "f_flag", "f_namemax"),
)


def one_name(name: str) -> str:
    """The form by which the folder looks a name up."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


class CaseFolder(mfusepy.Operations):
    """Hands every call on to a real folder, under the name that is there if one is alike."""

    use_ns = True

    def __init__(self, root: str) -> None:
        self.root = os.path.realpath(root)

    def real(self, path: str) -> str:
        at = self.root
        for part in filter(None, path.split("/")):
            if os.path.lexists(os.path.join(at, part)):  # and so no other is alike
                at = os.path.join(at, part)
                continue
            try:
                there = {one_name(name): name for name in os.listdir(at)}
            except OSError:
                there = {}
            at = os.path.join(at, there.get(one_name(part), part))
        return at

    def getattr(self, path: str, fh: int | None = None) -> dict[str, Any]:
        status = os.lstat(self.real(path))
        times = {name: getattr(status, f"{name}_ns") for name in TIMES}
        return times | {name: getattr(status, name) for name in STAT}

    def readdir(self, path: str, fh: int) -> list[str]:
        return [".", "..", *os.listdir(self.real(path))]

    def create(self, path: str, mode: int, fi: Any = None) -> int:
        return os.open(self.real(path), os.O_RDWR | os.O_CREAT | os.O_EXCL, mode)

    def open(self, path: str, flags: int) -> int:
        return os.open(self.real(path), flags)

    def read(self, path: str, size: int, offset: int, fh: int) -> bytes:
        return os.pread(fh, size, offset)

    def write(self, path: str, data: bytes, offset: int, fh: int) -> int:
        return os.pwrite(fh, data, offset)

    def truncate(self, path: str, length: int, fh: int | None = None) -> int:
        os.truncate(self.real(path), length)
        return 0

    def release(self, path: str, fh: int) -> int:
        os.close(fh)
        return 0

    def flush(self, path: str, fh: int) -> int:
        return 0

    def fsync(self, path: str, datasync: int, fh: int) -> int:
        return 0

    def mkdir(self, path: str, mode: int) -> int:
        os.mkdir(self.real(path), mode)
        return 0

    def rmdir(self, path: str) -> int:
        os.rmdir(self.real(path))
        return 0

    def unlink(self, path: str) -> int:
        os.unlink(self.real(path))
        return 0

    def rename(self, old: str, new: str, flags: int = 0) -> int:
        source, target = self.real(old), self.real(new)
        if source == target:  # only the case is changed
            target = os.path.join(os.path.dirname(source), os.path.basename(new))
        os.rename(source, target)
        return 0

    def chmod(self, path: str, mode: int) -> int:
        os.chmod(self.real(path), mode)
        return 0

    def utimens(self, path: str, times: tuple[int, int] | None = None) -> int:
        os.utime(self.real(path), ns=times)
        return 0

    def statfs(self, path: str) -> dict[str, Any]:
        status = os.statvfs(self.root)
        return {name: getattr(status, name) for name in STATVFS}


if __name__ == "__main__":
    mfusepy.FUSE(
        CaseFolder(sys.argv[1]),
        sys.argv[2],
        foreground=True,
        nothreads=True,
        # what the kernel remembers of a name would be wrong for the same name in another case
        entry_timeout=0,
        attr_timeout=0,
        negative_timeout=0,
    )
