"""Says which files of another copy come into a package, and what two of one name are called."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from provenance._base.disk import sha256_of
from provenance._base.errors import UnusableInput
from provenance._gate.folders import files_below
from provenance._history.acts import Line
from provenance._history.projection import State, covered_tables
from provenance._model.schema import Model
from provenance._record.package import DESCRIPTOR, Package

PATH_NOTATION = "relative_path"


@dataclass(frozen=True)
class Comparison:
    """What becomes of the files of both copies; paths are relative, with forward slashes.

    `copies` maps each path to be written in the package to the file that comes there. `second`
    maps a path under which both copies keep another file to the name that one of them gets;
    `mine_gives_way` are those of them where it is the package's own.
    """

    copies: Mapping[str, Path] = field(default_factory=dict)
    second: Mapping[str, str] = field(default_factory=dict)
    mine_gives_way: frozenset[str] = frozenset()


def compare_files(package: Package, other: Package) -> Comparison:
    """Compare what both keep beside tables and schemas, byte for byte.

    Of two files under one path that with the smaller checksum keeps it, whichever copy is merged
    into which. Raises UnusableInput where one copy has a folder and the other a file, and for a
    link, which may lead anywhere.
    """
    copies: dict[str, Path] = {}
    second: dict[str, str] = {}
    mine_gives_way = set()
    for path in _files_of(other):
        mine, theirs = package.folder / path, other.folder / path
        _refuse_folders(package.folder, path)
        if not mine.exists():
            copies[path] = theirs
            continue
        sums = sha256_of(mine), sha256_of(theirs)
        if sums[0] == sums[1]:
            continue
        name = PurePosixPath(path)
        own_name = str(name.with_name(f"{name.stem}-{max(sums)[:8]}{name.suffix}"))
        second[path] = own_name
        if sums[0] > sums[1]:
            mine_gives_way.add(path)
            copies[path] = theirs
            copies[own_name] = mine
        elif not (package.folder / own_name).exists():
            copies[own_name] = theirs
    return Comparison(copies, second, frozenset(mine_gives_way))


def _files_of(package: Package) -> Iterator[str]:
    tables = {f"tables/{name}.csv" for name in package.model.tables}
    for name in files_below(package.folder, hidden=False, links_refused=True):
        if name not in tables and name != DESCRIPTOR and not name.startswith("schemas/"):
            yield name


def _refuse_folders(folder: Path, path: str) -> None:
    parents = [folder / one for one in PurePosixPath(path).parents if str(one) != "."]
    if (folder / path).is_dir() or any(one.is_file() for one in parents):
        raise UnusableInput(
            f"{folder / path}: one copy has a folder of that name and the other a file; rename one "
            "of them. Nothing was merged"
        )


def lines_that_follow(
    compared: Comparison, merged: State, mine: State, theirs: State
) -> Iterator[Line]:
    """What the record has to say so that its rows name the files they named before."""
    for table, name in _path_fields(merged.model):
        for row, cells in merged.rows[table].items():
            path = cells.get(name, "")
            if path not in compared.second:
                continue
            kept, moved = (theirs, mine) if path in compared.mine_gives_way else (mine, theirs)
            # a row of both copies stays, and its checksums are the conflict to settle
            if _says(moved, table, row, name) == path != _says(kept, table, row, name):
                yield from merged.decide(table, row, name, compared.second[path])


def _path_fields(model: Model) -> Iterator[tuple[str, str]]:
    for table in covered_tables(model):
        for one in table.fields:
            if one.notation == PATH_NOTATION:
                yield table.name, one.name


def _says(state: State, table: str, row: str, name: str) -> str:
    return state.rows.get(table, {}).get(row, {}).get(name, "")
