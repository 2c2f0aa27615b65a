"""`treenail merge` and `change finish`: copies of one record, and what was left half-way in one."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from provenance._base.visible import visible
from provenance._cli.options import by_option, counted, most_option, out_option
from provenance._history.acts import HERE, KEY_FIELD

if TYPE_CHECKING:
    from provenance._history.projection import Conflict
    from provenance._merging.merge import Merged
    from provenance._model.schema import Vocabulary


@click.command("merge")
@click.argument("package", type=click.Path(path_type=Path))
@click.argument("other", type=click.Path(path_type=Path))
@by_option
@click.option("--dry-run", is_flag=True, help="Show what would change, and write nothing.")
@most_option(20, "Conflicts and changes to show")
@out_option
def merge(package: Path, other: Path, by: str, dry_run: bool, most: int, out: Path | None) -> None:
    """Merge OTHER, a copy of the same record, into PACKAGE; OTHER is not changed.

    Nothing is lost: where the copies differ, both values stay in the record until someone settles
    it. With --out, PACKAGE is not changed either, and the merged record is written there. Exit code
    1 if there is something to settle.
    """
    from provenance._merging.merge import merge_packages
    from provenance._record.package import open_package, open_to_change

    opened = open_to_change(package)
    merged = merge_packages(opened, open_package(other), who=by, out=out, dry_run=dry_run)
    kinds = opened.model.vocabularies["conflict_kind"]
    would = "would come" if dry_run else "came"
    click.echo(
        f"{counted(merged.acts, 'act')}, {counted(merged.events, 'custody event')} and "
        f"{counted(len(merged.files), 'file')} {would} from {other}"
    )
    for lines in (_changes(merged), _conflicts(merged, kinds)):
        shown = list(lines)
        for line in shown[: most or None]:
            click.echo(visible(line))
        if most and len(shown) > most:
            click.echo(f"  and {len(shown) - most:,} more; --most 0 shows all")
    for note in _notes(merged):
        click.echo(visible(note))
    sys.exit(0 if merged.is_clean else 1)


def _changes(merged: Merged) -> Iterator[str]:
    if merged.changes:
        yield f"{counted(len(merged.changes), 'change')} in the tables:"
    for one in merged.changes:
        if not one.field:
            yield f"  {one.table} {one.key}: {'new' if one.after == HERE else 'taken out'}"
            continue
        field = "key" if one.field == KEY_FIELD else one.field
        yield f"  {one.table} {one.key}, {field}: {one.before or '-'} -> {one.after or '-'}"


def _conflicts(merged: Merged, kinds: Vocabulary) -> Iterator[str]:
    conflicts: tuple[Conflict, ...] = merged.conflicts
    if conflicts:
        yield f"{counted(len(conflicts), 'conflict')} to settle (table 'conflict' has all sides):"
    for one in conflicts:
        field = {"": "", KEY_FIELD: ", key"}.get(one.field, f", {one.field}")
        said = " / ".join(dict.fromkeys(claim.value or "-" for claim in one.claims))
        yield f"  {one.table} {one.key}{field}: {said} ({kinds.label(one.kind)})"
    if merged.disputed:
        yield "custody events that cannot follow one another; settle them with an event:"
    for why in merged.disputed:
        yield f"  {why}"


def _notes(merged: Merged) -> Iterator[str]:
    if merged.joined:
        yield "the ledgers had gone on in both copies; one event joins them"
    for path, name in merged.second.items():
        yield f"both copies have a file {path}; the other one is kept as {name}"
    yield from merged.notes


@click.command("finish")
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
def finish(folder: Path) -> None:
    """Finish what a stopped program left in FOLDER, a package or a repository's store.

    Work that your account began on this computer is finished when the folder is next opened. Use
    this for a folder from elsewhere, such as the disk of a broken laptop. Say yes only if you trust
    its source.
    """
    from provenance._history.waiting import finish_waiting
    from provenance._record.package import bag_around, open_to_change
    from provenance._record.together import finish_writing

    if bag_around(folder) != folder or (folder / "bagit.txt").is_file():
        open_to_change(folder)  # says that a bundle is never changed
    paths = finish_writing(folder, of_anybody=True)
    for path in paths:
        click.echo(visible(f"put in place: {path}"))
    acts = finish_waiting(folder)
    for act in acts:
        click.echo(f"act {act[:8]} is written into the tables")
    if not paths and not acts:
        click.echo("nothing was left half-way")
