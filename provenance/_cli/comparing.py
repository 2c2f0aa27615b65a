"""`treenail compare`: what changed between two states of one record."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from provenance._cli.options import format_option, most_option, out_option, progress_bar


@click.command("compare")
@click.argument("old", type=click.Path(path_type=Path))
@click.argument("new", type=click.Path(path_type=Path))
@format_option("text", "json", "html", "csv")
@out_option
@most_option(20, "Lines of one list to show in text")
def compare(old: Path, new: Path, shape: str, out: Path | None, most: int) -> None:
    """Say what came, changed and went between OLD and NEW, each a bundle or a package.

    Rows are compared by primary key, cell by cell; files by checksum. It says loudly when the
    custody ledger is not the old one with events added. JSON and CSV hold everything.

    Exit codes: 0 nothing differs, 1 something does, 2 cannot be compared.
    """
    from provenance._compare.compare import compare as compare_records
    from provenance._compare.report import difference_csv, difference_json, difference_text

    with progress_bar("comparing") as progress:
        found = compare_records(old, new, progress=progress)
    if shape == "json":
        text = difference_json(found)
    elif shape == "csv":
        text = difference_csv(found)
    elif shape == "html":
        from provenance._compare.report_html import difference_html

        text = difference_html(found)
    else:
        text = difference_text(found, most=most)
    if out is None:
        click.echo(text, nl=False)
    else:
        from provenance._base.disk import write_text

        write_text(out, text)
        click.echo(f"written to {out}", err=True)
    sys.exit(0 if found.same else 1)
