"""Shows whether a public edition was made from a full one: `treenail verify PUBLIC --against FULL`.

First the keyed hashes in the public edition's bundle.json are computed again from the full one,
with the key that only that one holds. Then the public edition is packed again from the full one,
and the two are compared byte for byte, where the same program would write them.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from provenance import __version__
from provenance._bag.hashing import hash_files
from provenance._bag.verdict import BundleFinding
from provenance._base.errors import UnusableInput
from provenance._base.progress import Progress, say_nothing, stretch
from provenance._bundle.describe.contents import survey_package
from provenance._bundle.describe.editions import FULL, PUBLIC
from provenance._bundle.pack import pack
from provenance._bundle.redaction.commitments import commit, members_text
from provenance._bundle.redaction.notice import drawing_program
from provenance._bundle.redaction.places import NO_COORDINATES
from provenance._bundle.redaction.stand_ins import TABLE as STAND_INS
from provenance._bundle.unpack import unpack
from provenance._bundle.verify import BUNDLE_FACTS, opened_bundle, verify_bundle
from provenance._gate.documents import read_json
from provenance._gate.refusal import RefusedInput
from provenance._ledger.custody import last_seal
from provenance._record.edition_key import edition_key
from provenance._record.package import Package

MANIFEST = "manifest-sha256.txt"


@dataclass(frozen=True)
class Derivation:
    """What came of comparing a public edition with a full one.

    `findings` name what speaks against the one having been made from the other; `compared` says
    whether it was packed again and compared byte for byte, else `why_not`.
    """

    findings: tuple[BundleFinding, ...]
    compared: bool
    why_not: str

    @property
    def proved(self) -> bool:
        """Whether nothing speaks against it."""
        return not self.findings


def verify_derivation(
    public: Path | str, full: Path | str, *, progress: Progress = say_nothing
) -> Derivation:
    """Compare the public edition at `public` with the full one at `full`: folders or zips.

    Both are verified first. Raises UnusableInput when one of them is not of that edition, is not
    sound as a bag, or the full one has no edition key.
    """
    public, full = Path(public), Path(full)
    facts, manifest = _read(public, PUBLIC.name)
    _read(full, FULL.name)
    verdict = verify_bundle(public, progress=stretch(progress, 0, 3))
    if not verdict.intact:
        raise UnusableInput(
            f"{public} is not as it was packed; 'treenail verify' names what differs"
        )
    with tempfile.TemporaryDirectory(prefix="treenail-") as scratch:
        package = unpack(full, Path(scratch) / "full", progress=stretch(progress, 1, 3)).package
        key = edition_key(package)
        if key is None:
            raise UnusableInput(
                f"{full} has no edition key, so nothing can be shown; pack the full edition again "
                "from the package that the public one was made of"
            )
        findings = tuple(_compare_commitments(package, key, facts))
        why_not = _why_not_comparable(facts, package)
        if findings or why_not:
            return Derivation(findings, False, why_not or "the keyed hashes differ already")
        again = pack(
            package,
            Path(scratch) / "again",
            edition=PUBLIC,
            grid=_grid(facts),
            progress=stretch(progress, 2, 3),
        )
        _, wanted = _read(again.path, PUBLIC.name)
        return Derivation(tuple(_compare_manifests(manifest, wanted)), True, "")


def _read(bundle: Path, edition: str) -> tuple[Mapping[str, Any], Mapping[str, str]]:
    """(bundle.json, path → SHA-256 of the payload) of a bundle of that edition."""
    try:
        with opened_bundle(bundle) as folder:
            facts = read_json(folder / "data" / BUNDLE_FACTS)
            lines = (folder / MANIFEST).read_text(encoding="utf-8").splitlines()
    except (OSError, ValueError, RefusedInput) as error:
        raise UnusableInput(f"{bundle} is not a bundle that can be read: {error}") from error
    found = facts.get("edition") if isinstance(facts, dict) else None
    if found != edition:
        raise UnusableInput(
            f"{bundle} is not the {edition} edition of a record but says it is {found!r}; write "
            "'treenail verify PUBLIC --against FULL'"
        )
    pairs = (line.split(maxsplit=1) for line in lines if len(line.split(maxsplit=1)) == 2)
    return facts, {path: digest for digest, path in pairs}


def _compare_commitments(
    package: Package, key: str, facts: Mapping[str, Any]
) -> Iterator[BundleFinding]:
    derived = facts.get("derivedFrom")
    derived = derived if isinstance(derived, dict) else {}
    paths = {member.path: ("sha256",) for member in survey_package(package).members}
    sums = hash_files(package.folder, paths)
    members = members_text((path, one["sha256"]) for path, one in sums.digests.items())
    seal = last_seal(package)
    for name, what, text, said in (
        ("membersHmacSha256", "members", members, "the files of the full edition"),
        ("lastSealHmacSha256", "seal", seal, "the last seal of the full edition's ledger"),
    ):
        if derived.get(name) != commit(key, what, text):
            yield _finding(
                "derivation.commitment_differs",
                f"data/{BUNDLE_FACTS}",
                f"does not commit to {said}: '{name}' is of something else",
            )
    own = {commit(key, "file", one["sha256"]) for one in sums.digests.values()}
    withheld = facts.get("withheldFiles")
    for one in withheld if isinstance(withheld, list) else []:
        given = one.get("hmacSha256") if isinstance(one, dict) else None
        if given is not None and given not in own:
            yield _finding(
                "derivation.unknown_file",
                f"data/{BUNDLE_FACTS}",
                f"names a withheld file that the full edition does not hold ({str(given)[:80]})",
            )


def _why_not_comparable(facts: Mapping[str, Any], package: Package) -> str:
    if STAND_INS not in package.model.tables:
        return "its schemas are of an older version, which has other stand-ins in each edition"
    wanted = {"writtenBy": f"treenail {__version__}", "picturesDrawnBy": drawing_program()}
    for name, here in wanted.items():
        if facts.get(name) != here:
            return (
                f"it was written by {str(facts.get(name))[:60]} and this is {here}, which may "
                "write other bytes"
            )
    return ""


def _grid(facts: Mapping[str, Any]) -> str:
    withheld = facts.get("withheld")
    told = withheld.get("inference") if isinstance(withheld, dict) else None
    cell = told.get("coordinateCellAsked") if isinstance(told, dict) else None
    return NO_COORDINATES if cell is None else str(cell)


def _compare_manifests(
    found: Mapping[str, str], wanted: Mapping[str, str]
) -> Iterator[BundleFinding]:
    for path in sorted(found.keys() | wanted.keys()):
        if path not in wanted:
            said = "is not in a public edition made of that full one"
        elif path not in found:
            said = "is missing; a public edition made of that full one has it"
        elif found[path] != wanted[path]:
            said = "is not what a public edition made of that full one holds"
        else:
            continue
        yield _finding("derivation.file_differs", path, said)


def _finding(rule: str, path: str, message: str) -> BundleFinding:
    remedy = "Ask who packed it which full edition it was made from."
    return BundleFinding("derivation", "error", rule, path, message, remedy)
