"""Puts the signed statement into a bag, and judges the one in a bag."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from provenance._bag.verdict import BundleFinding
from provenance._base.disk import sha256_of, write_bytes
from provenance._gate.budget import DEFAULT_BUDGET, Budget
from provenance._gate.documents import read_json
from provenance._ledger.anchors import sealed_events
from provenance._ledger.branches import seals_at_ends
from provenance._ledger.ed25519 import SignaturesNotTested, Signer
from provenance._ledger.signing import key_name
from provenance._ledger.statement import (
    SIGNATURES,
    STATEMENT,
    FalseStatement,
    Judged,
    Pins,
    judge_statement,
    signed,
    statement_bytes,
)
from provenance._record.package import Package

MANIFEST = "manifest-sha256.txt"
"""The list of the payload's checksums; the checksum of it stands for the payload, byte for byte."""


def write_statement(
    folder: Path,
    package: Package,
    *,
    edition: str,
    day: str,
    derived_from: Mapping[str, Any] | None,
    keys: Sequence[Signer],
) -> None:
    """Put the statement and its signatures beside the manifests of the bag in `folder`.

    `derived_from` is what a public edition says of the full one, whose ledger it cannot name.
    """
    statement = _statement(folder, package, edition, day, derived_from)
    write_bytes(folder / STATEMENT, statement)
    write_bytes(folder / SIGNATURES, signed(statement, keys))


def signed_tags(folder: Path, package: Package, keys: Sequence[Signer]) -> dict[str, bytes]:
    """The tag files that change when the verified bag in `folder` is signed by `keys` as well.

    `package` is the one in it. Signatures that it bears stay; a bag without a statement gets one.
    """
    if not keys:
        return {}
    if (folder / STATEMENT).is_file():
        before = (folder / SIGNATURES).read_bytes()
        return {SIGNATURES: signed((folder / STATEMENT).read_bytes(), keys, before)}
    facts = read_json(folder / "data" / "bundle.json")
    about = (str(facts.get("edition", "")), str(facts.get("recordDate", "")))
    statement = _statement(folder, package, *about, facts.get("derivedFrom"))
    return {STATEMENT: statement, SIGNATURES: signed(statement, keys)}


def _statement(
    folder: Path,
    package: Package,
    edition: str,
    day: str,
    derived_from: Mapping[str, Any] | None,
) -> bytes:
    facts: dict[str, Any] = {
        "record": package.name,
        "edition": edition,
        "recordDate": day,
        "manifestSha256": sha256_of(folder / MANIFEST),
    }
    if derived_from is None:
        events = sealed_events(package.tables)
        facts |= {"heads": seals_at_ends(events), "events": len(events), "keys": _key_ids(events)}
    else:
        facts["derivedFrom"] = dict(derived_from)
    return statement_bytes(facts)


def _key_ids(events: Sequence[Mapping[str, str]]) -> list[str]:
    """The names of the keys that events are signed with."""
    return sorted({name for one in events if (name := key_name(one))})


def judged_statement(
    folder: Path, record: str, edition: str, pins: Pins, limits: Budget = DEFAULT_BUDGET
) -> tuple[Judged | None, list[BundleFinding]]:
    """The statement of the bag in `folder`, None where it has none, and what is wrong with it.

    `record` and `edition` are what the bag itself says it holds.
    """
    there = [(folder / name).is_file() for name in (STATEMENT, SIGNATURES)]
    if not any(there):
        return None, []
    if not all(there):
        missing = (STATEMENT, SIGNATURES)[there.index(False)]
        message = "is missing, though the other of the two files of a signed statement is there"
        return None, [_finding("custody.statement_incomplete", missing, message)]
    for name in (STATEMENT, SIGNATURES):
        if (folder / name).stat().st_size > limits.most_tag_bytes:
            message = f"has more than {limits.most_tag_bytes} bytes, which is too many"
            return None, [_finding("custody.statement_false", name, message)]
    statement, signatures = ((folder / name).read_bytes() for name in (STATEMENT, SIGNATURES))
    try:
        judged = judge_statement(statement, signatures, pins)
    except FalseStatement as error:
        return None, [_finding("custody.statement_false", STATEMENT, str(error))]
    except SignaturesNotTested as error:
        message = f"was not tested: {error}"
        remedy = "Install that package and verify again."
        untested = ("custody", "warning", "custody.statement_not_tested", STATEMENT)
        return None, [BundleFinding(*untested, message, remedy)]
    return judged, list(_of_another(judged, folder, record, edition))


def _of_another(judged: Judged, folder: Path, record: str, edition: str) -> Iterator[BundleFinding]:
    manifest = folder / MANIFEST
    is_here = manifest.is_file() and sha256_of(manifest) == judged.manifest_sha256
    if not is_here or (judged.record, judged.edition) != (record, edition):
        yield _finding(
            "custody.statement_of_another",
            STATEMENT,
            f"is signed for another bundle (the {judged.edition} edition of {judged.record}, or "
            "other files): the files, or the statement, were swapped",
        )


def _finding(rule: str, path: str, message: str) -> BundleFinding:
    remedy = "Ask the signer for the bundle again; do not repair it by hand."
    return BundleFinding("custody", "error", rule, path, message, remedy)
