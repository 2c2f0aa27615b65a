"""What lies in the folder of a desk: records, bundles, stores and what else was made there."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from provenance._base.errors import UnusableInput
from provenance._record.package import DESCRIPTOR
from provenance._store.store import is_store

RECORD, BUNDLE, STORE, FILE = "record", "bundle", "store", "file"
_SHOWN_FILES = frozenset({".pdf", ".csv", ".xlsx", ".zip", ".html", ".svg", ".png", ".txt"})


class NotHere(UnusableInput):
    """The folder of the desk has no such thing."""


@dataclass(frozen=True)
class Thing:
    """One thing in the folder: its name there, which of the four kinds it is, where it lies."""

    name: str
    kind: str
    path: Path


def things_in(folder: Path) -> list[Thing]:
    """What a person can open, by name; of files those that people read.

    A folder that is itself a record, bundle or store is the only thing on its desk.
    """
    if kind := _kind_of(folder):
        return [Thing(folder.resolve().name, kind, folder)]
    return [
        Thing(one.name, kind, one)
        for one in sorted(folder.iterdir(), key=lambda path: path.name.lower())
        if not one.name.startswith(".") and not one.is_symlink() and (kind := _kind_of(one))
    ]


def thing_named(folder: Path, name: str, kind: str) -> Thing:
    """The thing of that name; raises NotHere. What is not in the list cannot be named."""
    for one in things_in(folder):
        if (one.name, one.kind) == (name, kind):
            return one
    raise NotHere(f"{folder} has no {kind} '{name}'; it may have been renamed or moved")


def _kind_of(path: Path) -> str:
    if path.is_dir():
        if (path / DESCRIPTOR).is_file():
            return RECORD
        if (path / "bagit.txt").is_file():
            return BUNDLE
        return STORE if is_store(path) else ""
    if path.suffix.lower() == ".zip" and path.is_file():
        return BUNDLE
    return FILE if path.suffix.lower() in _SHOWN_FILES else ""
