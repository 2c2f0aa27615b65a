"""The command line hands exit codes and sentences to the shell."""

from __future__ import annotations

import subprocess
import sys

import click
import pytest

import provenance.cli
from provenance.cli import COMMANDS, Moves, main
from provenance.errors import UnusableInput


def _command_that(raises: BaseException) -> click.Command:
    @click.command()
    def command() -> None:
        raise raises

    return command


@pytest.mark.parametrize(
    ("raises", "code"),
    [
        (click.exceptions.Exit(1), 1),
        (SystemExit(1), 1),
        (click.UsageError("no such thing"), 2),
        (UnusableInput("this cannot be read"), 2),
    ],
)
def test_the_exit_code_of_a_command_reaches_the_shell(monkeypatch, raises, code):
    """0 clean, 1 findings, 2 input or usage that cannot be used."""
    monkeypatch.setattr(Moves, "get_command", lambda *_: _command_that(raises))
    monkeypatch.setattr(sys, "argv", ["treenail", "new"])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == code


def test_every_command_that_help_names_is_there():
    context = click.Context(provenance.cli.treenail)
    for name in COMMANDS:
        command = provenance.cli.treenail.get_command(context, name)
        assert command is not None
        assert command.name == name.rstrip("_")


def test_a_mistyped_command_is_told_the_nearest_one():
    line = [sys.executable, "-c", "from provenance.cli import main; main()", "chekc"]
    told = subprocess.run(line, capture_output=True, text=True, check=False)
    assert told.returncode == 2
    assert "Did you mean 'check'?" in told.stderr
