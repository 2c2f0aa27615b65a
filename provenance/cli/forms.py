"""`treenail workbook`: the forms that a crew fills in."""

from __future__ import annotations

from pathlib import Path

import click

from provenance.cli.options import out_option
from provenance.errors import AlreadyThere


@click.command("workbook")
@click.argument("package", type=click.Path(path_type=Path, file_okay=False), required=False)
@click.option("--profile", default=None, help="Without a package: kind of place, or a YAML file.")
@click.option("--filled", is_flag=True, help="Write what the package holds into the sheets.")
@out_option
def workbook(package: Path | None, profile: str | None, filled: bool, out: Path | None) -> None:
    """Write an XLSX workbook to fill in, with lists, checks and help, for PACKAGE or a profile.

    What is typed there comes back through `treenail import` without a mapping.
    """
    from provenance.package import open_package
    from provenance.printing.workbook import write_workbook
    from provenance.profile import load_model

    if (package is None) == (profile is None):
        raise click.UsageError("name either a package or, with --profile, a kind of place")
    if package is None:
        if filled:
            raise click.UsageError("--filled needs a package; a profile alone holds no rows")
        assert profile is not None
        model, rows, name, title = load_model(profile), None, f"workbook-{Path(profile).stem}", None
    else:
        opened = open_package(package)
        model, name, title = opened.model, f"workbook-{opened.name}", opened.title
        names = [table.name for table in model.of_role("record")]
        rows = {table: opened.table(table) for table in names} if filled else None
    path = out or Path(f"{name}.xlsx")
    if path.exists():
        raise AlreadyThere(f"{path} is already there, perhaps filled in; choose another with --out")
    write_workbook(model, path, rows=rows, title=title)
    click.echo(f"wrote {path}; its first sheet says how to fill it in")
