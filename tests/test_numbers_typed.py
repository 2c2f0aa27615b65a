"""Every option that takes a number refuses what is none, and means the same in every command."""

from __future__ import annotations

from collections.abc import Iterator

import click
import pytest

from provenance._cli import treenail

BELOW_ZERO = {"print plan --level": "a cellar is on level -1"}
"""Numbers that may be negative, and why."""


def commands(group: click.Group, path: str = "") -> Iterator[tuple[str, click.Command]]:
    """Every command by its words."""
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        if isinstance(command, click.Group):
            yield from commands(command, f"{path}{name} ")
        else:
            yield f"{path}{name}", command


NUMBERS = {
    f"{name} {one.opts[0]}": one
    for name, command in commands(treenail)
    for one in command.params
    if isinstance(one.type, click.types.IntParamType | click.types.FloatParamType)
}


def refused(option: click.Parameter, text: str) -> bool:
    try:
        option.type.convert(text, option, None)
    except click.BadParameter:
        return True
    return False


def test_there_are_options_with_numbers() -> None:
    assert {
        "derive --window",
        "print labels --measured",
        "stamps count",
        "print plan --level",
    } <= set(NUMBERS)
    assert set(BELOW_ZERO) <= set(NUMBERS)


@pytest.mark.parametrize("name", sorted(NUMBERS))
@pytest.mark.parametrize("text", ["nan", "inf", "-inf", "1e999", "twelve", ""])
def test_what_is_no_number_is_refused(name: str, text: str) -> None:
    assert refused(NUMBERS[name], text)


@pytest.mark.parametrize("name", sorted(set(NUMBERS) - set(BELOW_ZERO)))
@pytest.mark.parametrize("text", ["-1", "-5"])
def test_a_number_below_zero_is_refused(name: str, text: str) -> None:
    assert refused(NUMBERS[name], text)


@pytest.mark.parametrize("name", sorted(NUMBERS))
def test_the_usual_number_is_allowed(name: str) -> None:
    usual = NUMBERS[name].default
    assert not isinstance(usual, int | float) or not refused(NUMBERS[name], str(usual))


MOST = {name: one for name, one in NUMBERS.items() if name.endswith(" --most")}


def test_most_is_in_every_command_that_cuts_a_list() -> None:
    cut = "check", "compare", "history", "locate", "merge", "store stocktake", "survey compute"
    assert set(MOST) == {f"{name} --most" for name in cut}


@pytest.mark.parametrize("name", sorted(MOST))
def test_most_means_the_same_everywhere(name: str) -> None:
    option = MOST[name]
    assert isinstance(option, click.Option)
    assert option.help is not None
    assert option.help.endswith("0 for all.")
    assert not refused(option, "0")
