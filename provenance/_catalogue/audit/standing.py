"""Tells how every bundle of a repository stands: sound, damaged, missing, moved, superseded …"""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from typing import Any

from provenance._bag.verdict import NO_RECORD
from provenance._catalogue.audit.fixity import WHOLE
from provenance._catalogue.current import BRANCH, CURRENT, GONE, OLDER, PUBLIC
from provenance._record.remote import Place, lies_below, place_at

WORDS = {
    "damaged": "Damaged",
    "missing": "Missing",
    "bag_not_valid": "Bag (not valid) without a treenail record",
    "not_a_bag": "Not a bag and no treenail record",
    "unreadable": "Cannot be read",
    "unsettled": "Changed while it was read",
    "not_examined": "Could not be examined",
    "faulty": "Intact, but the record in it is faulty",
    "bag_incomplete": "Bag (incomplete) without a treenail record",
    "changed": "A different bundle than at the last audit",
    "bag_changed": "A different bag than at the last audit and without a treenail record",
    "stale": "Changed since it was last examined",
    "unchecked": "Not examined yet",
    "moved": "Moved",
    "withdrawn": "Withdrawn on purpose",
    "not_packed": "Package that is not packed, so without checksums",
    "bag_warned": "Bag (valid, with warnings) without a treenail record",
    "bag_valid": "Bag (valid) without a treenail record",
    "sound": "Every file and record sound, custody ledger not anchored",
}
"""Every standing, the gravest first, with the words for it."""

CLEAN = frozenset(
    {"sound", "stale", "unchecked", "moved", "withdrawn", "not_packed", "bag_valid", "bag_warned"}
)
"""Standings that nobody need be woken for. Nothing but `sound` claims to be sound.

An audit holds bundles against their own checksums and seals and no ledger against an anchor, so
that the words for `sound` say no more of it.
"""
IN_DOUBT = frozenset({"unsettled", "not_examined"})
"""Standings of which the next audit knows more."""
_VERDICTS = {
    **{name: NO_RECORD for name in WORDS if "bag" in name},
    "sound": "not anchored",
    "changed": "not anchored",
    "damaged": "damaged",
    "faulty": "faulty",
    "not_packed": "",
}
"""What `verify` says of a bundle of each standing; of all others 'not verified'."""


def standing_of(database: sqlite3.Connection, place: Place) -> tuple[dict[str, Any], ...]:
    """The last word on every bundle known at or below `place`, the gravest first.

    Each has path, name, edition, standing (a key of WORDS), verdict (in a word of `verify`), clean,
    why, cause, identity, state, examined_at (''), sound_at (when it was last sound), files and
    bytes, findings, and the lists of paths `copies`, `superseded_by` (of an older edition: the
    current ones of its record), `withdrawn_by` (editions that take its place, see the table
    withdrawal) and `moved_to`. `withdrawn_because` is the reason.
    """
    last = _last(database, "1")
    last_sound = _last(database, f"outcome IN {WHOLE}")
    bundles = [
        row
        for row in database.execute("SELECT * FROM bundle ORDER BY path")
        if lies_below(place_at(row["path"]), place)
    ]
    there = [row for row in bundles if row["state"] not in GONE]
    copies: dict[str, list[sqlite3.Row]] = defaultdict(list)
    newest: dict[tuple[str, bool], list[str]] = defaultdict(list)
    for row in there:
        if row["identity"]:
            copies[row["identity"]].append(row)
        if row["role"] in (CURRENT, BRANCH, PUBLIC):
            newest[row["record"], row["edition"] == PUBLIC].append(row["path"])
    withdrawals = withdrawals_in(database)
    result = []
    for row in bundles:
        same = [one for one in copies.get(row["identity"], ()) if one["path"] != row["path"]]
        seen = last.get(row["path"])
        standing, why = _standing(row, seen, same)
        if standing in ("damaged", "missing") and (whole := _sound_among(same, last)):
            why += f". Sound copies to restore it from: {', '.join(whole)}"
        sound = last_sound.get(row["path"])
        is_older = row["role"] == OLDER
        newer = newest[row["record"], row["edition"] == PUBLIC] if is_older else []
        is_there = row["state"] not in GONE
        withdrawn = withdrawals.get(row["identity"], []) if is_there else []
        result.append(
            {
                "path": row["path"],
                "name": row["name"],
                "edition": row["edition"],
                "accession": row["accession"],
                "standing": standing,
                "verdict": _VERDICTS.get(standing, "not verified"),
                "clean": standing in CLEAN,
                "why": why,
                "cause": seen["cause"] if seen and seen["outcome"] == standing else "",
                "identity": row["identity"],
                "state": row["state"],
                "examined_at": seen["ended_at"] if seen else "",
                "sound_at": sound["ended_at"] if sound else "",
                "files": seen["file_count"] if seen else None,
                "bytes": seen["byte_count"] if seen else None,
                "seconds": seen["seconds"] if seen else None,
                "run_id": seen["run_id"] if seen else None,
                "findings": json.loads(seen["findings"]) if seen else [],
                "copies": [one["path"] for one in same] if is_there else [],
                "superseded_by": newer if is_there else [],
                "withdrawn_by": [path for path, _ in withdrawn],
                "withdrawn_because": withdrawn[0][1] if withdrawn else "",
                "moved_to": _arrived_since(row, same) if standing == "moved" else [],
            }
        )
    order = {name: place_in_list for place_in_list, name in enumerate(WORDS)}
    return tuple(sorted(result, key=lambda one: (order[one["standing"]], one["path"])))


def withdrawals_in(database: sqlite3.Connection) -> dict[str, list[tuple[str, str]]]:
    """Identity of a withdrawn edition → path and reason of each that says so and is there."""
    found: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for row in database.execute(
        "SELECT manifest_sha256, path, withdrawal.reason FROM withdrawal JOIN bundle "
        f"USING (bundle_id) WHERE state NOT IN {GONE} ORDER BY path"
    ):
        found[row[0]].append((row[1], row[2]))
    return found


def _last(database: sqlite3.Connection, condition: str) -> dict[str, sqlite3.Row]:
    rows = database.execute(
        "SELECT * FROM examination WHERE examination_id IN "
        f"(SELECT max(examination_id) FROM examination WHERE {condition} GROUP BY path)"
    )
    return {row["path"]: row for row in rows}


def _standing(
    row: sqlite3.Row, seen: sqlite3.Row | None, same: list[sqlite3.Row]
) -> tuple[str, str]:
    """One bundle's standing and a sentence about it."""
    state = row["state"]
    if state == "withdrawn":
        return "withdrawn", row["why"]
    if state == "vanished":
        if arrived := _arrived_since(row, same):
            return "moved", f"the same bundle is now at {', '.join(arrived)}"
        return "missing", f"{row['why']}; restore it, or note with --withdraw why it was removed"
    if state == "out_of_sight":
        return "unreadable", f"its folder cannot be read: {row['why']}"
    if row["form"] == "package":
        return "not_packed", "pack it, so that it has checksums"
    if seen is None:
        if state == "unreadable":
            return "unreadable", row["why"]
        return "unchecked", "one of the next audits examines it"
    if seen["signature"] != row["signature"] and seen["outcome"] in WHOLE:
        # that it was sound then says nothing of what lies there now
        return "stale", "it has changed since; the next audit examines it"
    return seen["outcome"], _why(seen)


def _sound_among(same: list[sqlite3.Row], last: dict[str, sqlite3.Row]) -> list[str]:
    """Those copies that are as they were when they were last found sound."""
    return [
        one["path"]
        for one in same
        if (seen := last.get(one["path"]))
        and seen["outcome"] in WHOLE
        and seen["signature"] == one["signature"]
    ]


def _arrived_since(row: sqlite3.Row, same: list[sqlite3.Row]) -> list[str]:
    """Where the same bundle turned up when this one was found gone, or later."""
    gone = row["gone_in_run"]
    return [one["path"] for one in same if one["first_seen_in_run"] >= gone]


def _why(seen: sqlite3.Row) -> str:
    if seen["outcome"] == "changed":
        return "it is sound, but its list of checksums is not the one of the audit before"
    if seen["outcome"] == "bag_changed":
        return "it is valid, but it is not what was here at the audit before"
    if seen["outcome"] == "damaged" or seen["cause"] in ("decay", "written_to"):
        return {
            "decay": "bytes changed, sizes and times did not: the storage has most likely failed",
            "written_to": "its files were changed, replaced or removed since it was sound",
            "unknown": "it has not been sound at any audit",
        }[seen["cause"]]
    findings = json.loads(seen["findings"])
    if seen["outcome"] == "sound" or "bag" in seen["outcome"] or not findings:
        return ""
    return str(findings[0]["message"])
