"""Looks over what came in: whole or damaged, what is in it, what its depositor must mend."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from provenance._accession.damage import DamagedBundle, letter_to_depositor
from provenance._bag.hostile import HostileBundle
from provenance._bag.verdict import BundleFinding, Verdict
from provenance._base.errors import UnusableInput
from provenance._base.progress import Progress, say_nothing
from provenance._bundle.describe.citation import keeper
from provenance._bundle.describe.lineage import bundle_facts, earlier_than, identity_of
from provenance._bundle.verify import judge_folder, opened_bundle
from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.documents import read_json
from provenance._record.attempts import samples_taken
from provenance._record.origin import Ancestor, numbers_of
from provenance._record.package import DESCRIPTOR, Package, read_model
from provenance._store.settings import Repository


@dataclass(frozen=True)
class Received:
    """A bundle that is whole, while it can be read.

    `folder` holds its bag: the bundle itself, or where its zip was unpacked to. `earlier` are the
    bundles that it goes on from, newest first. `to_mend` are the faults of the record, in
    sentences, errors only; `warnings` counts lesser ones. `rows` maps tables to their row counts;
    `facts` is its bundle.json.
    """

    bundle: Path
    folder: Path
    package: Package
    known_by: Ancestor
    earlier: tuple[Ancestor, ...]
    keeper_name: str
    keeper_id: str
    rows: MappingProxyType[str, int]
    file_count: int
    byte_count: int
    to_mend: tuple[str, ...]
    warnings: int
    facts: Mapping[str, Any]

    @property
    def is_zip(self) -> bool:
        """Whether it came as one zip file."""
        return self.bundle.is_file()


@contextmanager
def opened_received(
    bundle: Path,
    *,
    depositor: str,
    repository: Repository,
    day: str,
    progress: Progress = say_nothing,
) -> Iterator[Received]:
    """Verify a bundle in full and give what is to be known of it, while the block runs.

    Raises DamagedBundle, with a letter to `depositor`, when it is not what was packed, and
    UnusableInput when it is no bundle or holds no record.
    """

    def refuse(findings: tuple[BundleFinding, ...], folder: Path | None) -> DamagedBundle:
        letter = letter_to_depositor(
            bundle,
            findings,
            expected=_listed_sums(folder) if folder else {},
            day=day,
            depositor=depositor,
            repository=repository.in_words,
            contact=repository.contact,
        )
        return DamagedBundle(bundle, findings, letter)

    try:
        with opened_bundle(bundle, progress=progress) as folder:
            verdict = judge_folder(
                bundle, folder, fast=False, limits=DEFAULT_BUDGET, progress=progress
            )
            verdict.refuse_without_record()
            if damage := verdict.damage:
                raise refuse(damage, folder)
            yield _received(bundle, folder, verdict)
    except HostileBundle as error:
        raise refuse(tuple(error.findings), None) from error


def _received(bundle: Path, folder: Path, verdict: Verdict) -> Received:
    data = folder / "data"
    descriptor = read_json(data / DESCRIPTOR)
    package = Package(data, MappingProxyType(descriptor), read_model(data))
    known_by = identity_of(folder)
    # a record without its keys cannot be told from another by what was given out in it
    numbers_of(package)
    to_mend, warnings = _faults(package, known_by, verdict)
    repository = keeper(package)
    return Received(
        bundle=bundle,
        folder=folder,
        package=package,
        known_by=known_by,
        earlier=earlier_than(folder),
        keeper_name=repository.name if repository else "",
        keeper_id=repository.party_id if repository else "",
        rows=MappingProxyType(
            package.tables.counts() | {"sample": len(samples_taken(package.tables))}
        ),
        file_count=verdict.file_count,
        byte_count=verdict.byte_count,
        to_mend=to_mend,
        warnings=warnings,
        facts=bundle_facts(folder),
    )


def _faults(package: Package, known_by: Ancestor, verdict: Verdict) -> tuple[tuple[str, ...], int]:
    """Faults of the record in sentences, and the count of warnings.

    A public edition lacks on purpose what the trade rules ask for, so only its structure counts.
    """
    from provenance._checks.check import check_package

    of_the_verdict = [
        (one.rule, f"{one.path} {one.message}")
        for one in verdict.findings
        if one.severity == "error"
    ]
    if known_by.edition == "public":
        return tuple(said for _, said in of_the_verdict), 0
    report = check_package(package)
    errors = [one for one in report if one.severity == "error"]
    rules = {one.rule for one in errors}
    sentences = [
        f"{one.table}, row {one.row}: {one.message}" if one.row else f"{one.table}: {one.message}"
        for one in errors
    ]
    # what only the verdict saw, such as a file that is not the one its row has a checksum of
    sentences += [said for rule, said in of_the_verdict if rule not in rules]
    return tuple(sentences), report.count("warning")


def _listed_sums(folder: Path) -> dict[str, str]:
    """SHA-256 by path as the bag's own list has them; {} when that cannot be read."""
    path = folder / "manifest-sha256.txt"
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return {}
    sums = {}
    for line in lines:
        digest, _, name = line.partition(" ")
        if len(digest) == 64:
            sums[name.strip()] = digest
    return sums


def refuse_unsafe_name(name: str) -> None:
    """Raise UnusableInput when a bundle's file name could not be kept under a folder."""
    from provenance._bag.names import unlistable_because, unsafe_because

    if (
        reason := unsafe_because(name)
        or unlistable_because(name)
        or ("it is hidden" if name.startswith(".") else None)
    ):
        raise UnusableInput(f"the file name {name!r} cannot be kept: {reason}; rename the bundle")
