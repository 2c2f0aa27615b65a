"""Writes what an audit found as a page for people (HTML, no scripts) and as JSON for programs."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from provenance._bag.verdict import NO_RECORD
from provenance._base.page_templates import page_templates
from provenance._base.visible import visible
from provenance._catalogue.audit.audit import Audit
from provenance._catalogue.audit.standing import IN_DOUBT, WORDS

MOST_ROWS = 2_000
MOST_FILES = 5
"""The page names so many bundles of one standing, and files of one bundle; JSON names all."""


def audit_json(audit: Audit) -> str:
    """The audit as JSON text: run, counts by standing, and every bundle that is known."""
    document = {
        "place": str(audit.place),
        "run": audit.run_id,
        "startedAt": audit.started_at,
        "endedAt": audit.ended_at,
        "outcome": audit.outcome,
        "clean": audit.clean,
        "examined": audit.examined,
        "examinedBeforeItWasInterrupted": audit.resumed,
        "left": audit.left,
        "bytesExamined": sum(_of_run(audit, "bytes")),
        "clock": audit.update.clock,
        "counts": _counts(audit),
        "copies": sum(bool(one["copies"]) for one in audit.standing),
        "superseded": sum(bool(one["superseded_by"]) for one in audit.standing),
        "editionsWithdrawn": sum(bool(one["withdrawn_by"]) for one in audit.standing),
        "notReadable": audit.update.unreadable,
        **_of_store(audit),
        "bundles": list(audit.standing),
    }
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"


def _of_store(audit: Audit) -> dict[str, Any]:
    if audit.store is None:
        return {}
    open_ones = [
        {"finding": one.finding_id, **asdict(one), "remedy": one.remedy} for one in audit.store.open
    ]
    return {
        "openFindings": open_ones,
        "settledFindings": len(audit.store.settled),
        "due": list(audit.store.due),
    }


def _of_run(audit: Audit, name: str) -> list[Any]:
    return [one[name] or 0 for one in audit.standing if one["run_id"] == audit.run_id]


def _counts(audit: Audit) -> dict[str, int]:
    found = [one["standing"] for one in audit.standing]
    return {name: found.count(name) for name in WORDS if name in found}


def audit_lines(audit: Audit) -> list[str]:
    """The audit in lines for a terminal or a mail: counts, then everything that is not clean."""
    lines = [
        f"{audit.examined} examined, {audit.left} left for the next audit; of "
        f"{len(audit.standing)} known: "
        + ", ".join(f"{count} {WORDS[name].lower()}" for name, count in _counts(audit).items())
    ]
    for found in audit.store.open if audit.store else ():
        about = f"{found.about}: " if found.about else ""
        lines.append(f"{found.finding_id[:8]} {found.kind}: {visible(about + found.said)}")
        lines.append(f"    {found.remedy}")
    if audit.store:
        lines.append(audit.store.in_words)
        lines += [f"due: {visible(one)}" for one in audit.store.due]
    for one in audit.standing:
        if one["clean"] or (audit.store and one["standing"] not in IN_DOUBT):
            continue
        since = f" (was sound on {one['sound_at']})" if one["sound_at"] else ""
        lines.append(f"{WORDS[one['standing']]}: {visible(one['path'])}{since}")
        if one["why"]:
            lines.append(f"    {visible(one['why'])}")
        for finding in one["findings"][:MOST_FILES]:
            lines.append(f"    {visible(' '.join([finding['path'], finding['message']]).strip())}")
        if len(one["findings"]) > MOST_FILES:
            lines.append(f"    ... and {len(one['findings']) - MOST_FILES} MORE; --format json")
    known = {one["path"] for one in audit.standing}
    lines += [
        f"Cannot be read: {visible(path)}: {visible(why)}"
        for path, why in audit.update.unreadable.items()
        if path not in known
    ]
    for one in audit.standing:
        if one["standing"] == "moved" and not audit.store:
            lines.append(f"Moved: {visible(one['path'])}, {visible(one['why'])}")
        if one["superseded_by"]:
            newer = ", ".join(map(visible, one["superseded_by"]))
            lines.append(f"Superseded: {visible(one['path'])}, by {newer}")
        if one["withdrawn_by"]:
            newer = ", ".join(map(visible, one["withdrawn_by"]))
            why = visible(one["withdrawn_because"])
            lines.append(f"Edition withdrawn: {visible(one['path'])}, by {newer}: {why}")
    for paths in _copies(audit):
        lines.append(f"The same bundle {len(paths)} times: {', '.join(map(visible, paths))}")
    return lines


def _copies(audit: Audit) -> list[tuple[str, ...]]:
    if audit.store:  # of which a finding tells
        return []
    groups = {
        tuple(sorted([one["path"], *one["copies"]])) for one in audit.standing if one["copies"]
    }
    return sorted(groups)


def audit_html(audit: Audit) -> str:
    """The audit as one page with no scripts and nothing fetched."""
    groups = []
    for name, words in WORDS.items():
        bundles = [one for one in audit.standing if one["standing"] == name]
        of_findings = audit.store and name not in IN_DOUBT
        if bundles and name not in ("sound", "unchecked") and not of_findings:
            groups.append((name, words, bundles[:MOST_ROWS], len(bundles) - MOST_ROWS))
    known = {one["path"] for one in audit.standing}
    page = page_templates("catalogue").get_template("audit.html")
    return page.render(
        audit=audit,
        counts=_counts(audit),
        words=WORDS,
        all_examined=audit.clean and not {"unchecked", "stale"} & set(_counts(audit)),
        bags=any(one["verdict"] == NO_RECORD for one in audit.standing),
        groups=groups,
        unseen={p: why for p, why in audit.update.unreadable.items() if p not in known},
        copies=_copies(audit)[:MOST_ROWS],
        withdrawn=[one for one in audit.standing if one["withdrawn_by"]][:MOST_ROWS],
        superseded=[one for one in audit.standing if one["superseded_by"]][:MOST_ROWS],
        oldest=sorted(
            (one for one in audit.standing if one["examined_at"] and one["standing"] == "sound"),
            key=lambda one: one["examined_at"],
        )[:5],
        gigabytes=sum(_of_run(audit, "bytes")) / 1e9,
        most_files=MOST_FILES,
    )
