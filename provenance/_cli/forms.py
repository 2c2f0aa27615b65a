"""`treenail print sheets`, `workbook` and `phone`: the forms that a crew fills in."""

from __future__ import annotations

from glob import escape as glob_escape
from pathlib import Path
from typing import TYPE_CHECKING

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

if TYPE_CHECKING:
    from provenance._model.schema import Model
    from provenance._record.package import Package


profile_option = click.option(
    "--profile", help="Without a package: kind of site, or a YAML file; join several with +."
)


def _meant(package: Path | None, profile: str | None) -> tuple[Package | None, Model, str]:
    """The package, opened, where one is named; its model, or that of the profile; and its name."""
    from provenance._model.profile import load_model

    if (package is None) == (profile is None):
        raise click.UsageError("name either a package or, with --profile, a kind of place")
    if package is None:
        return None, load_model(str(profile)), Path(str(profile)).stem
    opened = asked(package)
    return opened, opened.model, opened.name


@click.command("workbook")
@reads_package(optional_package_argument)
@profile_option
@click.option(
    "--filled", is_flag=True, help="Fill the sheets from the package, to edit them there."
)
@out_option
def workbook(package: Path | None, profile: str | None, filled: bool, out: Path | None) -> None:
    """Write an XLSX workbook to fill in, with lists, checks and help, for PACKAGE or a profile.

    `treenail import` reads it back without a mapping. A --filled workbook comes back as an edit of
    the record: cells changed or blanked, rows renamed, deleted and added, in any order. Anything
    else that entered the record meanwhile stays.

    Lengths may be typed in feet and inches everywhere: 9' 6", 5/8 in.
    """
    from provenance._printing.filled import write_filled_workbook
    from provenance._printing.workbook import write_workbook

    opened, model, name = _meant(package, profile)
    if opened is None and filled:
        raise click.UsageError("--filled needs a package; a profile alone holds no rows")
    path = out or Path(f"workbook-{name}.xlsx")
    if path.exists():
        raise AlreadyThere(f"{path} is already there, perhaps filled in; choose another with --out")
    if opened is not None and filled:
        write_filled_workbook(opened, path)
    else:
        write_workbook(model, path, title=opened.title if opened is not None else None)
    click.echo(f"wrote {path}; its first sheet says how to fill it in")


@click.command("phone")
@reads_package(optional_package_argument)
@profile_option
@out_option
def phone(package: Path | None, profile: str | None, out: Path | None) -> None:
    """Write the form that a crew fills in on a phone or tablet, for PACKAGE or a profile.

    It is an XLSForm (xlsform.org) and works offline in any app that takes XLSForms. It asks for
    timbers, their samples and plugs, takes photos of each, and scans labels. With PACKAGE its lists
    hold the places and timbers of the record, so that another sample of a recorded timber can be
    added. Lengths are asked as the record measures. It speaks the language of the record, and
    English as well.

    Export the answers from the app as a ZIP of CSV files with media, as CSV, or as JSON, and read
    them with `treenail import PACKAGE answers.zip`. No mapping is needed. An answer that was
    corrected and sent again replaces the earlier one.

    The form asks for no position: the coordinates that a phone measures would tell everyone who
    gets the answers where the site is. It holds no names of people or places. Turn off the
    location in the camera, too.
    """
    from provenance._printing.phone_form import write_phone_form

    opened, model, name = _meant(package, profile)
    path = out or Path(f"phone-{name}.xlsx")
    if path.exists():
        raise AlreadyThere(f"{path} is already there; choose another name with --out")
    tables = opened.tables if opened is not None else None
    write_phone_form(model, name, path, tables=tables)
    click.echo(f"wrote {path}; load it into an app that takes XLSForms")


@click.command("sheets")
@reads_package(optional_package_argument)
@profile_option
@click.option(
    "--sheet",
    "sheets",
    multiple=True,
    help="Only this one: cover, equipment, log (timbers, one row each), core (two per page), plug, "
    "photo, codes or grid; by default all of these. Others: site, element, sample (one record per "
    "form, every question), party, place, relation, tie (logs), meanings (each code defined). Or "
    "all. Repeat for several.",
)
@click.option(
    "--scale",
    help="Scale of the plan grid; by default 1:50, or 1in=5ft where lengths are in feet.",
)
@click.option("--blanks", type=click.IntRange(1), help="Number of blank copies; no filled ones.")
@samples_option
@click.option("--elements", help="Timber numbers, as for --samples.")
@site_option
@paper_option
@out_option
def sheets(
    package: Path | None,
    profile: str | None,
    sheets: tuple[str, ...],
    scale: str | None,
    blanks: int | None,
    samples: str | None,
    elements: str | None,
    site: str | None,
    paper: str,
    out: Path | None,
) -> None:
    """Print record sheets (PDF), filled in from PACKAGE or blank from a profile.

    By default these are a cover with all cautions, the equipment, a timber log of 20 rows per page,
    two core sheets per page, a plug log, a photo log, the code lists once, and a plan grid. The
    command says how many pages each takes before it writes.

    Scales of the plan grid: 1:20, 1:50, 1:100 and 1in=5ft, 10ft, 20ft ...
    """
    from provenance._printing.sheets.record_sheets import lay_out_sheets

    opened, model, name = _meant(package, profile)
    path = out or Path(f"sheets-{name}.pdf")
    taken = [path, *sorted(path.parent.glob(f"{glob_escape(path.stem)}-[0-9]*{path.suffix}"))]
    for one in taken:
        if one.exists():
            raise AlreadyThere(f"{one} is already there; choose another name with --out")
    laid_out = lay_out_sheets(
        model,
        package=opened,
        sheets=sheets,
        paper=paper,
        scale=scale,
        blanks=blanks,
        samples=samples,
        elements=elements,
        site=site,
    )
    for title, pages in laid_out.counts:
        click.echo(f"{pages:>5}  {title}")
    click.echo(f"{laid_out.page_count:>5}  pages in all")
    with progress_bar("printing") as progress:
        printed = laid_out.print(path, progress)
    for one in printed.paths:
        click.echo(f"wrote {one}")
    if any(kind.layout == "grid" for kind, _ in laid_out.sheets):
        click.echo("print at 100 %: the plan grid is at true scale")
