"""Keeps the files that were handed in, byte for byte, and knows which is a newer copy of which."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, replace
from pathlib import Path

from provenance._base.disk import CHUNK_BYTES, sha256_of
from provenance._base.errors import UnusableInput
from provenance._base.portable import is_reserved
from provenance._history.acts import short_code
from provenance._intake.table_rows import TableRows
from provenance._record.package import Package
from provenance._record.together import Staging


@dataclass(frozen=True)
class KeptFile:
    """A received file with its number; `is_new` when these bytes were never received before.

    `lineage` are the numbers of all copies of it that were read, this one included.
    """

    original_id: str
    name: str
    sha256: str
    is_new: bool
    lineage: frozenset[str]


def safe_name(name: str) -> str:
    """A file name that every system can carry, still recognisable.

    >>> safe_name("Timbers (north) – 2nd copy.xlsx")
    'Timbers_north_2nd_copy.xlsx'
    """
    stem, dot, suffix = name.rpartition(".")
    if not stem:
        stem, dot, suffix = name, "", ""
    plain = [re.sub(r"[^A-Za-z0-9-]+", "_", part).strip("_-") for part in (stem, suffix)]
    safe = (plain[0][:60] or "file") + (f".{plain[1][:10]}" if dot and plain[1] else "")
    return f"_{safe}" if is_reserved(safe) else safe


class Shelf:
    """The table of originals with the files that are to be put beside it."""

    def __init__(self, package: Package, table: TableRows, moment: str) -> None:
        """`moment` is when the import happens, as EDTF."""
        self._package = package
        self._table = table
        self._moment = moment
        self._copies: dict[str, tuple[Path, str]] = {}
        self._texts: dict[str, bytes] = {}

    def keep(self, name: str, path: Path, sha256: str) -> KeptFile:
        """Give a received file its number; bytes that are there already keep theirs."""
        row = next((row for row in self._table if row["sha256"] == sha256), None)
        is_new = row is None
        if row is None:
            row = self._table.add(
                {
                    "original_id": short_code("IN", sha256),
                    "file_name": name,
                    "path": f"originals/{sha256[:12]}/{safe_name(name)}",
                    "sha256": sha256,
                    "byte_count": str(path.stat().st_size),
                    "read_on": self._moment,
                }
            )
        target = self._package.folder / row["path"]
        if not target.is_file() or sha256_of(target) != sha256:
            self._copies[row["path"]] = (path, sha256)
        code = row["original_id"]
        return KeptFile(code, name, sha256, is_new, frozenset({code}))

    def keep_picture(self, target: str, path: Path, sha256: str) -> None:
        """Keep a photo at its own place in the package, unless it is there."""
        there = self._package.folder / target
        if not there.is_file() or sha256_of(there) != sha256:
            self._copies[target] = (path, sha256)

    def note_older(self, kept: KeptFile, older: frozenset[str], newest: str) -> KeptFile:
        """Write down of which received files this is a newer copy."""
        row = self._table.get(kept.original_id)
        assert row is not None
        if newest != kept.original_id and not row["replaces_original_id"]:
            self._table.put(row, "replaces_original_id", newest)
        return replace(kept, lineage=kept.lineage | older)

    def note_mapping(self, kept: KeptFile, mapping_path: str) -> None:
        """Write down with which mapping a file was read."""
        row = self._table.get(kept.original_id)
        assert row is not None
        self._table.put(row, "mapping_path", mapping_path)

    def keep_mapping(self, name: str, text: bytes, sha256: str) -> str:
        """Keep a mapping's text; returns where in the package."""
        path = f"originals/{sha256[:12]}/{safe_name(name)}"
        if not (self._package.folder / path).is_file():
            self._texts[path] = text
        return path

    def stage(self, staging: Staging) -> None:
        """Copy the files; raises UnusableInput when one has changed since it was read."""
        for target, (path, sha256) in self._copies.items():
            digest = hashlib.sha256()
            with open(path, "rb") as reader, staging.writing(target) as writer:
                while chunk := reader.read(CHUNK_BYTES):
                    digest.update(chunk)
                    writer.write(chunk)
            if digest.hexdigest() != sha256:
                raise UnusableInput(
                    f"{path.name} was changed while it was read; close it in the other program and "
                    "import it again"
                )
        for target, text in self._texts.items():
            staging.write(target, text)
