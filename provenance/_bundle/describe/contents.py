"""Finds out which files of a package go into its bundle, and which of them the record describes."""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from provenance._bag.names import name_collisions, unlistable_because, unsafe_because
from provenance._base.errors import UnusablePackage
from provenance._base.portable import unportable_because
from provenance._model.schema import Field
from provenance._record.package import DESCRIPTOR, Package

DESCRIBED_FILES = (("file", "path"), ("original", "path"), ("original", "mapping_path"))
CHECKSUMMED_FILES = ("file", "original")
LITTER = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})
_OUR_OWN = re.compile(r"\.lock|\.origin\.json|\..*\.[0-9a-f]{12}\.part")


@dataclass(frozen=True)
class Member:
    """One file of a package: its path in it, with forward slashes, and its size in bytes."""

    path: str
    byte_count: int


@dataclass(frozen=True)
class Contents:
    """The files of a package as they stand.

    `undescribed` go into the bundle though no row describes them; `left_out` do not go in (hidden
    at the top of the folder, or litter of an operating system); `missing` are described but are
    not there, as (table, row key, path).
    """

    members: tuple[Member, ...]
    undescribed: tuple[str, ...]
    left_out: tuple[str, ...]
    missing: tuple[tuple[str, str, str], ...]

    @property
    def byte_count(self) -> int:
        """The size of all members together."""
        return sum(member.byte_count for member in self.members)


def survey_package(package: Package) -> Contents:
    """List the files of a package in the order of their paths.

    Raises UnusablePackage for a link or device, a name that cannot be carried everywhere, and two
    names that some systems take for one.
    """
    members: list[Member] = []
    left_out: list[str] = []
    for path, entry in _walk(package.folder, ""):
        if entry.name in LITTER or (entry.name.startswith(".") and "/" not in path):
            if not _OUR_OWN.fullmatch(entry.name):
                left_out.append(path)
            continue
        if _OUR_OWN.fullmatch(entry.name):
            continue
        status = entry.stat(follow_symlinks=False)
        members.append(Member(path, status.st_size))
    members.sort(key=lambda member: member.path)
    paths = [member.path for member in members]
    _refuse_unfit_names(package, paths)
    described = _described(package)
    known = {path for path, _, _ in described} | _structure(package)
    there = set(paths)
    return Contents(
        members=tuple(members),
        undescribed=tuple(path for path in paths if path not in known),
        left_out=tuple(sorted(left_out)),
        missing=tuple((table, key, path) for path, table, key in described if path not in there),
    )


def _walk(folder: Path, prefix: str) -> Iterator[tuple[str, os.DirEntry[str]]]:
    """Every file below, links and devices refused; hidden folders at the top come as one entry."""
    with os.scandir(folder) as entries:
        for entry in sorted(entries, key=lambda one: one.name):
            path = f"{prefix}{entry.name}"
            if reason := unsafe_because(path):
                raise UnusablePackage(
                    f"{folder}: the file name {path!r} cannot go into a bundle: {reason}; rename it"
                )
            kind = entry.stat(follow_symlinks=False).st_mode
            if stat.S_ISDIR(kind):
                if not prefix and entry.name.startswith("."):
                    yield path, entry
                else:
                    yield from _walk(folder / entry.name, f"{path}/")
            elif stat.S_ISREG(kind):
                yield path, entry
            else:
                what = "a link" if stat.S_ISLNK(kind) else "no plain file"
                raise UnusablePackage(
                    f"{folder / entry.name} is {what}; a bundle must hold everything itself, so "
                    "put the file itself there or remove it"
                )


def _refuse_unfit_names(package: Package, paths: list[str]) -> None:
    for path in paths:
        if reason := unlistable_because(path):
            raise UnusablePackage(
                f"{package.folder / path}: the name cannot be written in a list of checksums that "
                f"every tool reads the same way: {reason}; rename the file, "
                "and its path in the record"
            )
        if reason := unportable_because(path):
            raise UnusablePackage(
                f"{package.folder / path}: the name cannot be opened on every system: {reason}; "
                "rename the file, and its path in the record"
            )
    if pairs := name_collisions(paths):
        one, other = pairs[0]
        raise UnusablePackage(
            f"{package.folder}: '{one}' and '{other}' are one and the same name on some systems "
            f"(letter case or Unicode form), so one would be lost there; rename one of them "
            f"({len(pairs)} such pair(s))"
        )


def _structure(package: Package) -> set[str]:
    """The files that make the package: they need no row."""
    tables = package.model.tables
    return {
        DESCRIPTOR,
        "README.md",
        "mapping.example.yaml",
        "schemas/model.json",
        *(f"schemas/{name}.json" for name in tables),
        *(f"tables/{name}.csv" for name in tables),
    }


def _described(package: Package) -> list[tuple[str, str, str]]:
    """(path, table, row key) of every file that a row describes."""
    found = []
    for table, column in DESCRIBED_FILES:
        for row in package.tables.rows(table):
            if path := row[column]:
                found.append((path, table, row[package.model.table(table).primary_key[0]]))
    return found


def described_sums(package: Package) -> list[tuple[str, str, str, str]]:
    """(path, sha256, table, row key) of every file whose checksum stands in the record."""
    found = []
    for table in CHECKSUMMED_FILES:
        for row in package.tables.rows(table):
            if row["path"] and row["sha256"]:
                key = row[package.model.table(table).primary_key[0]]
                found.append((row["path"], row["sha256"], table, key))
    return found


# -- the date ------------------------------------------------------------------------------------


def says_when_done(field: Field) -> bool:
    """Whether a field says when something was done (not when it is due or allowed)."""
    said = field.notation == "edtf" and field.name.endswith("_on")
    return said and not field.name.endswith("due_on")


def record_date(package: Package) -> str:
    """The date of the record, YYYY-MM-DD: the newest day on which something in it was done.

    It is the newest whole date in any field that says when something was done, or the day the
    package was started if that is later. Bundles bear this date and never the clock's, so that
    the same package makes the same bundle on any day.
    Raises UnusablePackage when the package bears no date at all.
    """
    days = [_day(str(package.descriptor.get("created", "")))]
    for table in package.model.tables.values():
        for one in table.fields:
            if says_when_done(one):
                days += map(_day, set(package.tables.column(table.name, one.name)))
    whole = [day for day in days if day]
    if not whole:
        raise UnusablePackage(
            f"{package.folder / DESCRIPTOR}: 'created' is not a date and no row has one, so the "
            'bundle would have none; write "created": "2024-06-03T00:00:00Z", the day it was begun'
        )
    return max(whole)


def _day(text: str) -> str | None:
    try:
        return date.fromisoformat(text[:10]).isoformat() if len(text) >= 10 else None
    except ValueError:
        return None
