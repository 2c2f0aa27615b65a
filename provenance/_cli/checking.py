"""`treenail check`: what in packages and bundles is wrong, and what to do about it."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from provenance._cli.options import (
    PlaceParam,
    format_option,
    most_option,
    out_option,
    progress_bar,
    scheduler_option,
    second_opinion_option,
    show_or_write,
    workers_option,
)
from provenance._record.remote import Place

if TYPE_CHECKING:
    from provenance._base.findings import Report
    from provenance._catalogue.check_many import Checked


@click.command("check")
@click.argument("packages", metavar="[PACKAGE]...", nargs=-1, type=PlaceParam(must_exist=False))
@format_option("text", "json", "html", "csv")
@out_option
@most_option(10, "Findings of one kind to name in text")
@second_opinion_option
@workers_option
@scheduler_option
def check(
    packages: tuple[Place, ...],
    shape: str,
    out: Path | None,
    most: int,
    second_opinion: bool,
    workers: int,
    scheduler: str | None,
) -> None:
    """Check each PACKAGE against its schemas and the rules of the trade.

    PACKAGE is a package, a bundle, or a folder of them; default: the current folder. Findings are
    grouped by what to do, errors first. JSON and CSV hold all of them. Pages for several (--format
    html) go into the folder --out. For a bundle, the verdict on its files is given too.

    Exit codes: 0 no error and no warning, 1 errors or warnings, 2 something cannot be checked.
    """
    from provenance._base.errors import UnusableInput
    from provenance._catalogue.check_many import check_each, sources_at
    from provenance._catalogue.stores.spread import Crew
    from provenance._record.package import open_package

    places: tuple[Place, ...] = packages or (Path(),)
    try:
        sources = sources_at(places)
    except UnusableInput:
        if len(places) == 1 and isinstance(places[0], Path):
            open_package(places[0])  # says why it is no package
        raise
    if sources == list(places) and len(sources) == 1:
        sys.exit(_check_one(sources[0], shape, out, most, second_opinion))
    if shape == "html" and out is None:
        raise click.UsageError("pages of several go into a folder: say which with --out")
    with progress_bar("checking") as progress:
        done = check_each(
            sources, second_opinion=second_opinion, crew=Crew(workers, scheduler), progress=progress
        )
    _tell_all(done, shape, out, most)
    if any(one.why for one in done):
        sys.exit(2)
    sys.exit(0 if all(one.clean for one in done) else 1)


def _check_one(source: Place, shape: str, out: Path | None, most: int, second_opinion: bool) -> int:
    """Check one package, or the record in a bundle, with a report of its own."""
    from provenance._base.errors import UnusableInput
    from provenance._catalogue.check_many import check_source
    from provenance._checks.check import RuleFailed, check_package
    from provenance._record.package import DESCRIPTOR, open_package

    broken: RuleFailed | None = None
    if isinstance(source, Path) and (source / DESCRIPTOR).is_file():
        try:
            with progress_bar("checking") as progress:
                report = check_package(open_package(source), progress=progress)
        except RuleFailed as failed:
            broken, report = failed, failed.report
        if second_opinion:
            from provenance._checks.second_opinion import with_second_opinion

            with progress_bar("asking the reference library") as progress:
                report = with_second_opinion(open_package(source), report, step=progress)
    else:
        checked = check_source(source, second_opinion=second_opinion)
        if checked.report is None or checked.why:
            raise UnusableInput(checked.why)
        report = checked.report
        if isinstance(source, Path):
            from provenance._base.visible import visible
            from provenance._bundle.answering import verdict_for_answer

            verdict = verdict_for_answer(source, even_if_damaged=True)
            click.echo(visible(verdict.in_words), err=True)
    text = _in_shape(report, shape, most, to_terminal=out is None and sys.stdout.isatty())
    if report.second_opinion and (out or shape == "csv"):
        from provenance._base.opinion_words import opinion_words

        click.echo(next(opinion_words(report.second_opinion)), err=True)
    counts = f"{report.count('error')} errors, {report.count('warning')} warnings"
    show_or_write(text, out, f"{counts}, {report.count('note')} notes, written to {out}")
    if broken is not None:
        raise broken
    return 0 if report.clean else 1


def _in_shape(report: Report, shape: str, most: int, *, to_terminal: bool) -> str:
    from provenance._checks import report as reports
    from provenance._checks.report_text import report_text

    if shape == "json":
        return reports.report_json(report)
    if shape == "csv":
        from provenance._base.spreadsheet import spreadsheet_csv

        return spreadsheet_csv(report.found)
    if shape == "html":
        return reports.report_html(report)
    return report_text(
        report,
        width=shutil.get_terminal_size().columns if to_terminal else 100,
        most=most,
        colour=to_terminal,
        how_to_see_all="--most 0 names all, --format csv writes all",
    )


# -- several ---------------------------------------------------------------------------------------


def _tell_all(done: Sequence[Checked], shape: str, out: Path | None, most: int) -> None:
    from provenance._base.disk import write_text
    from provenance._base.visible import visible

    for one in done:
        if one.why:
            told = one.why if str(one.path) in one.why else f"{one.path}: {one.why}"
            click.echo(f"not checked in full: {visible(told)}", err=True)
    if shape == "html":
        assert out is not None
        for number, one in enumerate(done, start=1):
            if one.report is not None:
                page = out / f"{number:0{len(str(len(done)))}}-{one.report.package}.html"
                write_text(page, _in_shape(one.report, shape, most, to_terminal=False))
                click.echo(f"{page}: {visible(str(one.path))}", err=True)
    else:
        text = {"json": _all_as_json, "csv": _all_as_csv}.get(shape, _all_as_text)(done, most)
        show_or_write(text, out)
    clean = sum(one.clean for one in done)
    failed = sum(one.report is None for one in done)
    click.echo(
        f"{len(done)} checked: {clean} clean, {len(done) - clean - failed} with something to do, "
        f"{failed} could not be checked",
        err=True,
    )


def _all_as_text(done: Sequence[Checked], most: int) -> str:
    from provenance._base.visible import visible

    parts = []
    for one in done:
        heading = visible(str(one.path))
        if one.report is None:
            parts.append(f"{heading}\nnot checked: {visible(one.why)}\n")
        else:
            parts.append(f"{heading}\n{_in_shape(one.report, 'text', most, to_terminal=False)}")
    return "\n".join(parts)


def _all_as_json(done: Sequence[Checked], most: int) -> str:
    from provenance._checks.report import report_json

    listed = [
        {
            "path": str(one.path),
            "clean": one.clean,
            "why": one.why,
            "report": json.loads(report_json(one.report)) if one.report is not None else None,
        }
        for one in done
    ]
    whole = {"clean": all(one.clean for one in done), "packages": listed}
    return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"


def _all_as_csv(done: Sequence[Checked], most: int) -> str:
    import polars as pl

    from provenance._base.spreadsheet import spreadsheet_csv

    frames = [
        one.report.found.select(pl.lit(str(one.path)).alias("path"), pl.all())
        for one in done
        if one.report is not None
    ]
    return spreadsheet_csv(pl.concat(frames)) if frames else ""
