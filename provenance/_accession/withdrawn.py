"""Which public editions of a store withdraw one that comes in, and which are withdrawn by it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from provenance._accession.received import Received
from provenance._base.disk import sha256_of
from provenance._base.errors import UnusableInput
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.describe.withdrawn import Withdrawn, withdrawn_by
from provenance._bundle.withdrawal import MANIFEST, read_public_bundle
from provenance._store.acts import Act


@dataclass(frozen=True)
class EditionsBeside:
    """What the editions that are kept in a store say of one that comes in, and it of them.

    `by` is the accession that takes its place, with what that edition says; `of` are accessions
    that it takes the place of, with what it says.
    """

    by: tuple[Act, Withdrawn] | None = None
    of: tuple[tuple[Act, Withdrawn], ...] = ()

    @property
    def in_words(self) -> tuple[tuple[str, str], ...]:
        """Lines for a receipt: a word and what stands behind it."""
        lines = []
        if self.by:
            entry, said = self.by
            lines.append(
                (
                    "WITHDRAWN",
                    f"since {said.on}; accession {entry.number} takes its place: {said.reason}",
                )
            )
        lines += [
            ("takes the place of", f"accession {entry.number}, withdrawn on {said.on}")
            for entry, said in self.of
        ]
        return tuple(lines)


ALONE = EditionsBeside()
"""For a bundle of which no other edition says anything."""


def editions_beside(
    received: Received, store: Path, entries: Sequence[Act]
) -> EditionsBeside:
    """Compare a bundle with the public editions that a store keeps; nothing for a full one."""
    if received.known_by.edition != PUBLIC.name:
        return ALONE
    mine = sha256_of(received.folder / MANIFEST)
    said_here = {one.manifest_sha256: one for one in withdrawn_by(received.facts)}
    by, of = None, []
    for entry, digest, said in _kept_editions(store, entries):
        by = by or next(((entry, one) for one in said if one.manifest_sha256 == mine), None)
        if digest in said_here:
            of.append((entry, said_here[digest]))
    return EditionsBeside(by, tuple(of))


def _kept_editions(
    store: Path, entries: Sequence[Act]
) -> Iterator[tuple[Act, str, tuple[Withdrawn, ...]]]:
    for entry in entries:
        if entry.edition != PUBLIC.name:
            continue
        try:
            kept = read_public_bundle(store / entry.kept_at)
        except UnusableInput:
            # that a kept bundle is lost or damaged is for the audit to say
            continue
        yield entry, kept.manifest_sha256, withdrawn_by(kept.facts)
