"""`treenail workbook` and `treenail sheets`: the forms that a crew fills in."""

from __future__ import annotations

from glob import escape as glob_escape
from pathlib import Path

import click

from provenance._base.errors import AlreadyThere
from provenance._cli.options import (
    asked,
    optional_package_argument,
    out_option,
    paper_option,
    progress_bar,
    reads_package,
    samples_option,
    site_option,
)


@click.command("workbook")
@reads_package(optional_package_argument)
@click.option(
    "--profile", help="Without a package: kind of place, or a YAML file; several joined with +."
)
@click.option(
    "--filled", is_flag=True, help="Write what the package holds into the sheets, to edit it there."
)
@out_option
def workbook(package: Path | None, profile: str | None, filled: bool, out: Path | None) -> None:
    """Write an XLSX workbook to fill in, with lists, checks and help, for PACKAGE or a profile.

    What is typed there comes back through `treenail import` without a mapping. A --filled workbook
    comes back as an edit of the record it left: cells changed or blanked, lines renamed, deleted
    and added, in any order. Of all else, what came into the record meanwhile stays.

    Lengths may be typed in feet and inches everywhere: 9' 6", 5/8 in.
    """
    from provenance._model.profile import load_model
    from provenance._printing.filled import write_filled_workbook
    from provenance._printing.workbook import write_workbook

    if (package is None) == (profile is None):
        raise click.UsageError("name either a package or, with --profile, a kind of place")
    if package is None and filled:
        raise click.UsageError("--filled needs a package; a profile alone holds no rows")
    opened = asked(package) if package is not None else None
    model = opened.model if opened is not None else load_model(str(profile))
    name = opened.name if opened is not None else Path(str(profile)).stem
    path = out or Path(f"workbook-{name}.xlsx")
    if path.exists():
        raise AlreadyThere(f"{path} is already there, perhaps filled in; choose another with --out")
    if opened is not None and filled:
        write_filled_workbook(opened, path)
    else:
        write_workbook(model, path, title=opened.title if opened is not None else None)
    click.echo(f"wrote {path}; its first sheet says how to fill it in")


@click.command("sheets")
@reads_package(optional_package_argument)
@click.option(
    "--profile", help="Without a package: kind of place, or a YAML file; several joined with +."
)
@click.option(
    "--sheet",
    "sheets",
    multiple=True,
    default=("all",),
    show_default=True,
    help="cover, equipment, site, party, place, relation, tie, element, ledger, sample, plug, "
    "photo, grid or all; may be given several times.",
)
@click.option("--scale", default="1:50", show_default=True, help="Of the grid: 1:20 … 1in=20ft.")
@click.option("--blanks", type=click.IntRange(1), help="So many blank copies, no filled ones.")
@click.option(
    "--codes",
    type=click.Choice(["each", "once"]),
    help="Code lists behind each sheet (usual for blanks) or once (usual for filled ones).",
)
@samples_option
@click.option("--elements", help="Element codes, as for --samples.")
@site_option
@paper_option
@out_option
def sheets(
    package: Path | None,
    profile: str | None,
    sheets: tuple[str, ...],
    scale: str,
    blanks: int | None,
    codes: str | None,
    samples: str | None,
    elements: str | None,
    site: str | None,
    paper: str,
    out: Path | None,
) -> None:
    """Print record sheets (PDF), filled in from PACKAGE or blank for a profile.

    The scales of the plan grid are 1:20, 1:50, 1:100, 1in=5ft, 1in=10ft and 1in=20ft.
    """
    from provenance._model.profile import load_model
    from provenance._printing.sheets.record_sheets import write_sheets

    if (package is None) == (profile is None):
        raise click.UsageError("name either a package or, with --profile, a kind of place")
    opened = asked(package) if package is not None else None
    model = opened.model if opened is not None else load_model(str(profile))
    name = opened.name if opened is not None else Path(str(profile)).stem
    path = out or Path(f"sheets-{name}.pdf")
    taken = [path, *sorted(path.parent.glob(f"{glob_escape(path.stem)}-[0-9]*{path.suffix}"))]
    for one in taken:
        if one.exists():
            raise AlreadyThere(f"{one} is already there; choose another name with --out")
    with progress_bar("printing") as progress:
        printed = write_sheets(
            model,
            path,
            package=opened,
            sheets=sheets,
            paper=paper,
            scale=scale,
            blanks=blanks,
            codes=codes,
            samples=samples,
            elements=elements,
            site=site,
            progress=progress,
        )
    for one in printed.paths:
        click.echo(f"wrote {one}")
    click.echo(f"{printed.page_count} pages; print at 100 %, the plan grid is at true scale")
