"""`treenail new`: start a package."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("new")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option(
    "--profile", default="blank", show_default=True, help="Kind of place, or a YAML file."
)
@click.option("--title", default=None, help="Title for people; the folder's name if left out.")
@click.option("--update", is_flag=True, help="Fit an existing package to the profile.")
@click.option("--profiles", "list_profiles", is_flag=True, help="List the kinds of place and stop.")
def new(
    folder: Path | None, profile: str, title: str | None, update: bool, list_profiles: bool
) -> None:
    """Start a package in FOLDER: descriptor, empty tables, schemas, mapping example, README."""
    if list_profiles:
        from provenance._model.profile import shipped_profiles

        for name, its_title in shipped_profiles().items():
            click.echo(f"{name:22} {its_title}")
        return
    if folder is None:
        raise click.UsageError("say which folder to make, or --profiles to see the kinds of place")

    from provenance._record.new import new_package, update_package

    if update:
        from provenance._record.package import open_package

        package = update_package(open_package(folder), profile)
        click.echo(f"{package.folder} now follows the profile '{profile}'")
        return
    package = new_package(folder, profile, title=title)
    click.echo(f"started {package.folder} for: {package.model.title}")
    click.echo(f"read {package.folder / 'README.md'} next")
