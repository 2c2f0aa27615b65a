"""`treenail store stocktake`: compare what was scanned in a store with its record."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import click

from provenance._base.visible import visible
from provenance._cli.options import counted, most_option, out_option, paper_option

if TYPE_CHECKING:
    from provenance._collection.stocktake import Stocktake


@click.command("stocktake")
@click.argument("store", type=click.Path(path_type=Path, file_okay=False))
@click.argument("name")
@click.option(
    "--scanned",
    type=click.File("r", encoding="utf-8"),
    help="Add these scans: a file, or - for a scanner that types line by line.",
)
@most_option(40, "Differences to show")
@out_option
@paper_option
@click.option("--record", is_flag=True, help="Record in the ledgers what was seen where.")
@click.option("--by", default="", help="Who took stock.")
def stocktake(
    store: Path,
    name: str,
    scanned: TextIO | None,
    most: int,
    out: Path | None,
    paper: str,
    record: bool,
    by: str,
) -> None:
    """Compare what was scanned in STORE with its record: stocktake NAME, such as 2027-spring.

    Scan the label of a place to open it, then every sample in it; the label of the next place, or
    END, closes it. Each scan is on disk at once, so a stocktake may take days: add scans under the
    same name. --out writes the report to sign (PDF).

    After a person has signed it, --record enters what was seen where into the custody ledgers.
    What is missing, on loan or lost stays as it is until a person settles it with 'treenail
    custody handover'.

    Exit codes: 0 all is as recorded where anyone looked, 1 something differs, 2 it could not be
    done.
    """
    from provenance._collection.scans import scans_path
    from provenance._collection.stocktake_sheet import print_stocktake
    from provenance._collection.taking_stock import record_seen, take_stock
    from provenance._drawing.paper import paper_named
    from provenance._history.history import moment_text
    from provenance._store.store import open_store

    opened = open_store(store)
    path = scans_path(store, name)
    if scanned is not None:
        _keep(path, scanned)
    if not path.exists():
        raise click.UsageError(f"there are no scans of '{name}' yet; give --scanned FILE, or -")
    today = date.today()
    taken = take_stock(opened, path)
    _tell(taken, most)
    if out is not None:
        looked = counted(len(taken.closed), "place")
        about = f"{store.resolve().name}; {today.isoformat()}; {looked} looked through"
        print_stocktake(taken, f"Stocktake {name}", about, paper_named(paper), out)
        click.echo(f"wrote {out}", err=True)
    if record:
        count = record_seen(
            opened,
            taken,
            name=name,
            on=today,
            recorded_on=moment_text(),
            by=by,
            recorded_by=by,
        )
        click.echo(f"recorded where {counted(count, 'sample')} were seen", err=True)
    sys.exit(0 if taken.clean else 1)


def _keep(path: Path, scanned: TextIO) -> None:
    """Keep the scans, and answer each at once that a person has to look at."""
    from provenance._collection.scans import PLACE, UNREAD, keep_scans

    count = 0
    for scan in keep_scans(path, scanned, each=scanned.isatty()):
        count += 1
        if scan.kind == UNREAD:
            click.echo(f"scan {count}: {visible(scan.text)}", err=True)
        elif scan.kind == PLACE and scanned.isatty():
            click.echo(f"opened {scan.place_code}", err=True)
    click.echo(f"{counted(count, 'scan')} kept in {path}", err=True)


def _tell(found: Stocktake, most: int) -> None:
    from provenance._collection.stocktake import WORDS

    for outcome, count in found.counts.items():
        click.echo(f"{count:>9}  {WORDS[outcome]}")
    shown = found.rest[:most] if most else found.rest
    for one in shown:
        number = f"{one.site_id}-{one.sample_id}" if one.site_id else one.sample_id
        parts = (
            f"{number} ({one.record_id})" if one.record_id else number,
            one.text or WORDS[one.outcome].partition(":")[0],
            f"seen in {one.place}" if one.place else "",
            f"recorded: {one.expected}" if one.expected else "",
        )
        click.echo(visible("; ".join(filter(None, parts))))
    if len(found.rest) > len(shown):
        click.echo(f"... and {len(found.rest) - len(shown)} MORE; --most 0 shows all")
    if found.still_open:
        click.echo(
            f"{found.still_open} is still open: scan the next place, or END, once it is done"
        )
