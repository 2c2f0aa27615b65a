"""Writes the DOI that a bundle was given into its tag files; its payload stays byte for byte.

The DOI goes into bag-info.txt, and the descriptions for repositories that tell it are made once
more in the folder deposit/, beside data/. All lists of the tag files' checksums follow. A signed
statement stays valid, for it is about the list of the payload's checksums.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from provenance._bag.bag import files_of
from provenance._bag.tag_files import BAG_INFO, info_bytes, info_lines, with_tag_manifests
from provenance._bag.zipping import write_zip
from provenance._base.disk import building_folder, write_bytes, writing
from provenance._base.errors import AlreadyThere, UnusableInput
from provenance._base.locks import LOCK, locked
from provenance._base.progress import Progress, say_nothing, stretch
from provenance._bundle.deposit import datacite_json
from provenance._bundle.deposit.files import deposit_forms
from provenance._bundle.describe.citation import registered
from provenance._bundle.describe.lineage import IDENTIFIER_TAG, identity_of
from provenance._bundle.verify import judge_folder, opened_bundle
from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.documents import read_json
from provenance._record.doi import doi_address, doi_in, read_doi
from provenance._record.together import finish_writing, writing_together

DEPOSIT = "deposit"
"""The folder beside data/ where the descriptions with the DOI are."""


@dataclass(frozen=True)
class Registered:
    """What came of it: where the bundle with the DOI is, and what it was and is known by.

    `before` and `now` are the checksums of tagmanifest-sha256.txt; `issued` is the day of issue.
    """

    path: Path
    doi: str
    issued: str
    before: str
    now: str


def register_doi(
    bundle: Path | str,
    doi: str,
    *,
    today: date,
    issued: date | None = None,
    new_version_of: Sequence[str] = (),
    variant_of: Sequence[str] = (),
    replacing: bool = False,
    out: Path | None = None,
    progress: Progress = say_nothing,
) -> Registered:
    """Write a DOI into a bundle, a folder or zip: in its place, or into a new one at `out`.

    `issued` is the day on which it was published: `today` if left out, or the day that the bundle
    has from an earlier call. `new_version_of` and `variant_of` are DOIs of the version before it
    and of the other edition. A DOI that it has already is changed only when `replacing`.
    The bundle is verified first. All of it is written or nothing.
    Raises UnusableInput for what is no DOI, a day that cannot be, another DOI in the bundle, and a
    bundle that is damaged or was not made by this program; AlreadyThere when `out` exists.
    """
    bundle = Path(bundle)
    doi = read_doi(doi)
    relations = [("IsNewVersionOf", read_doi(one)) for one in new_version_of]
    relations += [("IsVariantFormOf", read_doi(one)) for one in variant_of]
    if out is not None and (out.exists() or out.is_symlink()):
        raise AlreadyThere(f"{out} is already there; choose another name or remove it first")
    with (
        _held(bundle, changes=out is None and bundle.is_dir()),
        opened_bundle(bundle, progress=stretch(progress, 0, 3)) as folder,
    ):
        _refuse_damaged(bundle, folder, stretch(progress, 1, 3))
        known_by = identity_of(folder)
        packed = _citation_in(bundle, folder / "data")
        earlier = _deposited(folder)
        before = earlier or packed
        _refuse_another(bundle, known_by.doi or doi_in(before.get("doi")), doi, replacing)
        day = _day_of_issue(issued, today, known_by.record_date, earlier or {})
        record = registered(before, doi, issued=day, relations=relations)
        tags = _tags(folder, doi, record)
        target = out or bundle
        if bundle.is_dir():
            _write_folder(folder, tags, out)
        else:
            for path, content in tags.items():
                write_bytes(folder / path, content)
            with writing(target) as stream:
                write_zip(
                    folder,
                    stream,
                    base_name=folder.name,
                    day=known_by.record_date,
                    progress=stretch(progress, 2, 3),
                )
    now = hashlib.sha256(tags["tagmanifest-sha256.txt"]).hexdigest()
    return Registered(target, doi, day, known_by.tagmanifest_sha256, now)


@contextmanager
def _held(bundle: Path, *, changes: bool) -> Iterator[None]:
    """Hold a folder that is changed where it is, once what a stopped call left is finished.

    The lock is in the folder around it: in the bag it would be a file that no list has.
    """
    if not changes:
        yield
        return
    with locked(bundle.resolve().parent):
        if any(bundle.glob(".together.*.part")):
            finish_writing(bundle)
            (bundle / LOCK).unlink(missing_ok=True)
        yield


def _refuse_damaged(bundle: Path, folder: Path, progress: Progress) -> None:
    verdict = judge_folder(bundle, folder, fast=False, limits=DEFAULT_BUDGET, progress=progress)
    if verdict.damage:
        raise UnusableInput(
            f"{bundle} is not as it was packed: {verdict.what_is_damaged}; 'treenail verify' names "
            "every file. Nothing was written"
        )


def _citation_in(bundle: Path, folder: Path) -> Mapping[str, Any]:
    """The citation in a folder of a bundle."""
    path = folder / datacite_json.FORM.file_name
    record = read_json(path) if path.is_file() else None
    if not isinstance(record, dict) or not isinstance(record.get("dates"), list):
        raise UnusableInput(
            f"{bundle} has no citation in data/{path.name}, so no description can be made of it; "
            "only bundles that 'treenail pack' made can be given a DOI"
        )
    return record


def _deposited(folder: Path) -> Mapping[str, Any] | None:
    """The citation as an earlier call wrote it."""
    path = folder / DEPOSIT / datacite_json.FORM.file_name
    return _citation_in(folder, path.parent) if path.is_file() else None


def _refuse_another(bundle: Path, known: str, doi: str, replacing: bool) -> None:
    if known and known.lower() != doi.lower() and not replacing:
        raise UnusableInput(
            f"{bundle} has the DOI {known} already; a new version of the record is a new bundle "
            f"with a DOI of its own. If {known} is a mistake, add --replace"
        )


def _day_of_issue(
    issued: date | None, today: date, record_date: str, before: Mapping[str, Any]
) -> str:
    dates = {one["dateType"]: one["date"] for one in before.get("dates", ())}
    day = issued.isoformat() if issued else dates.get("Issued") or today.isoformat()
    if not record_date <= day <= today.isoformat():
        newest = f"is before the newest entry of the record, {record_date}"
        raise UnusableInput(
            f"the day of issue, {day}, {'is in the future' if day >= record_date else newest}; "
            "write the day on which the bundle was published, such as --issued 2026-03-01"
        )
    return str(day)


def _tags(folder: Path, doi: str, record: Mapping[str, Any]) -> dict[str, bytes]:
    """Every tag file that changes, by its path in the bag."""
    kept = [
        entry
        for label, entry in info_lines(folder)
        if label != IDENTIFIER_TAG or not doi_in(entry.partition(":")[2])
    ]
    changed = {BAG_INFO: info_bytes([*kept, f"{IDENTIFIER_TAG}: {doi_address(doi)}"])}
    for form in deposit_forms():
        packed = folder / "data" / form.file_name
        if form.anew and packed.is_file():
            changed[f"{DEPOSIT}/{form.file_name}"] = form.anew(packed.read_bytes(), record)
    return with_tag_manifests(folder, changed)


def _write_folder(folder: Path, tags: Mapping[str, bytes], out: Path | None) -> None:
    if out is None:
        with writing_together(folder) as staged:
            for path, content in tags.items():
                staged.write(path, content)
        return
    with building_folder(out) as being_built:
        for path in files_of(folder):
            if path not in tags:
                (being_built / path).parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(folder / path, being_built / path)
        for path, content in tags.items():
            write_bytes(being_built / path, content)
