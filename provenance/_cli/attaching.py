"""`treenail attach`: photos, plans and reports into a package."""

from __future__ import annotations

import sys
from pathlib import Path

import click


@click.command("attach")
@click.argument("package", type=click.Path(path_type=Path, file_okay=False))
@click.argument("sources", type=click.Path(path_type=Path), nargs=-1, required=True)
@click.option("--under", default="files", show_default=True, help="Folder in the package.")
def attach(package: Path, sources: tuple[Path, ...], under: str) -> None:
    """Copy SOURCES (files, or folders with all that is in them) into PACKAGE.

    Rows of the table 'file' that name them get media type, size and checksum. Exit code 1 when a
    file has no row yet: enter one that says what it shows.
    """
    from provenance._record.attachments import attach_files
    from provenance._record.package import open_package

    opened = open_package(package)
    undescribed: list[str] = []
    for source in sources:
        attached = attach_files(opened, source, under)
        undescribed += attached.undescribed
        count = len(attached.described) + len(attached.undescribed)
        click.echo(f"attached {count} file(s) from {source}")
    for path in undescribed:
        click.echo(f"no row of the table 'file' says what this is: {path}", err=True)
    sys.exit(1 if undescribed else 0)
