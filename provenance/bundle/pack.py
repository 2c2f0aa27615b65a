"""Packs a package into an archive bundle: a BagIt bag, as a folder or as one zip."""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from provenance import __version__
from provenance.bundle.bag import write_bag
from provenance.bundle.citation import keeper, makers
from provenance.bundle.code_book import code_book_html, code_book_markdown
from provenance.bundle.contents import (
    GENERATED,
    Contents,
    described_sums,
    record_date,
    survey_package,
)
from provenance.bundle.crate import CRATE, describe_crate
from provenance.bundle.deposit.files import write_deposit_files
from provenance.bundle.deposit.names import DEPOSIT_TITLES
from provenance.bundle.deposit.schema_org import dataset_json_ld
from provenance.bundle.editions import FULL, Edition
from provenance.bundle.finding_aid.write import write_finding_aid
from provenance.bundle.lineage import ACCESSION_TAG, Lineage, lineage_of
from provenance.bundle.plain_readme import plain_readme
from provenance.bundle.progress import Progress, say_nothing, stretch
from provenance.bundle.redaction.account import Account
from provenance.bundle.redaction.edition_files import (
    SUMMARY,
    SUMMARY_TEXT,
    public_facts,
    write_check_summary,
    write_notice,
)
from provenance.bundle.redaction.notice import WITHHELD_TEXT
from provenance.bundle.redaction.redact import Redacted, chosen_grid, is_public, redact
from provenance.bundle.rows import row_counts
from provenance.bundle.zipping import write_zip
from provenance.custody import last_seal
from provenance.disk import building_folder, write_text, writing
from provenance.edition_key import EDITION_KEY, edition_key, new_edition_key
from provenance.errors import AlreadyThere, UnusableInput, UnusablePackage
from provenance.package import DESCRIPTOR, Package, as_json

if TYPE_CHECKING:
    from provenance.findings import Report

BUNDLE_VERSION = "1"
_NAME = re.compile(r"[a-z0-9_-][a-z0-9._-]{0,99}")


@dataclass(frozen=True)
class Packed:
    """What came of packing: where the bundle lies and what is worth knowing about it.

    `report` is the check's, which is in the bundle too; `differing` are files whose bytes are not
    those that the record has a checksum of, as (table, row key, path). `account` is what the public
    edition withholds, None for the full one; `got_key` says that the package was given an edition
    key, so that its full edition has to be packed again.
    """

    path: Path
    contents: Contents
    report: Report
    differing: tuple[tuple[str, str, str], ...]
    account: Account | None = None
    got_key: bool = False


def bundle_name(package: Package) -> str:
    """The name of a package's bundle, which is also the folder inside a zip."""
    if not _NAME.fullmatch(package.name):
        raise UnusablePackage(
            f"{package.folder / DESCRIPTOR}: the name {package.name!r} is no package name; use "
            "lower case letters, digits, '.', '_' and '-' (Data Package v2)"
        )
    return f"{package.name}-bundle"


def pack_bundle(
    package: Package,
    out: Path | str | None = None,
    *,
    zipped: bool = False,
    edition: Edition = FULL,
    grid: str | None = None,
    progress: Progress | None = None,
) -> Path:
    """Write a package as an archive bundle; returns where it lies.

    As `pack`, for those who need no more than the path.
    """
    return pack(package, out, zipped=zipped, edition=edition, grid=grid, progress=progress).path


def pack(
    package: Package,
    out: Path | str | None = None,
    *,
    zipped: bool = False,
    edition: Edition = FULL,
    grid: str | None = None,
    progress: Progress | None = None,
) -> Packed:
    """Write a package as an archive bundle (BagIt 1.0, RFC 8493).

    `out` is the folder or, `zipped`, the file to write: `bundle_name` beside the package if left
    out. The same package makes the same bytes on any day: every date is `record_date`.
    `edition` FULL holds everything; PUBLIC is what `redact` leaves of it, and `grid` is the size of
    the cells in degrees that its coordinates are made coarse to ('drop' for none). A package from
    before there were editions is given an edition key when its public edition is packed.
    A package in which the check finds errors is packed all the same, with the report. Until the
    bundle is whole there is nothing at `out`.
    Raises AlreadyThere when `out` exists, UnusablePackage when a table cannot be read, a file
    cannot go into a bundle, or the package is a public edition itself, and UnusableInput for a
    place or grid that cannot be used.
    """
    progress = progress or say_nothing
    beside = package.folder.resolve().parent
    suffix = ".zip" if zipped else ""
    if is_public(package):
        raise UnusablePackage(
            f"{package.folder} is a public edition, made to be read; pack the package of the full "
            "edition that it was made from"
        )
    if not edition.is_public:
        out = Path(out) if out else beside / (bundle_name(package) + suffix)
        _refuse_place(package, out)
        with package.locked_for_reading():
            filling = _Filling(package, edition, record_date(package))
            filled = _write(filling, out, zipped=zipped, progress=progress)
        return Packed(out, *filled)
    if out:
        _refuse_place(package, Path(out))
    chosen_grid(package, grid)
    keyless = edition_key(package) is None
    if keyless:
        with package.locked():
            package = package.with_descriptor({EDITION_KEY: new_edition_key()})
    beside = Path(out).parent if out else beside
    beside.mkdir(parents=True, exist_ok=True)
    with (
        package.locked_for_reading(),
        tempfile.TemporaryDirectory(prefix=".public.", dir=beside) as scratch,
    ):
        folder = Path(scratch) / "package"
        redacted = redact(package, folder, grid=grid, progress=stretch(progress, 0, 2))
        out = Path(out) if out else beside / (bundle_name(redacted.package) + suffix)
        _refuse_place(package, out)
        filling = _Filling(redacted.package, edition, record_date(package), package, redacted)
        filled = _write(filling, out, zipped=zipped, progress=stretch(progress, 1, 2))
    return Packed(out, *filled, account=redacted.account, got_key=keyless)


@dataclass(frozen=True)
class _Filling:
    """What goes into a bundle: the package, its edition, the record's date.

    For the public edition also the `full` package that it was made from, and how.
    """

    package: Package
    edition: Edition
    day: str
    full: Package | None = None
    redacted: Redacted | None = None


_Filled = tuple[Contents, "Report", tuple[tuple[str, str, str], ...]]


def _write(filling: _Filling, out: Path, *, zipped: bool, progress: Progress) -> _Filled:
    """The bundle at `out`, a folder or zip; nothing is there before it is whole."""
    if not zipped:
        with building_folder(out) as folder:
            return _fill(filling, folder, progress, stretches=2)
    out.parent.mkdir(parents=True, exist_ok=True)
    name = bundle_name(filling.package)
    with tempfile.TemporaryDirectory(prefix=f".{out.name[:80]}.", dir=out.parent) as beside:
        folder = Path(beside) / name
        folder.mkdir()
        filled = _fill(filling, folder, progress, stretches=3)
        with writing(out) as stream:
            write_zip(
                folder,
                stream,
                base_name=name,
                day=filling.day,
                progress=stretch(progress, 2, 3),
            )
            _refuse_place(filling.package, out)
    return filled


def _refuse_place(package: Package, out: Path) -> None:
    if out.exists() or out.is_symlink():
        raise AlreadyThere(f"{out} is already there; choose another name or remove it first")
    if out.resolve().is_relative_to(package.folder.resolve()):
        raise UnusableInput(
            f"{out} lies inside the package, so the next bundle would hold this one; choose a "
            "place outside"
        )


# -- filling -------------------------------------------------------------------------------------


def _fill(filling: _Filling, folder: Path, progress: Progress, *, stretches: int) -> _Filled:
    """Make the bag in an empty folder; copy and hash are the first two of `stretches`."""
    package, edition, day = filling.package, filling.edition, filling.day
    contents = survey_package(package)
    data = folder / "data"
    _copy_members(package, contents, data, stretch(progress, 0, stretches))
    report = _write_report(filling, data)
    lineage = lineage_of(filling.full or package, edition)
    _write_about(filling, contents, data, lineage)
    sums = write_bag(
        folder,
        _bag_info(package, edition, day, lineage),
        progress=stretch(progress, 1, stretches),
    )
    differing = tuple(
        (table, key, path)
        for path, digest, table, key in described_sums(package)
        if (found := sums.digests.get(f"data/{path}")) and found["sha256"] != digest
    )
    return contents, report, differing


def _copy_members(package: Package, contents: Contents, data: Path, progress: Progress) -> None:
    done = 0
    for member in contents.members:
        target = data / member.path
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            # the file system's own copy, which may share blocks; the bag's checksums come after it
            shutil.copyfile(package.folder / member.path, target, follow_symlinks=False)
        except OSError as error:
            raise UnusableInput(
                f"{package.folder / member.path} cannot be copied to {target.parent}: "
                f"{error.strerror or error}"
            ) from error
        if target.is_symlink():
            raise UnusablePackage(f"{package.folder / member.path} became a link while packing")
        done += member.byte_count
        progress(done, contents.byte_count)


def _write_report(filling: _Filling, data: Path) -> Report:
    """The check's report into check/; raises UnusablePackage when a table cannot be read.

    The report quotes the record, so the public edition has figures alone, of the full one's check.
    """
    from provenance.checks.check import check_package
    from provenance.checks.report import report_html, report_json

    report = check_package(filling.full or filling.package)
    if filling.edition.is_public:
        write_check_summary(report, data)
        return report
    write_text(data / "check" / "report.json", report_json(report))
    write_text(data / "check" / "report.html", report_html(report))
    return report


def _write_about(filling: _Filling, contents: Contents, data: Path, lineage: Lineage) -> None:
    """Everything that explains the record: code book, pages, citation, crate, README."""
    package, edition, day = filling.package, filling.edition, filling.day
    model = package.model
    rows = row_counts(package)
    write_text(data / "CODEBOOK.md", code_book_markdown(model, package.title))
    write_text(data / "codebook.html", code_book_html(model, package.title))
    earlier = lineage.revision_of
    write_text(
        data / "README.txt",
        plain_readme(package, contents, edition, day=day, rows=rows, earlier=earlier),
    )
    write_deposit_files(package, data, edition, day=day, contents=contents)
    facts = _facts(package, contents, edition, day, rows) | lineage.facts()
    if filling.redacted:
        write_notice(filling.redacted, data, day)
        del facts["lastSeal"]
        facts |= public_facts(filling.redacted)
    write_text(data / "bundle.json", as_json(facts))
    write_finding_aid(
        package,
        data,
        edition=edition,
        facts=_shown_facts(package, contents, day, lineage),
        links=_shown_links(contents, edition),
        files=[member.path for member in contents.members],
        json_ld=dataset_json_ld(package, edition, day=day),
    )
    files = {
        path.relative_to(data).as_posix(): path.stat().st_size
        for path in data.rglob("*")
        if path.is_file()
    }
    crate = describe_crate(
        package,
        edition,
        day=day,
        files=files,
        titles=_titles(package, edition),
        undescribed=contents.undescribed,
        earlier=earlier,
    )
    write_text(data / CRATE, as_json(crate))


def _facts(
    package: Package, contents: Contents, edition: Edition, day: str, rows: Mapping[str, int]
) -> dict[str, Any]:
    """What a program wants to know about the bundle itself."""
    return {
        "bundleVersion": BUNDLE_VERSION,
        "edition": edition.name,
        "package": package.name,
        "title": package.title,
        "recordDate": day,
        "writtenBy": f"treenail {__version__}",
        "rows": dict(rows),
        "lastSeal": last_seal(package),
        "generated": list(GENERATED),
        "undescribed": list(contents.undescribed),
        "leftOut": list(contents.left_out),
        "missing": [path for _, _, path in contents.missing],
    }


def _bag_info(package: Package, edition: Edition, day: str, lineage: Lineage) -> dict[str, str]:
    """The tags of RFC 8493 section 2.2.2; the e-mail addresses of people stay out of them."""
    info = {
        "Bagging-Date": day,
        "Bag-Software-Agent": f"treenail {__version__}",
        "External-Identifier": package.name,
        "External-Description": (
            f"{package.title}. {edition.title}, {edition.store}. Begin with data/README.txt or "
            "data/index.html."
        ),
        "Internal-Sender-Description": f"{edition.name} edition",
    }
    if repository := keeper(package):
        info["Contact-Name"] = repository.name
    if lineage.accession:
        info[ACCESSION_TAG] = lineage.accession
    return info


def _shown_facts(
    package: Package, contents: Contents, day: str, lineage: Lineage
) -> list[tuple[str, str]]:
    repository = keeper(package)
    facts = [
        ("Newest entry", day),
        ("Goes on from", lineage.revision_of[0].in_words if lineage.revision_of else ""),
        ("Made by", ", ".join(one.name for one in makers(package))),
        ("Kept by", repository.name if repository else ""),
        ("Kind of place", package.model.title),
        ("Package", package.name),
        ("Files", f"{len(contents.members)}, {contents.byte_count:,} bytes"),
    ]
    return [(name, value) for name, value in facts if value]


_FULL_LINKS = (("check/report.html", "what the check found when this was packed"),)
_PUBLIC_LINKS = (
    (WITHHELD_TEXT, "what is withheld from this edition, why, and whom to ask"),
    (SUMMARY_TEXT, "how often each rule of the check found something"),
)
_FULL_TITLES = {
    "check/report.html": "Report of the check",
    "check/report.json": "Report of the check, for programs",
}
_PUBLIC_TITLES = {
    WITHHELD_TEXT: "What is withheld from this edition, and why",
    SUMMARY: "The check in figures, for programs",
    SUMMARY_TEXT: "The check in figures",
}


def _shown_links(contents: Contents, edition: Edition) -> list[dict[str, str]]:
    links = [
        ("README.txt", "how to read all this with a text editor, and how to check it"),
        ("codebook.html", "what every table, column and code means"),
        *(_PUBLIC_LINKS if edition.is_public else _FULL_LINKS),
        ("datapackage.json", "the tables described for programs (Data Package)"),
        (CRATE, "all files described for programs (RO-Crate)"),
        ("datacite.json", "how to cite this, for programs (DataCite)"),
    ]
    shown = [{"href": path, "name": path, "text": text} for path, text in links]
    for folder, text in (
        ("originals/", "the field and laboratory files as received"),
        ("files/", "photos, plans, ring-width files and reports"),
    ):
        if any(member.path.startswith(folder) for member in contents.members):
            shown.append({"href": folder, "name": folder, "text": text})
    return shown


def _titles(package: Package, edition: Edition) -> dict[str, str]:
    """What files are, for those that something says it of."""
    titles = {
        "README.txt": "How to read this bundle with a text editor",
        "index.html": "The record to leaf through and to search",
        "go.html": "Leads from the number on a label to its page",
        "CODEBOOK.md": "Code book",
        "codebook.html": "Code book, as a page",
        **DEPOSIT_TITLES,
        "bundle.json": "Facts about this bundle",
        **(_PUBLIC_TITLES if edition.is_public else _FULL_TITLES),
        DESCRIPTOR: "Data Package descriptor",
        "README.md": "README of the package",
        "schemas/model.json": "Profile, lists of codes and written forms",
    }
    for table in package.model.tables.values():
        titles[f"tables/{table.name}.csv"] = f"{table.title}: {table.description}"
        titles[f"schemas/{table.name}.json"] = f"Table Schema of {table.title}"
    for name, path, title in (("file", "path", "title"), ("original", "path", "file_name")):
        if name in package.model.tables:
            frame = package.table(name)
            titles |= {p: t for p, t in zip(frame[path], frame[title], strict=True) if p and t}
    return titles
