"""Opens a bundle that may be meant to do harm: nothing is followed, nothing is written elsewhere.

A zip is judged by its directory before a byte of it is unpacked, then unpacked under the same
bounds, so that a directory that lies is caught as well. Kinds of harm: APPNOTE.TXT (the zip
format), RFC 8493 section 5.1 (names that lead out of a bag), CWE-22, CWE-59 and CWE-409.
"""

from __future__ import annotations

import errno
import os
import shutil
import stat
import zipfile
import zlib
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

from provenance.bundle.limits import DEFAULT_LIMITS, Limits
from provenance.bundle.names import name_collisions, unsafe_because
from provenance.bundle.progress import Progress, say_nothing
from provenance.bundle.verdict import BundleFinding
from provenance.disk import CHUNK_BYTES
from provenance.errors import UnusableInput

_DO_NOT_OPEN = "Do not unpack it with other programs; ask the sender what it is."
_DAMAGED = "The zip was damaged on the way or on its disk; ask for it again."
_ENCRYPTED = 0x1 | 0x40 | 0x2000
_UTF8_NAME = 0x800
_METHODS = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
_DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError)
_LOCAL_HEADER_BYTES = 30
_MOST_SHOWN = 200


class HostileBundle(UnusableInput):
    """A bundle that cannot be opened in safety or as a whole; `findings` says why."""

    def __init__(self, bundle: Path, findings: list[BundleFinding]) -> None:
        self.findings = findings
        first = findings[0]
        what = " ".join(part for part in (first.path, first.message) if part)
        super().__init__(f"{bundle}: {what}. {first.remedy}")


def _finding(rule: str, path: str, message: str) -> BundleFinding:
    return BundleFinding("container", "error", rule, path[:_MOST_SHOWN], message, _DO_NOT_OPEN)


def _unsafe_name(path: str, reason: str) -> BundleFinding:
    return _finding("container.unsafe_name", repr(path), f"is no safe name: {reason}")


# -- folders -------------------------------------------------------------------------------------


def survey_folder(folder: Path, limits: Limits = DEFAULT_LIMITS) -> tuple[int, int]:
    """Look at every entry below a folder without opening any; returns (files, bytes).

    Raises HostileBundle for links, devices, names that lead astray, and anything beyond `limits`.
    """
    findings: list[BundleFinding] = []
    names: list[str] = []
    byte_count = 0
    to_do = [(folder, "")]
    while to_do:
        where, prefix = to_do.pop()
        with os.scandir(where) as entries:
            for entry in entries:
                path = f"{prefix}{entry.name}"
                if reason := unsafe_because(path, limits):
                    findings.append(_unsafe_name(path, reason))
                    continue
                status = entry.stat(follow_symlinks=False)
                if stat.S_ISDIR(status.st_mode):
                    to_do.append((where / entry.name, f"{path}/"))
                elif stat.S_ISREG(status.st_mode):
                    names.append(path)
                    byte_count += status.st_size
                else:
                    findings.append(_finding("container.link", path, _what(status.st_mode)))
                if len(names) > limits.most_files:
                    findings.append(_too_many(len(names), limits))
                    raise HostileBundle(folder, findings)
    findings += _collisions(names)
    if byte_count > limits.most_total_bytes:
        findings.append(_too_big(byte_count, limits))
    if findings:
        raise HostileBundle(folder, findings)
    return len(names), byte_count


def _what(mode: int) -> str:
    kind = "a link" if stat.S_ISLNK(mode) else "a device, pipe or socket"
    return f"is {kind}, not a file; it is not followed"


def _collisions(names: list[str]) -> Iterator[BundleFinding]:
    for one, other in name_collisions(names):
        yield _finding(
            "container.name_collision", other, f"is the same name as {one!r} on some systems"
        )


def _too_many(count: int, limits: Limits) -> BundleFinding:
    return _finding(
        "container.too_many_files", "", f"holds {count} files or more; {limits.most_files} may be"
    )


def _too_big(byte_count: int, limits: Limits) -> BundleFinding:
    return _finding(
        "container.too_big",
        "",
        f"unpacks to {byte_count} bytes; {limits.most_total_bytes} may be",
    )


# -- zips ----------------------------------------------------------------------------------------


def unpack_zip(
    bundle: Path,
    folder: Path,
    *,
    limits: Limits = DEFAULT_LIMITS,
    needed: Callable[[str], bool] = lambda path: True,
    progress: Progress = say_nothing,
) -> Path:
    """Unpack a zip bundle into an empty `folder`; returns the bag's folder in it.

    A member for which `needed` (asked with its path inside the bag) is false becomes an empty file
    of the size that the zip declares: enough for a verification that reads no contents.
    Raises HostileBundle when anything in the zip could do harm, or with every file in it that is
    damaged; UnusableInput when it is no zip, was cut off, or does not fit on the disk.
    """
    try:
        with zipfile.ZipFile(bundle) as archive:
            base_name, members = _survey_zip(bundle, archive, limits)
            total = sum(member.file_size for member in members)
            wanted = sum(m.file_size for m in members if needed(_inside(m, base_name)))
            _refuse_full_disk(bundle, folder, wanted)
            done = 0
            damaged: list[BundleFinding] = []
            for member in members:
                target = folder / member.filename
                target.parent.mkdir(parents=True, exist_ok=True)
                if not needed(_inside(member, base_name)):
                    with open(target, "xb") as placeholder:
                        placeholder.truncate(member.file_size)
                    continue
                try:
                    for count in _unpack_member(bundle, archive, member, target):
                        done += count
                        progress(done, total)
                except _DAMAGE as error:
                    # looked at to the end, so that every damaged file is named
                    damaged.append(_damaged(member, error))
            if damaged:
                raise HostileBundle(bundle, damaged)
            return folder / base_name
    except (*_DAMAGE, NotImplementedError, UnicodeDecodeError) as e:
        raise UnusableInput(
            f"{bundle} cannot be unpacked: {e}. It may have been cut off or damaged on the way; "
            "ask for it again"
        ) from e
    except OSError as e:
        if e.errno == errno.EINVAL:
            # its directory points to before its beginning: no fault of the disk, so not its cause
            raise UnusableInput(
                f"{bundle} cannot be unpacked: its beginning is missing. It may have been cut off "
                "or damaged on the way; ask for it again"
            ) from None
        raise UnusableInput(f"{bundle} cannot be unpacked to {folder}: {e.strerror or e}") from e


def _damaged(member: zipfile.ZipInfo, error: Exception) -> BundleFinding:
    what = str(error) or "its end is missing"
    return BundleFinding(
        "container",
        "error",
        "container.damaged",
        member.filename[:_MOST_SHOWN],
        f"is damaged inside the zip: {what}",
        _DAMAGED,
    )


def _inside(member: zipfile.ZipInfo, base_name: str) -> str:
    return member.filename.removeprefix(f"{base_name}/")


def _survey_zip(
    bundle: Path, archive: zipfile.ZipFile, limits: Limits
) -> tuple[str, list[zipfile.ZipInfo]]:
    """The one folder inside and the members that are files, once all of them are harmless."""
    everything = archive.infolist()
    if len(everything) > limits.most_files:
        raise HostileBundle(bundle, [_too_many(len(everything), limits)])
    findings: list[BundleFinding] = []
    seen: set[str] = set()
    for member in everything:
        if fault := _fault_of(member, limits):
            findings.append(_finding(*fault))
        if member.filename in seen:
            findings.append(_finding("container.duplicate", member.filename, "is there twice"))
        seen.add(member.filename)
    files = [member for member in everything if not member.is_dir()]
    findings += _overlaps(everything)
    findings += _collisions([member.filename for member in files])
    folders = {parent for m in files for parent in _parents(m.filename)}
    findings += [
        _finding("container.duplicate", path, "is both a file and a folder")
        for path in sorted(folders & {member.filename for member in files})
    ]
    total = sum(member.file_size for member in files)
    if total > limits.most_total_bytes:
        findings.append(_too_big(total, limits))
    base_names = {member.filename.split("/")[0] for member in everything}
    if not findings and (len(base_names) != 1 or any("/" not in m.filename for m in files)):
        findings.append(
            _finding(
                "container.not_one_folder",
                "",
                f"holds {len(base_names)} things at the top; a bag in a zip lies in one folder",
            )
        )
    if findings:
        raise HostileBundle(bundle, findings)
    return base_names.pop(), sorted(files, key=lambda member: member.header_offset)


def _parents(path: str) -> Iterator[str]:
    while "/" in path:
        path = path.rpartition("/")[0]
        yield path


def _fault_of(member: zipfile.ZipInfo, limits: Limits) -> tuple[str, str, str] | None:
    name = member.filename
    # the library cuts a name at its first NUL, so what it shows is not what other programs see
    if "\x00" in member.orig_filename:
        return "container.unsafe_name", repr(member.orig_filename), "has a NUL in its name"
    if reason := unsafe_because(name.removesuffix("/") if member.is_dir() else name, limits):
        return "container.unsafe_name", repr(name), f"is no safe name: {reason}"
    mode = member.external_attr >> 16
    if stat.S_IFMT(mode) not in (0, stat.S_IFDIR if member.is_dir() else stat.S_IFREG):
        return "container.link", name, _what(mode)
    if member.flag_bits & _ENCRYPTED:
        return "container.encrypted", name, "is encrypted; an archive must be readable without keys"
    if member.compress_type not in _METHODS:
        return "container.method", name, "is neither stored nor deflated"
    if member.is_dir() and member.file_size:
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
            yield _finding(
                "container.overlap", following.filename, f"shares bytes with {one.filename!r}"
            )


def _refuse_full_disk(bundle: Path, folder: Path, byte_count: int) -> None:
    free = shutil.disk_usage(folder).free
    if byte_count > free:
        raise UnusableInput(
            f"{bundle} unpacks to {byte_count} bytes, but only {free} are free in {folder.parent}; "
            "make room, or set TMPDIR to a folder on a larger disk"
        )


def _unpack_member(
    bundle: Path, archive: zipfile.ZipFile, member: zipfile.ZipInfo, target: Path
) -> Iterator[int]:
    """Write one member to a new file, counting; yields the bytes of each piece."""
    written = 0
    # "x" makes a new file or fails: a link or file that is there already is never written through
    with archive.open(member) as reader, open(target, "xb") as writer:
        while piece := reader.read(CHUNK_BYTES):
            written += len(piece)
            if written > member.file_size:
                break
            writer.write(piece)
            yield len(piece)
    if written != member.file_size:
        raise HostileBundle(
            bundle,
            [
                _finding(
                    "container.size_lie",
                    member.filename,
                    f"declares {member.file_size} bytes and holds {written}",
                )
            ],
        )
