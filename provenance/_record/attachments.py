"""Puts photos, plans, ring-width files and reports into a package, with size and checksum."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._base.disk import copy_file, sha256_of
from provenance._base.errors import AlreadyThere, UnusableInput
from provenance._base.portable import unportable_because
from provenance._record.package import Package

if TYPE_CHECKING:
    import pandas as pd


TABLE = "file"


@dataclass(frozen=True)
class Attached:
    """What came of attaching: paths in the package, with forward slashes.

    `described` have a row in the table 'file', which now says their media type, size and checksum;
    `undescribed` have none yet; `unchanged` were there already, byte for byte.
    """

    described: tuple[str, ...]
    undescribed: tuple[str, ...]
    unchanged: tuple[str, ...]


def attach_files(package: Package, source: Path | str, under: str = "files") -> Attached:
    """Copy a file, or all files below a folder, to `under` in the package.

    Rows of the table 'file' that name a copied file get `media_type`, `byte_count` and `sha256`;
    rows are never added, because only a person knows what a file shows.
    Raises UnusableInput when there is nothing to copy or a name cannot be opened on every system,
    and AlreadyThere when another file of the
    same name is in the package; then nothing is copied.
    """
    source = Path(source)
    if not under.split("/")[0] == "files" or ".." in under.split("/"):
        raise UnusableInput(f"'{under}' is not below files/, where such files are kept")
    copies = _copies(source, package.folder / under)
    _refuse_names(package, copies)
    with package.locked():
        unchanged = _refuse_others(copies)
        for original, target in copies:
            if target not in unchanged:
                copy_file(original, target)
        paths = {target.relative_to(package.folder).as_posix() for _, target in copies}
        frame = package.table(TABLE)
        described = paths & set(frame["path"])
        if described:
            package.write_table(TABLE, _measured(package, frame, described))
    return Attached(
        described=tuple(sorted(described)),
        undescribed=tuple(sorted(paths - described)),
        unchanged=tuple(sorted(t.relative_to(package.folder).as_posix() for t in unchanged)),
    )


def _copies(source: Path, target: Path) -> list[tuple[Path, Path]]:
    if source.is_file():
        return [(source, target / source.name)]
    found = [path for path in sorted(source.rglob("*")) if path.is_file()]
    if not found:
        raise UnusableInput(f"{source} is not there, or holds no file")
    return [(path, target / path.relative_to(source)) for path in found]


def _refuse_names(package: Package, copies: list[tuple[Path, Path]]) -> None:
    """Raise UnusableInput with every name that some desktop cannot hold, and why."""
    wanted = [(one, target.relative_to(package.folder).as_posix()) for one, target in copies]
    bad = [f"{one}: {reason}" for one, path in wanted if (reason := unportable_because(path))]
    if bad:
        raise UnusableInput(
            "the name cannot be opened on every system:\n  "
            + "\n  ".join(bad)
            + "\nRename it, and its path in the table 'file'; nothing was copied"
        )


def _refuse_others(copies: list[tuple[Path, Path]]) -> set[Path]:
    """Targets that hold the same bytes already; raises AlreadyThere for other bytes."""
    same = set()
    for original, target in copies:
        if not target.exists():
            continue
        if sha256_of(original) != sha256_of(target):
            raise AlreadyThere(
                f"{target} is another file of that name; rename {original} and name it so in the "
                "table 'file'"
            )
        same.add(target)
    return same


def _measured(package: Package, frame: pd.DataFrame, paths: set[str]) -> pd.DataFrame:
    from provenance._model.media_types import media_type_of

    for row, path in frame["path"].items():
        if path in paths:
            where = package.folder / path
            frame.loc[row, "media_type"] = media_type_of(path)
            frame.loc[row, "byte_count"] = str(where.stat().st_size)
            frame.loc[row, "sha256"] = sha256_of(where)
    return frame
