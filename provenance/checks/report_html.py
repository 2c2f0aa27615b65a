"""Lays a report out as one page that needs nothing else: no network, no scripts."""

from __future__ import annotations

from typing import Any

from provenance import __version__
from provenance.checks.grouped import grouped, where
from provenance.findings import SEVERITIES, Report
from provenance.resources import shipped
from provenance.visible import visible

__all__ = ["MOST_ON_A_PAGE", "report_html"]

MOST_ON_A_PAGE = 500
"""Findings of one rule that a page lists; more make a page that no browser opens gladly."""


def report_html(report: Report, *, most: int = MOST_ON_A_PAGE) -> str:
    """The report as a page, every value escaped; of each rule `most` findings (0: all).

    It says loudly how many findings it leaves out, and where all of them are.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    def finalize(value: Any) -> Any:
        return visible(value) if type(value) is str else value

    templates = shipped("templates")
    environment = Environment(
        loader=FileSystemLoader([templates / "check", templates / "bundle"]),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=finalize,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template("report.html").render(
        title=f"Check of {report.package}",
        package=report.package,
        program=f"treenail {__version__}",
        counts={severity: report.count(severity) for severity in SEVERITIES},
        rows=sum(report.rows_checked.values()),
        rows_checked=report.rows_checked,
        rules=len(report.rules_run),
        groups=grouped(report, most),
        where=where,
    )
