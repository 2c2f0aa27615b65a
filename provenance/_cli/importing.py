"""`treenail new`, `import` and `attach`: start a package, and bring in what the field hands in."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import click

from provenance._cli.options import (
    by_option,
    counted,
    named_package_argument,
    out_option,
    progress_bar,
    settings_options,
)
from provenance._history.acts import HERE, KEY_FIELD, ROW_FIELD
from provenance._history.edits import in_words

if TYPE_CHECKING:
    from provenance._history.edits import Change
    from provenance._intake.importing import ImportResult
    from provenance._intake.photos.attaching import PicturesAttached
    from provenance._record.package import Package

MOST = 60
"""Lines shown of one kind; what is beyond is counted, and all of it stands in the package."""

_SAID_TOGETHER = {"intake.row_gone": "Out of the record", "intake.conflict": "In conflict"}
"""Rule → title of what it finds: what is to be done is the same for all, and is said once."""


@click.command("new")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option(
    "--profile",
    "profiles",
    multiple=True,
    default=("blank",),
    show_default=True,
    help="Kind of site (see --profiles), or a YAML file; repeat for mixed villages.",
)
@click.option("--title", help="Title; the folder name by default.")
@settings_options
@click.option("--update", is_flag=True, help="Update an existing package to the profile.")
@click.option("--profiles", "list_profiles", is_flag=True, help="List the profiles and stop.")
def new(
    folder: Path | None,
    profiles: tuple[str, ...],
    title: str | None,
    units: str | None,
    language: str | None,
    numbering: str | None,
    update: bool,
    list_profiles: bool,
) -> None:
    """Start a package in FOLDER: descriptor, empty tables, schemas, mapping example, README.

    With several profiles fields, codes, words, cautions and equipment add up. Name the profile of
    each building in the place's field "Recorded as"; `check` then asks of a row only what the
    profile of its building asks. Another place, or one of your own: DEVELOPERS.md, "A profile".
    """
    if list_profiles:
        from provenance._model.profile import shipped_profiles

        for name, its_title in shipped_profiles().items():
            click.echo(f"{name:22} {its_title}")
        return
    if folder is None:
        raise click.UsageError("say which folder to make, or --profiles to see the kinds of place")

    from provenance._record.new import new_package, update_package
    from provenance._record.settings import Settings, change_settings

    profile = "+".join(profiles)
    settings = Settings(units, language, numbering)
    if update:
        from provenance._record.package import open_to_change

        package = update_package(open_to_change(folder), profile)
        if units or language or numbering:
            change_settings(package, settings)
        click.echo(f"{package.folder} now follows the profile '{profile}'")
        return
    package = new_package(folder, profile, title=title, settings=settings)
    click.echo(f"started {package.folder} for: {package.model.title}")
    click.echo(f"read {package.folder / 'README.md'} next")


@click.command("import")
@named_package_argument
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--mapping",
    type=click.Path(path_type=Path, dir_okay=False),
    help="YAML file that assigns columns to fields.",
)
@click.option("--draft", is_flag=True, help="Propose a mapping for the forms; import nothing.")
@click.option("--dry-run", is_flag=True, help="Read and report, but write nothing.")
@click.option("--replaces", metavar="IN-…", default="", help="FILES are a newer copy of this one.")
@click.option("--new", "is_new", is_flag=True, help="FILES are not newer copies of earlier files.")
@click.option("--yes", is_flag=True, help="Apply the changes of an edited workbook without asking.")
@by_option
@out_option
def import_(
    package: Path,
    files: tuple[Path, ...],
    mapping: Path | None,
    draft: bool,
    dry_run: bool,
    replaces: str,
    is_new: bool,
    yes: bool,
    by: str,
    out: Path | None,
) -> None:
    """Read FILES (CSV, TSV, XLSX, ODS) into PACKAGE.

    A Data Package (datapackage.org), a folder or zip with datapackage.json, is read table by table.
    The files are kept byte for byte. Cells that cannot be read are listed, and their text is kept.
    A workbook written by `treenail print workbook` needs no mapping. Neither do answers to the form
    of `treenail print phone`: a ZIP or folder of CSV files with photos in media/, or one CSV or
    JSON file with the folder media beside it. An answer that was sent again replaces itself.

    With --draft, --out names the file for the proposed mapping (default: the screen). Anything that
    could not be guessed is marked '?'; nothing is imported until a person answers. If a file of the
    same form was imported before, its mapping is proposed.

    If two files give one cell different values, that is a conflict, in whatever order they come;
    nothing is overwritten. A newer copy of a file is recognized by its content and replaces it; if
    that is not certain, the command asks for --replaces or --new.

    For an edited workbook of `treenail print workbook --filled`, the command lists the changes,
    renames, removals and additions, and applies them after a yes (or with --yes). `treenail change
    undo` undoes them.

    Exit codes: 0 everything read, 1 cells, conflicts or possibly renamed rows must be settled or
    the answer was no, 2 nothing was imported.
    """
    from provenance._record.package import open_to_change

    opened = open_to_change(package)
    if draft:
        if mapping is not None or dry_run:
            raise click.UsageError("--draft proposes a mapping; take out --mapping and --dry-run")
        _draft(opened, files, out)
        return
    if out is not None:
        raise click.UsageError("--out goes with --draft; rows are written into the package")
    if replaces and is_new:
        raise click.UsageError("--replaces and --new contradict each other")
    from provenance._intake.claims import Sameness
    from provenance._intake.importing import import_exports
    from provenance._intake.mapping.mapping_file import read_mapping

    rules = read_mapping(mapping, opened.model) if mapping else None
    declined = False

    def ask(result: ImportResult) -> bool:
        nonlocal declined
        bar.close()  # nothing is asked beside it
        declined = not _agreed(result, yes)
        return not declined

    with ExitStack() as bar:
        progress = bar.enter_context(progress_bar("reading"))
        result = import_exports(
            opened,
            files,
            rules,
            progress=progress,
            trial=dry_run,
            who=by,
            same_as=Sameness(replaces, is_new),
            agree=ask,
        )
    if dry_run:
        for line in _preview(result):
            click.echo(line)
    if declined:
        click.echo("nothing was written", err=True)
        sys.exit(1)
    for line in _report(result, package, dry_run):
        click.echo(line)
    sys.exit(result.exit_code)


def _agreed(result: ImportResult, yes: bool) -> bool:
    """Show what edited workbooks would change and ask; without a terminal the answer is no."""
    for line in _preview(result):
        click.echo(line)
    if yes or not any(one.act for one in result.returned):
        return True
    from provenance._intake.import_findings import grouped

    lines = grouped(
        one for one in result.findings if one.severity != "note" or one.rule in _OF_LINES
    )
    if lines:
        click.echo("Look at")
        for line in _cut([f"  {line}" for line in lines], "such findings"):
            click.echo(line)
    if not sys.stdin.isatty():
        click.echo("no one is there to ask; say --yes to take this", err=True)
        return False
    return click.confirm("Take this into the record?", default=False)


def _preview(result: ImportResult) -> Iterable[str]:
    for one in result.returned:
        yield f"{one.file_name} was filled from this record and comes back; it would"
        if not one.changes:
            yield "  change nothing"
        for what, belongs in _KINDS_OF_CHANGE.items():
            mine = [change for change in one.changes if belongs(change)]
            if mine:
                yield f"  {what} ({len(mine)})"
                yield from _cut([f"    {in_words(change)}" for change in mine], "of these")


_KINDS_OF_CHANGE: dict[str, Callable[[Change], bool]] = {
    "change": lambda one: one.field not in (ROW_FIELD, KEY_FIELD),
    "rename": lambda one: one.field == KEY_FIELD,
    "take out": lambda one: one.field == ROW_FIELD and one.after != HERE,
    "add": lambda one: one.field == ROW_FIELD and one.after == HERE,
}
_OF_LINES = ("intake.told_by_content", "intake.names_gone", "intake.names_left_behind")
"""Notes that help to judge what an edited workbook would change."""


def _draft(package: Package, files: Sequence[Path], out: Path | None) -> None:
    from provenance._base.disk import write_text
    from provenance._base.errors import AlreadyThere
    from provenance._intake.draft import draft_mapping
    from provenance._intake.known_forms import known_form

    sites = package.tables.column("site", "site_id") if "site" in package.model.tables else []
    known = known_form(package, files[0]) if len(files) == 1 else None
    if known is not None:
        click.echo(f"this is the mapping that read {known.file_name}, of the same form", err=True)
    text = known.text if known else draft_mapping(package.model, files, sites=sites)
    if out is None:
        click.echo(text, nl=False)
        return
    if out.exists():
        raise AlreadyThere(f"{out} is already there, perhaps edited; choose another with --out")
    write_text(out, text)
    click.echo(f"wrote {out}; read it, correct it, then import with --mapping {out}")


def _report(result: ImportResult, package: Path, dry_run: bool) -> Iterable[str]:
    from provenance._intake.import_findings import grouped

    yield from _cut(
        [
            f"{name}: {'read only, nothing written' if dry_run else f'kept as {original_id}'}"
            for name, original_id in result.originals.items()
        ],
        "files",
    )
    blank = f", {result.spacers} blank or left out" if result.spacers else ""
    yield f"{counted(result.lines, 'line')} read{blank}"
    changed: dict[str, int] = {}
    for one in result.changes:
        changed[one.table] = changed.get(one.table, 0) + 1
    for table in dict.fromkeys([*result.added, *changed, *result.removed]):
        gone = result.removed.get(table, 0)
        gone_too = f", {counted(gone, 'row')} gone" if gone else ""
        yield (
            f"  {table}: {counted(result.added.get(table, 0), 'new row')}, "
            f"{counted(changed.get(table, 0), 'cell')} changed{gone_too}"
        )
    if not result.added and not changed and not result.removed:
        yield "  nothing new"
    if result.settled:
        yield f"{counted(result.settled, 'cell')} that could not be read before: settled"
    listed = {change for one in result.returned for change in one.changes}
    rest = [one for one in zip(result.changes, result.places, strict=True) if one[0] not in listed]
    if rest:
        yield ""
        yield "Changed (before → after)"
        yield from _cut(
            [
                f"  {in_words(one)}" + (f"  ({place})" if place.file_name else "")
                for one, place in rest
            ],
            "changes; the received files show them",
        )
    for rule, title in _SAID_TOGETHER.items():
        alike = [one for one in result.findings if one.rule == rule]
        if alike:
            yield ""
            yield title
            yield from _cut([f"  {one.message}" for one in alike], "of these")
            yield from dict.fromkeys(one.remedy for one in alike)
    for title, severities, others in (
        ("To settle", ("error", "warning"), "such findings; 'treenail check' lists all"),
        ("Notes", ("note",), "notes"),
    ):
        lines = grouped(
            one
            for one in result.findings
            if one.severity in severities and one.rule not in _SAID_TOGETHER
        )
        if lines:
            yield ""
            yield title
            yield from _cut([f"  {line}" for line in lines], others)
    if result.conflicts:
        yield ""
        yield (
            f"{counted(len(result.conflicts), 'conflict')} to settle: 'treenail history {package} "
            "--open' shows who says what."
        )
    if result.unread:
        yield ""
        yield (
            f"{counted(result.unread, 'cell')} still to be settled. The text is kept in "
            "tables/unread.csv: correct it in the form or the mapping and import again."
        )
    elif not dry_run and not result.conflicts:
        yield f"next: treenail check {package}"


def _cut(lines: list[str], what: str) -> Iterable[str]:
    yield from lines[:MOST]
    if len(lines) > MOST:
        yield f"  … and {len(lines) - MOST} more {what}"


@click.command("attach")
@named_package_argument
@click.argument("sources", type=click.Path(path_type=Path), nargs=-1, required=True)
@click.option("--under", default="files", show_default=True, help="Folder in the package.")
@click.option(
    "--access",
    type=click.Choice(["restricted", "open"]),
    default="restricted",
    show_default=True,
    help="Whether the pictures may go into the public edition.",
)
@click.option("--no-rows", is_flag=True, help="Only copy the files; the list comes later.")
@click.option("--dry-run", is_flag=True, help="Look and report, but write nothing.")
def attach(
    package: Path,
    sources: tuple[Path, ...],
    under: str,
    access: str,
    no_rows: bool,
    dry_run: bool,
) -> None:
    """Copy SOURCES (files, or folders with their content) into PACKAGE.

    Rows of the table 'file' that name them get media type, size and checksum. A picture without a
    row gets one, with date and camera from the picture (or the date in its name). It is linked to
    the sample or timber whose label or sheet is in view, or whose code is in the name
    (HOLL-231_end.jpg). A bare number, as in IMG_231.jpg, may be a camera counter, so the command
    asks. Existing rows stay as a person wrote them, and each picture is kept once. A HEIC picture
    gets a JPEG copy for the pages.

    Exit code 1 if a person must decide: a picture that cannot be linked, is damaged, or may be a
    copy of another, or another kind of file without a row.
    """
    from provenance._intake.photos.attaching import attach_pictures
    from provenance._record.package import open_to_change

    with progress_bar("looking at pictures") as progress:
        attached = attach_pictures(
            open_to_change(package),
            sources,
            under,
            access=access,
            draft=not no_rows,
            trial=dry_run,
            progress=progress,
        )
    for line in _attached(attached, dry_run):
        click.echo(line)
    asked: dict[str, list[str]] = {}
    for one in attached.remarks:
        asked.setdefault(one.says, []).append(one.path)
    if attached.undescribed:
        asked["no row of the table 'file' says what this is"] = list(attached.undescribed)
    for says, paths in asked.items():
        click.echo(f"{says}:", err=True)
        for line in _cut([f"  {path}" for path in paths], "files"):
            click.echo(line, err=True)
    if any(not row["about_id"] for row in attached.drafted):
        click.echo(
            "where a link is missing, enter what the picture shows in its row of the table 'file': "
            "about_table and about_id, such as sample and 231; a general view belongs to the site",
            err=True,
        )
    sys.exit(1 if asked else 0)


def _attached(attached: PicturesAttached, dry_run: bool) -> Iterable[str]:
    """What was done, a file a line where there is something to say of it."""
    said = "read only, nothing written" if dry_run else "attached"
    there = f", {len(attached.unchanged):,} there already" if attached.unchanged else ""
    yield f"{said}: {counted(len(attached.copied), 'file')}{there}"
    same = (f"  {one}: the same bytes as {path}" for one, path in attached.duplicates.items())
    yield from _cut([f"{one}; kept once" for one in same], "kept once")
    if attached.drafted:
        yield f"rows drafted in the table 'file': {len(attached.drafted):,}"
        if attached.converted:
            yield f"  of these, for JPEG copies of HEIC pictures: {len(attached.converted):,}"
    rows = [row for row in attached.drafted if row["path"] in attached.told_by]
    yield from _cut([_drafted(row, attached.told_by[row["path"]]) for row in rows], "rows")


def _drafted(row: Mapping[str, str], by: str) -> str:
    about = f"{row['about_table']} {row['about_id']} (by {by})" if by else "not linked"
    said = [about, row["taken_on"], row["title"]]
    return f"  {row['path']}: {'; '.join(one for one in said if one)}"
