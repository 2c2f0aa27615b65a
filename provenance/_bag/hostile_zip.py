"""Opens a zip that may be meant to do harm: judged by its directory, read under the same bounds.

The directory is looked through before a member is read, and each member is held to what the
directory says of it, so that a directory that lies is caught as well. The format is APPNOTE.TXT's.
"""

from __future__ import annotations

import errno
import io
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import IO

from provenance._bag.hostile import (
    MOST_SHOWN,
    HostileBundle,
    collisions,
    container_finding,
    refuse_full_disk,
    too_big,
    too_many,
)
from provenance._bag.names import unsafe_because
from provenance._bag.verdict import BundleFinding
from provenance._base.disk import CHUNK_BYTES
from provenance._base.errors import UnusableInput
from provenance._base.progress import Progress, say_nothing
from provenance._gate.budget import DEFAULT_BUDGET, Budget
from provenance._gate.folders import what_it_is
from provenance._gate.refusal import RefusedInput
from provenance._gate.zips import end_of_zip, refuse_directory
from provenance._record.remote import Place, Remote

DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError)
"""What reading a member raises when its bytes are not those that were packed."""

_DAMAGED = "The zip was damaged on the way or on its disk; ask for it again."
_ENCRYPTED = 0x1 | 0x40 | 0x2000
_DESCRIPTOR_FOLLOWS = 0x8
_DESCRIPTOR_BYTES = (12, 16, 20, 24)  # APPNOTE 4.3.9: with or without its mark, zip64 or not
_UTF8_NAME = 0x800
_METHODS = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
_LOCAL_HEADER_BYTES = 30
_END_BYTES = 22


@dataclass(frozen=True)
class ZipBag:
    """A zip whose directory was found harmless, and the bag in its one folder `base_name`.

    `members` are the files by their path inside the bag, in the order in which they lie in the zip;
    `stray` are findings about bytes before, behind or between them, which no checksum covers.
    """

    bundle: Place
    archive: zipfile.ZipFile
    base_name: str
    members: dict[str, zipfile.ZipInfo]
    stray: tuple[BundleFinding, ...]

    @cached_property
    def sizes(self) -> dict[str, int]:
        """The declared size of each file in bytes, by its path inside the bag."""
        return {path: member.file_size for path, member in self.members.items()}

    @property
    def side_by_side(self) -> bool:
        """Whether several members are best read at once."""
        return not isinstance(self.bundle, Remote)

    def open(self, path: str) -> AbstractContextManager[IO[bytes]]:
        """Read one file of the bag."""
        return self.archive.open(self.members[path])

    def damaged(self, path: str, error: Exception) -> BundleFinding:
        """The finding for a member whose reading raised one of DAMAGE."""
        return BundleFinding(
            "container",
            "error",
            "container.damaged",
            self.members[path].filename[:MOST_SHOWN],
            f"is damaged inside the zip: {str(error) or 'its end is missing'}",
            _DAMAGED,
        )

    def refuse_size_lie(self, path: str, count: int) -> None:
        """Raise HostileBundle when a member did not hold what the directory says."""
        member = self.members[path]
        if count != member.file_size:
            message = f"declares {member.file_size} bytes and holds {count}"
            lie = container_finding("container.size_lie", member.filename, message)
            raise HostileBundle(self.bundle, [lie])


@contextmanager
def opened_zip(
    bundle: Place,
    limits: Budget = DEFAULT_BUDGET,
    *,
    one_folder: bool = True,
    twins: bool = False,
) -> Iterator[ZipBag]:
    """Open a zip bundle, on a disk or in a store, and look its directory through.

    A bag lies in one folder; without `one_folder` the zip may hold what it likes at its top, and
    `base_name` is ''. With `twins` it may hold names that some systems take for one.
    Raises HostileBundle when anything in it could do harm; UnusableInput when it is no zip, was cut
    off, or cannot be read, here or later in the block.
    """
    try:
        with opened_file(bundle) as stream:
            if not stream.seekable():
                raise UnusableInput(
                    f"{bundle} is served from beginning to end only, and a zip must be read from "
                    "its end; copy it to a disk, or serve it with byte ranges"
                )
            # tried first, because the library takes any failure here for 'not a zip'
            stream.seek(0, io.SEEK_END)
            stream.seek(max(stream.tell() - _END_BYTES, 0))
            stream.read()
            _refuse_directory(bundle, stream, limits)
            with zipfile.ZipFile(stream) as archive:
                try:
                    base_name, members = _survey_zip(bundle, archive, limits, one_folder, twins)
                except HostileBundle:
                    if _is_inner_zip(stream, archive):
                        raise zipfile.BadZipFile("its end is missing") from None
                    raise
                inside = {one.filename.removeprefix(f"{base_name}/"): one for one in members}
                stray = tuple(_stray_bytes(stream, archive))
                yield ZipBag(bundle, archive, base_name, inside, stray)
    except (*DAMAGE, NotImplementedError, UnicodeDecodeError, struct.error) as e:
        raise UnusableInput(
            f"{bundle} cannot be opened: {e}. It may have been cut off or damaged on the way; "
            "ask for it again"
        ) from e
    except OSError as e:
        if e.errno == errno.EINVAL:
            # its directory points to before its beginning: no fault of the disk, so not its cause
            raise UnusableInput(
                f"{bundle} cannot be opened: its beginning is missing. It may have been cut off "
                "or damaged on the way; ask for it again"
            ) from None
        raise UnusableInput(f"{bundle} cannot be read: {e.strerror or e}") from e


def _refuse_directory(bundle: Place, stream: IO[bytes], limits: Budget) -> None:
    try:
        refuse_directory(stream, str(bundle), limits)
    except RefusedInput as error:
        found = container_finding("container.too_many_files", "", f"{error.found}; {error.limit}")
        raise HostileBundle(bundle, [found]) from error


def opened_file(place: Place) -> AbstractContextManager[IO[bytes]]:
    """A file, on a disk or in a store, opened to be read."""
    return place.open() if isinstance(place, Remote) else open(place, "rb")


def unpack_zip(
    bundle: Place,
    folder: Path,
    *,
    one_folder: bool = True,
    limits: Budget = DEFAULT_BUDGET,
    progress: Progress = say_nothing,
) -> Path:
    """Unpack a zip bundle into an empty `folder`; returns the bag's folder in it.

    Without `one_folder` it need be no bag, and `folder` itself is returned.

    Raises HostileBundle when anything in the zip could do harm, or with every file in it that is
    damaged; UnusableInput when it is no zip, was cut off, or does not fit on the disk.
    """
    with opened_zip(bundle, limits, one_folder=one_folder) as bag:
        if grave := [one for one in bag.stray if one.severity == "error"]:
            raise HostileBundle(bundle, grave)
        total = sum(bag.sizes.values())
        refuse_full_disk(bundle, folder, total)
        done = 0
        damaged: list[BundleFinding] = []
        for path in bag.members:
            target = folder / bag.base_name / path
            target.parent.mkdir(parents=True, exist_ok=True)
            try:
                for count in write_member(bag, path, target):
                    done += count
                    progress(done, total)
            except DAMAGE as error:
                # looked at to the end, so that every damaged file is named
                damaged.append(bag.damaged(path, error))
        if damaged:
            raise HostileBundle(bundle, damaged)
    return folder / bag.base_name


def write_member(bag: ZipBag, path: str, target: Path) -> Iterator[int]:
    """Write one member to a new file, counting; yields the bytes of each piece."""
    written = 0
    # "x" makes a new file or fails: a link or file that is there already is never written through
    with bag.open(path) as reader, open(target, "xb") as writer:
        while piece := reader.read(CHUNK_BYTES):
            written += len(piece)
            if written > bag.sizes[path]:
                break
            writer.write(piece)
            yield len(piece)
    bag.refuse_size_lie(path, written)


# -- what the directory says ---------------------------------------------------------------------


def _survey_zip(
    bundle: Place, archive: zipfile.ZipFile, limits: Budget, one_folder: bool, twins: bool
) -> tuple[str, list[zipfile.ZipInfo]]:
    """The one folder inside and the members that are files, once all of them are harmless."""
    everything = archive.infolist()
    if len(everything) > limits.most_files:
        raise HostileBundle(bundle, [too_many(len(everything), limits)])
    findings: list[BundleFinding] = []
    seen: set[str] = set()
    for member in everything:
        if fault := fault_of_member(member, limits):
            findings.append(container_finding(*fault))
        if member.filename in seen:
            message = "is there twice"
            findings.append(container_finding("container.duplicate", member.filename, message))
        seen.add(member.filename)
    files = [member for member in everything if not _is_folder(member)]
    findings += _overlaps(everything)
    findings += () if twins else collisions([member.filename for member in files])
    folders = {parent for m in files for parent in _parents(m.filename)}
    findings += [
        container_finding("container.duplicate", path, "is both a file and a folder")
        for path in sorted(folders & {member.filename for member in files})
    ]
    total = sum(member.file_size for member in files)
    if total > limits.most_total_bytes:
        findings.append(too_big(total, limits))
    base_names = {member.filename.split("/")[0] for member in everything}
    is_one_folder = len(base_names) == 1 and all("/" in member.filename for member in files)
    if one_folder and not findings and not is_one_folder:
        findings.append(
            container_finding(
                "container.not_one_folder",
                "",
                f"holds {len(base_names)} things at the top; a bag in a zip must be in one folder",
            )
        )
    if findings:
        raise HostileBundle(bundle, findings)
    base_name = base_names.pop() if one_folder else ""
    return base_name, sorted(files, key=lambda member: member.header_offset)


def _parents(path: str) -> Iterator[str]:
    while "/" in path:
        path = path.rpartition("/")[0]
        yield path


def _is_folder(member: zipfile.ZipInfo) -> bool:
    # the library's own way of asking fails for a name without a letter
    return member.filename.endswith("/")


def fault_of_member(member: zipfile.ZipInfo, limits: Budget) -> tuple[str, str, str] | None:
    """Rule, name and sentence of what is wrong with a member by the directory, or None."""
    name = member.filename
    # the library cuts a name at its first NUL, so what it shows is not what other programs see
    if "\x00" in member.orig_filename:
        return "container.unsafe_name", repr(member.orig_filename), "has a NUL in its name"
    if reason := unsafe_because(name.removesuffix("/"), limits):
        return "container.unsafe_name", repr(name), f"is not a safe name: {reason}"
    mode = member.external_attr >> 16
    if stat.S_IFMT(mode) not in (0, stat.S_IFDIR if _is_folder(member) else stat.S_IFREG):
        return "container.link", name, what_it_is(mode)
    if member.flag_bits & _ENCRYPTED:
        return "container.encrypted", name, "is encrypted; an archive must be readable without keys"
    if member.compress_type not in _METHODS:
        return "container.method", name, "is neither stored nor deflated"
    if _is_folder(member) and member.file_size:
        return "container.unsafe_name", name, "is a folder with contents of its own"
    if (
        member.file_size >= limits.ratio_from_bytes
        and member.file_size > member.compress_size * limits.most_ratio
    ):
        return (
            "container.zip_bomb",
            name,
            f"would grow from {member.compress_size} to {member.file_size} bytes, "
            f"more than {limits.most_ratio:g} times",
        )
    return None


def _overlaps(members: list[zipfile.ZipInfo]) -> Iterator[BundleFinding]:
    """Members that share bytes: how a small zip can hold far more than its size."""
    in_place = sorted(members, key=lambda member: member.header_offset)
    for one, following in pairwise(in_place):
        encoding = "utf-8" if one.flag_bits & _UTF8_NAME else "cp437"
        name_bytes = len(one.orig_filename.encode(encoding))
        least_end = one.header_offset + _LOCAL_HEADER_BYTES + name_bytes + one.compress_size
        if least_end > following.header_offset:
            yield container_finding(
                "container.overlap", following.filename, f"shares bytes with {one.filename!r}"
            )


# -- bytes that belong to no member --------------------------------------------------------------


def _stray_bytes(stream: IO[bytes], archive: zipfile.ZipFile) -> Iterator[BundleFinding]:
    """Bytes that are neither member nor directory: a program put before, something put behind."""
    in_place = sorted(archive.infolist(), key=lambda member: member.header_offset)
    if not in_place:
        return
    if (before := in_place[0].header_offset) > 0:
        yield _stray("", f"has {before} bytes before its first member")
    ends = [member.header_offset for member in in_place[1:]] + [archive.start_dir]
    for member, end in zip(in_place, ends, strict=True):
        gap = end - _end_of(stream, member)
        expected = _DESCRIPTOR_BYTES if member.flag_bits & _DESCRIPTOR_FOLLOWS else (0,)
        if gap < 0:
            message = "goes on into what lies behind it"
            yield container_finding("container.overlap", member.filename, message)
        elif gap not in expected:
            yield _stray(member.filename, f"is followed by {gap} bytes that belong to no member")
    comment, behind = _comment_and_behind(stream)
    if behind > 0:
        yield _stray("", f"goes on for {behind} bytes behind its end")
    if comment and behind <= 0:
        yield BundleFinding(
            "container",
            "warning",
            "container.comment",
            "",
            f"has a comment of {comment} bytes at its end, which no checksum covers",
            "Trust nothing that it says; ask the sender whether it belongs here.",
        )


def _comment_and_behind(stream: IO[bytes]) -> tuple[int, int]:
    """The length of the comment at a zip's end, and how many bytes stand behind that."""
    _, record = end_of_zip(stream)
    comment = int.from_bytes(record[20:22], "little")
    return comment, len(record) - _END_BYTES - comment


def _is_inner_zip(stream: IO[bytes], archive: zipfile.ZipFile) -> bool:
    """Whether the directory that was found is that of a zip within one that was cut off."""
    first = min((member.header_offset for member in archive.infolist()), default=0)
    return first > 0 and _comment_and_behind(stream)[1] > 0


def _end_of(stream: IO[bytes], member: zipfile.ZipInfo) -> int:
    """Where a member's data ends, by the header that stands before it (APPNOTE 4.3.7)."""
    stream.seek(member.header_offset)
    header = stream.read(_LOCAL_HEADER_BYTES)
    if len(header) < _LOCAL_HEADER_BYTES:
        raise zipfile.BadZipFile("Truncated file header")
    name_bytes, extra_bytes = struct.unpack_from("<HH", header, 26)
    start = member.header_offset + _LOCAL_HEADER_BYTES + name_bytes + extra_bytes
    return int(start + member.compress_size)


def _stray(path: str, message: str) -> BundleFinding:
    return container_finding("container.foreign_bytes", path, message)
