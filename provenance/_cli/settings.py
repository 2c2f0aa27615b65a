"""`treenail settings`: how a record measures and numbers, and its language."""

from __future__ import annotations

from pathlib import Path

import click

from provenance._cli.options import asked, reads_package, settings_options


@click.command("settings")
@reads_package()
@settings_options
def settings(package: Path, units: str | None, language: str | None, numbering: str | None) -> None:
    """Show or set how the record measures and numbers, and the language of its forms and labels.

    With --units feet-inches, forms, workbook, cards, plans, pages and findings show feet, inches
    and fractions. What is in the tables stays as it is, in metric units.

    With --numbering as-found, the numbers and names of an older collection stay as they are
    written, such as AF-1 or Alder Ford: any 1 to 48 characters that can be seen. New numbers
    ('treenail stamps') keep the strict form.

    Example: treenail settings hollin --units feet-inches
    """
    from provenance._model.measures import SYSTEMS
    from provenance._model.schema import NUMBERINGS
    from provenance._record.package import open_to_change
    from provenance._record.settings import Settings, change_settings

    if units or language or numbering:
        set_so = Settings(units, language, numbering)
        opened = change_settings(open_to_change(package), set_so)
    else:
        opened = asked(package, writes=False)
    model = opened.model
    click.echo(f"units     {model.units.replace('_', '-')} ({SYSTEMS[model.units].lower()})")
    click.echo(f"language  {model.language}")
    click.echo(f"numbering {model.numbering.replace('_', '-')} ({NUMBERINGS[model.numbering]})")
