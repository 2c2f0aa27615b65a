"""`treenail custody handover` and `show`: who has what, from the wood to the shelf."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

import click

from provenance._base.visible import visible
from provenance._cli.options import (
    asked,
    counted,
    named_package_argument,
    note_renamed,
    reads_package,
    samples_meant,
    samples_option,
    scanned_option,
)
from provenance._cli.signing import key_option, passphrase_option, read_key

if TYPE_CHECKING:
    from provenance._ledger.ed25519 import Signer
    from provenance._model.schema import Vocabulary
    from provenance._record.package import Package
    from provenance._record.snapshot import Snapshot


@click.command("handover")
@named_package_argument
@click.argument("event")
@samples_option
@scanned_option
@click.option("--consignment", default="", help="All samples in this parcel.")
@click.option("--on", "day", help="Date of the event (EDTF); default: today.")
@click.option(
    "--from",
    "giver",
    default="",
    help="Who gave it; default: the holder in the ledger. Of a decision: who decided.",
)
@click.option(
    "--to", "taker", default="", help="Who holds it after the event. Of a request: who asks."
)
@click.option("--place", default="", help="Room, shelf, box or drawer; also its scanned code.")
@click.option("--state", "states", multiple=True, help="Condition found: 231=broken (repeat).")
@click.option("--due", default="", help="Date on which a loan is due back (EDTF).")
@click.option("--reference", default="", help="Number of the loan or request, such as L2026.001.")
@click.option(
    "--granted/--refused", "granted", default=None, help="With 'decided': what was decided."
)
@click.option(
    "--reason",
    "reason",
    default="",
    help="What a request or loan is for; conditions of a decision; why it is destroyed or "
    "deaccessioned.",
)
@click.option("--by", default="", help="Code of the person who records this.")
@click.option("--corrects", default="", help="Number of the event that was recorded wrongly.")
@click.option("--note", default="", help="Note.")
@click.option(
    "--record",
    "records",
    multiple=True,
    help="In a store: accession number of the record (repeat for several).",
)
@click.option(
    "--part",
    "parts",
    multiple=True,
    help="In a store, with 'sub_sampled': number of the part, 231=231B (repeat); default: the "
    "next free one.",
)
@key_option(
    "Sign with this key, entered with 'treenail custody keys'; in a store, sign the register."
)
@passphrase_option
def handover(
    package: Path,
    event: str,
    samples: str | None,
    scanned: BinaryIO | None,
    consignment: str,
    day: str | None,
    giver: str,
    taker: str,
    place: str,
    states: tuple[str, ...],
    due: str,
    reference: str,
    granted: bool | None,
    reason: str,
    by: str,
    corrects: str,
    note: str,
    records: tuple[str, ...],
    parts: tuple[str, ...],
    key: Path | None,
    passphrase_file: Path | None,
) -> None:
    """Record EVENT (collected, packed, handed_over, received, stored …) in the ledger of PACKAGE.

    An impossible event is refused with the reason, and nothing is recorded. So is a scanned line
    that is not a label of a sample here, or whose check letters do not match.

    PACKAGE may be a store. Events are then of the records that --record names, or of those in
    --samples 2026.0001:231,233-240 (separate several with ';'), or of what was scanned; all of them
    are recorded or nothing. 'loaned' and 'requested' get their number from the store. With
    --reference, 'taken_back' and 'decided' take all samples that are open under it, and 'loaned'
    gives them more time. 'sub_sampled' gives the part its own number. 'treenail store loans' prints
    the papers.
    """
    from provenance._store.store import is_store

    if reason and note:
        raise click.UsageError("--reason and --note say the same; give one")
    decision = "" if granted is None else "granted" if granted else "refused"
    said = {
        "consignment_id": consignment,
        "from_party_id": giver,
        "to_party_id": taker,
        "place_held": place,
        "corrects": corrects,
        "notes": reason or note,
        "loan_due_on": due,
        "reference": reference,
        "decision": decision,
    }
    signer = read_key(key, passphrase_file) if key else None
    if is_store(package):
        from provenance._cli.collecting import record

        record(package, event, samples, scanned, day, states, by, records, parts, said, signer)
    elif records or parts:
        raise click.UsageError("--record and --part are for a store; leave them out")
    else:
        _in_package(package, event, samples, scanned, day, states, by, said, signer)


def _in_package(
    package: Path,
    event: str,
    samples: str | None,
    scanned: BinaryIO | None,
    day: str | None,
    states: tuple[str, ...],
    by: str,
    said: dict[str, str],
    signer: Signer | None,
) -> None:
    from provenance._history.history import moment_text
    from provenance._identity.naming import SampleNames, parcel_named
    from provenance._ledger.handover import pairs_of, record_events, said_of, samples_of_parcel
    from provenance._ledger.inside import place_named
    from provenance._record.package import open_to_change

    opened = open_to_change(package)
    consignment = parcel_named(opened.tables, said["consignment_id"])
    chosen = samples_meant(opened.tables, samples, scanned)
    if chosen is None:
        if not consignment:
            raise click.UsageError("name --samples, --scanned or a --consignment")
        chosen = samples_of_parcel(opened, consignment)
    place = place_named(opened.tables, said["place_held"])
    names = SampleNames.of(opened.tables)
    lists = opened.model.vocabularies
    recorded = record_events(
        opened,
        code_of(event, lists["custody_event"]),
        chosen,
        happened_on=day or today(),
        recorded_on=moment_text(),
        recorded_by=by,
        states={names.sample(one).sample_id: state for one, state in pairs_of(states, "--state")},
        signer=signer,
        **said | {"consignment_id": consignment, "place_held": place},
    )
    click.echo(said_of(recorded, lists["custody_event"], lists["sample_state"]))


def today() -> str:
    """The day, YYYY-MM-DD."""
    from datetime import date

    return date.today().isoformat()


def code_of(word: str, events: Vocabulary) -> str:
    """The code of an event that was written as its code or as forms name it, in any case."""
    meant = " ".join(word.replace("_", " ").replace("-", " ").casefold().split())
    for term in events.terms:
        if meant in (term.code.replace("_", " "), term.label.replace("-", " ").casefold()):
            return term.code
    return word


@click.command("show")
@reads_package()
@click.argument("sample", required=False)
@click.option("--as-of", help="Show holders on this date (EDTF).")
@click.option("--overdue", "show_overdue", is_flag=True, help="List overdue parcels.")
@click.option("--format", "shape", type=click.Choice(["text", "json", "csv"]), default="text")
@click.option("--seal", is_flag=True, help="Seal events typed into the table.")
@key_option("With --seal: sign them with this key.")
@passphrase_option
def show(
    package: Path,
    sample: str | None,
    as_of: str | None,
    show_overdue: bool,
    shape: str,
    seal: bool,
    key: Path | None,
    passphrase_file: Path | None,
) -> None:
    """Show the custody of SAMPLE in PACKAGE, or the holder of every sample; check the ledger's
    seals.

    Exit code 1 if the ledger is inconsistent or, with --overdue, if something is late.
    """
    from datetime import date

    import pandas as pd

    from provenance._identity.selection import sample_of_package
    from provenance._ledger.holdings import Event, holdings_frame, life_of, overdue

    if sum([sample is not None, as_of is not None, show_overdue]) > 1:
        raise click.UsageError(
            "SAMPLE, --as-of and --overdue are three questions; ask one at a time"
        )
    if key and not seal:
        raise click.UsageError(
            "--key signs what is sealed; give --seal too, or use 'treenail custody handover'"
        )
    opened = asked(package)
    if seal:
        opened.refuse_bundle()
        _seal(opened, read_key(key, passphrase_file) if key else None)
    late = False
    if show_overdue:
        frame = overdue(opened, today=date.today().isoformat())
        late = bool((frame["days_over"].fillna(0) > 0).any())
    elif sample is not None:
        number = sample_of_package(opened.tables, sample)
        note_renamed(opened.tables, sample)
        frame = pd.DataFrame(life_of(opened, number), columns=list(Event._fields), dtype=str)
    else:
        frame = holdings_frame(opened, as_of=as_of)
    click.echo(_shown(frame, shape))
    sys.exit(1 if not _tell_ledger(opened.tables) or late else 0)


def _seal(package: Package, signer: Signer | None) -> None:
    from datetime import date

    from provenance._ledger.custody import seal_typed
    from provenance._ledger.signing import signer_for

    if signer:
        signer_for(package.tables, signer, "", date.today().isoformat())
    count = seal_typed(package, signer)
    click.echo(f"sealed {counted(count, 'event')}", err=True)


def _tell_ledger(tables: Snapshot) -> bool:
    """Say what the ledger alone can show, on standard error; whether it fits together."""
    from provenance._ledger.custody import seals_withheld, verify_ledger
    from provenance._ledger.keys import key_faults
    from provenance._ledger.signing import count_signatures, verify_signed

    if seals_withheld(tables):
        said = "The seals are withheld in this edition; ask for the full one to prove custody."
        click.echo(said, err=True)
        return True
    found = [*verify_ledger(tables), *verify_signed(tables), *key_faults(tables)]
    for finding in found:
        click.echo(visible(f"{finding.severity}: {finding.message} {finding.remedy}"), err=True)
    if any(one.severity == "error" for one in found):
        return False
    signatures = count_signatures(tables)
    if signatures.events:
        by = [f"{party} {count}" for party, count in sorted(signatures.by_party.items())]
        by += [f"unknown {signatures.by_unknown}"] if signatures.by_unknown else []
        signed = signatures.events - signatures.unsigned
        share = f"{signed:,} of them signed ({', '.join(by)})" if by else "none signed"
        click.echo(
            f"The ledger is sealed: {counted(signatures.events, 'event')}, {visible(share)}.\n"
            "It is not anchored: only an older bundle, a receipt or a register line can show that "
            "it was not rewritten and sealed again, or shortened.",
            err=True,
        )
    return True


def _shown(frame: object, shape: str) -> str:
    import pandas as pd

    assert isinstance(frame, pd.DataFrame)
    if shape == "csv":
        from provenance._base.spreadsheet import spreadsheet_csv_of

        return spreadsheet_csv_of(frame).rstrip("\n")
    if shape == "json":
        rows = frame.astype(object).where(frame.notna(), None).to_dict("records")
        return json.dumps(rows, indent=2, ensure_ascii=False)
    if frame.empty:
        return "nothing to show"
    filled = [name for name in frame if (frame[name].astype(str) != "").any()]
    shown = frame[filled].map(_on_a_line)
    return str(shown.to_string(index=False, justify="left", na_rep=""))


def _on_a_line(value: object) -> object:
    """Text of a record as a terminal may safely show it, without line ends."""
    return " ".join(visible(value).split()) if isinstance(value, str) else value
