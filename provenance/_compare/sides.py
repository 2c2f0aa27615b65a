"""Opens what is to be compared: a bundle, folder or zip, or a package."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from provenance._bag.bag import payload_files
from provenance._bag.hashing import hash_files
from provenance._bag.hostile import HostileBundle
from provenance._base.errors import TreenailError, UnusableInput
from provenance._base.progress import Progress, say_nothing
from provenance._bundle.answering import judged_to_answer
from provenance._bundle.describe.contents import survey_package
from provenance._bundle.describe.lineage import identity_of
from provenance._bundle.generated import generated_names
from provenance._bundle.verify import BUNDLE_FACTS, opened_bundle
from provenance._compare.difference import Side
from provenance._gate.documents import read_json
from provenance._record.origin import ancestor_from
from provenance._record.package import DESCRIPTOR, Package, bag_around, open_package, read_model


@dataclass(frozen=True)
class OpenSide:
    """A side while it can be read: its package, and the SHA-256 of its files by path.

    `generated` are top names that pack wrote beside the package's own files.
    """

    side: Side
    package: Package
    sums: Mapping[str, str]
    generated: frozenset[str]


@contextmanager
def opened_side(
    path: Path, *, even_if_damaged: bool = False, progress: Progress = say_nothing
) -> Iterator[OpenSide]:
    """Open a package or bundle for comparing, while the block runs.

    A bundle is verified whole, up to ORDINARY_BYTES. Of a larger one the tables are held against
    their checksums; of all other files the checksums themselves are compared, so that large photos
    need not be read through. Raises UnusableInput for what is neither, is dangerous, or is damaged
    as far as it was looked at, unless `even_if_damaged`.
    """
    path = bag_around(path)
    if path.is_dir() and (path / DESCRIPTOR).is_file():
        yield _package_side(path, progress)
        return
    try:
        with opened_bundle(path) as folder:
            yield _bundle_side(path, folder, even_if_damaged, progress)
    except HostileBundle as error:
        raise UnusableInput(str(error)) from error


def _package_side(path: Path, progress: Progress) -> OpenSide:
    package = open_package(path)
    members = [one.path for one in survey_package(package).members]
    sums = hash_files(package.folder, dict.fromkeys(members, ("sha256",)), progress=progress)
    for member, reason in sums.unreadable.items():
        raise UnusableInput(f"{path / member} cannot be read: {reason}")
    side = Side(
        path=path, form="package", name=package.name, title=package.title, sites=_sites(package)
    )
    digests = {member: one["sha256"] for member, one in sums.digests.items()}
    return OpenSide(side, package, digests, frozenset())


def _bundle_side(path: Path, folder: Path, even_if_damaged: bool, progress: Progress) -> OpenSide:
    verdict = judged_to_answer(path, folder, even_if_damaged, progress)
    data = folder / "data"
    sums = _manifest(path, folder)
    if verdict.depth == "fast" and not even_if_damaged:
        _refuse_other_tables(path, data, sums)
    facts = read_json(data / BUNDLE_FACTS)
    try:
        descriptor = read_json(data / DESCRIPTOR)
        package = Package(data, descriptor, read_model(data), bundle=path)
        known_by = identity_of(folder)
        earlier = tuple(ancestor_from(one) for one in facts.get("revisionOf") or ())
    except (TreenailError, OSError, ValueError, TypeError, AttributeError) as error:
        raise UnusableInput(f"{path} cannot be compared: {error}") from error
    side = Side(
        path=path,
        form="bundle",
        name=package.name,
        title=package.title,
        edition=known_by.edition,
        record_date=known_by.record_date,
        accession=known_by.accession,
        tagmanifest_sha256=known_by.tagmanifest_sha256,
        revision_of=tuple(one.tagmanifest_sha256 for one in earlier),
        sites=_sites(package),
        verdict=verdict.in_words,
        is_damaged=verdict.word == "damaged",
    )
    return OpenSide(side, package, sums, _generated(facts))


def _refuse_other_tables(path: Path, data: Path, sums: Mapping[str, str]) -> None:
    """Raise UnusableInput when a table is not what was packed."""
    tables = [one for one in sums if one.startswith("tables/") and one.endswith(".csv")]
    hashed = hash_files(data, dict.fromkeys(tables, ("sha256",)))
    for table in tables:
        if hashed.digests.get(table, {}).get("sha256") != sums[table]:
            raise UnusableInput(
                f"{path} cannot be compared: data/{table} is not what was packed. "
                "'treenail verify' lists every fault; ask for the bundle again"
            )


def _generated(facts: Mapping[str, Any]) -> frozenset[str]:
    listed = facts.get("generated")
    names = {one for one in listed if isinstance(one, str)} if isinstance(listed, list) else set()
    return frozenset(names | set(generated_names()))


def _manifest(path: Path, folder: Path) -> dict[str, str]:
    """SHA-256 by path under data/, as the bag lists them; raises UnusableInput without a list."""
    manifest = folder / "manifest-sha256.txt"
    if not manifest.is_file():
        raise UnusableInput(
            f"{path} cannot be compared: it has no manifest-sha256.txt; ask for a bundle with one"
        )
    listed = {}
    for line in manifest.read_text(encoding="utf-8", errors="replace").splitlines():
        digest, _, name = line.partition(" ")
        listed[name.strip().removeprefix("*").removeprefix("data/")] = digest.lower()
    there = {one.removeprefix("data/") for one in payload_files(folder)}
    return {name: digest for name, digest in listed.items() if name in there}


def _sites(package: Package) -> tuple[str, ...]:
    if "site" not in package.model.tables:
        return ()
    return tuple(dict.fromkeys(one for one in package.tables.column("site", "site_id") if one))
