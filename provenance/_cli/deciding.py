"""What people decide: `treenail change correct`, `settle`, `rename`, `remove`, `split`, `undo` …"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import click

from provenance._api.decisions import findings_named
from provenance._base.errors import UnreadableValue
from provenance._cli.options import by_option, counted, named_package_argument
from provenance._history import deciding
from provenance._history.edits import in_words
from provenance._record.package import Package, open_to_change

MOST = 30
"""Changes of one act shown; what is beyond is counted."""

why_option = click.option("--why", required=True, help="Reason, in your own words.")


def _decision(function: Callable[..., Any]) -> Callable[..., Any]:
    """PACKAGE TABLE KEY and --by and --why, as all of these have them."""
    for decorator in (
        why_option,
        by_option,
        click.argument("key"),
        click.argument("table"),
        named_package_argument,
    ):
        function = decorator(function)
    return function


@click.command("correct")
@_decision
@click.argument("cells", nargs=-1, required=True, metavar="FIELD=VALUE...")
def correct(package: Path, table: str, key: str, cells: tuple[str, ...], by: str, why: str) -> None:
    """Set cells of a row: FIELD=VALUE; FIELD= blanks one.

    Lengths may have their own unit: length_m="9 ft 6 in", bore_mm="5/8 in"; words and dates are
    read as in an import. This settles a conflict about the cell. A later import does not change the
    correction.

    A cell that could not be read is settled by its code in the table 'unread': TABLE unread, KEY
    U-…, cell_text=VALUE, or cell_text= to leave it blank.

    Example: treenail change correct hollin element LH-012 length_m="9 ft 6 in" --why "tape misread"
    """
    if table == "unread":
        _settle_unread(package, key, cells, by, why)
        return
    opened = open_to_change(package)
    wanted = dict(_pair(one) for one in cells)
    read = _as_read(opened, table, wanted)
    written = {name: text for name, text in wanted.items() if text != read[name]}
    _decide(opened, deciding.correct(table, key, read, written), by, why)


@click.command("add")
@named_package_argument
@click.argument("table")
@click.argument("cells", nargs=-1, required=True, metavar="FIELD=VALUE...")
@by_option
@why_option
def add(package: Path, table: str, cells: tuple[str, ...], by: str, why: str) -> None:
    """Add a row to TABLE: FIELD=VALUE for its key and whatever else is known.

    What is typed is read as for 'treenail change correct'.
    """
    opened = open_to_change(package)
    wanted = dict(_pair(one) for one in cells)
    read = _as_read(opened, table, wanted)
    written = {name: text for name, text in wanted.items() if text != read[name]}
    _decide(opened, deciding.add(table, read, written), by, why)


@click.command("settle")
@_decision
@click.argument("field")
@click.argument("value")
def settle(package: Path, table: str, key: str, field: str, value: str, by: str, why: str) -> None:
    """Settle a conflict: set FIELD of the row to VALUE.

    'treenail history PACKAGE --open' lists the conflicts, with who says what.
    """
    opened = open_to_change(package)
    read = _as_read(opened, table, {field: value})[field]
    written = value if value != read else ""
    _decide(opened, deciding.settle(table, key, field, read, written), by, why)


@click.command("rename")
@_decision
@click.argument("new_key")
def rename(package: Path, table: str, key: str, new_key: str, by: str, why: str) -> None:
    """Change the KEY of a row, and everything that refers to it.

    Sheets with the old key still refer to this row. Sealed custody events keep their number.
    """
    _decide(open_to_change(package), deciding.rename(table, key, new_key), by, why)


@click.command("remove")
@_decision
@click.option("--back", is_flag=True, help="Put a row back that was removed.")
def remove(package: Path, table: str, key: str, back: bool, by: str, why: str) -> None:
    """Remove a row from the record, or put it --back.

    It stays in the history, and no later import brings it back.
    """
    which = deciding.restore if back else deciding.remove
    _decide(open_to_change(package), which(table, key), by, why)


@click.command("split")
@_decision
@click.argument("new_key")
@click.option(
    "--source", "sources", multiple=True, required=True, help="Received file, IN-… (repeat)."
)
def split(
    package: Path,
    table: str,
    key: str,
    new_key: str,
    sources: tuple[str, ...],
    by: str,
    why: str,
) -> None:
    """Separate two things that share one KEY: what --source says about it belongs to NEW_KEY.

    Rows of that file that refer to the old key (plugs, ties) follow.
    """
    _decide(open_to_change(package), deciding.split(table, key, sources, new_key), by, why)


@click.command("join")
@_decision
@click.argument("into")
def join(package: Path, table: str, key: str, into: str, by: str, why: str) -> None:
    """Join the rows KEY and INTO; the joined row keeps the key INTO.

    Where the two differ, a conflict must be settled.
    """
    _decide(open_to_change(package), deciding.join(table, key, into), by, why)


@click.command("accept")
@named_package_argument
@click.argument("rule")
@click.argument("table")
@click.argument("key")
@by_option
@why_option
def accept(package: Path, rule: str, table: str, key: str, by: str, why: str) -> None:
    """Accept a finding of RULE about the row KEY of TABLE, with a reason.

    'treenail check' no longer counts it and lists it with its reason. It lapses if the finding
    changes.
    """
    opened = open_to_change(package)
    found = findings_named(opened, rule, table, key)
    for *_, message in found:
        click.echo(f"accepted: {message}")
    _decide(opened, deciding.accept(found), by, why, told=True)


@click.command("undo")
@named_package_argument
@click.argument("act")
@by_option
@click.option("--why", default="", help="Reason, in your own words.")
def undo(package: Path, act: str, by: str, why: str) -> None:
    """Undo an ACT (even an undo): its code, its first digits, or 'last'.

    'treenail history PACKAGE' lists the acts. Custody events stay: ledger rows are only added.
    """
    _decide(open_to_change(package), deciding.undo(act), by, why)


def _settle_unread(package: Path, key: str, cells: tuple[str, ...], by: str, why: str) -> None:
    from provenance._intake.unread import settle_unread

    name, value = _pair(cells[0])
    if name != "cell_text" or len(cells) > 1:
        raise click.UsageError("of a cell that could not be read, give cell_text=VALUE alone")
    done = settle_unread(open_to_change(package), key, value, who=by, why=why)
    for line in said_of(done) if done else ("settled; the tables stay as they are",):
        click.echo(line)


def _pair(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals:
        raise click.UsageError(f"write FIELD=VALUE, such as rings_field=88, not '{text}'")
    return name.strip(), value.strip()


def _as_read(package: Package, table: str, cells: dict[str, str]) -> dict[str, str]:
    """What a person typed as the record holds it; raises Refused that names the field."""
    from provenance._intake.typed import TypedCells

    typed = TypedCells.of(package.tables)
    read = {}
    for name, text in cells.items():
        try:
            read[name] = typed.read(table, name, text)
        except UnreadableValue as error:
            raise deciding.Refused(f"{name}: {error}") from None
    return read


def _decide(
    package: Package, decision: deciding.Deciding, by: str, why: str, *, told: bool = False
) -> None:
    """Record a decision and say what it changed, unless what it does was `told` before."""
    done = deciding.decide(package, decision, who=by, why=why)
    click.echo(f"act {done.act_id[:8]}")
    for line in () if told else said_of(done):
        click.echo(f"  {line}")
    if done.conflicts:
        click.echo(
            f"{counted(len(done.conflicts), 'conflict')} left to settle: 'treenail history "
            f"{package.folder} --open' shows them"
        )
        sys.exit(1)


def said_of(done: deciding.Done) -> Iterator[str]:
    """What an act changed, a line each."""
    for one in done.changes[:MOST]:
        yield in_words(one)
    if len(done.changes) > MOST:
        yield f"… and {len(done.changes) - MOST} more"
    if not done.changes:
        yield "recorded; the tables show that already"
