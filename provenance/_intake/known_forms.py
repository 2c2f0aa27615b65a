"""Finds the mapping for a file among those that read files of its form into the record before."""

from __future__ import annotations

import glob
from collections.abc import Collection, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from provenance._base.errors import UnusableInput
from provenance._base.yaml_text import yaml_of
from provenance._intake.files.readers import open_received
from provenance._intake.files.received import Row, TextHabits
from provenance._intake.lines.headings import find_headings
from provenance._intake.lines.readings import Place
from provenance._intake.mapping.document import LEFT, TO_DECIDE, Source, uses
from provenance._intake.mapping.mapping import SourceRule, same_heading
from provenance._intake.mapping.mapping_file import OPEN, mapping_from, read_document
from provenance._record.package import Package

_ROWS = 100
"""Rows in which the headings of a form are looked for."""
_ALIKE = 0.8
"""A sheet is of a form when all that is read is there, and so many headings are known."""


@dataclass(frozen=True)
class KnownForm:
    """A mapping that fits a file: its YAML, and the name of the file that it read last."""

    text: str
    file_name: str


def known_form(package: Package, path: Path) -> KnownForm | None:
    """The newest mapping whose sheets and headings a file has; None where there is none.

    Of a mapping of several forms only what fits is taken, and file names that it does not know
    are put in.
    """
    best: tuple[int, KnownForm] | None = None
    form = _Form(path)
    for mapping_path, file_name in _mappings(package):
        raw = read_document(mapping_path)
        try:
            sources = mapping_from(raw, package.model, mapping_path.name).sources
        except UnusableInput:
            continue  # of a profile that this record had before
        fitting = [place for place, one in enumerate(sources) if _fits(one, form)]
        if not fitting or (best and len(fitting) <= best[0]):
            continue
        if len(fitting) == len(sources) and all(one.reads(path.name) for one in sources):
            text = mapping_path.read_text("utf-8-sig")
        else:
            taken = [_reading(raw["sources"][place], sources[place], path) for place in fitting]
            text = yaml_of({**raw, "sources": taken})
        best = len(fitting), KnownForm(text, file_name)
    return best[1] if best else None


def fits_now(mapping: Path, path: Path) -> bool:
    """Whether a mapping that a person is still working on is for a file, questions or not."""
    sources = read_document(mapping)["sources"]
    form = _Form(path)
    return all(
        _has_headings(
            form,
            _listed(one.get("sheet", one.get("sheets", []))),
            one.get("header_row", 1),
            {*one.get(TO_DECIDE, ()), *one.get(LEFT, ()), *_looked_at(one)},
        )
        for one in sources
    )


def _looked_at(source: Source) -> set[str]:
    return {heading for use in uses(source) for heading in use.columns} - {OPEN}


def _listed(sheets: str | list[str]) -> list[str]:
    return [sheets] if isinstance(sheets, str) else sheets


def _mappings(package: Package) -> Iterator[tuple[Path, str]]:
    """The mappings that the record keeps, the newest first, each with a file that it read."""
    seen = set()
    for row in reversed(package.tables.rows("original")):
        path = package.folder / row["mapping_path"]
        known = row["mapping_path"] in seen or not row["mapping_path"]
        # a record may come from elsewhere, and name what lies outside of it
        if not known and path.is_file() and path.resolve().is_relative_to(package.folder.resolve()):
            seen.add(row["mapping_path"])
            yield path, row["file_name"]


def _reading(raw: dict[str, Any], source: SourceRule, path: Path) -> dict[str, Any]:
    return raw if source.reads(path.name) else {**raw, "files": glob.escape(path.name)}


class _Form:
    """The first rows of a file's sheets, read once for each way to read a text file."""

    def __init__(self, path: Path) -> None:
        self.name = path.name
        self._path = path
        self._sheets: dict[TextHabits, dict[str, list[Row]]] = {}

    def sheets(self, habits: TextHabits) -> dict[str, list[Row]]:
        """The first rows of each sheet."""
        if habits not in self._sheets:
            with closing(open_received(self._path, habits)) as received:
                self._sheets[habits] = {
                    name: list(islice(received.sheet(name).rows(), _ROWS))
                    for name in received.sheet_names
                }
        return self._sheets[habits]


def _fits(source: SourceRule, form: _Form) -> bool:
    """Whether a file has the sheets of a source, each with its headings and few others."""
    known = source.columns | {*source.left_out}
    return _has_headings(form, source.sheets, source.header_row, source.columns, known, source.text)


def _has_headings(
    form: _Form,
    sheets: Sequence[str],
    header_row: int,
    wanted: Collection[str],
    known: Collection[str] = (),
    habits: TextHabits = TextHabits(),  # noqa: B008  (a value that does not change)
) -> bool:
    small = {same_heading(one) for one in known or wanted}
    rows = form.sheets(habits)
    names = {same_heading(one): one for one in rows}
    chosen = [names.get(same_heading(one)) for one in sheets]
    if names.keys() == {""} or not sheets:
        chosen = list(names.values()) if len(names) == 1 else [None]
    for name in chosen:
        if name is None:
            return False
        try:
            found = find_headings(rows[name], header_row, wanted, Place(form.name, name))
        except UnusableInput:
            return False
        here = [one for one in map(same_heading, found.names) if not one.startswith("column ")]
        if sum(one in small for one in here) < _ALIKE * len(here):
            return False
    return True
