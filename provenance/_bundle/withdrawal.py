"""Which earlier public editions an edition takes the place of, and whether one was withdrawn."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from provenance._bag.hostile import HostileBundle, listed_folder
from provenance._bag.streaming import Container, Folder, opened_container, read_whole
from provenance._base.errors import UnusableInput
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.describe.withdrawn import SHA256, Withdrawn, withdrawn_by
from provenance._bundle.redaction.remembering import Withdrawing
from provenance._bundle.verify import BUNDLE_FACTS
from provenance._gate.budget import DEFAULT_BUDGET, Budget
from provenance._gate.documents import json_from
from provenance._history.history import ACT, first_act, record_key
from provenance._record.package import Package

MANIFEST = "manifest-sha256.txt"
NOTHING_GIVEN_OUT = "none"


@dataclass(frozen=True)
class PublicBundle:
    """What a public edition is known by: the SHA-256 of its manifest, its bundle.json, its acts."""

    manifest_sha256: str
    facts: Mapping[str, Any]
    acts: frozenset[str]


def read_public_bundle(bundle: Path, limits: Budget = DEFAULT_BUDGET) -> PublicBundle:
    """A public edition, folder or zip, read where it lies; it may come from a stranger.

    Raises UnusableInput for anything else.
    """
    try:
        with _opened(bundle, limits) as container:
            said = _read(container, bundle, f"data/{BUNDLE_FACTS}", limits)
            facts = json_from(said, f"{bundle}: {BUNDLE_FACTS}", limits)
            manifest = _read(container, bundle, MANIFEST, limits)
            text = _read(container, bundle, f"data/tables/{ACT}.csv", limits).decode("utf-8-sig")
            acts = frozenset(row.get("act_id") or "" for row in csv.DictReader(text.splitlines()))
    except (OSError, ValueError, RecursionError, csv.Error, HostileBundle) as error:
        raise UnusableInput(f"{bundle} is not a bundle that can be read: {error}") from error
    if not isinstance(facts, dict) or facts.get("edition") != PUBLIC.name:
        raise UnusableInput(f"{bundle} is not a public edition; name the one that was given out")
    return PublicBundle(sha256(manifest).hexdigest(), facts, acts)


@contextmanager
def _opened(bundle: Path, limits: Budget) -> Iterator[Container]:
    if bundle.is_dir():
        yield Folder(bundle, listed_folder(bundle, limits))
        return
    with opened_container(bundle, limits) as container:
        yield container


def _read(container: Container, bundle: Path, path: str, limits: Budget) -> bytes:
    """One file of a bundle, b'' for a table that it has not."""
    size = container.sizes.get(path)
    if size is None and path.startswith("data/tables/"):
        return b""
    if size is None or size > limits.most_table_bytes:
        raise UnusableInput(f"{bundle} has no {path} that can be read, so it is not a bundle")
    return b"".join(read_whole(container, bundle, path))


def is_public_bundle(bundle: Path) -> bool:
    """Whether there is a public edition; False for whatever else lies there, or cannot be read."""
    try:
        read_public_bundle(bundle)
    except UnusableInput:
        return False
    return True


def withdrawing_of(package: Package, editions: Sequence[str], reason: str) -> Withdrawing:
    """What a person says of earlier editions: each a bundle, or the SHA-256 of its manifest.

    The word 'none' stands for: no edition was given out. Raises UnusableInput for what is none of
    these, for an edition of another record, and where the reason is missing.
    """
    reason = " ".join(reason.split())
    if NOTHING_GIVEN_OUT in editions:
        if len(editions) > 1:
            raise UnusableInput("'none' says that no edition was given out; name no other with it")
        return Withdrawing({}, reason)
    if not reason:
        raise UnusableInput("say with --because why the edition is withdrawn, for all to read")
    found = {}
    for one in editions:
        if SHA256.fullmatch(one):
            found[one] = ""
            continue
        bundle = read_public_bundle(Path(one))
        begun = first_act(package).act_id(record_key(package))
        if bundle.acts and begun not in bundle.acts:
            raise UnusableInput(f"{one} is an edition of a different record than {package.folder}")
        day = bundle.facts.get("recordDate")
        found[bundle.manifest_sha256] = day if isinstance(day, str) else ""
    return Withdrawing(found, reason)


def is_withdrawn(older: Path, newer: Path) -> Withdrawn | None:
    """What the public edition `newer` says of the withdrawn edition `older`; None where nothing.

    Raises UnusableInput when one of them is no public edition that can be read.
    """
    digest = read_public_bundle(older).manifest_sha256
    said = withdrawn_by(read_public_bundle(newer).facts)
    return next((one for one in said if one.manifest_sha256 == digest), None)
