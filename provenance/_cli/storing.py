"""`treenail store show`, `enter` …: what a store is, what is withdrawn from it, and its copies."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Any

import click

from provenance._base.errors import UnusableInput
from provenance._cli.options import EXISTING_FILE, by_option, counted

store_argument = click.argument(
    "store", type=click.Path(path_type=Path, exists=True, file_okay=False)
)
out_argument = click.argument("out", type=click.Path(path_type=Path, dir_okay=False))


def _said_why(_: click.Context, __: click.Parameter, reason: str) -> str:
    if not reason.strip():
        raise click.UsageError("say why with --reason, for those who look for it later")
    return reason


reason_option = click.option(
    "--reason", default="", callback=_said_why, help="Why; it stays in the register."
)


def _day(by: str) -> dict[str, Any]:
    """What the register says of each act: the day, the moment, and who."""
    from provenance._history.history import moment_text

    return {"on": date.today(), "recorded_on": moment_text(), "by": by}


@click.command("show")
@store_argument
def show(store: Path) -> None:
    """Say what STORE is: records, accessions, what is due, and the end of its register.

    What is due are embargoes whose day has come and loans to the store that have ended.

    Exit code 1 when something is left to do.
    """
    from provenance._base.visible import visible
    from provenance._store.acts import AUDITED, ends_of, first_fault
    from provenance._store.current import standing_accessions
    from provenance._store.paper import anchor_line
    from provenance._store.store import open_store
    from provenance._store.terms import reminders

    opened = open_store(store)
    standing = standing_accessions(opened.acts)
    records = {act.record_id for act in standing} - {""}
    click.echo(
        f"store {opened.store_id}: {counted(len(records), 'record')}, "
        f"{counted(len(standing), 'accession')}, {len(opened.withdrawn)} withdrawn"
    )
    audits = [act for act in opened.acts if act.kind == AUDITED and act.reason]
    if audits:
        click.echo(f"last audit {audits[-1].happened_on}: {visible(audits[-1].reason)}")
    else:
        click.echo("no audit yet: treenail audit STORE")
    if fault := first_fault(opened.acts):
        click.echo(f"the register is broken: {fault}; treenail audit says what to do")
        sys.exit(1)
    if len(ends := ends_of(opened.acts)) > 1:
        click.echo(f"the register has {len(ends)} ends; treenail audit says what to do")
        sys.exit(1)
    click.echo(anchor_line(opened.acts))
    due = reminders(opened, date.today())
    for sentence in due:
        click.echo(f"due: {visible(sentence)}")
    if due:
        sys.exit(1)


@click.command("settings")
@click.argument("store", type=click.Path(path_type=Path, file_okay=False))
@click.argument("file", type=EXISTING_FILE)
@by_option
def settings(store: Path, file: Path, by: str) -> None:
    """Give STORE the settings in this YAML FILE; start a store there if there is none."""
    from provenance._base.yaml_text import read_yaml
    from provenance._store.starting import put_settings

    made = put_settings(store, read_yaml(file), **_day(by))
    click.echo(f"store {made.store_id} in {store} has these settings now")


@click.command("anchor")
@store_argument
@by_option
def anchor(store: Path, by: str) -> None:
    """Print the end of the register of STORE, as a line to keep on paper.

    Give it to 'treenail audit --anchor': lines cut off the end of the register show against nothing
    else.
    """
    from provenance._store.paper import print_anchor
    from provenance._store.store import open_store

    click.echo(print_anchor(open_store(store), **_day(by)))


@click.command("withdraw")
@store_argument
@click.argument("number")
@reason_option
@by_option
def withdraw(store: Path, number: str, reason: str, by: str) -> None:
    """Withdraw the accession NUMBER from STORE.

    Nothing is deleted: what may be removed afterwards is named.
    """
    from provenance._store.store import open_store
    from provenance._store.withdrawing import withdraw as withdraw_accession

    kept = withdraw_accession(open_store(store), number, reason=reason, **_day(by))
    click.echo(f"withdrew {number}")
    if kept:
        click.echo(f"remove its bundle now, or the audit tells of it: {kept}")


@click.command("lift")
@store_argument
@click.argument("restriction")
@reason_option
@by_option
def lift(store: Path, restriction: str, reason: str, by: str) -> None:
    """Lift RESTRICTION, such as 2026.0001-R1, which may be an embargo."""
    from provenance._store.store import open_store
    from provenance._store.terms import lift as lift_restriction

    with open_store(store).writing(**_day(by)) as writing:
        found = lift_restriction(writing, restriction, reason)
    click.echo(f"lifted {restriction} of {found['accession']}")


@click.command("enter")
@store_argument
@click.argument("table")
@click.argument("file", type=click.Path(path_type=Path))
@by_option
def enter(store: Path, table: str, file: Path, by: str) -> None:
    """Enter or change rows of a TABLE of STORE from FILE (CSV).

    TABLE is place, party, enquiry, acquisition, previous_number or restriction.
    """
    from provenance._store.entering import enter_rows
    from provenance._store.store import open_store

    done = enter_rows(open_store(store), table, file, **_day(by))
    click.echo(f"{table}: {done.added} new, {done.changed} changed, {done.unchanged} as they were")


@click.command("numbers")
@store_argument
@click.argument("number")
@out_argument
def numbers(store: Path, number: str, out: Path) -> None:
    """Write store numbers for the samples of the accession NUMBER to OUT (CSV).

    'treenail print labels --store-numbers' reads this table.
    """
    from provenance._base.disk import write_bytes
    from provenance._store.store import open_store
    from provenance._store.store_numbers import numbers_csv, store_numbers

    given = store_numbers(open_store(store), number)
    write_bytes(out, numbers_csv(given))
    click.echo(f"wrote {out}: {counted(len(given), 'sample')}")


@click.command("events")
@store_argument
@out_argument
def events(store: Path, out: Path) -> None:
    """Write accessions, withdrawals and fixity checks to OUT as preservation events (CSV)."""
    from provenance._base.disk import write_bytes
    from provenance._bundle.preservation import PreservationEvent, preservation_events_csv
    from provenance._store.preservation import preservation_events
    from provenance._store.store import open_store

    told = [PreservationEvent(**one) for one in preservation_events(open_store(store))]
    write_bytes(out, preservation_events_csv(told))
    click.echo(f"wrote {out}: {counted(len(told), 'event')}")


@click.command("merge")
@store_argument
@click.argument("copy", type=click.Path(path_type=Path, exists=True, file_okay=False))
@by_option
def merge(store: Path, copy: Path, by: str) -> None:
    """Take over into STORE what was done in COPY of it, which is not changed.

    Exit code 1 when something is left to do.
    """
    from provenance._base.visible import visible
    from provenance._store.comparing import told
    from provenance._store.copies import merge_copy
    from provenance._store.own_files import own_findings
    from provenance._store.store import open_store

    opened = open_store(store)
    merged = merge_copy(opened, open_store(copy), **_day(by))
    click.echo(
        f"{counted(merged.acts, 'act')}, {counted(len(merged.accessions), 'accession')} and the "
        f"events of {counted(len(merged.ledgers), 'record')} came from {copy}"
    )
    for line in merged.differing:
        click.echo(visible(line))
    found, _ = told(own_findings(opened), opened.acts)
    for one in found:
        click.echo(f"{one.finding_id[:8]} {one.kind}: {visible(one.said)}\n    {one.remedy}")
    click.echo("audit the store now: treenail audit STORE")
    sys.exit(1 if found or merged.differing else 0)


@click.command("split")
@store_argument
@click.argument("out", type=click.Path(path_type=Path))
@click.option(
    "--number",
    "numbers",
    multiple=True,
    required=True,
    help="An accession for the new store; repeat it.",
)
@reason_option
@by_option
def split(store: Path, out: Path, numbers: tuple[str, ...], reason: str, by: str) -> None:
    """Make a new store OUT of the accessions of STORE named with --number.

    Nothing is deleted: what may be removed afterwards is named.
    """
    from provenance._store.copies import split_store
    from provenance._store.store import open_store

    left = split_store(open_store(store), out, numbers, reason=reason, **_day(by))
    click.echo(f"wrote the store {out}; give it a number pattern of its own in repository.yaml")
    for path in left:
        click.echo(f"went there; remove it here, or the audit tells of it: {path}")


@click.command("take-over")
@store_argument
@by_option
def take_over(store: Path, by: str) -> None:
    """Make a store of the register that an older version began in STORE."""
    from provenance._accession.before import WITHOUT, is_old_store
    from provenance._accession.before import take_over as take_over_store
    from provenance._base.visible import visible

    if not is_old_store(store):
        raise UnusableInput(f"no older version began {store}; there is nothing to take over")
    acts = take_over_store(store, **_day(by))
    click.echo(f"took over {counted(len(acts), 'accession')}; treenail audit {store} checks them")
    for act in acts:
        if act.reason.startswith(WITHOUT):
            click.echo(visible(f"{act.number} {act.reason}"))
