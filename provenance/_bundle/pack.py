"""Packs a package into an archive bundle: a BagIt bag, as a folder or as one zip."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._bag.bag import write_bag
from provenance._bag.zipping import write_zip
from provenance._base.disk import building_folder, scratch_folder, write_text, writing
from provenance._base.errors import AlreadyThere, UnusableInput, UnusablePackage
from provenance._base.progress import Progress, say_nothing, stretch
from provenance._bundle.about import Filling, bag_info, write_about
from provenance._bundle.describe.contents import (
    Contents,
    described_sums,
    record_date,
    survey_package,
)
from provenance._bundle.describe.editions import FULL, Edition
from provenance._bundle.describe.lineage import lineage_of
from provenance._bundle.generated import refuse_taken_names
from provenance._bundle.redaction.account import Account
from provenance._bundle.redaction.notice import write_check_summary
from provenance._bundle.redaction.redact import chosen_grid, redact
from provenance._bundle.redaction.remembering import Remembered, Withdrawing, remember
from provenance._bundle.statement import write_statement
from provenance._ledger.ed25519 import Signer
from provenance._record.edition_key import (
    EDITION_KEY,
    edition_key,
    is_public,
    new_edition_key,
)
from provenance._record.package import DESCRIPTOR, Package

if TYPE_CHECKING:
    from provenance._base.findings import Report

_NAME = re.compile(r"[a-z0-9_-][a-z0-9._-]{0,99}")


@dataclass(frozen=True)
class Packed:
    """What came of packing: where the bundle lies and what is worth knowing about it.

    `report` is the check's, which is in the bundle too; `differing` are files whose bytes are not
    those that the record has a checksum of, as (table, row key, path). `account` is what the public
    edition withholds, None for the full one; `got_key` says that the package was given an edition
    key, `got_stand_ins` that it was given stand-ins or notes who is named, so that its full edition
    has to be packed again. `keeps_stand_ins` is false for a package of an older version, which has
    others in each edition. `told` are stand-ins of earlier editions of those who are named now.
    """

    path: Path
    contents: Contents
    report: Report
    differing: tuple[tuple[str, str, str], ...]
    account: Account | None = None
    got_key: bool = False
    got_stand_ins: bool = False
    keeps_stand_ins: bool = True
    told: tuple[str, ...] = ()

    @property
    def has_findings(self) -> bool:
        """Whether the check found something, or files are not as the record says."""
        return bool(self.contents.missing or self.differing or not self.report.clean)


def bundle_name(package: Package) -> str:
    """The name of a package's bundle, which is also the folder inside a zip."""
    if not _NAME.fullmatch(package.name):
        raise UnusablePackage(
            f"{package.folder / DESCRIPTOR}: the name {package.name!r} is not a package name; use "
            "lower case letters, digits, '.', '_' and '-' (Data Package v2)"
        )
    return f"{package.name}-bundle"


def pack(
    package: Package,
    out: Path | str | None = None,
    *,
    zipped: bool = False,
    edition: Edition = FULL,
    grid: str | None = None,
    keys: Sequence[Signer] = (),
    withdrawing: Withdrawing | None = None,
    progress: Progress = say_nothing,
) -> Packed:
    """Write a package as an archive bundle (BagIt 1.0, RFC 8493).

    `out` is the folder or, `zipped`, the file to write: `bundle_name` beside the package if left
    out. The same package makes the same bytes on any day: every date is `record_date`.
    `edition` FULL holds everything; PUBLIC is what `redact` leaves of it, and `grid` is the size of
    the cells in degrees that its coordinates are made coarse to ('drop' for none). A package from
    before there were editions is given an edition key when its public edition is packed. What later
    public editions must know is written into the package (`remember`); `withdrawing` says of which
    earlier ones this one takes the place. With `keys` the bundle has a statement of what it is and
    where its ledger ends, signed by each.
    A package in which the check finds errors is packed all the same, with the report. Until the
    bundle is whole there is nothing at `out`.
    Raises AlreadyThere when `out` exists, UnusablePackage when a table cannot be read, a file
    cannot go into a bundle, or the package is a public edition itself, and UnusableInput for a
    place or grid that cannot be used, or when somebody whom an earlier edition may name no longer
    agrees and `withdrawing` is left out.
    """
    beside = package.folder.resolve().parent
    suffix = ".zip" if zipped else ""
    if is_public(package):
        raise UnusablePackage(
            f"{package.folder} is a public edition, made to be read; pack the package of the full "
            "edition that it was made from"
        )
    refuse_taken_names(package)
    if not edition.is_public:
        out = Path(out) if out else beside / (bundle_name(package) + suffix)
        _refuse_place(package, out)
        with package.locked_for_reading():
            package = package.hold()
            filling = Filling(package, edition, record_date(package), keys=tuple(keys))
            return _write(filling, out, zipped=zipped, progress=progress)
    if out:
        _refuse_place(package, Path(out))
    chosen_grid(package, grid)
    keyless = edition_key(package) is None
    if keyless:
        with package.locked():
            package = package.with_descriptor({EDITION_KEY: new_edition_key()})
    remembered = remember(package, withdrawing)
    beside = Path(out).parent if out else beside
    with package.locked_for_reading(), scratch_folder(beside / f"{package.name}.public") as scratch:
        folder = scratch / "package"
        package = package.hold()
        _refuse_other_tables(package, remembered)
        known = remembered.known
        redacted = redact(package, folder, grid=grid, known=known, progress=stretch(progress, 0, 2))
        out = Path(out) if out else beside / (bundle_name(redacted.package) + suffix)
        _refuse_place(package, out)
        edited = redacted.package.hold()
        day = record_date(package)
        filling = Filling(edited, edition, day, package, redacted, tuple(keys))
        packed = _write(filling, out, zipped=zipped, progress=stretch(progress, 1, 2))
    return replace(
        packed,
        account=redacted.account,
        got_key=keyless,
        got_stand_ins=remembered.written,
        keeps_stand_ins=known.stand_ins.are_kept,
        told=remembered.told,
    )


def _refuse_other_tables(package: Package, remembered: Remembered) -> None:
    if package.tables is not remembered.known.package.tables:
        raise UnusablePackage(
            f"{package.folder} was changed while it was packed; close any program that writes to "
            "it, and pack again"
        )


def _write(filling: Filling, out: Path, *, zipped: bool, progress: Progress) -> Packed:
    """The bundle at `out`, a folder or zip; nothing is there before it is whole."""
    if not zipped:
        with building_folder(out) as folder:
            return _fill(filling, folder, out, progress, stretches=3)[0]
    name = bundle_name(filling.package)
    with scratch_folder(out) as beside:
        folder = beside / name
        folder.mkdir()
        packed, linked = _fill(filling, folder, out, progress, stretches=4, link=True)
        with writing(out) as stream:
            write_zip(
                folder, stream, base_name=name, day=filling.day, progress=stretch(progress, 3, 4)
            )
            _refuse_changed(linked)
            _refuse_place(filling.package, out)
    return packed


def _refuse_changed(linked: dict[Path, tuple[int, int]]) -> None:
    """A linked file that somebody writes into is not what its checksum says any more."""
    for path, before in linked.items():
        if _size_and_time(path) != before:
            raise UnusablePackage(
                f"{path} was changed while it was packed; close any program that writes to it, and "
                "pack again"
            )


def _size_and_time(path: Path) -> tuple[int, int]:
    status = path.lstat()
    return status.st_size, status.st_mtime_ns


def _refuse_place(package: Package, out: Path) -> None:
    if out.exists() or out.is_symlink():
        raise AlreadyThere(f"{out} is already there; choose another name or remove it first")
    if out.resolve().is_relative_to(package.folder.resolve()):
        raise UnusableInput(
            f"{out} is inside the package, so the next bundle would hold this one; choose a "
            "place outside"
        )


# -- filling -------------------------------------------------------------------------------------


def _fill(
    filling: Filling,
    folder: Path,
    out: Path,
    progress: Progress,
    *,
    stretches: int,
    link: bool = False,
) -> tuple[Packed, dict[Path, tuple[int, int]]]:
    """Make the bag for `out` in an empty folder; returns with it the files that were linked.

    Copying, describing and hashing are the first three of `stretches`. With `link` the package's
    files get a second name in the bag, where the disk can give one: for a bag that is read once
    more and thrown away.
    """
    package, edition, day = filling.package, filling.edition, filling.day
    contents = survey_package(package)
    data = folder / "data"
    linked = _copy_members(package, contents, data, stretch(progress, 0, stretches), link=link)
    report = _write_report(filling, data)
    lineage = lineage_of(filling.full or package, edition)
    if filling.redacted:
        lineage = lineage.renamed(filling.redacted.mask)
    write_about(filling, contents, data, lineage, stretch(progress, 1, stretches))
    statement = partial(
        write_statement,
        package=package,
        edition=edition.name,
        day=day,
        derived_from=filling.redacted.derived_from if filling.redacted else None,
        keys=filling.keys,
    )
    sums = write_bag(
        folder,
        bag_info(package, edition, day, lineage),
        beside=statement if filling.keys else None,
        progress=stretch(progress, 2, stretches),
    )
    differing = tuple(
        (table, key, path)
        for path, digest, table, key in described_sums(package)
        if (found := sums.digests.get(f"data/{path}")) and found["sha256"] != digest
    )
    return Packed(out, contents, report, differing), linked


def _copy_members(
    package: Package, contents: Contents, data: Path, progress: Progress, *, link: bool
) -> dict[Path, tuple[int, int]]:
    """Put the package's files under `data`; returns those that were linked rather than copied."""
    linked = {}
    done = 0
    for member in contents.members:
        source, target = package.folder / member.path, data / member.path
        target.parent.mkdir(parents=True, exist_ok=True)
        try:
            if link and _linked(source, target):
                linked[source] = _size_and_time(target)
            else:
                # the file system's own copy, which may share blocks; the checksums come after it
                shutil.copyfile(source, target, follow_symlinks=False)
        except OSError as error:
            raise UnusableInput(
                f"{source} cannot be copied to {target.parent}: {error.strerror or error}"
            ) from error
        if target.is_symlink():
            raise UnusablePackage(f"{source} became a link while packing")
        done += member.byte_count
        progress(done, contents.byte_count)
    return linked


def _linked(source: Path, target: Path) -> bool:
    """Give `source` the second name `target`; False where the disk or the rights allow none."""
    try:
        os.link(source, target, follow_symlinks=False)
    except (OSError, NotImplementedError):
        return False
    return True


def _write_report(filling: Filling, data: Path) -> Report:
    """The check's report into check/; raises UnusablePackage when a table cannot be read.

    The report quotes the record, so the public edition has figures alone, of the full one's check.
    """
    from provenance._checks.check import check_package
    from provenance._checks.report import report_html, report_json

    report = check_package(filling.full or filling.package)
    if filling.edition.is_public:
        write_check_summary(report, data)
        return report
    write_text(data / "check" / "report.json", report_json(report))
    write_text(data / "check" / "report.html", report_html(report))
    return report
