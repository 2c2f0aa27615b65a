"""Writes what a public edition says of itself: what is withheld, the check in figures."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from provenance._base.disk import write_text
from provenance._base.findings import SEVERITIES
from provenance._bundle.describe.citation import keeper
from provenance._bundle.redaction.notice import WITHHELD_TEXT, withheld_text
from provenance._bundle.redaction.redact import Redacted
from provenance._record.package import as_json

if TYPE_CHECKING:
    from provenance._base.findings import Report

SUMMARY = "check/summary.json"
SUMMARY_TEXT = "check/summary.txt"


def write_notice(redacted: Redacted, data: Path, day: str) -> None:
    """WITHHELD.txt into a payload; `day` is the record's date."""
    package = redacted.package
    text = withheld_text(package, redacted.account, day=day, keeper=keeper(package))
    write_text(data / WITHHELD_TEXT, text)


def write_check_summary(report: Report, data: Path) -> None:
    """How often each rule found something in the full edition, and nothing that it quoted."""
    counts = Counter(zip(report.found["severity"], report.found["rule"], strict=True))
    order = {severity: place for place, severity in enumerate(SEVERITIES)}
    rows = sorted(counts.items(), key=lambda one: (order.get(one[0][0], 9), one[0][1]))
    summary = {
        "checked": "the full edition, when this was packed",
        "rulesRun": len(report.rules_run),
        "rowsChecked": sum(report.rows_checked.values()),
        "findings": [
            {"severity": severity, "rule": rule, "count": count} for (severity, rule), count in rows
        ],
    }
    write_text(data / SUMMARY, as_json(summary))
    lines = [f"{severity:8} {count:>8}  {rule}\n" for (severity, rule), count in rows]
    head = (
        "What the check found in the full edition when this was packed, in figures.\n"
        "The findings themselves quote the record and are in the full edition.\n\n"
    )
    write_text(data / SUMMARY_TEXT, head + ("".join(lines) or "Nothing was found.\n"))


def public_facts(redacted: Redacted) -> dict[str, Any]:
    """What bundle.json of a public edition holds beside the facts of every bundle."""
    return {
        "derivedFrom": dict(redacted.derived_from),
        # another version of it may draw them with other bytes
        "picturesDrawnBy": drawing_program(),
        "withheld": dict(redacted.account.as_dict()),
        "withheldFiles": [
            {
                name: value
                for name, value in (
                    ("table", one.table),
                    ("row", one.key),
                    ("reason", one.reason),
                    ("hmacSha256", one.commitment),
                )
                if value
            }
            for one in redacted.account.files
        ],
    }


def drawing_program() -> str:
    """The program and version that draws photos anew."""
    import PIL

    return f"Pillow {PIL.__version__}"
