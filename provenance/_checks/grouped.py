"""Puts the findings of a report into groups of the same thing to do, errors first."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from provenance._base.findings import SEVERITIES, Finding, Report


@dataclass(frozen=True)
class Group:
    """The findings of one rule: how many, and the first of them, those with one remedy together.

    `remedy` is the remedy that all have in common, or '' where each has its own.
    """

    severity: str
    rule: str
    count: int
    remedy: str
    shown: tuple[Finding, ...]

    @property
    def hidden(self) -> int:
        """How many findings are not shown."""
        return self.count - len(self.shown)


def grouped(report: Report, most: int = 0) -> tuple[Group, ...]:
    """The groups of a report, of each no more than `most` findings (0: all)."""
    groups = []
    for (severity, rule), part in report.found.group_by("severity", "rule", maintain_order=True):
        # rank by first appearance, so that what has one remedy stands together
        remedies = part["remedy"].unique(maintain_order=True)
        rank = pl.DataFrame({"remedy": remedies, "_rank": range(len(remedies))})
        part = part.join(rank, on="remedy", how="left", maintain_order="left")
        part = part.sort("_rank", maintain_order=True).drop("_rank")
        first = part.head(most) if most else part
        shown = tuple(Finding(*values) for values in first.iter_rows())
        common = str(remedies[0]) if len(remedies) == 1 else ""
        groups.append(Group(str(severity), str(rule), len(part), common, shown))
    return tuple(sorted(groups, key=lambda one: SEVERITIES.index(one.severity)))


def where(finding: Finding) -> str:
    """Where a finding is, in the package: table, row, key.

    >>> where(Finding("error", "r", "element", 14, "B1-014", "shape", "", "", ""))
    'element, row 14, B1-014'
    """
    if finding.row == 0:
        return finding.table
    if finding.row == 1:
        return f"{finding.table}, header"
    return ", ".join(part for part in (finding.table, f"row {finding.row}", finding.key) if part)
