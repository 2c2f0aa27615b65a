"""Shows that the check names every fault that was planted in the second copy of the papers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from provenance._base.disk import write_text
from provenance._base.yaml_text import read_yaml
from provenance._demo.stage import ENCLOSURES, FAULTED, FIELD, RESULTS, STARTED, Did, Stage
from provenance._demo.steps import attach_all, import_papers
from provenance._record.package import open_package

if TYPE_CHECKING:
    from provenance._base.findings import Finding, Report

UNREAD = "unread"


def name_planted_faults(stage: Stage) -> Did:
    """The second copy of the papers has planted faults, and the check must name each of them."""
    from provenance._checks.check import check_package
    from provenance._checks.report import report_html
    from provenance._record.new import new_package

    title = "Hollin Reach 2023, faulted papers (invented demonstration)"
    new_package(stage.faulted, "blank", title=title, created=STARTED)
    papers = stage.papers / "faulted"
    # what these steps say of the faulted papers the check says again
    brought_in = (
        import_papers("", stage, stage.faulted, papers / "field", FIELD),
        import_papers("", stage, stage.faulted, papers / "laboratory", RESULTS),
        import_papers("", stage, stage.faulted, papers / "laboratory", ENCLOSURES),
        attach_all(stage, stage.faulted),
    )
    report = check_package(open_package(stage.faulted))
    path = stage.out / "check-faulted.html"
    write_text(path, report_html(report))
    planted = read_yaml(papers / "FAULTS.yaml")
    missed, unplanned = compare_with_plan(planted, report)
    return Did(
        "Planted faults",
        f"{len(planted) - len(missed)} of {len(planted)} planted faults are named by their rules "
        f"({report.count('error')} errors, {report.count('warning')} warnings)",
        (
            f'treenail new {FAULTED} --title "{title}"',
            *(command for one in brought_in for command in one.commands),
            f"treenail check {FAULTED} --format html --out {path.name}",
        ),
        (path, papers / "FAULTS.yaml"),
        (
            *(f"not named: {fault}" for fault in missed),
            *(f"no one planted: {finding}" for finding in unplanned),
        ),
    )


def compare_with_plan(planted: list[dict[str, Any]], report: Report) -> tuple[list[str], list[str]]:
    """Planted faults that no finding names, and findings (notes apart) that nobody planted.

    `planted` is the content of FAULTS.yaml: rule, table and key of the finding each fault must
    give, and what else follows from it. A cell that could not be read has no row yet; its finding
    is known by the cell's text.
    """
    found = {_known_by(one) for one in report}
    planned: set[tuple[str, str, str]] = set()
    missed = []
    for fault in planted:
        keys = [fault["key"]] if fault["key"] else list(fault["is"].values())
        wanted = {(fault["rule"], fault["table"], key) for key in keys}
        if not wanted <= found:
            missed.append(f"{fault['fault']} ({fault['rule']})")
        planned |= wanted
        planned |= {(one["rule"], one["table"], one["key"]) for one in fault["follows"]}
    unplanned = [
        f"{one.rule}: {one.message}"
        for one in report
        if one.severity != "note" and _known_by(one) not in planned
    ]
    return missed, unplanned


def _known_by(one: Finding) -> tuple[str, str, str]:
    return one.rule, one.table, one.value if one.table == UNREAD else one.key
