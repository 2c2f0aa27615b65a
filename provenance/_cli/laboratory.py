"""`treenail custody consign` and `treenail results import`: to the laboratory and back."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import BinaryIO

import click

from provenance._cli.options import (
    EXISTING_FILE,
    asked,
    counted,
    named_package_argument,
    out_option,
    progress_bar,
    reads_package,
    samples_meant,
    samples_option,
    scanned_option,
)


@click.command("consign")
@reads_package()
@samples_option
@scanned_option
@click.option("--to", "taker", help="Code of the laboratory or store.")
@click.option(
    "--again",
    metavar="CODE",
    help="Write list and form again for an existing parcel; nothing is recorded.",
)
@click.option("--from", "giver", default="", help="Sender; default: the holder of the samples.")
@click.option("--purpose", default="dating", show_default=True, help="Why the samples are sent.")
@click.option("--on", "day", help="Date packed (EDTF); default: today.")
@click.option("--due", default="", help="Date by which results are requested.")
@click.option("--questions", default="", help="What the laboratory should find out.")
@click.option("--seal", default="", help="Seal number.")
@click.option("--by", default="", help="Code of the person who records this.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the list and the form; default: the current folder.",
)
def consign(
    package: Path,
    samples: str | None,
    scanned: BinaryIO | None,
    taker: str | None,
    again: str | None,
    giver: str,
    purpose: str,
    day: str | None,
    due: str,
    questions: str,
    seal: str,
    by: str,
    out: Path | None,
) -> None:
    """Prepare a parcel: its row, its events, the list (CSV) and the results form (XLSX).

    `treenail print tags PACKAGE --consignment CODE` prints tags, list and receipt for it.
    """
    from datetime import date

    from provenance._base.disk import writable_folder
    from provenance._history.history import moment_text
    from provenance._identity.naming import parcel_named
    from provenance._lab.consign import consign_samples, parcel_of, write_papers

    if again and (samples or scanned or taker):
        raise click.UsageError("--again is for a parcel that is made up; leave --samples, --to out")
    if not again and not ((samples or scanned) and taker):
        raise click.UsageError("say what goes to whom: --samples and --to (or --again CODE)")
    opened = asked(package)
    if not again:
        opened.refuse_bundle()
    folder = out or Path()
    # a parcel that is in the ledger and whose papers cannot be written would be half made up
    writable_folder(folder)
    chosen = samples_meant(opened.tables, samples, scanned)
    if chosen is not None and taker:
        parcel = consign_samples(
            opened,
            chosen,
            to_party_id=taker,
            from_party_id=giver,
            purpose=purpose,
            packed_on=day or date.today().isoformat(),
            recorded_on=moment_text(),
            recorded_by=by,
            due_on=due,
            questions=questions,
            seal_number=seal,
        )
    else:
        parcel = parcel_of(opened, parcel_named(opened.tables, again or ""))
    code = parcel.consignment_id
    listed, form = write_papers(opened, code, folder)
    click.echo(f"{code}: {counted(len(parcel.samples), 'sample')} for {parcel.to_party_id}")
    click.echo(f"{listed}: the list that goes with it")
    click.echo(f"{form}: for the laboratory to fill in; 'treenail results import' reads it back")
    click.echo(f"next: treenail print tags {package} --consignment {code}")
    if not again:
        leaves = (
            f"treenail custody handover {package} handed_over --consignment {code} --to {taker}"
        )
        click.echo(f"when it leaves: {leaves}")


@click.command("import")
@named_package_argument
@click.argument("files", nargs=-1, required=True, type=EXISTING_FILE)
@click.option(
    "--mapping",
    "mapping_file",
    type=EXISTING_FILE,
    help="Mapping of the laboratory's columns; not needed for a form made by 'treenail custody "
    "consign'.",
)
@click.option("--dry-run", is_flag=True, help="Show what the results say, but write nothing.")
def import_(
    package: Path, files: tuple[Path, ...], mapping_file: Path | None, dry_run: bool
) -> None:
    """Import a laboratory's tables into PACKAGE and read its own date notation.

    A later report supersedes an earlier one; nothing is overwritten. Exit code 1 when something
    could not be read.
    """
    from provenance._intake.mapping.mapping_file import read_mapping
    from provenance._lab.results import import_results, preview_results
    from provenance._model.felling import dates_in_words
    from provenance._record.package import open_to_change

    opened = open_to_change(package)
    mapping = read_mapping(mapping_file, opened.model) if mapping_file else None
    with progress_bar("reading") as progress:
        if dry_run:
            read, rows = preview_results(opened, files, mapping, progress=progress)
        else:
            read, rows = import_results(opened, files, mapping, progress=progress), []
    for row in rows:
        click.echo(f"{row['sample_id']}: {dates_in_words(row, opened.model) or row['outcome']}")
    for finding in read.findings:
        where = finding.origin or f"{finding.table}.csv, row {finding.row}"
        click.echo(f"{finding.severity}: {where}: {finding.message}")
        if finding.remedy:
            click.echo(f"    {finding.remedy}")
    for newer, older in read.superseded:
        click.echo(f"{newer} supersedes {older}")
    added = read.imported.added.get("lab_result", 0)
    click.echo(
        f"{counted(added, 'new result')}; "
        f"{counted(read.filled, 'cell')} filled from the date notation"
    )
    click.echo("nothing was written" if dry_run else f"next: treenail results reconcile {package}")
    weighty = any(one.severity in ("error", "warning") for one in read.findings)
    sys.exit(1 if weighty else 0)


@click.command("reconcile")
@reads_package()
@click.option("--consignment", default="", help="Only this parcel; default: all results.")
@out_option
def reconcile(package: Path, consignment: str, out: Path | None) -> None:
    """Compare results with the parcel and the field record; write the sign-off list.

    Exit code 1 while something must be settled.
    """
    from provenance._base.disk import write_text
    from provenance._identity.naming import parcel_named
    from provenance._lab.reconcile import reconcile_results, reconciliation_html

    opened = asked(package)
    consignment = parcel_named(opened.tables, consignment)
    reconciled = reconcile_results(opened, consignment)
    for finding in reconciled.findings:
        where = f"{finding.table} {finding.key}: " if finding.key else ""
        click.echo(f"{finding.severity}: {where}{finding.message}\n    {finding.remedy}")
    path = out or Path(f"{consignment or opened.name}-reconciliation.html")
    write_text(path, reconciliation_html(opened.model, opened.title, reconciled))
    click.echo(
        f"{counted(len(reconciled.lines), 'sample')}, "
        f"{counted(len(reconciled.findings), 'point')} to settle or to know; wrote {path}"
    )
    sys.exit(0 if reconciled.settled else 1)
