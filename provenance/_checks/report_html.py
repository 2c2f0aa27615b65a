"""Lays a report out as one page that needs nothing else: no network, no scripts."""

from __future__ import annotations

from provenance import __version__
from provenance._base.findings import SEVERITIES, Report
from provenance._base.opinion_words import opinion_words
from provenance._base.page_templates import page_templates
from provenance._checks.grouped import grouped, where

__all__ = ["MOST_ON_A_PAGE", "report_html"]

MOST_ON_A_PAGE = 500
"""Findings of one rule that a page lists; more make a page that no browser opens gladly."""


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
        opinion=list(opinion_words(report.second_opinion, most)) if report.second_opinion else [],
        where=where,
    )
