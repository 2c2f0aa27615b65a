"""Lays a report out for a terminal, grouped by what there is to do."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from provenance._base.findings import SEVERITIES, Finding, Report
from provenance._base.opinion_words import counted, opinion_words
from provenance._base.visible import visible
from provenance._checks.grouped import Group, grouped, where

_COLOURS = {"error": "red", "warning": "yellow", "note": "cyan"}
_NARROWEST, _WIDEST = 40, 110


def report_text(
    report: Report,
    *,
    width: int = 100,
    most: int = 10,
    colour: bool = False,
    how_to_see_all: str = "",
) -> str:
    """The report as lines of at most `width` characters.

    Of each group no more than `most` findings are named (0: all); a line says how many more there
    are, and `how_to_see_all` how to see them.
    """
    width = max(_NARROWEST, min(width, _WIDEST))
    lines = [_summary(report, colour), ""]
    if report.second_opinion:
        for said in opinion_words(report.second_opinion, most):
            lines += _wrapped(said, width, "", "  ")
        lines.append("")
    for group in grouped(report, most):
        lines += _group_lines(group, width, colour, how_to_see_all)
        lines.append("")
    if report.accepted is not None and len(report.accepted):
        lines.append(f"ACCEPTED  with a reason, and not counted  ({len(report.accepted):,})")
        shown = report.accepted[: most or None]
        for one in shown.iter_rows(named=True):
            said = visible(f"{one['table']} {one['key']}: {one['message']} {_because(one)}")
            lines += _wrapped(said, width, "  ", "    ")
        if len(shown) < len(report.accepted):
            more = f"… and {len(report.accepted) - len(shown):,} more; {how_to_see_all}"
            lines += _wrapped(more, width, "  ", "    ")
    return "\n".join(lines).rstrip("\n") + "\n"


def _because(accepted: dict[str, str]) -> str:
    by = " ".join(part for part in (accepted["who"], accepted["when"][:10]) if part)
    return f"Accepted{f' by {by}' if by else ''}: {accepted['why']}"


def _summary(report: Report, colour: bool) -> str:
    rows = sum(report.rows_checked.values())
    checked = (
        f"{visible(report.package)}: {counted(rows, 'row')} in "
        f"{counted(len(report.rows_checked), 'table')}, {counted(len(report.rules_run), 'rule')}"
    )
    counts = [
        _painted(counted(report.count(one), one), one, colour)
        for one in SEVERITIES
        if report.count(one)
    ]
    return f"{checked}\n{', '.join(counts)}" if counts else f"{checked}\nnothing to do"


def _painted(text: str, severity: str, colour: bool) -> str:
    if not colour:
        return text
    import click

    return click.style(text, fg=_COLOURS[severity], bold=True)


def _group_lines(group: Group, width: int, colour: bool, how_to_see_all: str) -> Iterator[str]:
    label = _painted(group.severity.upper(), group.severity, colour)
    yield f"{label}  {group.rule}  ({group.count:,})".replace(",", " ")
    if group.remedy:
        yield from _wrapped(f"To do: {group.remedy}", width, "  ", "  ")
    remedy = group.remedy
    for position, finding in enumerate(group.shown):
        yield from _finding_lines(finding, width)
        following = group.shown[position + 1 : position + 2]
        if finding.remedy != remedy and (not following or following[0].remedy != finding.remedy):
            yield from _wrapped(f"To do: {finding.remedy}", width, "      ", "      ")
    if group.hidden:
        more = f"… and {group.hidden:,} more of this kind".replace(",", " ")
        yield from _wrapped(
            f"{more}{how_to_see_all and f'; {how_to_see_all}'}", width, "  ", "    "
        )


def _finding_lines(finding: Finding, width: int) -> Iterator[str]:
    field = f", {finding.field}" if finding.field else ""
    yield from _wrapped(f"- {where(finding)}{field}: {finding.message}", width, "  ", "      ")
    if finding.origin:
        yield from _wrapped(f"read from {finding.origin}", width, "      ", "      ")


def _wrapped(text: str, width: int, first: str, further: str) -> list[str]:
    # a line end inside a value must not look like the next line of the report
    flat = " ".join(visible(text).split())
    return textwrap.wrap(
        flat, width, initial_indent=first, subsequent_indent=further, break_on_hyphens=False
    )
