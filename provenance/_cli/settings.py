"""`treenail settings`: how a record measures, and its language."""

from __future__ import annotations

from pathlib import Path

import click

from provenance._cli.options import package_argument, settings_options


@click.command("settings")
@package_argument
@settings_options
def settings(package: Path, units: str | None, language: str | None) -> None:
    """Show or set how the record measures, and the language of its forms and labels.

    With --units feet-inches, forms, workbook, cards, plans, pages and findings show feet, inches
    and fractions. What is in the tables stays as it is, in metric units.

    Example: treenail settings hollin --units feet-inches
    """
    from provenance._model.measures import SYSTEMS
    from provenance._record.package import open_package
    from provenance._record.settings import Settings, change_settings

    opened = open_package(package)
    if units or language:
        opened = change_settings(opened, Settings(units, language))
    model = opened.model
    click.echo(f"units     {model.units.replace('_', '-')} ({SYSTEMS[model.units].lower()})")
    click.echo(f"language  {model.language}")
