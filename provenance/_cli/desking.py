"""`treenail desk`: the whole work in the browser."""

from __future__ import annotations

from pathlib import Path

import click

from provenance._desk.remembered import who_is_at_work


@click.command("desk")
@click.argument(
    "folder", type=click.Path(path_type=Path, exists=True, file_okay=False), default=Path()
)
@click.option(
    "--by",
    envvar="TREENAIL_BY",
    default=who_is_at_work,
    show_default="as last saved at the desk, or your login name",
    help="Your code or name (or set TREENAIL_BY).",
)
@click.option("--read-only", is_flag=True, help="Change nothing.")
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port; a free one if 0.")
@click.option("--shortcut", is_flag=True, help="Put an icon on the desktop that does this.")
@click.option("--no-browser", is_flag=True, help="Print the address instead of opening it.")
def desk(
    folder: Path, by: str, read_only: bool, port: int, shortcut: bool, no_browser: bool
) -> None:
    """Open the records, bundles and stores in FOLDER (default: this one) as pages in your browser.

    It works on this machine alone, without a network, until you close it there or press Ctrl+C.
    """
    if shortcut:
        from provenance._desk.launcher import write_shortcut

        click.echo(f"wrote {write_shortcut(folder)}; a double-click on it opens the desk")
        return
    try:
        from provenance._desk.serving import serve
    except ImportError as error:
        raise click.UsageError(
            f"the desk needs {error.name}; install it with: pip install 'treenail[desk]'"
        ) from None
    from provenance._desk.desk import Desk

    opened = Desk(folder.resolve(), by=by, read_only=read_only)
    serve(opened, port=port, browser=not no_browser, tell=click.echo)
