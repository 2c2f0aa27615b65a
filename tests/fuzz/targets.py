"""What is tried with each damaged thing: the commands that open what others made."""

from __future__ import annotations

import io
import json
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import click

from provenance._base.errors import TreenailError
from provenance._cli import treenail
from tests.fuzz.mutations import (
    Choices,
    Tree,
    mutated_bytes,
    mutated_csv,
    mutated_tree,
    pick,
    read_tree,
    resealed,
    write_tree,
    zipped,
)
from tests.fuzz.room import Room

CRATE = "data/ro-crate-metadata.json"


@dataclass(frozen=True)
class Seeds:
    """Sound things in `folder`, made by `tests.bundle.conftest.pristine`; forms beside them."""

    folder: Path

    @cached_property
    def package(self) -> Tree:
        return read_tree(self.folder / "holl")

    @cached_property
    def bundle(self) -> Tree:
        """A sound bundle without pages and repository forms, which nothing here reads."""
        whole = read_tree(self.folder / "bundle")
        kept = {
            path: content
            for path, content in whole.items()
            if not path.startswith(("data/pages/", "data/check/"))
            and not path.endswith((".html", ".cff", ".xml", ".zip", ".md"))
        }
        content = kept[CRATE]
        assert isinstance(content, bytes)
        crate = json.loads(content)
        gone = {path.removeprefix("data/") for path in whole if path not in kept}
        crate["@graph"] = [one for one in crate["@graph"] if one["@id"] not in gone]
        for one in crate["@graph"]:
            if "hasPart" in one:
                one["hasPart"] = [part for part in one["hasPart"] if part["@id"] not in gone]
        kept[CRATE] = json.dumps(crate).encode()
        return resealed(kept)

    @cached_property
    def forms(self) -> dict[str, bytes]:
        """Field files by name, the mapping among them."""
        return {one.name: one.read_bytes() for one in sorted((self.folder / "forms").iterdir())}


def run(*line: str | Path) -> int:
    """The exit code of a command, as `provenance._cli.main` has it; other exceptions get out."""
    told = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    with redirect_stdout(told), redirect_stderr(told):
        try:
            treenail.main([str(one) for one in line], prog_name="treenail", standalone_mode=False)
            code = 0
        except SystemExit as stop:
            code = int(stop.code or 0)
        except (TreenailError, click.ClickException, OSError) as error:
            click.echo(str(error))
            code = 2
    assert code in (0, 1, 2), code
    return code


def _bag(choices: Choices, seeds: Seeds, *, specials: bool) -> Tree:
    tree = mutated_tree(choices, seeds.bundle, specials=specials)
    return resealed(tree) if choices.below(4) else tree


def _bundle(choices: Choices, seeds: Seeds, room: Room) -> Path:
    """A damaged bundle, zip or folder."""
    if choices.below(2):
        path = room.given / "bundle.zip"
        # a folder must be there for what a link would be made of
        tree = _bag(choices, seeds, specials=False)
        data = zipped(choices, tree, pick(choices, ("b/", "b/", "b/", "", "b/c/")))
        path.write_bytes(mutated_bytes(choices, data) if not choices.below(8) else data)
    else:
        path = room.given / "bundle"
        write_tree(_bag(choices, seeds, specials=True), path)
    return path


def verify(choices: Choices, seeds: Seeds, room: Room) -> Iterator[tuple[str | Path, ...]]:
    more = pick(choices, ((), ("--fast",), ("--format", "json"), ("--bag-only",)))
    yield ("verify", _bundle(choices, seeds, room), *more)


def unpack(choices: Choices, seeds: Seeds, room: Room) -> Iterator[tuple[str | Path, ...]]:
    out = room.written / "unpacked"
    yield ("unpack", _bundle(choices, seeds, room), "--out", out)
    if out.exists():
        yield ("check", out)


def accession(choices: Choices, seeds: Seeds, room: Room) -> Iterator[tuple[str | Path, ...]]:
    store = ("--store", room.written / "store")
    pattern = ("--pattern", "{year}.{serial:04}")
    yield ("accession", _bundle(choices, seeds, room), *store, *pattern, "--depositor", "crew")


def compare(choices: Choices, seeds: Seeds, room: Room) -> Iterator[tuple[str | Path, ...]]:
    damaged = _bundle(choices, seeds, room)
    sides = [seeds.folder / pick(choices, ("bundle.zip", "holl")), damaged]
    shape = pick(choices, ("text", "csv", "json"))
    yield ("compare", *(sides if choices.below(2) else sides[::-1]), "--format", shape)


def locate(choices: Choices, seeds: Seeds, room: Room) -> Iterator[tuple[str | Path, ...]]:
    yield ("locate", _bundle(choices, seeds, room), pick(choices, ("2?1", "231", "??1")))


def catalogue(choices: Choices, seeds: Seeds, room: Room) -> Iterator[tuple[str | Path, ...]]:
    _bundle(choices, seeds, room)
    yield ("catalogue", room.given, "--index", room.written / "index.sqlite")


COMMANDS: tuple[tuple[str, ...], ...] = (
    ("check",), ("custody show",), ("history",), ("locate", "2?1"), ("survey compute",),
    ("custody show", "231"), ("print relocation", "231", "--out", "OUTPUT.pdf"),
    ("pack", "--out", "OUTPUT"), ("stamps", "2"),
    ("pack", "--edition", "public", "--out", "OUTPUT"), ("print cards", "--out", "OUTPUT.pdf"),
    ("change undo", "0", "--why", "x", "--by", "MB"), ("print plan", "--out", "OUTPUT"),
    ("change correct", "sample", "231", "rings_field=88", "--why", "counted anew", "--by", "MB"),
)  # fmt: skip


def package(choices: Choices, seeds: Seeds, room: Room) -> Iterator[tuple[str | Path, ...]]:
    folder = room.given / "holl"
    write_tree(mutated_tree(choices, seeds.package, specials=True), folder)
    name, *more = pick(choices, COMMANDS)
    words = [one.replace("OUTPUT", str(room.written / "out")) for one in more]
    yield (*name.split(), folder, *words)


def merge(choices: Choices, seeds: Seeds, room: Room) -> Iterator[tuple[str | Path, ...]]:
    other = room.given / "other"
    write_tree(mutated_tree(choices, seeds.package, specials=True), other)
    yield ("merge", seeds.folder / "holl", other, "--by", "MB", "--out", room.written / "merged")


def office_file(choices: Choices, data: bytes) -> bytes:
    """A workbook with a part that is not as it was."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts: Tree = {one: archive.read(one) for one in archive.namelist()}
    path = pick(choices, sorted(parts))
    content = parts[path]
    assert isinstance(content, bytes)
    for _ in range(1 + choices.below(3)):
        quoted = content.split(b'"')
        if len(quoted) > 2 and choices.below(4):
            # what stands in quotes is nearly always an attribute: a cell, a size, a count
            quoted[1 + 2 * choices.below(len(quoted) // 2)] = pick(
                choices,
                (b"", b"-1", b"0", b"A1:XFD1048576", b"XFD1048576", b"A99999999999", b"1e999",
                 b"99999999", b"1048576", b"inf", b"\xc3\xa9", b"2024-01-01T99", b"P9D"),
            )  # fmt: skip
            content = b'"'.join(quoted)
        else:
            content = mutated_bytes(choices, content)
    parts[path] = content
    return zipped(choices, parts, "")


def imported(choices: Choices, seeds: Seeds, room: Room) -> Iterator[tuple[str | Path, ...]]:
    forms = dict(seeds.forms)
    name = pick(choices, [one for one in forms if one != "mapping.yaml"])
    damaged = "mapping.yaml" if not choices.below(6) else name
    suffix = damaged.rpartition(".")[2]
    if suffix in ("xlsx", "ods"):
        forms[damaged] = office_file(choices, forms[damaged])
    elif suffix == "csv" and choices.below(4):
        forms[damaged] = mutated_csv(choices, forms[damaged])
    else:
        forms[damaged] = mutated_bytes(choices, forms[damaged])
    write_tree(dict(forms), room.given)
    holl = room.written / "holl"
    shutil.copytree(seeds.folder / "holl", holl)
    if choices.below(3):
        mapping = room.given / "mapping.yaml"
        yield ("import", holl, room.given / name, "--mapping", mapping, "--by", "MB")
    else:
        yield ("import", holl, room.given / name, "--draft")


def data_package(choices: Choices, seeds: Seeds, room: Room) -> Iterator[tuple[str | Path, ...]]:
    folder = room.given / "survey"
    tree = {
        path: content
        for path, content in seeds.package.items()
        if path == "datapackage.json" or path.startswith(("tables/s", "schemas/s"))
    }
    content = tree["datapackage.json"]
    assert isinstance(content, bytes)
    described = json.loads(content)
    described["resources"] = [
        one for one in described["resources"] if one["path"] in tree and one["schema"] in tree
    ]
    tree["datapackage.json"] = json.dumps(described).encode()
    write_tree(mutated_tree(choices, tree, specials=True), folder)
    holl = room.written / "holl"
    shutil.copytree(seeds.folder / "holl", holl)
    yield ("import", holl, folder, "--draft")


Target = Callable[[Choices, Seeds, Room], Iterator[tuple[str | Path, ...]]]
TARGETS: dict[str, Target] = {
    "verify": verify,
    "unpack": unpack,
    "accession": accession,
    "compare": compare,
    "locate": locate,
    "catalogue": catalogue,
    "package": package,
    "merge": merge,
    "import": imported,
    "data": data_package,
}
CHANGES_WHAT_IS_GIVEN = frozenset({"package"})


def try_once(name: str, choices: Choices, seeds: Seeds, room: Room) -> list[int]:
    """Make one damaged thing and run what is to be tried with it; returns the exit codes.

    Raises whatever is no answer to a person, and AssertionError for a trespass.
    """
    with room.fresh():
        tempfile.tempdir = str(room.scratch)
        codes = []
        for line in TARGETS[name](choices, seeds, room):
            with room.watched(given_is_kept=name not in CHANGES_WHAT_IS_GIVEN):
                codes.append(run(*line))
        assert list(room.scratch.iterdir()) == []
        return codes
