"""`treenail store places` and `year`: the places of a store, and its yearly figures."""

from __future__ import annotations

from pathlib import Path

import click

from provenance._cli.options import counted, format_option, out_option, progress_bar, show_or_write

store_argument = click.argument("store", type=click.Path(path_type=Path, file_okay=False))


@click.command("places")
@store_argument
@click.option("--below", help="Only this place and what is in it; its code or name.")
@format_option("text", "csv", "json")
@click.option("--labels", type=click.Path(path_type=Path), help="Print labels of them here (PDF).")
@click.option("--stock", default="a4_70x37", show_default=True, help="Label stock, or a YAML file.")
@click.option(
    "--start-at",
    type=click.IntRange(1),
    default=1,
    show_default=True,
    help="First free label on the sheet.",
)
@out_option
def places(
    store: Path,
    below: str | None,
    shape: str,
    labels: Path | None,
    stock: str,
    start_at: int,
    out: Path | None,
) -> None:
    """List the places of STORE as a tree: building, room, cabinet, drawer, box.

    Enter places from a spreadsheet with 'treenail store enter STORE place FILE.csv'; its columns
    are place_id, within, kind, name, notes. --labels prints a label for each place; scan it at a
    stocktake to open the place. What lies in a place: 'treenail catalogue STORE --place B7'.
    """
    from provenance._collection.place_labels import place_labels, print_place_labels
    from provenance._printing.labels.stock import load_stock
    from provenance._store.places import Places, places_text
    from provenance._store.store import open_store

    tree = Places(open_store(store).rows("place"))
    chosen = tree.chosen(below)
    show_or_write(places_text(tree, chosen, shape), out, f"written to {out}")
    if labels is not None:
        with progress_bar("printing") as progress:
            printed = print_place_labels(
                place_labels(tree, chosen),
                load_stock(stock),
                labels,
                start_at=start_at,
                progress=progress,
            )
        pages = counted(printed.page_count, "page")
        click.echo(f"{labels}: {counted(printed.label_count, 'label')} on {pages}", err=True)


@click.command("year")
@store_argument
@click.option(
    "--until", type=click.IntRange(1), default=None, help="Last year (default: this one)."
)
@format_option("table", "csv", "json", "html")
@out_option
def year(store: Path, until: int | None, shape: str, out: Path | None) -> None:
    """Count what came, went and was asked of STORE, year by year.

    It counts accessions, records and samples held, loans, requests, and enquiries. A sample belongs
    to the store while the ledger says that it is with the party_id of repository.yaml, or lent by
    it. Enter enquiries with 'treenail store enter STORE enquiry FILE.csv'.
    """
    from datetime import date

    from provenance._collection.year import count_years, years_text
    from provenance._store.settings import settings_in
    from provenance._store.store import open_store

    today = date.today()
    counts = count_years(open_store(store), until or today.year)
    name = settings_in(store).name or store.resolve().name
    show_or_write(years_text(counts, name, today, shape), out, f"written to {out}")
