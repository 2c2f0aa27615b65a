"""Puts photos, plans, ring-width files and reports into a package, with size and checksum."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from types import MappingProxyType

from provenance._base.disk import CHUNK_BYTES, sha256_of
from provenance._base.errors import AlreadyThere, UnusableInput
from provenance._base.portable import folded, unportable_because
from provenance._base.progress import Progress, say_nothing
from provenance._gate.folders import files_below
from provenance._history.entering import stage_table
from provenance._model.media_types import media_type_of
from provenance._record.package import Package
from provenance._record.together import Staging, writing_together

TABLE = "file"
KEPT_IN = "files"
_HEX_SHOWN = 8


@dataclass(frozen=True)
class Attached:
    """What came of attaching: paths in the package, with forward slashes.

    `described` have a row in the table 'file', which now says their media type, size and checksum;
    `undescribed` have none yet; `unchanged` were there already, byte for byte.
    """

    described: tuple[str, ...]
    undescribed: tuple[str, ...]
    unchanged: tuple[str, ...]


@dataclass(frozen=True)
class Copy:
    """A file to be copied: where it is now, and its path in the package, with forward slashes."""

    source: Path
    path: str


def attach_files(
    package: Package, source: Path | str, under: str = KEPT_IN, *, when: str = ""
) -> Attached:
    """Copy a file, or all files below a folder, to `under` in the package; all of them or none.

    Rows of the table 'file' that name a copied file get `media_type`, `byte_count` and `sha256`;
    rows are never added, because only a person knows what a file shows.
    Raises UnusableInput when there is nothing to copy or a name cannot be opened on every system,
    and AlreadyThere when another file of the
    same name is in the package; then nothing is copied.
    """
    copies = copies_of([Path(source)], under)
    with package.locked():
        unchanged = refuse_others(package, copies)
        put_files(package, copies, when=when)
        paths = {copy.path for copy in copies}
        described = paths & set(package.tables.column(TABLE, "path"))
    return Attached(
        described=tuple(sorted(described)),
        undescribed=tuple(sorted(paths - described)),
        unchanged=tuple(sorted(unchanged)),
    )


def file_number(sha256: str, taken: Collection[str]) -> str:
    """A number made of the file's own checksum, so that two laptops give two files two numbers.

    >>> file_number("3fa9c1b2" + 56 * "0", {"F-1"})
    'F-3FA9C1B2'
    """
    for length in range(_HEX_SHOWN, len(sha256)):
        number = f"F-{sha256[:length].upper()}"
        if number not in taken:
            return number
    raise AssertionError("no two files are of one checksum here")


def copies_of(sources: Iterable[Path], under: str = KEPT_IN) -> list[Copy]:
    """The files that sources stand for, each with its path below `under`.

    Raises UnusableInput where `under` is not below files/, where there is nothing to copy, and for
    names that some desktop cannot hold.
    """
    if not under.split("/")[0] == KEPT_IN or ".." in under.split("/"):
        raise UnusableInput(f"'{under}' is not below files/, where such files are kept")
    under = PurePosixPath(under).as_posix()
    copies = []
    for source in sources:
        if source.is_file():
            copies.append(Copy(source, f"{under}/{source.name}"))
            continue
        # a folder may come on somebody's stick: a link in it would bring in a file of this computer
        found = files_below(source, links_refused=True) if source.is_dir() else []
        if not found:
            raise UnusableInput(f"{source} is not there, or holds no file")
        copies += [Copy(source / path, f"{under}/{path}") for path in found]
    bad = [f"{one.source}: {why}" for one in copies if (why := unportable_because(one.path))]
    if bad:
        raise UnusableInput(
            "the name cannot be opened on every system:\n  "
            + "\n  ".join(bad)
            + "\nRename it, and its path in the table 'file'; nothing was copied"
        )
    return copies


def paths_kept(package: Package) -> list[str]:
    """The paths of all files below files/, in order, with forward slashes."""
    kept = package.folder / KEPT_IN
    return [f"{KEPT_IN}/{path}" for path in (files_below(kept) if kept.is_dir() else [])]


def refuse_others(package: Package, copies: Sequence[Copy]) -> set[str]:
    """Paths that hold the same bytes already; raises AlreadyThere for other bytes, naming all."""
    same, others = set(), []
    kept = {folded(path): path for path in paths_kept(package)}
    first: dict[str, Copy] = {}
    for copy in copies:
        # what differs in capitals alone is one file on many disks
        alike = folded(copy.path)
        before = first.setdefault(alike, copy)
        target = package.folder / kept.get(alike, copy.path)
        if before is not copy:
            others.append(f"{copy.source} and {before.source} would both be {copy.path}")
        elif target.exists():
            if target == package.folder / copy.path and sha256_of(copy.source) == sha256_of(target):
                same.add(copy.path)
            else:
                others.append(f"{target} is another file of that name than {copy.source}")
    if others:
        raise AlreadyThere(
            "\n".join(others) + "\nRename the new one and name it so in the table 'file', or keep "
            "it in a folder of its own with --under files/FOLDER; nothing was copied"
        )
    return same


def put_files(
    package: Package,
    copies: Sequence[Copy],
    *,
    made: Mapping[str, bytes] = MappingProxyType({}),
    new_rows: Sequence[Mapping[str, str]] = (),
    who: str = "",
    when: str = "",
    progress: Progress = say_nothing,
) -> None:
    """Copy files that are not there yet, write those that were `made` (path → content), and add
    rows to the table 'file', all in one step.

    Every row that names one of these files gets its media type, size and checksum; what a new row
    says beyond the package's own schema is left out. The caller holds the package's lock and knows
    that no other file is of these names.
    """
    facts: dict[str, tuple[int, str]] = {}
    with writing_together(package.folder) as staging:
        for done, copy in enumerate(copies):
            progress(done, len(copies))
            target = package.folder / copy.path
            if target.exists():
                facts[copy.path] = target.stat().st_size, sha256_of(target)
            else:
                facts[copy.path] = _copy(copy, staging)
        for path, content in made.items():
            staging.write(path, content)
            facts[path] = len(content), hashlib.sha256(content).hexdigest()
        known = package.model.table(TABLE).names
        rows = [dict(row) for row in package.tables.rows(TABLE)]
        rows += [{name: text for name, text in row.items() if name in known} for row in new_rows]
        if any(row["path"] in facts for row in rows):
            stage_table(
                package, staging, TABLE, _measured(rows, facts), who=who, why="attach", when=when
            )
        progress(len(copies), len(copies))


def _copy(copy: Copy, staging: Staging) -> tuple[int, str]:
    digest, size = hashlib.sha256(), 0
    with open(copy.source, "rb") as reader, staging.writing(copy.path) as writer:
        while chunk := reader.read(CHUNK_BYTES):
            digest.update(chunk)
            size += len(chunk)
            writer.write(chunk)
    return size, digest.hexdigest()


def _measured(
    rows: list[dict[str, str]], facts: Mapping[str, tuple[int, str]]
) -> list[dict[str, str]]:
    for row in rows:
        if row["path"] in facts:
            size, digest = facts[row["path"]]
            row |= {
                "media_type": media_type_of(row["path"]),
                "byte_count": str(size),
                "sha256": digest,
            }
    return rows
