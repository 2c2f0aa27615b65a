"""`treenail check`: what in a package is wrong, and what to do about it."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import click

from provenance.cli.options import out_option, package_argument, progress_bar


@click.command("check")
@package_argument
@click.option(
    "--format",
    "shape",
    type=click.Choice(["text", "json", "html", "csv"]),
    default="text",
    show_default=True,
    help="How to say it.",
)
@out_option
@click.option(
    "--most",
    type=click.IntRange(min=0),
    default=10,
    show_default=True,
    help="Findings of one kind to name in text; 0 for all.",
)
def check(package: Path, shape: str, out: Path | None, most: int) -> None:
    """Check PACKAGE against its schemas and the rules of the trade.

    Findings are grouped by what there is to do, errors first. JSON and CSV hold all of them.

    Exit codes: 0 no error and no warning, 1 errors or warnings, 2 cannot be checked.
    """
    from provenance.checks.check import RuleFailed, check_package
    from provenance.package import open_package

    broken: RuleFailed | None = None
    opened = open_package(package)
    try:
        with progress_bar("checking") as progress:
            report = check_package(opened, progress=progress)
    except RuleFailed as failed:
        broken, report = failed, failed.report
    from provenance.checks import report as reports

    if shape == "text":
        to_terminal = out is None and sys.stdout.isatty()
        text = reports.report_text(
            report,
            width=shutil.get_terminal_size().columns if to_terminal else 100,
            most=most,
            colour=to_terminal,
            how_to_see_all="--most 0 names all, --format csv writes all",
        )
    elif shape == "json":
        text = reports.report_json(report)
    elif shape == "csv":
        text = reports.report_csv(report)
    else:
        text = reports.report_html(report)
    if out is None:
        click.echo(text, nl=False)
    else:
        from provenance.disk import write_text

        write_text(out, text)
        counts = f"{report.count('error')} errors, {report.count('warning')} warnings"
        click.echo(f"{counts}, {report.count('note')} notes, written to {out}", err=True)
    if broken is not None:
        raise broken
    sys.exit(0 if report.clean else 1)
