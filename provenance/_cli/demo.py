"""`treenail demo`: the whole way on invented papers."""

from __future__ import annotations

import shlex
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from provenance._demo.stage import Did


@click.command("demo")
@click.argument("folder", type=click.Path(path_type=Path), default=Path("demo_output"))
def demo(folder: Path) -> None:
    """Run the whole workflow on invented data, into FOLDER (default: demo_output).

    Nothing in it is real. An earlier demo in the same folder is replaced; nothing else is. Exit
    codes: 0 all went as planned (planted faults included), 1 something did not.
    """
    from provenance._demo import run_demo

    number = 0

    def show(did: Did) -> None:
        nonlocal number
        number += 1
        click.echo(f"{number:2}. {did.title}: {did.says}")
        for command in did.commands:
            click.echo(f"    $ {command}")
        for path in did.paths:
            click.echo(f"    -> {_short(path)}")
        for line in did.surprises:
            click.echo(f"    NOT AS PLANNED: {line}")

    click.echo("Hollin Reach does not exist: every name, measurement and year here is invented.")
    click.echo("Each step shows the results, its commands, and where to look.\n")
    result = run_demo(folder, when_done=show)
    if result.as_planned:
        made = _short(result.folder.resolve())
        click.echo(f"\nEverything worked. All files are in {made}")
        click.echo(f"Look at them in your browser: {_command()} desk {shlex.quote(made)}")
    else:
        click.echo(f"\n{len(result.surprises)} thing(s) did not go as planned, see above.")
    sys.exit(0 if result.as_planned else 1)


def _command() -> str:
    """What a person types for this program; after `make demo` it is on no path."""
    here = Path(sys.executable).with_name("treenail")
    return "treenail" if shutil.which("treenail") else shlex.quote(_short(here))


def _short(path: Path) -> str:
    """The path as seen from where the person stands, when it is below."""
    try:
        return str(path.relative_to(Path.cwd()))
    except ValueError:
        return str(path)
