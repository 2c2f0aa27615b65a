"""Tells which earlier bundles a bundle is a revision of."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from provenance._bag.bag import tags_in
from provenance._bag.hashing import hash_files
from provenance._base.disk import sha256_of
from provenance._base.errors import UnusableInput, UnusablePackage
from provenance._bundle.describe.contents import Contents, survey_package
from provenance._bundle.describe.editions import Edition
from provenance._gate.documents import read_json
from provenance._ledger.anchors import sealed_events
from provenance._ledger.branches import seals_at_ends
from provenance._ledger.custody import TABLE as LEDGER
from provenance._ledger.statement import SIGNATURES, STATEMENT
from provenance._record.given_out import GivenOut, lineage_bytes, numbers_digest
from provenance._record.origin import (
    Ancestor,
    Origin,
    ancestor_from,
    bundles_of,
    numbers_of,
    read_origin,
    told_origin,
)
from provenance._record.package import Package

ACCESSION_TAG = "Accession-Number"
"""The line of bag-info.txt in which a repository's number stands."""
LEDGER_TAG = "Custody-Ledger"
"""The line of bag-info.txt with the count of custody events and the seal of the last one."""


@dataclass(frozen=True)
class Lineage:
    """What a bundle says of the bundles before it.

    `revision_of` are the earlier bundles, newest first, () for a first one. `accession` is the
    number of the repository if this is the very bundle that has it. `spent` maps table → keys that
    an earlier bundle had and this one has not: they are never given out again. `given` is what
    numbers stood for in the earlier bundles; a public edition does not tell.
    """

    revision_of: tuple[Ancestor, ...] = ()
    accession: str = ""
    spent: Mapping[str, tuple[str, ...]] | None = None
    given: GivenOut | None = None

    @property
    def is_told(self) -> bool:
        """Whether the bundle has a table of what numbers stood for before."""
        return bool(self.revision_of) and self.given is not None

    @property
    def table(self) -> bytes:
        """lineage.csv."""
        assert self.given is not None
        return lineage_bytes(self.given, bundles_of(self.revision_of))

    def renamed(self, turn: Callable[[str], str]) -> Lineage:
        """The same with the name of each earlier bundle turned, which may be that of the place."""
        return replace(
            self, revision_of=tuple(replace(one, name=turn(one.name)) for one in self.revision_of)
        )

    def facts(self) -> dict[str, Any]:
        """The lines of bundle.json; none for a first bundle."""
        facts: dict[str, Any] = {}
        if self.revision_of:
            facts["revisionOf"] = [one.as_dict() for one in self.revision_of]
        if self.spent:
            facts["spentNumbers"] = {table: list(keys) for table, keys in self.spent.items()}
        return facts


def lineage_of(package: Package, edition: Edition) -> Lineage:
    """The earlier bundles of a package that is about to be packed.

    A package that is still what was unpacked makes the bundle it came from once more, which is no
    revision of itself. `package` is the full one, also for the public edition, which names the
    earlier bundles and none of their numbers. Raises UnusablePackage when the origin of the package
    cannot be read.
    """
    origin = read_origin(package.folder)
    if origin is None:
        return Lineage()
    unchanged = _is_unchanged(package, survey_package(package), origin)
    earlier = origin.earlier if unchanged else (origin.bundle, *origin.earlier)
    if edition.is_public:
        return Lineage(tuple(one.in_public for one in earlier))
    if unchanged:
        itself = {origin.bundle.tagmanifest_sha256}
        is_told = any(there - itself for there in origin.given.rows.values())
        told = origin.given if is_told else None
        return Lineage(earlier, origin.bundle.accession, origin.spent, told)
    gone = frozenset((table, key) for table, keys in origin.spent.items() for key in keys)
    given = GivenOut(origin.given.rows, gone)
    if not given.rows:
        # what an older version unpacked
        given = given.with_bundle(
            origin.bundle.tagmanifest_sha256, origin.numbers, origin.stamps
        )
    return Lineage(earlier, "", _spent(package, origin), given)


def _is_unchanged(package: Package, contents: Contents, origin: Origin) -> bool:
    # counts first: after a season's work they differ, and then nothing has to be hashed
    if (len(contents.members), contents.byte_count) != (origin.member_count, origin.byte_count):
        return False
    paths = dict.fromkeys((one.path for one in contents.members), ("sha256",))
    sums = hash_files(package.folder, paths)
    for path, reason in sums.unreadable.items():
        raise UnusablePackage(f"{package.folder / path} cannot be read: {reason}")
    return _digest({path: one["sha256"] for path, one in sums.digests.items()}) == (
        origin.members_sha256
    )


def _digest(sums: Mapping[str, str]) -> str:
    """One checksum for many files: SHA-256 over their sorted lines, as a manifest has them."""
    lines = "".join(f"{sums[path]}  {path}\n" for path in sorted(sums))
    return hashlib.sha256(lines.encode("utf-8", "surrogateescape")).hexdigest()


def _spent(package: Package, origin: Origin) -> dict[str, tuple[str, ...]]:
    there = numbers_of(package)
    spent = {}
    for table in {**origin.numbers, **origin.spent}:
        known = {*origin.numbers.get(table, ()), *origin.spent.get(table, ())}
        if gone := known - set(there.get(table, ())):
            spent[table] = tuple(sorted(gone))
    return spent


# -- out of a bundle -----------------------------------------------------------------------------


def identity_of(folder: Path) -> Ancestor:
    """What the bag in `folder`, which is verified, is known by.

    Raises UnusableInput when it bears no name or no tagmanifest-sha256.txt.
    """
    facts = bundle_facts(folder)
    return Ancestor(
        name=str(facts.get("package") or ""),
        edition=str(facts.get("edition") or ""),
        record_date=str(facts.get("recordDate") or ""),
        tagmanifest_sha256=_tagmanifest_sum(folder),
        accession=_accession(folder),
    )


def earlier_than(folder: Path) -> tuple[Ancestor, ...]:
    """The bundles that the bag in `folder` says it goes on from, newest first.

    Raises UnusableInput when its own words about them cannot be read.
    """
    try:
        return tuple(ancestor_from(one) for one in bundle_facts(folder).get("revisionOf") or ())
    except (ValueError, TypeError) as error:
        raise UnusableInput(_unclear(folder, error)) from error


def _unclear(folder: Path, error: Exception) -> str:
    return (
        f"{folder / 'data' / 'bundle.json'} does not correctly say which bundles came before "
        f"this one: {error}; ask for the bundle again"
    )


def origin_of(folder: Path, package: Package, members: Mapping[str, int]) -> Origin:
    """The origin of a package, for one that was just unpacked from the verified bag in `folder`.

    `members` maps the paths of the package's files to their bytes. Raises UnusableInput when the
    bag's own words about its lineage cannot be read.
    """
    facts = bundle_facts(folder)
    earlier = earlier_than(folder)
    try:
        spent = {
            str(table): tuple(str(key) for key in keys)
            for table, keys in (facts.get("spentNumbers") or {}).items()
        }
    except (TypeError, AttributeError) as error:
        raise UnusableInput(_unclear(folder, error)) from error
    seals = [row["event_sha256"] for row in package.tables.rows(LEDGER) if row["event_sha256"]]
    itself, numbers = _ancestor_in(folder, package), numbers_of(package)
    stamps = {row["plug_id"]: row["stamp"] for row in package.tables.rows("plug")}
    stamps = {plug: stamp for plug, stamp in stamps.items() if plug and stamp}
    told = told_origin(folder / "data")
    given = told.given if told else GivenOut()
    return Origin(
        bundle=itself,
        earlier=earlier,
        members_sha256=_digest(_sums_in_manifest(folder, package.folder, members)),
        member_count=len(members),
        byte_count=sum(members.values()),
        numbers=numbers,
        stamps=stamps,
        event_count=len(seals),
        last_seal=seals[-1] if seals else "",
        spent=spent,
        given=given.with_bundle(itself.tagmanifest_sha256, numbers, stamps),
    )


def _ancestor_in(folder: Path, package: Package) -> Ancestor:
    """The verified bag in `folder` as later bundles name it, so that they are judged without it."""
    manifest = folder / "manifest-sha256.txt"
    if not manifest.is_file():
        return identity_of(folder)
    events = sealed_events(package.tables)
    signed = [folder / STATEMENT, folder / SIGNATURES]
    texts = [one.read_text(encoding="utf-8") for one in signed if one.is_file()]
    statement, signatures = texts if len(texts) == len(signed) else ("", "")
    return replace(
        identity_of(folder),
        payload=sha256_of(manifest),
        heads=tuple(seals_at_ends(events)),
        events=len(events),
        bindings=numbers_digest(numbers_of(package)),
        statement=statement,
        signatures=signatures,
    )


def members_digest(folder: Path) -> str:
    """One checksum for the record's own files in the verified bag in `folder`.

    The pages that were made of them do not count: another version of the program makes others.
    """
    made = tuple(f"data/{name}" for name in bundle_facts(folder).get("generated") or ())
    sums = {}
    for line in (folder / "manifest-sha256.txt").read_text(encoding="utf-8").splitlines():
        digest, _, path = line.partition(" ")
        path = path.strip()
        if not any(path == name or path.startswith(f"{name}/") for name in made):
            sums[path.removeprefix("data/")] = digest.lower()
    return _digest(sums)


def _accession(folder: Path) -> str:
    path = folder / "bag-info.txt"
    if not path.is_file():
        return ""
    return tags_in(path.read_text(encoding="utf-8", errors="replace")).get(ACCESSION_TAG, "")


def bundle_facts(folder: Path) -> dict[str, Any]:
    """What bundle.json says in the verified bag in `folder`; {} where it is no object."""
    facts = read_json(folder / "data" / "bundle.json")
    return facts if isinstance(facts, dict) else {}


def _tagmanifest_sum(folder: Path) -> str:
    path = folder / "tagmanifest-sha256.txt"
    if not path.is_file():
        raise UnusableInput(
            f"{folder} has no tagmanifest-sha256.txt, which covers every byte of a bundle; ask"
            " for a bundle that has one"
        )
    return sha256_of(path)


def _sums_in_manifest(folder: Path, unpacked: Path, members: Mapping[str, int]) -> dict[str, str]:
    """SHA-256 by path: from the bag's list, which is verified; hashed where it has none."""
    sums: dict[str, str] = {}
    manifest = folder / "manifest-sha256.txt"
    if manifest.is_file():
        for line in manifest.read_text(encoding="utf-8", errors="replace").splitlines():
            digest, _, path = line.partition(" ")
            inside = path.strip().removeprefix("data/")
            if inside in members:
                sums[inside] = digest.lower()
    rest = dict.fromkeys((path for path in members if path not in sums), ("sha256",))
    hashed = hash_files(unpacked, rest)
    return sums | {path: one["sha256"] for path, one in hashed.digests.items()}
