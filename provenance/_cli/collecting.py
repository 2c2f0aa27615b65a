"""`treenail custody handover STORE` and `store loans`: what a store does with its samples."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

import click

from provenance._base.visible import visible
from provenance._cli.custody import code_of, today
from provenance._cli.options import counted, format_option, out_option, paper_option, scanned_text

if TYPE_CHECKING:
    from provenance._collection.loans import Asked, Item, Loan
    from provenance._ledger.ed25519 import Signer
    from provenance._store.store import Store


def record(
    folder: Path,
    event: str,
    samples: str | None,
    scanned: BinaryIO | None,
    day: str | None,
    states: tuple[str, ...],
    by: str,
    records: tuple[str, ...],
    parts: tuple[str, ...],
    said: dict[str, str],
    signer: Signer | None,
) -> None:
    """Record an event of samples of a store, and say what was recorded."""
    from provenance._collection.choosing import (
        current_numbers,
        samples_of_event,
        words_of_samples,
    )
    from provenance._collection.recording import Said, record_in_store
    from provenance._history.history import moment_text
    from provenance._ledger.handover import pairs_of, said_of
    from provenance._model.schema import read_core
    from provenance._store.store import open_store

    store = open_store(folder)
    lists = read_core().vocabularies
    code = code_of(event, lists["custody_event"])
    if samples and scanned:
        raise click.UsageError("give --samples or --scanned, not both")
    chosen = samples_of_event(
        store,
        code,
        samples=samples or "",
        scanned=scanned_text(scanned) if scanned else None,
        records=records,
        reference=said["reference"],
    )
    done = record_in_store(
        store,
        chosen,
        Said(
            event=code,
            happened_on=day or today(),
            today=today(),
            recorded_by=by,
            states=words_of_samples(store, records, chosen, pairs_of(states, "--state")),
            parts=words_of_samples(store, records, chosen, pairs_of(parts, "--part")),
            **said,
        ),
        recorded_on=moment_text(),
        by=by,
        signer=signer,
    )
    numbers = current_numbers(store)
    for record_id, events in done.events.items():
        shown = [one for one in events if not one.parent_sample_id]
        line = said_of(shown, lists["custody_event"], lists["sample_state"])
        click.echo(visible(f"{numbers[record_id]}: {line}"))
        for one in events:
            if one.parent_sample_id:
                click.echo(visible(f"part of {one.parent_sample_id}: {one.sample_id}"))
    if done.reference and code in ("loaned", "requested", "decided"):
        click.echo(
            f"{done.reference}: print it with 'treenail store loans {folder} --print "
            f"{done.reference}'"
        )


@click.command("loans")
@click.argument("store", type=click.Path(path_type=Path))
@click.option("--every", is_flag=True, help="Also loans that are ended and requests decided.")
@click.option(
    "--print", "number", default="", help="Number of a loan or request to print: L2026.001."
)
@click.option(
    "--letter",
    type=click.Choice(["form", "returned", "reminder"]),
    default="form",
    show_default=True,
    help="With --print, of a loan: the form, the receipt of what came back, or a reminder.",
)
@paper_option
@out_option
@format_option("text", "json", "csv")
def loans(
    store: Path,
    every: bool,
    number: str,
    letter: str,
    paper: str,
    out: Path | None,
    shape: str,
) -> None:
    """List the loans that are out and the requests that are open in STORE, overdue ones first.

    With --print, print one again at any time as PDF: the form of a loan, the receipt of return, a
    reminder; of a request, the letter with the decision. Record them with 'treenail custody
    handover STORE' (loaned, taken_back, requested, decided).

    Exit codes: 0 none overdue, 1 some are, 2 unusable input.
    """
    from provenance._collection.loans import loans_in, requests_of
    from provenance._store.store import open_store

    opened = open_store(store)
    if number:
        _print(opened, number, letter, paper, out)
        return
    if out:
        raise click.UsageError("--out goes with --print; say which loan or request")
    day = today()
    lent = [one for one in loans_in(opened) if every or one.out]
    lent.sort(key=lambda one: -one.days_over(day))
    asked = [one for one in requests_of(opened) if every or not one.decision]
    if shape == "text":
        lines = [*(_loan_line(one, day) for one in lent), *map(_request_line, asked)]
        click.echo(visible("\n".join(lines) or "no loan is out, and no request is open"))
    else:
        _tell_rows([*(_loan_row(one, day) for one in lent), *map(_request_row, asked)], shape)
    sys.exit(1 if any(one.days_over(day) for one in lent) else 0)


def _print(store: Store, number: str, kind: str, paper: str, out: Path | None) -> None:
    from provenance._collection.letters import letter_of, print_letter
    from provenance._drawing.paper import paper_named

    said = letter_of(store, number, kind, today())
    out = out or Path(f"{number}{'' if kind == 'form' else f'-{kind}'}.pdf")
    print_letter(said, paper_named(paper), out)
    click.echo(f"written to {out}")


def _named(items: Sequence[Item]) -> str:
    """Samples with the accession of their record: '2026.0001: 231, 232; 2026.0002: 1'."""
    of: dict[str, list[str]] = {}
    for one in items:
        of.setdefault(one.kept.accession.number, []).append(one.sample_id)
    return "; ".join(f"{number}: {', '.join(samples)}" for number, samples in of.items())


def _loan_line(loan: Loan, day: str) -> str:
    over = loan.days_over(day)
    status = f"OVERDUE by {counted(over, 'day')}" if over else loan.status(day)
    samples = counted(len(loan.items), "sample")
    out = f"{len(loan.out)} of {samples} out: {_named(loan.out)}" if loan.out else f"{samples} back"
    lost = [one for one in loan.out if one.lost_on]
    return (
        f"{loan.number}  {loan.borrower_name}, lent {loan.lent_on}, due {loan.due_on}, {status}\n"
        f"    {out}" + (f"\n    reported lost: {_named(lost)}" if lost else "")
    )


def _request_line(asked: Asked) -> str:
    decided = f"{asked.decision} on {asked.decided_on}" if asked.decision else "not decided"
    return (
        f"{asked.number}  {asked.asked_by_name}, asked {asked.asked_on}, {decided}\n"
        f"    {asked.purpose}: {_named(asked.items)}"
    )


def _loan_row(loan: Loan, day: str) -> dict[str, object]:
    return {
        "number": loan.number,
        "status": loan.status(day),
        "party": loan.borrower,
        "name": loan.borrower_name,
        "on": loan.lent_on,
        "due_on": loan.due_on,
        "days_over": loan.days_over(day),
        "purpose": loan.purpose,
        "samples": _named(loan.items),
        "out": _named(loan.out),
    }


def _request_row(asked: Asked) -> dict[str, object]:
    return {
        "number": asked.number,
        "status": asked.decision or "open",
        "party": asked.asked_by,
        "name": asked.asked_by_name,
        "on": asked.asked_on,
        "due_on": "",
        "days_over": 0,
        "purpose": asked.purpose,
        "samples": _named(asked.items),
        "out": "",
    }


def _tell_rows(rows: Sequence[dict[str, object]], shape: str) -> None:
    import json

    import polars as pl

    from provenance._base.spreadsheet import spreadsheet_csv

    if shape == "json":
        click.echo(json.dumps(rows, indent=2, ensure_ascii=False))
        return
    texts = [{name: str(value) for name, value in row.items()} for row in rows]
    schema = dict.fromkeys(rows[0] if rows else ("number",), pl.String)
    click.echo(spreadsheet_csv(pl.DataFrame(texts, schema=schema)), nl=False)
