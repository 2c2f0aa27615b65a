"""`treenail store`: what a store is, what is withdrawn from it, and copies of it."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from provenance._cli.options import EXISTING_FILE, by_option, counted

if TYPE_CHECKING:
    from provenance._store.store import Store


@click.command("store")
@click.argument("store", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--settings",
    type=EXISTING_FILE,
    help="Give the store the settings in this YAML file; start it if there is none.",
)
@click.option("--withdraw", help="Withdraw the accession with this number; needs --reason.")
@click.option(
    "--merge",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Take over what was done in this copy of the store; the copy is not changed.",
)
@click.option(
    "--split",
    type=click.Path(path_type=Path),
    help="Make a new store of the accessions named with --number; needs --reason.",
)
@click.option("--number", "numbers", multiple=True, help="An accession for --split; repeat it.")
@click.option(
    "--anchor", is_flag=True, help="Print the end of the register, as a line to keep on paper."
)
@click.option("--lift", help="Lift this restriction (2026.0001-R1); needs --reason.")
@click.option(
    "--enter",
    nargs=2,
    metavar="TABLE FILE.csv",
    help="Enter or change rows: place, party, enquiry, acquisition, previous_number, restriction.",
)
@click.option(
    "--numbers",
    "numbered",
    nargs=2,
    metavar="NUMBER OUT.csv",
    help="Write store numbers for the samples of an accession, for 'labels --store-numbers'.",
)
@click.option(
    "--events",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write accessions, withdrawals and fixity checks as preservation events (CSV).",
)
@click.option("--take-over", is_flag=True, help="Make a store of one that an older version began.")
@click.option("--reason", default="", help="Why; it stays in the register.")
@by_option
def store(
    store: Path,
    settings: Path | None,
    withdraw: str | None,
    merge: Path | None,
    split: Path | None,
    numbers: tuple[str, ...],
    anchor: bool,
    lift: str | None,
    enter: tuple[str, str] | None,
    numbered: tuple[str, str] | None,
    events: Path | None,
    take_over: bool,
    reason: str,
    by: str,
) -> None:
    """Say what STORE is: records, accessions, what is due, and the end of its register.

    What is due are embargoes whose day has come and loans to the store that have ended.
    With an option it does that one thing. Nothing is deleted: what
    may be removed afterwards is named. Keep the line of --anchor on paper and give it to 'treenail
    audit --anchor': lines cut off the end of the register show against nothing else.

    Exit code 1 when something is left to do.
    """
    from provenance._history.history import moment_text
    from provenance._store.store import open_store

    asked = (settings, withdraw, merge, split, anchor, lift, enter, numbered, events, take_over)
    if sum(map(bool, asked)) > 1:
        raise click.UsageError("only --reason, --by and --number go with another option")
    if (withdraw or split or lift) and not reason.strip():
        raise click.UsageError("say why with --reason, for those who look for it later")
    if bool(numbers) != bool(split):
        raise click.UsageError("--split and --number go together: name what the new store gets")
    day = {"on": date.today(), "recorded_on": moment_text(), "by": by}
    if take_over:
        _take_over(store, day)
        return
    if settings:
        _put_settings(store, settings, day)
        return
    opened = open_store(store)
    if withdraw:
        _withdraw(opened, withdraw, reason, day)
    elif merge:
        _merge(opened, merge, day)
    elif split:
        _split(opened, split, numbers, reason, day)
    elif anchor:
        _anchor(opened, day)
    elif lift:
        _lift(opened, lift, reason, day)
    elif enter:
        _enter(opened, enter[0], Path(enter[1]), day)
    elif numbered:
        _number(opened, numbered[0], Path(numbered[1]))
    elif events:
        _write_events(opened, events)
    else:
        _tell(opened)


def _take_over(folder: Path, day: dict[str, Any]) -> None:
    from provenance._accession.before import WITHOUT, is_old_store, take_over
    from provenance._base.errors import UnusableInput
    from provenance._base.visible import visible

    if not is_old_store(folder):
        raise UnusableInput(f"no older version began {folder}; there is nothing to take over")
    acts = take_over(folder, **day)
    click.echo(f"took over {counted(len(acts), 'accession')}; treenail audit {folder} checks them")
    for act in acts:
        if act.reason.startswith(WITHOUT):
            click.echo(visible(f"{act.number} {act.reason}"))


def _put_settings(folder: Path, settings: Path, day: dict[str, Any]) -> None:
    from provenance._base.yaml_text import read_yaml
    from provenance._store.starting import put_settings

    store = put_settings(folder, read_yaml(settings), **day)
    click.echo(f"store {store.store_id} in {folder} has these settings now")


def _lift(store: Store, restriction: str, reason: str, day: dict[str, Any]) -> None:
    from provenance._store.terms import lift

    with store.writing(**day) as writing:
        found = lift(writing, restriction, reason)
    click.echo(f"lifted {restriction} of {found['accession']}")


def _enter(store: Store, table: str, path: Path, day: dict[str, Any]) -> None:
    from provenance._store.entering import enter_rows

    done = enter_rows(store, table, path, **day)
    click.echo(f"{table}: {done.added} new, {done.changed} changed, {done.unchanged} as they were")


def _number(store: Store, number: str, out: Path) -> None:
    from provenance._base.disk import write_bytes
    from provenance._store.store_numbers import numbers_csv, store_numbers

    numbers = store_numbers(store, number)
    write_bytes(out, numbers_csv(numbers))
    click.echo(f"wrote {out}: {counted(len(numbers), 'sample')}")


def _write_events(store: Store, out: Path) -> None:
    from provenance._base.disk import write_bytes
    from provenance._bundle.preservation import PreservationEvent, preservation_events_csv
    from provenance._store.preservation import preservation_events

    events = [PreservationEvent(**one) for one in preservation_events(store)]
    write_bytes(out, preservation_events_csv(events))
    click.echo(f"wrote {out}: {counted(len(events), 'event')}")


def _tell(store: Store) -> None:
    from provenance._base.visible import visible
    from provenance._store.acts import AUDITED, ends_of, first_fault
    from provenance._store.current import standing_accessions
    from provenance._store.paper import anchor_line
    from provenance._store.terms import reminders

    standing = standing_accessions(store.acts)
    records = {act.record_id for act in standing} - {""}
    click.echo(
        f"store {store.store_id}: {counted(len(records), 'record')}, "
        f"{counted(len(standing), 'accession')}, {len(store.withdrawn)} withdrawn"
    )
    audits = [act for act in store.acts if act.kind == AUDITED and act.reason]
    if audits:
        click.echo(f"last audit {audits[-1].happened_on}: {visible(audits[-1].reason)}")
    else:
        click.echo("no audit yet: treenail audit STORE")
    if fault := first_fault(store.acts):
        click.echo(f"the register is broken: {fault}; treenail audit says what to do")
        sys.exit(1)
    if len(ends := ends_of(store.acts)) > 1:
        click.echo(f"the register has {len(ends)} ends; treenail audit says what to do")
        sys.exit(1)
    click.echo(anchor_line(store.acts))
    due = reminders(store, date.today())
    for sentence in due:
        click.echo(f"due: {visible(sentence)}")
    if due:
        sys.exit(1)


def _withdraw(store: Store, number: str, reason: str, day: dict[str, Any]) -> None:
    from provenance._store.withdrawing import withdraw

    kept = withdraw(store, number, reason=reason, **day)
    click.echo(f"withdrew {number}")
    if kept:
        click.echo(f"remove its bundle now, or the audit tells of it: {kept}")


def _merge(store: Store, copy: Path, day: dict[str, Any]) -> None:
    from provenance._base.visible import visible
    from provenance._store.comparing import told
    from provenance._store.copies import merge_copy
    from provenance._store.own_files import own_findings
    from provenance._store.store import open_store

    merged = merge_copy(store, open_store(copy), **day)
    click.echo(
        f"{counted(merged.acts, 'act')}, {counted(len(merged.accessions), 'accession')} and the "
        f"events of {counted(len(merged.ledgers), 'record')} came from {copy}"
    )
    for line in merged.differing:
        click.echo(visible(line))
    found, _ = told(own_findings(store), store.acts)
    for one in found:
        click.echo(f"{one.finding_id[:8]} {one.kind}: {visible(one.said)}\n    {one.remedy}")
    click.echo("audit the store now: treenail audit STORE")
    sys.exit(1 if found or merged.differing else 0)


def _split(
    store: Store, out: Path, numbers: tuple[str, ...], reason: str, day: dict[str, Any]
) -> None:
    from provenance._store.copies import split_store

    left = split_store(store, out, numbers, reason=reason, **day)
    click.echo(f"wrote the store {out}; give it a number pattern of its own in repository.yaml")
    for path in left:
        click.echo(f"went there; remove it here, or the audit tells of it: {path}")


def _anchor(store: Store, day: dict[str, Any]) -> None:
    from provenance._store.paper import print_anchor

    click.echo(print_anchor(store, **day))
