"""Reads one handed-in file whole, before anything of it is brought into the record."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass, field
from pathlib import Path

from provenance._base.disk import sha256_of
from provenance._base.errors import UnusableInput
from provenance._base.findings import Finding
from provenance._gate.budget import SheetBudget
from provenance._identity.naming import CellNames
from provenance._intake.answers.opening import Export, open_export
from provenance._intake.answers.reading import read_answers
from provenance._intake.files.data_package import DataPackage
from provenance._intake.files.readers import open_received
from provenance._intake.files.received import ReceivedFile
from provenance._intake.lines.lines import read_sheet
from provenance._intake.lines.readings import Place, SheetReading, intake_finding
from provenance._intake.mapping.mapping import FormMapping, SourceRule
from provenance._intake.mapping.mapping_file import did_you_mean
from provenance._intake.mapping.workbook_marker import mapping_of, own_sheets, refuse_foreign_fields
from provenance._intake.returned.book import ReturnedBook, returned_book
from provenance._record.package import DESCRIPTOR, Package


@dataclass(frozen=True)
class IncomingFile:
    """What was handed in as it was read: each file by its name, with the SHA-256 of its bytes.

    Several files are one Data Package, or one export of answers from phones. `returned` is what a
    filled workbook of ours has besides; of answers (`is_answers`) a sheet is one answer, and
    `pictures` maps paths in the package to photos with their SHA-256.
    """

    files: Mapping[str, tuple[Path, str]]
    mapping: FormMapping
    readings: tuple[SheetReading, ...]
    findings: tuple[Finding, ...]
    returned: ReturnedBook | None = None
    is_answers: bool = False
    pictures: Mapping[str, tuple[Path, str]] = field(default_factory=dict)

    @property
    def read_with(self) -> bytes | None:
        """What decides how its files are read beside their bytes: a mapping, or the photos."""
        if not self.is_answers:
            return self.mapping.text
        return "".join(sorted(digest for _, digest in self.pictures.values())).encode()


def read_file(
    package: Package,
    path: Path,
    mapping: FormMapping | None,
    limits: SheetBudget,
    advance: Callable[[float], None],
    keep: ExitStack,
) -> IncomingFile:
    """Read one file through the mapping, or by itself if it is a workbook or answers of our form.

    `advance` is told the share of the file that is read; what is unpacked lies there until `keep`
    is closed. Raises UnusableInput when the file cannot
    be used as a whole.
    """
    sources = mapping.sources_of(path.name) if mapping else ()
    if not sources and (export := open_export(path, limits, keep)) is not None:
        return _answers(package, path, export)
    with closing(open_received(path, sources[0].text if sources else None, limits)) as received:
        own = not sources
        if own:
            mapping = _own_mapping(received, path, package, mapping)
            sources = mapping.sources
        assert mapping is not None
        package_files = received.files if isinstance(received, DataPackage) else {path.name: path}
        files = {one: (where, sha256_of(where)) for one, where in package_files.items()}
        findings: list[Finding] = []
        readings: list[SheetReading] = []
        names = CellNames(package.tables)
        jobs = [(source, sheet) for source in sources for sheet in _sheets(source, received, path)]
        for done, (source, sheet_name) in enumerate(jobs):

            def step(share: float, done: int = done) -> None:
                advance((done + share) / len(jobs))

            place = _place(received, path, sheet_name)
            if source.text == sources[0].text:
                sheet = received.sheet(sheet_name)
                readings.append(read_sheet(source, sheet, place, package.model, step, names))
            else:
                with closing(open_received(path, source.text, limits)) as again:
                    sheet = again.sheet(sheet_name)
                    readings.append(read_sheet(source, sheet, place, package.model, step, names))
        findings += _about_file(received, {sheet for _, sheet in jobs}, path)
        findings += _about_nothing(readings, bool(own_sheets(received)))
        returned = returned_book(received, mapping, package.model, path.name) if own else None
    return IncomingFile(files, mapping, tuple(readings), tuple(findings), returned)


def _answers(package: Package, path: Path, export: Export) -> IncomingFile:
    read = read_answers(package, export)
    files = {name: (where, sha256_of(where)) for name, where in export.files.items()}
    mapping = FormMapping(f"Answers {path.name}", ())
    return IncomingFile(
        files, mapping, read.readings, read.findings, is_answers=True, pictures=read.pictures
    )


def _place(received: ReceivedFile, path: Path, sheet: str = "") -> Place:
    """Where a sheet lies; a table of a Data Package in its own file."""
    if isinstance(received, DataPackage):
        return Place(received.place_of(sheet) if sheet else received.file_of(DESCRIPTOR), sheet)
    return Place(path.name, sheet)


def _about_file(received: ReceivedFile, read: set[str], path: Path) -> Iterator[Finding]:
    if not own_sheets(received):
        for remark in received.remarks:
            yield intake_finding(
                "note", "as_read", _place(received, path), f"{path.name} {remark}.", ""
            )
    yield from _sheets_not_read(received, read, path)


def _about_nothing(readings: Sequence[SheetReading], is_ours: bool) -> Iterator[Finding]:
    """A sheet of ours may be left blank; a form that gives nothing is worth a warning."""
    for reading in readings:
        if not reading.rows and not reading.unread and not is_ours:
            yield intake_finding(
                "warning",
                "nothing_read",
                reading.place,
                "No line of this sheet gave a row.",
                "If there should be some, check header_row, keep and when in the mapping.",
            )


def _own_mapping(
    received: ReceivedFile, path: Path, package: Package, mapping: FormMapping | None
) -> FormMapping:
    own = mapping_of(received, path.name)
    if own is not None:
        refuse_foreign_fields(own, package.model, path.name)
        return own
    if mapping is None:
        raise UnusableInput(
            f"{path.name} needs a mapping, which says what its columns mean; --draft proposes one"
        )
    patterns = ", ".join(f"'{one}'" for source in mapping.sources for one in source.files)
    raise UnusableInput(
        f"the mapping '{mapping.title}' says nothing of {path.name}; its patterns are {patterns}. "
        "Correct 'files:' there, or use another mapping"
    )


def _sheets(source: SourceRule, received: ReceivedFile, path: Path) -> list[str]:
    """The sheets that a source reads; raises UnusableInput for one that is not there."""
    names = received.sheet_names
    if names == ("",):
        return [""]
    if not source.sheets:
        visible = [name for name in names if received.sheet(name).facts().visible]
        if len(names) == 1 or len(visible) == 1:
            return visible or list(names)
        listed = ", ".join(f"'{name}'" for name in names)
        raise UnusableInput(
            f"{path.name} has several sheets: {listed}; name the one that is meant in the mapping "
            "(sheet:)"
        )
    found = []
    small = {" ".join(name.split()).casefold(): name for name in names}
    for wanted in source.sheets:
        name = small.get(" ".join(wanted.split()).casefold())
        if name is not None:
            found.append(name)
        elif not source.may_lack:
            listed = ", ".join(f"'{one}'" for one in names)
            raise UnusableInput(
                f"{path.name} has no sheet '{wanted}'.{did_you_mean(wanted, names)} It has "
                f"{listed}. Correct 'sheet:' in the mapping, or the workbook"
            )
    return found


def _sheets_not_read(received: ReceivedFile, read: set[str], path: Path) -> Iterator[Finding]:
    for name in received.sheet_names:
        if name in read or name in own_sheets(received):
            continue
        sheet = received.sheet(name)
        if next(iter(sheet.rows()), None) is None:
            continue
        hidden = "" if sheet.facts().visible else ", which is hidden"
        yield intake_finding(
            "note",
            "sheet_not_read",
            _place(received, path, name),
            f"The mapping says nothing of this sheet{hidden}, so it was not read.",
            "If it holds part of the record, add a source for it to the mapping.",
            value=name,
        )
