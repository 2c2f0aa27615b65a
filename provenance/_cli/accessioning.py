"""`treenail accession`: take a bundle into a repository."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import click

from provenance._cli.options import EXISTING_FILE, paper_option, progress_bar
from provenance._cli.signing import passphrase_option, read_key, sign_option


@click.command("accession")
@click.argument("bundle", type=click.Path(path_type=Path), required=False)
@click.option(
    "--list",
    "list_",
    type=EXISTING_FILE,
    help="Take in all bundles of this list (CSV) instead of one; see below.",
)
@click.option(
    "--check-only", is_flag=True, help="Say what would come of it, or of each line; write nothing."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="With --list: write what came of each line here too (CSV).",
)
@click.option("--bag-only", is_flag=True, help="A bag of others: judge and keep it as a bag alone.")
@click.option(
    "--store",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Folder of the store, with its register; started if missing.",
)
@click.option("--depositor", default="", help="Who hands the bundle in.")
@click.option("--pattern", default="", help="Pattern of the numbers, such as {year}.{serial:04}.")
@click.option("--number", default="", help="This number instead of the next one.")
@click.option(
    "--settings",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Settings (YAML); default: repository.yaml in the store.",
)
@click.option(
    "--as",
    "kind",
    type=click.Choice(["gift", "loan", "deposit", "purchase", "transfer", "unknown"]),
    help="How it comes to the store.",
)
@click.option("--title-holder", default="", help="Who owns it.")
@click.option("--donor", default="", help="Who gave it; never stands in a bundle.")
@click.option("--agreement", default="", help="Path of the agreement, or its SHA-256.")
@click.option("--from", "begins", default="", help="First day of a loan or deposit.")
@click.option("--until", default="", help="Last day of a loan or deposit.")
@click.option("--previous-number", multiple=True, help="A number that it bore before; repeat it.")
@click.option(
    "--restriction", multiple=True, help="What may not be done or shown, in words; repeat it."
)
@click.option("--embargo-until", default="", help="Embargo until this day; it ends when lifted.")
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
    bundle: Path | None,
    list_: Path | None,
    check_only: bool,
    out: Path | None,
    bag_only: bool,
    store: Path,
    depositor: str,
    pattern: str,
    number: str,
    settings: Path | None,
    kind: str | None,
    title_holder: str,
    donor: str,
    agreement: str,
    begins: str,
    until: str,
    previous_number: tuple[str, ...],
    restriction: tuple[str, ...],
    embargo_until: str,
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

    On what terms it comes (--as, --donor, --restriction and others) stands on the receipt and in
    tables of the store, not in the bundle. An embargo ends with 'treenail store lift'.

    With --bag-only a bag that another program made is judged by RFC 8493 alone and kept byte for
    byte. It is no record: nothing is known of samples in it.

    --list takes in many. The columns of the list are bundle (a path as seen from the list),
    depositor, on, number, samples, place, as, title_holder, donor, agreement, from, until,
    previous_number, restriction, embargo_until, reason, bag_only; only bundle is needed, and
    --depositor and --on stand where a line has none. The list itself is checked first. A bundle
    that is refused stops no other, and one that is there already is passed over, so the same list
    can be run again.

    Exit codes: 0 taken in, 1 taken in but the record has faults, or it was taken in before, 2 not
    taken in. With --list 1 when any line was refused.
    """
    from provenance._accession.accession import ContradictsKept, OnlyChecked
    from provenance._accession.accession import accession as take_in
    from provenance._accession.damage import DamagedBundle
    from provenance._accession.receipt import against_kept
    from provenance._base.visible import visible
    from provenance._drawing.paper import paper_named
    from provenance._history.history import moment_text
    from provenance._store.terms import Terms

    if (bundle is None) == (list_ is None):
        raise click.UsageError("name one BUNDLE, or a list of them with --list")
    if list_ is None and out:
        raise click.UsageError("--out goes with --list")
    if bag_only and check_only:
        raise click.UsageError("'treenail verify BAG --bag-only' judges a bag and takes in nothing")
    terms = Terms(
        kind=kind or "",
        title_holder=title_holder,
        donor=donor,
        agreement=agreement,
        begins=begins,
        until=until,
        previous_numbers="; ".join(previous_number),
        restrictions="; ".join(restriction),
        embargo_until=embargo_until,
    )
    try:
        on = date.fromisoformat(day) if day else date.today()
    except ValueError:
        raise click.UsageError(f"--on {day}: write the day as 2026-03-01") from None
    how: dict[str, Any] = {
        "recorded_on": moment_text(),
        "paper": paper_named(paper),
        "pattern": pattern,
        "settings": settings,
        "keys": [read_key(key, passphrase_file) for key in keys],
    }
    if list_ is not None:
        if terms != Terms() or any((number, samples, place, reason, even_if_rewritten, bag_only)):
            raise click.UsageError("with --list these stand in the columns of the list")
        _take_in_list(list_, store, depositor, on, check_only, out, how)
        return
    assert bundle is not None
    if not depositor:
        raise click.UsageError("say with --depositor who hands the bundle in")
    how |= {
        "depositor": depositor,
        "on": on,
        "number": number,
        "reason": reason,
        "terms": terms,
    }
    if bag_only:
        if samples or place or even_if_rewritten:
            raise click.UsageError("a bag of others has no samples and no ledger to speak of")
        _take_in_bag(bundle, store, how)
        return
    try:
        with progress_bar("taking in") as progress:
            done = take_in(
                bundle,
                store,
                samples=samples,
                place=place,
                even_if_rewritten=even_if_rewritten,
                only_check=check_only,
                progress=progress,
                **how,
            )
    except (DamagedBundle, ContradictsKept) as error:
        click.echo(error.letter, nl=False)
        raise
    except OnlyChecked as checked:
        click.echo(f"it can be taken in as {checked.number}: {checked.judged.word}")
        for word, said in checked.came:
            click.echo(f"{word}: {visible(said)}")
        for sentence in (*checked.judged.said, *checked.notes):
            click.echo(f"note: {visible(sentence)}", err=True)
        _tell_faults(checked.to_mend)
        return
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
    _tell_faults(done.to_mend)


def _tell_faults(to_mend: Sequence[str]) -> None:
    from provenance._base.visible import visible

    for fault in to_mend[:20]:
        click.echo(f"to correct: {' '.join(visible(fault).split())}", err=True)
    if len(to_mend) > 20:
        click.echo(f"... and {len(to_mend) - 20} MORE; see the receipt", err=True)
    if to_mend:
        sys.exit(1)


def _take_in_bag(bag: Path, store: Path, how: dict[str, Any]) -> None:
    from provenance._accession.of_others import accession_of_bag
    from provenance._base.visible import visible

    with progress_bar("taking in") as progress:
        done = accession_of_bag(bag, store, progress=progress, **how)
    click.echo(f"accessioned as {done.entry.number}")
    click.echo(f"kept {done.kept}")
    click.echo(f"receipt {done.receipt}")
    click.echo(done.verdict.in_words)
    for one in done.verdict.findings[:20]:
        click.echo(f"warning: {visible(f'{one.path} {one.message}'.strip())}", err=True)
    if done.settings:
        click.echo(f"began {done.settings}: write the name and address of your repository into it")


def _take_in_list(
    path: Path,
    store: Path,
    depositor: str,
    on: date,
    only_check: bool,
    out: Path | None,
    how: dict[str, Any],
) -> None:
    from provenance._accession.bulk import REFUSED, Outcome, accession_list, read_list, report_rows
    from provenance._base.disk import write_bytes
    from provenance._base.visible import visible

    lines = read_list(path, depositor=depositor, on=on)
    outcomes: list[Outcome] = []
    try:
        with progress_bar("checking" if only_check else "taking in") as progress:
            for one in accession_list(
                lines, store, only_check=only_check, progress=progress, **how
            ):
                outcomes.append(one)
    finally:
        # also of a run that is stopped: what was taken in stays
        for one in outcomes:
            said = visible(" ".join(one.said.split()))
            name = visible(one.line.cells["bundle"])
            number = f" as {one.number}" if one.number else ""
            about = f": {said}" if said else ""
            click.echo(f"line {one.line.line}, {name}: {one.word}{number}{about}")
        if out is not None:
            write_bytes(out, report_rows(outcomes))
            click.echo(f"wrote {out}", err=True)
    counts = Counter(one.word for one in outcomes)
    click.echo(", ".join(f"{count} {word}" for word, count in counts.items()))
    if counts[REFUSED]:
        sys.exit(1)
