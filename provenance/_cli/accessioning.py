"""`treenail accession`: take a bundle into a repository."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from provenance._cli.options import paper_option, progress_bar
from provenance._cli.signing import passphrase_option, read_key, sign_option


@click.command("accession")
@click.argument("bundle", type=click.Path(path_type=Path))
@click.option(
    "--store",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Folder of the store, with its register; started if missing.",
)
@click.option("--depositor", required=True, help="Who hands the bundle in.")
@click.option("--pattern", default="", help="Pattern of the numbers, such as {year}.{serial:04}.")
@click.option("--number", default="", help="This number instead of the next one.")
@click.option(
    "--settings",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Settings (YAML); default: repository.yaml in the store.",
)
@click.option("--samples", default="", help="Samples that came with it: 231,233-240, or all.")
@click.option("--place", default="", help="Room, shelf, box or drawer of these samples.")
@click.option(
    "--even-if-rewritten",
    is_flag=True,
    help="Accept it even if it contradicts itself or an earlier bundle kept here; with --reason.",
)
@click.option("--reason", default="", help="Why it is accepted all the same, or on such a day.")
@sign_option("Sign what is kept with this Ed25519 key (PEM) of the repository.")
@passphrase_option
@click.option("--on", "day", help="Date of accession (YYYY-MM-DD); default: today.")
@paper_option
def accession(
    bundle: Path,
    store: Path,
    depositor: str,
    pattern: str,
    number: str,
    settings: Path | None,
    samples: str,
    place: str,
    even_if_rewritten: bool,
    reason: str,
    keys: tuple[Path, ...],
    passphrase_file: Path | None,
    day: str | None,
    paper: str,
) -> None:
    """Verify BUNDLE, give it an accession number, and keep it with a receipt.

    Everything goes into the store: the bundle with its number, the receipt to sign, and a new line
    in the register. BUNDLE itself is not changed. With --samples the ledger of the kept bundle
    says that these samples came to the repository; the bundle as it came in is kept beside it then.

    A number is made by your own pattern, kept in repository.yaml: {year}, {month}, {serial}, or
    {serial:04} with at least four digits; letters, digits, blanks and . - _ / stand for themselves.
    No number is given out twice.

    Custody events and numbers are compared with the bundles of the same record that are kept here:
    a bundle in which events were rewritten or cut off, or in which a number stands for something
    else, is refused with the list, and with a letter that asks the depositor about it.

    A damaged bundle is refused: every file is named, and a letter that asks the depositor for it
    again is printed.

    Exit codes: 0 taken in, 1 taken in but the record has faults, or it was taken in before, 2 not
    taken in.
    """
    from datetime import UTC, date, datetime

    from provenance._accession.accession import ContradictsKept
    from provenance._accession.accession import accession as take_in
    from provenance._accession.damage import DamagedBundle
    from provenance._accession.receipt import against_kept
    from provenance._base.visible import visible
    from provenance._drawing.paper import paper_named

    try:
        on = date.fromisoformat(day) if day else date.today()
    except ValueError:
        raise click.UsageError(f"--on {day}: write the day as 2026-03-01") from None
    try:
        with progress_bar("taking in") as progress:
            done = take_in(
                bundle,
                store,
                depositor=depositor,
                on=on,
                recorded_on=datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
                paper=paper_named(paper),
                number=number,
                pattern=pattern,
                settings=settings,
                samples=samples,
                place=place,
                even_if_rewritten=even_if_rewritten,
                reason=reason,
                keys=[read_key(key, passphrase_file) for key in keys],
                progress=progress,
            )
    except (DamagedBundle, ContradictsKept) as error:
        click.echo(error.letter, nl=False)
        raise
    click.echo(f"accessioned as {done.entry.number}")
    click.echo(f"kept {done.kept}")
    click.echo(f"receipt {done.receipt}")
    click.echo(f"every file is as it was packed; custody ledger: {against_kept(done.judged)}")
    if done.taken_over:
        click.echo(f"the register of an older version was taken over: {done.taken_over} accessions")
    for sentence in (*done.judged.said, *done.notes):
        click.echo(f"note: {visible(sentence)}", err=True)
    if done.settings:
        click.echo(f"began {done.settings}: write the name and address of your repository into it")
    if before := done.goes_on_from:
        older = store / before.kept_at
        click.echo(
            f"it goes on from {before.number}; what changed: treenail compare {older} {done.kept}"
        )
    for word, said in done.beside.in_words:
        click.echo(f"{word}: {visible(said)}", err=word.isupper())
    if done.received:
        count = len(done.deposited)
        click.echo(
            f"the ledger says now that {count} sample{'s' * (count != 1)} came to the repository; "
            f"the bundle as received is beside it: {done.received}"
        )
    if done.to_mend:
        for fault in done.to_mend[:20]:
            click.echo(f"to correct: {' '.join(visible(fault).split())}", err=True)
        if len(done.to_mend) > 20:
            click.echo(f"... and {len(done.to_mend) - 20} MORE; see the receipt", err=True)
        sys.exit(1)
