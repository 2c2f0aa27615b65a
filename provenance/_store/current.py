"""Tells which accessions of a store are current: by lineage, never by name or date."""

from __future__ import annotations

from collections.abc import Iterable

from provenance._bundle.describe.editions import PUBLIC
from provenance._store.acts import WITHDRAWN, Act, accessions_in

OLDER = "older"
"""The word of an accession that holds less than one that was here before it."""


def word_of(accession: Act) -> str:
    """The word of an accession, without what a person added to it as a reason."""
    return accession.reason.partition(":")[0]


def standing_accessions(acts: Iterable[Act]) -> list[Act]:
    """The accessions that were not withdrawn, in their order."""
    acts = list(acts)
    gone = {act.number for act in acts if act.kind == WITHDRAWN}
    return [act for act in accessions_in(acts) if act.number not in gone]


def tips_among(accessions: Iterable[Act]) -> list[Act]:
    """The full editions from which no other of these goes on: of a record one, or one a branch.

    One that came in as older counts only where its record has no other any more.
    """
    full = [act for act in accessions if act.record_id and act.edition != PUBLIC.name]
    followed = {name for act in full for name in act.follows.split()}
    ends = [act for act in full if act.act_id not in followed]
    newer = {act.record_id for act in ends if word_of(act) != OLDER}
    last = {act.record_id: act.act_id for act in ends}
    return [
        act
        for act in ends
        if word_of(act) != OLDER
        or (act.record_id not in newer and last[act.record_id] == act.act_id)
    ]
