"""`treenail history`: who said what, and what is still open."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from provenance._cli.options import (
    asked,
    counted,
    most_option,
    named_package_argument,
    reads_package,
)
from provenance._history.acts import ACCEPT, BIND, GONE, HERE, IMPORT, KEY_FIELD, ROW_FIELD
from provenance._history.history import as_shown
from provenance._history.speaking import EVERY_SOURCE
from provenance._history.told import claims_about, file_name, row_now, rows_read

if TYPE_CHECKING:
    from provenance._history.acts import Act, Line
    from provenance._history.history import History
    from provenance._history.projection import Claim


@click.command("history")
@reads_package(named_package_argument)
@click.argument("table", required=False)
@click.argument("key", required=False)
@click.argument("field", required=False)
@click.option("--act", help="Show one act, by the first digits of its code.")
@click.option(
    "--open", "only_open", is_flag=True, help="List the conflicts to settle, with who says what."
)
@most_option(40, "Acts to show, the newest")
def history(
    package: Path,
    table: str | None,
    key: str | None,
    field: str | None,
    act: str | None,
    only_open: bool,
    most: int,
) -> None:
    """Show the acts of PACKAGE, or every value given for one row (TABLE KEY) or cell.

    With --open, the exit code is 1 while there are conflicts to settle.
    """
    from provenance._history.deciding import find_act
    from provenance._history.history import open_history

    if table and not key:
        raise click.UsageError("name the row too: TABLE KEY, such as sample 201")
    opened = asked(package)
    with opened.locked_for_reading():
        found = open_history(opened)
    if only_open:
        for line in _open_lines(found):
            click.echo(line)
        sys.exit(1 if found.state.conflicts else 0)
    if act:
        name = find_act(found, act)
        click.echo(_about_act(found, name))
        lines = found.acts[name].lines
        for one in lines[: most or None]:
            row = _row_named(found, one) if one.row else f"{one.table} (sheet {one.sheet})"
            click.echo(
                f'  {row}, {_NAMES.get(one.field, one.field)}: "{one.before}" → "{one.after}"'
            )
        if most and len(lines) > most:
            click.echo(f"… and {len(lines) - most} more; --most 0 shows all")
        return
    if table and key:
        for line in _row_lines(found, table, key, field):
            click.echo(line)
        return
    acts = list(found.acts)
    for name in acts[-most:] if most else acts:
        click.echo(_about_act(found, name))
    if most and len(acts) > most:
        click.echo(f"… {counted(len(acts) - most, 'older act')}; --most 0 shows all")
    if found.state.conflicts:
        click.echo(f"{counted(len(found.state.conflicts), 'conflict')} to settle (--open)")


def _about_act(found: History, name: str) -> str:
    act = found.acts[name]
    kind = found.package.model.vocabularies["act_kind"].label(act.kind)
    what = act.why
    if act.kind == IMPORT:
        again = ", a newer copy" if act.replaces else ""
        read = counted(rows_read(act), "row")
        what = f"{file_name(found.package.tables, act.source)} ({act.source}){again}: {read}"
    elif act.undoes:
        what = f"act {act.undoes[:8]}{f', {act.why}' if act.why else ''}"
    elif act.lines and act.kind != ACCEPT:
        cells = {(one.table, one.row, one.field): one for one in act.lines}
        told = [one for one in act.lines if act.kind == BIND and one.field == ROW_FIELD]
        told = told or list(act.lines[:1]) * (len(cells) == 1)
        what = ", ".join(_in_words(found, one) for one in told)
        what = what or f"{counted(len(cells), 'cell')} of {_rows_named(found, act)}"
        what += f"; {act.why}" if act.why else ""
        what += (
            f" {file_name(found.package.tables, act.source)} ({act.source})" if act.source else ""
        )
    undone = "" if name in found.live else "  [undone]"
    who = f"  {act.who}" if act.who else ""
    return f"{name[:8]}  {act.when[:16].replace('T', ' ')}{who}  {kind}: {what}{undone}"


_NAMES = {ROW_FIELD: "the row", KEY_FIELD: "key"}


def _row_named(found: History, one: Line) -> str:
    """A row as it is called now."""
    table, key = row_now(found, one)
    # what was reviewed goes by a hash of 64 digits
    return f"{table} {key if len(key) < 64 else key[:8]}"


def _in_words(found: History, one: Line) -> str:
    row = _row_named(found, one)
    if one.said_by == EVERY_SOURCE:
        return f"{one.table} {one.row} is {one.table} {one.after}"
    if one.field == ROW_FIELD and one.said_by and one.after not in (HERE, GONE):
        key = found.state.keys.get((one.table, one.after), one.after)
        return f"{one.table} {one.row} of {one.said_by} is {one.table} {key}"
    if one.field == ROW_FIELD:
        return f"{row} {'out of the record' if one.after == GONE else 'in the record'}"
    if one.field == KEY_FIELD:
        return f"{one.table} {one.row} is called {one.after}"
    return f'{row}, {one.field}: "{as_shown(found.state, one.table, one.field, one.after)}"'


def _rows_named(found: History, act: Act) -> str:
    rows = list(dict.fromkeys(_row_named(found, one) for one in act.lines))
    return ", ".join(rows[:3]) + (f" and {len(rows) - 3} more rows" if len(rows) > 3 else "")


def _said(found: History, claim: Claim) -> str:
    act = found.acts.get(claim.act)
    value = as_shown(found.state, claim.line.table, claim.line.field, claim.value)
    if act is None:
        return f'"{value}"'
    place = ""
    if act.source:
        place = f"{file_name(found.package.tables, act.source)} ({act.source})"
        place += f", sheet {claim.line.sheet}" if claim.line.sheet else ""
        place += f", row {claim.line.line}" if claim.line.line else ""
    written = f' (written "{claim.line.written}")' if claim.line.written else ""
    parts = [place or act.why, act.who, act.when[:10], f"act {claim.act[:8]}"]
    return f'"{value}"{written}  {", ".join(part for part in parts if part)}'


def _row_lines(found: History, table: str, key: str, field: str | None) -> Iterator[str]:
    for name, said in claims_about(found, table, key, field).items():
        for claim in said:
            mark = "refused" if claim.refused else "stands "
            yield f"{_NAMES.get(name, name):22} {mark} {_said(found, claim)}"


def _open_lines(found: History) -> Iterator[str]:
    kinds = found.package.model.vocabularies["conflict_kind"]
    for one in found.state.conflicts:
        field = f", {one.field}" if one.field.isidentifier() else ""
        yield f"{one.table} {one.key}{field}: {kinds.label(one.kind)}"
        for claim in one.claims:
            yield f"  {_said(found, claim)}"
    if not found.state.conflicts:
        yield "no conflicts"
        return
    package = found.package.folder
    cells = [one for one in found.state.conflicts if one.field.isidentifier()]
    if cells:
        one = cells[0]
        yield (
            f"To settle one: treenail change settle {package} {one.table} {one.key} {one.field} "
            "VALUE "
            '--why "…"'
        )
    yield (
        f"Where two things have one number: treenail change split {package} TABLE KEY NEW_KEY "
        "--source "
        'IN-… --why "…"; keys and rows: treenail change rename, join, remove'
    )
