"""`treenail day`: what a crew did in a day, what is open, what to do tomorrow."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from provenance._cli.options import (
    asked,
    format_option,
    out_option,
    paper_option,
    progress_bar,
    reads_package,
    show_or_write,
)


@click.command("day")
@reads_package()
@click.option("--on", default=None, help="The day, such as 2024-06-03; the last one if left out.")
@format_option("text", "html")
@out_option
@click.option("--sheet", type=click.Path(path_type=Path), help="Also print it on one sheet (PDF).")
@paper_option
def day(
    package: Path, on: str | None, shape: str, out: Path | None, sheet: Path | None, paper: str
) -> None:
    """Sum up a day of fieldwork in PACKAGE: recorded, sampled, open, and what to do tomorrow.

    It counts timbers, samples, failed holes, plugs and photos by building and person, with the
    errors and warnings of the check. It lists holes without a plug or a position, samples without
    a photo, and the stamp numbers that each crew has left.

    Exit codes: 0 nothing is open, 1 something is, 2 input or usage that cannot be used.
    """
    from provenance._day.day import sum_up
    from provenance._day.words import day_page, day_text

    with progress_bar("checking") as progress:
        summed = sum_up(asked(package, writes=False), on, progress=progress)
    text = day_page(summed) if shape == "html" else day_text(summed)
    show_or_write(text, out, f"written to {out}")
    if sheet is not None:
        from provenance._day.sheet import print_day
        from provenance._drawing.paper import paper_named

        print_day(summed, paper_named(paper), sheet)
        click.echo(f"{sheet}: one page", err=True)
    sys.exit(0 if summed.clean else 1)
