"""The dropped files that wait to be taken into a record, each with the mapping that reads it."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from provenance._base.disk import write_text
from provenance._base.errors import TreenailError
from provenance._base.yaml_text import yaml_of
from provenance._desk.asked import Asked
from provenance._desk.bringing.sheets import Raw, raw_sheets
from provenance._desk.things import NotHere
from provenance._gate.budget import SheetBudget
from provenance._intake.answers.opening import open_export
from provenance._intake.claims import NOT_SAID, PerhapsNewer, Sameness
from provenance._intake.draft import draft_mapping
from provenance._intake.files.readers import open_received
from provenance._intake.importing import ImportResult
from provenance._intake.known_forms import fits_now, known_form
from provenance._intake.mapping.mapping import FormMapping
from provenance._intake.mapping.mapping_file import read_document, read_mapping
from provenance._intake.mapping.workbook_marker import mapping_of
from provenance._intake.originals import safe_name
from provenance._record.package import Package

FOLDER = "mappings"
"""Where a mapping lies in the folder of a record until its file is taken in."""


@dataclass
class Waiting:
    """A dropped file; `mapping` is None where it brings its own.

    `known` names an earlier file of the same form. `result` is what a trial gave, `question`
    whether it is a newer copy, `same_as` the answer.
    """

    token: str
    record: str
    path: Path
    mapping: Path | None
    known: str = ""
    result: ImportResult | None = None
    question: PerhapsNewer | None = None
    same_as: Sameness = NOT_SAID

    @cached_property
    def raw(self) -> list[Raw]:
        """Its sheets, read once: an uploaded file does not change."""
        return raw_sheets(self.path, self.document())

    def document(self) -> dict[str, Any]:
        """The mapping as its YAML has it."""
        assert self.mapping is not None
        return read_document(self.mapping)

    def keep(self, document: dict[str, Any]) -> None:
        """Keep a changed mapping; what was tried with the former one no longer holds."""
        assert self.mapping is not None
        write_text(self.mapping, yaml_of(document))
        self.forget_trial()

    def forget_trial(self) -> None:
        """Of what was tried nothing holds any more."""
        self.result = self.question = None
        self.same_as = NOT_SAID

    def rules(self, package: Package) -> FormMapping | None:
        """The mapping as the import takes it."""
        return read_mapping(self.mapping, package.model) if self.mapping else None


def waiting_files(asked: Asked) -> list[Waiting]:
    """The files that wait for the record of the address, as they were dropped."""
    name = asked.address["record"]
    held = asked.desk.held.values()
    return [one for one in held if isinstance(one, Waiting) and one.record == name]


def waiting_file(asked: Asked) -> Waiting:
    """The file of the address; raises NotHere when it was taken in or the desk started anew."""
    for one in waiting_files(asked):
        if one.token == asked.address["file"]:
            return one
    raise NotHere("this file does not wait any more; bring it in again if it was not taken in")


def receive(asked: Asked, paths: list[Path]) -> tuple[list[Waiting], list[str]]:
    """Look at dropped files and propose how to read each; those that cannot be read are told."""
    came, refused = [], []
    for path in paths:
        try:
            one = _look_at(asked, path)
        except TreenailError as error:
            refused.append(str(error))
            continue
        asked.desk.held[one.token] = one
        came.append(one)
    return came, refused


def _look_at(asked: Asked, path: Path) -> Waiting:
    package = asked.record
    one = Waiting(secrets.token_urlsafe(8), asked.address["record"], path, None)
    if _brings_its_own(path):
        return one
    draft = next(
        (kept for kept in _names(package, path) if kept.exists() and fits_now(kept, path)), None
    )
    if draft is not None:
        one.mapping = draft
        return one
    known = known_form(package, path)
    sites = package.tables.column("site", "site_id") if "site" in package.model.tables else []
    text = known.text if known else draft_mapping(package.model, [path], sites=sites)
    one.known = known.file_name if known else ""
    one.mapping = next(kept for kept in _names(package, path) if not kept.exists())
    one.mapping.parent.mkdir(exist_ok=True)
    write_text(one.mapping, text)
    return one


def _brings_its_own(path: Path) -> bool:
    """Whether it is a workbook of this program, or answers to its form for phones."""
    with ExitStack() as keep:
        if open_export(path, SheetBudget(), keep) is not None:
            return True
    with closing(open_received(path)) as received:
        return mapping_of(received, path.name) is not None


def _names(package: Package, path: Path) -> Iterator[Path]:
    """Where the mapping of a file may lie: the names that are taken, and the first free one."""
    stem, number = safe_name(path.stem), 1
    while True:
        name = package.folder / FOLDER / f"{stem}{f'-{number}' if number > 1 else ''}.yaml"
        yield name
        if not name.exists():
            return
        number += 1
