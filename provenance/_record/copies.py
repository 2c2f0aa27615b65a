"""Tells one copy of a package from another by where it lies, so that each can own its own numbers.

The note is kept in the data folder of the person's account, because whatever lies in the package is
copied with it: record, path of the folder, a random token, and the stamp numbers given out there.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

from provenance._base.disk import write_text
from provenance._base.errors import UnusableInput
from provenance._base.locks import locked
from provenance._record.edition_key import EDITION_KEY
from provenance._record.package import DESCRIPTOR, Package, as_json


@dataclass(frozen=True)
class Copy:
    """One copy of a record on this computer.

    `began` when the record was begun in it, so that it owns every number that no range gives to
    another. `given` are the numbers it gave out, which count also when the folder is an older one
    that was put back.
    """

    path: str
    token: str
    began: bool
    given: frozenset[str] = frozenset()


def this_copy(package: Package) -> Copy | None:
    """What is known of the copy in this folder; None for one that came from elsewhere.

    A folder that was moved is the copy that it was, once nothing lies at its old place any more.
    Raises UnusableInput when the note cannot be read.
    """
    with _notes(package) as (path, copies):
        here = str(package.folder.resolve())
        for one in copies:
            if one.path == here:
                return one
        gone = [one for one in copies if not (Path(one.path) / DESCRIPTOR).exists()]
        named_so = [one for one in gone if Path(one.path).name == package.folder.resolve().name]
        for moved in (gone, named_so):
            if len(moved) == 1:
                now = replace(moved[0], path=here)
                _write(path, [now if one is moved[0] else one for one in copies])
                return now
        return None


def note_copy(package: Package, *, began: bool) -> Copy:
    """Note the copy in this folder, if it is not known yet; one copy alone is where it `began`."""
    known = this_copy(package)
    if known is not None:
        return known
    with _notes(package) as (path, copies):
        began = began and not any(one.began for one in copies)
        new = Copy(str(package.folder.resolve()), secrets.token_hex(8), began)
        _write(path, [*copies, new])
    return new


def note_given(package: Package, numbers: Iterable[str]) -> None:
    """Note that a copy gave out these numbers; to be called before they stand in the package."""
    with _notes(package) as (path, copies):
        here = str(package.folder.resolve())
        given = frozenset(numbers)
        _write(
            path,
            [replace(c, given=c.given | given) if c.path == here else c for c in copies],
        )


@contextmanager
def _notes(package: Package) -> Iterator[tuple[Path, list[Copy]]]:
    """The file about the copies of this record, and what it says, held against other writers."""
    path = notes_about(package, "copies").with_suffix(".json")
    path.parent.mkdir(parents=True, exist_ok=True)
    with locked(path.parent):
        yield path, _read(path)


def notes_about(package: Package, kind: str) -> Path:
    """Where this computer keeps its notes of a kind about a record, whichever copy it is."""
    import platformdirs

    begun = (package.name, package.descriptor.get("created"), package.descriptor.get(EDITION_KEY))
    record = sha256("\0".join(map(str, begun)).encode()).hexdigest()[:24]
    return platformdirs.user_data_path("treenail", appauthor=False) / kind / record


def _read(path: Path) -> list[Copy]:
    try:
        raw = json.loads(path.read_text(encoding="utf-8"))
        return [
            Copy(str(one["path"]), str(one["token"]), bool(one["began"]), frozenset(one["given"]))
            for one in raw["copies"]
        ]
    except FileNotFoundError:
        return []
    except (ValueError, TypeError, KeyError) as error:
        raise UnusableInput(
            f"{path} cannot be read ({error}). It says which copy of a record on this computer "
            "gives out which stamp numbers: restore it, or remove it and take the numbers over "
            "with 'treenail stamps PACKAGE --take-over --why REASON'"
        ) from error


def _write(path: Path, copies: Iterable[Copy]) -> None:
    rows = [{**vars(one), "given": sorted(one.given)} for one in copies]
    write_text(path, as_json({"copies": rows}))
