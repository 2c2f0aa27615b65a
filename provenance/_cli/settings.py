"""`treenail settings`: how a record measures and numbers, and its language."""

from __future__ import annotations

from pathlib import Path

import click

from provenance._base.visible import visible
from provenance._cli.options import asked, reads_package, settings_options


@click.command("settings")
@reads_package()
@settings_options
@click.option("--doi", help="DOI of the full edition that is packed next, or 'none'.")
@click.option("--public-doi", help="DOI of the public edition that is packed next, or 'none'.")
@click.option(
    "--embargo-until",
    metavar="DAY",
    help="Day until which the public edition is kept back (YYYY-MM-DD), or 'none' to end the "
    "embargo. It never ends by itself.",
)
def settings(
    package: Path,
    units: str | None,
    language: str | None,
    numbering: str | None,
    doi: str | None,
    public_doi: str | None,
    embargo_until: str | None,
) -> None:
    """Show or set units, numbering, language, DOIs and embargo of a record.

    With --units feet-inches, forms, workbook, cards, plans, pages and findings show feet, inches
    and fractions. What is in the tables stays as it is, in metric units.

    With --numbering as-found, the numbers and names of an older collection stay as they are
    written, such as AF-1 or Alder Ford: any 1 to 48 characters that can be seen. New numbers
    ('treenail stamps') keep the strict form.

    A DOI belongs to one edition of one season: set the next one before you pack again. For a
    bundle that is packed already, use 'treenail deposit'.

    Example: treenail settings hollin --units feet-inches
    """
    from provenance._model.measures import SYSTEMS
    from provenance._model.schema import NUMBERINGS
    from provenance._record.deposit_settings import (
        PUBLIC_ID,
        DepositSettings,
        change_deposit,
        embargo_of,
    )
    from provenance._record.package import open_to_change
    from provenance._record.settings import Settings, change_settings

    of_deposit = DepositSettings(doi, public_doi, embargo_until)
    of_model = Settings(units, language, numbering)
    if any((units, language, numbering)) or of_deposit.changes():
        opened = open_to_change(package)
        if any((units, language, numbering)):
            opened = change_settings(opened, of_model)
        if of_deposit.changes():
            opened = change_deposit(opened, of_deposit)
    else:
        opened = asked(package, writes=False)
    model = opened.model
    click.echo(f"units     {model.units.replace('_', '-')} ({SYSTEMS[model.units].lower()})")
    click.echo(f"language  {model.language}")
    click.echo(f"numbering {model.numbering.replace('_', '-')} ({NUMBERINGS[model.numbering]})")
    for name, said in (
        ("DOI", opened.descriptor.get("id")),
        ("public", opened.descriptor.get(PUBLIC_ID)),
        ("embargo", embargo_of(opened)),
    ):
        if said:
            click.echo(f"{name:<10}{visible(str(said))}")
