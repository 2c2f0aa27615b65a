"""`treenail history`: who said what, and what is still open."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from provenance._cli.options import counted, most_option, named_package_argument
from provenance._history.acts import IMPORT

if TYPE_CHECKING:
    from provenance._history.acts import Act
    from provenance._history.history import History
    from provenance._history.projection import Claim


@click.command("history")
@named_package_argument
@click.argument("table", required=False)
@click.argument("key", required=False)
@click.argument("field", required=False)
@click.option("--act", help="What one act says, by the first digits of its code.")
@click.option("--open", "only_open", is_flag=True, help="Conflicts to settle, with who says what.")
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
    """Show the acts of PACKAGE, or everything that was said of one row (TABLE KEY) or cell.

    With --open the exit code is 1 while there are conflicts to settle.
    """
    from provenance._history.deciding import find_act
    from provenance._history.history import open_history
    from provenance._record.package import open_package

    if table and not key:
        raise click.UsageError("name the row too: TABLE KEY, such as sample 201")
    opened = open_package(package)
    with opened.locked_for_reading():
        found = open_history(opened)
    if only_open:
        for line in _open_lines(found):
            click.echo(line)
        sys.exit(1 if found.state.conflicts else 0)
    if act:
        name = find_act(found, act)
        click.echo(_about_act(found, name))
        for one in found.acts[name].lines[: most or None]:
            where = f"{one.table} {one.row or '(sheet ' + one.sheet + ')'}"
            click.echo(f'  {where} {one.field}: "{one.before}" → "{one.after}"')
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
        read = sum(1 for one in act.lines if one.row and not one.field)
        again = ", a newer copy" if act.replaces else ""
        what = f"{_file_name(found, act.source)} ({act.source}){again}: {counted(read, 'row')}"
    elif act.undoes:
        what = f"act {act.undoes[:8]}{f', {act.why}' if act.why else ''}"
    elif act.lines and act.kind != "accept":
        cells = len({(one.table, one.row, one.field) for one in act.lines})
        what = f"{counted(cells, 'cell')} of {_rows_named(act)}{f'; {act.why}' if act.why else ''}"
        what += f" {_file_name(found, act.source)} ({act.source})" if act.source else ""
    undone = "" if name in found.live else "  [undone]"
    who = f"  {act.who}" if act.who else ""
    return f"{name[:8]}  {act.when[:16].replace('T', ' ')}{who}  {kind}: {what}{undone}"


def _rows_named(act: Act) -> str:
    rows = list(dict.fromkeys(f"{one.table} {one.row}" for one in act.lines))
    return ", ".join(rows[:3]) + (f" and {len(rows) - 3} more rows" if len(rows) > 3 else "")


def _file_name(found: History, source: str) -> str:
    rows = found.package.tables.rows("original")
    return next((row["file_name"] for row in rows if row["original_id"] == source), source)


def _said(found: History, claim: Claim) -> str:
    act = found.acts.get(claim.act)
    if act is None:
        return f'"{claim.value}"'
    place = ""
    if act.source:
        source = claim.said_by if act.kind == IMPORT else act.source
        place = f"{_file_name(found, act.source)} ({source})"
        place += f", sheet {claim.line.sheet}" if claim.line.sheet else ""
        place += f", row {claim.line.line}" if claim.line.line else ""
    written = f' (written "{claim.line.written}")' if claim.line.written else ""
    parts = [place or act.why, act.who, act.when[:10], f"act {claim.act[:8]}"]
    return f'"{claim.value}"{written}  {", ".join(part for part in parts if part)}'


def _row_lines(found: History, table: str, key: str, field: str | None) -> Iterator[str]:
    from provenance._history.deciding import Refused
    from provenance._history.edits import row_named

    state = found.state
    found.package.model.table(table)
    row = row_named(state, table, key)
    cells = {cell: said for cell, said in state.claims.items() if cell[:2] == (table, row)}
    if field:
        cells = {cell: said for cell, said in cells.items() if cell[2] == field}
    if not cells:
        raise Refused(f"nobody said anything of {table} {key}{f', {field}' if field else ''}")
    names = {"": "the row", "#": "key"}
    for (_, _, name), said in cells.items():
        for claim in said:
            mark = "refused" if claim.refused else "stands "
            yield f"{names.get(name, name):22} {mark} {_said(found, claim)}"


def _open_lines(found: History) -> Iterator[str]:
    kinds = found.package.model.vocabularies["conflict_kind"]
    for one in found.state.conflicts:
        field = f", {one.field}" if one.field.isidentifier() else ""
        yield f"{one.table} {one.key}{field}: {kinds.label(one.kind)}"
        for claim in one.claims:
            yield f"  {_said(found, claim)}"
    if not found.state.conflicts:
        yield "no conflicts"
