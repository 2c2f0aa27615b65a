"""`treenail import`: bring field exports into a package."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from provenance._cli.options import out_option, progress_bar

if TYPE_CHECKING:
    from provenance._base.findings import Finding
    from provenance._intake.importing import ImportResult
    from provenance._record.package import Package

MOST = 60
"""Lines shown of one kind; what is beyond is counted, and all of it stands in the package."""

_ROW = re.compile(r", row ([0-9]+)")


@click.command("import")
@click.argument("package", type=click.Path(path_type=Path, file_okay=False))
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--mapping",
    type=click.Path(path_type=Path, dir_okay=False),
    help="YAML file that says which column is which field.",
)
@click.option("--draft", is_flag=True, help="Propose a mapping from the headings; import nothing.")
@click.option("--dry-run", is_flag=True, help="Read and report, but write nothing.")
@out_option
def import_(
    package: Path,
    files: tuple[Path, ...],
    mapping: Path | None,
    draft: bool,
    dry_run: bool,
    out: Path | None,
) -> None:
    """Read FILES (CSV, TSV, XLSX, ODS) into PACKAGE.

    A Data Package (datapackage.org), a folder or zip with datapackage.json, is read table by table.
    The files are kept byte for byte. Cells that cannot be read are listed, and their text is kept.
    A workbook written by `treenail workbook` needs no mapping. With --draft, --out says where the
    proposed mapping goes (the screen, if left out).

    Exit codes: 0 everything read, 1 cells wait to be settled, 2 nothing was imported.
    """
    from provenance._record.package import open_package

    opened = open_package(package)
    if draft:
        if mapping is not None or dry_run:
            raise click.UsageError("--draft proposes a mapping; take out --mapping and --dry-run")
        _draft(opened, files, out)
        return
    if out is not None:
        raise click.UsageError("--out goes with --draft; rows are written into the package")
    from provenance._intake.importing import import_exports
    from provenance._intake.mapping.mapping_file import read_mapping

    rules = read_mapping(mapping, opened.model) if mapping else None
    with progress_bar("reading") as progress:
        result = import_exports(opened, files, rules, progress=progress, trial=dry_run)
    for line in _report(result, package, dry_run):
        click.echo(line)
    sys.exit(result.exit_code)


def _draft(package: Package, files: Sequence[Path], out: Path | None) -> None:
    from provenance._base.disk import write_text
    from provenance._base.errors import AlreadyThere
    from provenance._intake.draft import draft_mapping

    text = draft_mapping(package.model, files)
    if out is None:
        click.echo(text, nl=False)
        return
    if out.exists():
        raise AlreadyThere(f"{out} is already there, perhaps edited; choose another with --out")
    write_text(out, text)
    click.echo(f"wrote {out}; read it, mend it, then import with --mapping {out}")


def _report(result: ImportResult, package: Path, dry_run: bool) -> Iterable[str]:
    yield from _cut(
        [
            f"{name}: {'read only, nothing written' if dry_run else f'kept as {original_id}'}"
            for name, original_id in result.originals.items()
        ],
        "files",
    )
    blank = f", {result.spacers} blank or left out" if result.spacers else ""
    yield f"{_counted(result.lines, 'line')} read{blank}"
    changed: dict[str, int] = {}
    for one in result.changes:
        changed[one.table] = changed.get(one.table, 0) + 1
    for table in dict.fromkeys([*result.added, *changed]):
        yield (
            f"  {table}: {_counted(result.added.get(table, 0), 'new row')}, "
            f"{_counted(changed.get(table, 0), 'cell')} changed"
        )
    if not result.added and not changed:
        yield "  nothing new"
    if result.settled:
        yield f"{_counted(result.settled, 'cell')} that could not be read before: settled"
    if result.changes:
        yield ""
        yield "Changed (before → after)"
        yield from _cut(
            [
                f'  {one.table} {one.key}, {one.field}: "{one.before}" → "{one.after}"  '
                f"({one.place})"
                for one in result.changes
            ],
            "changes; the received files show them",
        )
    for title, severities, rest in (
        ("To settle", ("error", "warning"), "such findings; 'treenail check' lists all"),
        ("Notes", ("note",), "notes"),
    ):
        lines = _grouped(one for one in result.findings if one.severity in severities)
        if lines:
            yield ""
            yield title
            yield from _cut(lines, rest)
    if result.unread:
        yield ""
        yield (
            f"{_counted(result.unread, 'cell')} still to be settled. The text is kept in "
            "tables/unread.csv: mend it in the form or the mapping and import again."
        )
    elif not dry_run:
        yield f"next: treenail check {package}"


def _counted(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def _grouped(findings: Iterable[Finding]) -> list[str]:
    """One line for findings that differ in their row only."""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for one in findings:
        row = _ROW.search(one.origin)
        key = (_ROW.sub(", row …", one.origin, count=1), one.message, one.remedy)
        groups.setdefault(key, []).append(row[1] if row else "")
    lines = []
    for (origin, message, remedy), rows in groups.items():
        # one cell may be meant for several tables
        each = list(dict.fromkeys(rows))
        several = f"rows {', '.join(each[:8])}{' …' if len(each) > 8 else ''} ({len(each)} cells)"
        where = origin.replace("row …", f"row {each[0]}" if len(each) == 1 else several)
        lines.append(f"  {where}: {message.rstrip('.')}. {remedy}".rstrip())
    return lines


def _cut(lines: list[str], what: str) -> Iterable[str]:
    yield from lines[:MOST]
    if len(lines) > MOST:
        yield f"  … and {len(lines) - MOST} more {what}"
