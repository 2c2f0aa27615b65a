"""Lists what happened to the bundles of a store as preservation events."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from provenance._store.acts import ACCESSION, WITHDRAWN, Act
from provenance._store.fixity import fixity_files, read_fixity
from provenance._store.store import Store
from provenance._store.tables import Row

_OUTCOMES = {
    **dict.fromkeys(("sound", "changed", "bag_valid", "bag_changed"), "success"),
    **dict.fromkeys(("faulty", "bag_warned"), "warning"),
    **dict.fromkeys(("damaged", "bag_incomplete", "bag_not_valid", "not_a_bag"), "fail"),
}
"""Outcome of an examination → outcome of the event; all others say nothing of the bundle."""


def preservation_events(store: Store) -> Iterator[dict[str, str]]:
    """Accessions, withdrawals and examinations, the acts in their order, then the examinations.

    Each has event_id, event_type (accession, deaccession, fixity_check), happened_at (a day, or a
    moment in UTC), object_id (the accession number, or the path of a bundle that has none), detail,
    outcome (success, warning, fail or ''), outcome_detail, agent and object_sha256 (of the bundle's
    tagmanifest-sha256.txt).
    """
    bags = {act.number: act.bag for act in store.accessions}
    numbers = {act.kept_at: act.number for act in store.accessions}
    for act in store.acts:
        if act.kind == ACCESSION:
            yield _of_act(act, "accession", "success", f"from {act.depositor}: {act.reason}", bags)
        elif act.kind == WITHDRAWN:
            yield _of_act(act, "deaccession", "", act.reason, bags)
    for path in fixity_files(store):
        for row in read_fixity(store, path):
            yield _of_examination(row, numbers)


def _of_act(act: Act, kind: str, outcome: str, detail: str, bags: dict[str, str]) -> dict[str, str]:
    return {
        "event_id": act.act_id,
        "event_type": kind,
        "happened_at": act.happened_on,
        "object_id": act.number,
        "detail": detail,
        "outcome": outcome,
        "outcome_detail": "",
        "agent": act.by,
        "object_sha256": bags.get(act.number, ""),
    }


def _of_examination(row: Row, numbers: dict[str, str]) -> dict[str, str]:
    key = "\0".join(row[name] for name in ("examined_at", "path", "bag"))
    return {
        "event_id": hashlib.sha256(key.encode()).hexdigest(),
        "event_type": "fixity_check",
        "happened_at": row["examined_at"],
        "object_id": numbers.get(row["path"], row["path"]),
        "detail": f"every checksum of {row['file_count']} files was computed again",
        "outcome": _OUTCOMES.get(row["outcome"], ""),
        "outcome_detail": " ".join([row["outcome"], row["cause"], row["faults"]]).strip(),
        "agent": row["program"],
        "object_sha256": row["bag"],
    }
