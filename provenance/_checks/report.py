"""Writes a report: as a page, as JSON, as CSV; for a terminal see report_text.py.

JSON, one object:

    package       name of the package
    writtenBy     program and version
    clean         whether there is neither error nor warning
    counts        {"error": n, "warning": n, "note": n}
    rowsChecked   {table: rows}
    rulesRun      [id, …]
    secondOpinion {"program", "agrees", "tables", "both", "libraryAlone": [difference, …],
                  "checkAlone": [difference, …], "stopped": [table, …], "cutShort": {table: row},
                  "notCompared", "notAsked": [sentence, …]}, only when it was asked for; a
                  difference is {"table", "row", "field", "rule", "value", "message", "why"}
    accepted      [{… as findings, "why", "who", "when"}, …], those that somebody lets stand, only
                  when there are any
    findings      [{"severity", "rule", "table", "row", "key", "field", "value", "message",
                    "remedy", "origin"}, …], in the order of tables and rows; `row` is a number,
                    0 for a table as a whole, 1 for its header

CSV (`_base/spreadsheet.py`) has the same columns as `findings`.
"""

from __future__ import annotations

import json
from typing import Any

from provenance import __version__
from provenance._base.findings import SEVERITIES, Report
from provenance._base.opinion_words import opinion_as_dict, opinion_words
from provenance._base.page_templates import page_templates
from provenance._checks.grouped import grouped, where

MOST_ON_A_PAGE = 500
"""Findings of one rule that a page lists; more make a page that no browser opens gladly."""


def report_json(report: Report) -> str:
    """The whole report as one JSON object; its shape stands at the head of this module."""
    head: dict[str, Any] = {
        "package": report.package,
        "writtenBy": f"treenail {__version__}",
        "clean": report.clean,
        "counts": {severity: report.count(severity) for severity in SEVERITIES},
        "rowsChecked": dict(report.rows_checked),
        "rulesRun": list(report.rules_run),
    }
    if report.second_opinion:
        head["secondOpinion"] = opinion_as_dict(report.second_opinion)
    if report.accepted is not None and len(report.accepted):
        head["accepted"] = report.accepted.to_dicts()
    opened = json.dumps(head, indent=2, ensure_ascii=False).removesuffix("\n}")
    # not splitlines(): a text may hold other characters that end a line
    lines = report.found.write_ndjson().split("\n")
    findings = ",\n".join(f"    {line}" for line in lines if line)
    listed = f"[\n{findings}\n  ]" if findings else "[]"
    return f'{opened},\n  "findings": {listed}\n}}\n'


def report_html(report: Report, *, most: int = MOST_ON_A_PAGE) -> str:
    """The report as a page, every value escaped; of each rule `most` findings (0: all).

    It says loudly how many findings it leaves out, and where all of them are.
    """
    environment = page_templates("check", "bundle")
    return environment.get_template("report.html").render(
        title=f"Check of {report.package}",
        package=report.package,
        program=f"treenail {__version__}",
        counts={severity: report.count(severity) for severity in SEVERITIES},
        rows=sum(report.rows_checked.values()),
        rows_checked=report.rows_checked,
        rules=len(report.rules_run),
        groups=grouped(report, most),
        accepted=report.accepted.to_dicts() if report.accepted is not None else [],
        opinion=list(opinion_words(report.second_opinion, most)) if report.second_opinion else [],
        where=where,
    )
