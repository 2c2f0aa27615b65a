"""Tells of which record a bundle is, and whether it was here before: by content, never by name.

`bag` stands for every byte, the number on it included; `payload` for all that is inside, in a
folder or a zip; `members` for the record's own files, whichever program made the pages around
them. The marks say which record it is: its first act, and the seal of its first custody event.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from provenance._base.disk import sha256_of
from provenance._bundle.describe.lineage import members_digest
from provenance._bundle.statement import MANIFEST
from provenance._ledger.anchors import sealed_events
from provenance._ledger.seals import SEAL, named_before
from provenance._record.origin import Ancestor
from provenance._record.snapshot import Snapshot

TAG_MANIFEST = "tagmanifest-sha256.txt"


@dataclass(frozen=True)
class Identity:
    """What a bundle is known by; `marks` begin with the one that names its record."""

    bag: str
    payload: str
    members: str
    marks: tuple[str, ...]


def identity_in(folder: Path, tables: Snapshot, earlier: Sequence[Ancestor]) -> Identity:
    """The identity of the verified bag in `folder`, whose record has these tables.

    `earlier` are the bundles that it says it goes on from, newest first.
    """
    bag = sha256_of(folder / TAG_MANIFEST)
    return Identity(
        bag=bag,
        payload=sha256_of(folder / MANIFEST),
        members=members_digest(folder),
        marks=marks_of(tables) or (earlier[-1].tagmanifest_sha256 if earlier else bag,),
    )


def marks_of(tables: Snapshot) -> tuple[str, ...]:
    """The record's first acts and events; () for a record from before there were any."""
    acts: list[str] = []
    if "act" in tables.model.tables:
        rows = tables.tuples("act", ("act_id", "parents"))
        acts = [name for name, parents in rows if name and not parents]
    firsts = [one[SEAL] for one in sealed_events(tables) if not named_before(one)]
    return tuple(dict.fromkeys([*sorted(acts), *sorted(firsts)]))
