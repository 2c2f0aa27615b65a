"""`treenail print labels`, `tags` and `cards`: what is stuck on, tied to and filed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from provenance._base.languages import SOURCE, speaking
from provenance._cli.options import (
    Number,
    asked,
    optional_package_argument,
    out_option,
    paper_option,
    progress_bar,
    reads_package,
    samples_option,
    site_option,
)

if TYPE_CHECKING:
    from provenance._printing.labels.facts import SampleFacts
    from provenance._printing.labels.labels import Printed
    from provenance._printing.labels.stock import Stock
    from provenance._record.package import Package


@click.command("labels")
@reads_package(optional_package_argument)
@samples_option
@click.option("--numbers", help="Reserved numbers for blank labels: 201-260 or all.")
@site_option
@click.option(
    "--store-numbers",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Table of a store: sample_id, store_number. The labels show these numbers too.",
)
@click.option("--stock", default="a4_70x37", show_default=True, help="Label stock, or a YAML file.")
@click.option("--stocks", "list_stocks", is_flag=True, help="List the label stocks and stop.")
@click.option(
    "--start-at",
    type=click.IntRange(1),
    default=1,
    show_default=True,
    help="First free label on the sheet.",
)
@click.option(
    "--copies", type=click.IntRange(1), default=1, show_default=True, help="Copies of each label."
)
@click.option(
    "--unprinted",
    is_flag=True,
    help="Only samples that --unprinted has printed no label of before, from this computer.",
)
@click.option("--crop-marks", is_flag=True, help="Print cutting marks.")
@click.option(
    "--calibrate", is_flag=True, help="Print the calibration page for a printer, and stop."
)
@click.option("--printer", help="Use the calibration of this printer.")
@click.option(
    "--measured",
    type=Number(0),
    nargs=4,
    default=None,
    metavar="LEFT1 TOP1 LEFT2 TOP2",
    help="With --calibrate: the measurements, in mm.",
)
@out_option
def labels(
    package: Path | None,
    samples: str | None,
    numbers: str | None,
    site: str | None,
    store_numbers: Path | None,
    stock: str,
    list_stocks: bool,
    start_at: int,
    copies: int,
    unprinted: bool,
    crop_marks: bool,
    calibrate: bool,
    printer: str | None,
    measured: tuple[float, float, float, float] | None,
    out: Path | None,
) -> None:
    """Print labels for the samples of PACKAGE, as PDF.

    Before the field day: --numbers prints reserved numbers of PACKAGE as blank labels. Without a
    package, give a site too: --site HOLL --numbers 201-260.

    Labels for boxes and drawers list the contents according to the custody ledger. A hole without a
    sample gets no label; `treenail print cards` prints a card for it.

    With --store-numbers a label also shows the number that a store gave the sample, and its code
    says that number, which the store reads.
    """
    from provenance._printing.labels.calibration import TRUE, printers_file, read_calibration
    from provenance._printing.labels.content_labels import print_labels_of_stock
    from provenance._printing.labels.printed_before import not_yet_printed, note_labels
    from provenance._printing.labels.stock import load_stock, shipped_stocks

    if list_stocks:
        for name, title in shipped_stocks().items():
            click.echo(f"{name:16} {title}")
        return
    chosen = load_stock(stock)
    if calibrate:
        _calibrate(chosen, printer, measured, out)
        return
    if measured is not None:
        raise click.UsageError("--measured goes with --calibrate")
    calibration = TRUE if printer is None else read_calibration(printers_file(), printer)
    opened = _opened(package, numbers)
    path = out or Path(f"labels-{opened.name if opened else site}.pdf")
    language = opened.model.language if opened else SOURCE
    with speaking(language), progress_bar("printing") as progress:
        facts = _chosen_facts(opened, samples, numbers, site)
        if unprinted:
            if opened is None or numbers is not None or chosen.draws == "content":
                raise click.UsageError("--unprinted goes with labels of samples of a package")
            facts = not_yet_printed(opened, facts)
        if store_numbers is not None:
            if opened is None or numbers is not None or chosen.draws == "content":
                raise click.UsageError("--store-numbers goes with labels of samples of a package")
            from provenance._printing.labels.store_numbers import with_store_numbers

            facts = with_store_numbers(facts, opened.tables, store_numbers)
        laid_out: dict[str, Any] = {
            "start_at": start_at,
            "copies": copies,
            "crop_marks": crop_marks,
            "calibration": calibration,
            "progress": progress,
        }
        printed = print_labels_of_stock(opened, facts, chosen, path, **laid_out)
    if unprinted and opened is not None:
        note_labels(opened, [one.sample_id for one in facts])
    _say_what_was_printed(printed, "label")


def _opened(package: Path | None, numbers: str | None) -> Package | None:
    """The package named, or the one in this folder; None for numbers without any package."""
    from provenance._record.package import DESCRIPTOR

    if package is None and numbers is not None and not Path(DESCRIPTOR).is_file():
        return None
    return asked(package or Path())


def _chosen_facts(
    package: Package | None, samples: str | None, numbers: str | None, site: str | None
) -> list[SampleFacts]:
    from provenance._printing.labels import facts

    if samples is not None and numbers is not None:
        raise click.UsageError("--samples are recorded, --numbers are not yet: give one of them")
    if package is not None:
        if numbers is not None:
            return facts.reserved_facts(package, numbers, site)
        return facts.gather_facts(package, samples, site)
    if site is None or numbers is None:
        raise click.UsageError("without a package, give --site and --numbers")
    wanted = facts.literal_numbers(numbers)
    _warn_of_alike(wanted)
    return facts.blank_facts(site, wanted)


def _warn_of_alike(numbers: list[str]) -> None:
    """Say which numbers could be read for one another on a plug that is seen upside down."""
    from provenance._identity.rotation import turned

    known = set(numbers)
    alike = [(one, turned(one)) for one in numbers]
    pairs = [f"{one}/{other}" for one, other in alike if other in known and one < str(other)]
    if pairs:
        more = f" and {len(pairs) - 5} more" if len(pairs) > 5 else ""
        click.echo(
            f"note: as stamps these can be read for one another upside down: "
            f"{', '.join(pairs[:5])}{more}; 'treenail stamps' reserves numbers that cannot",
            err=True,
        )


def _calibrate(
    stock: Stock,
    printer: str | None,
    measured: tuple[float, float, float, float] | None,
    out: Path | None,
) -> None:
    from provenance._printing.labels import calibration

    if measured is None:
        path = out or Path(f"calibration-{stock.name}.pdf")
        calibration.print_calibration_page(stock, path)
        click.echo(f"wrote {path}; print it at actual size and measure as it says")
        if min(stock.page_width_mm, stock.page_height_mm) < calibration.ROOM_FOR_WORDS_MM:
            (one_x, one_y), (two_x, two_y) = calibration.cross_places_mm(stock)
            click.echo(
                "measure from the left and upper edge to the crosses; true are "
                f"{one_x:g} {one_y:g} {two_x:g} {two_y:g} mm"
            )
        return
    if printer is None:
        raise click.UsageError("--measured needs --printer, the name to keep it under")
    found = calibration.calibration_from_measures(stock, measured)
    path = calibration.printers_file()
    calibration.store_calibration(path, printer, found)
    click.echo(f"printer '{printer}': {found.in_words}; kept in {path}")


def _say_what_was_printed(printed: Printed, thing: str) -> None:
    things = thing if printed.label_count == 1 else f"{thing}s"
    pages = "page" if printed.page_count == 1 else "pages"
    names = ", ".join(str(path) for path in printed.paths)
    click.echo(f"wrote {printed.label_count} {things} on {printed.page_count} {pages}: {names}")
    if printed.note:
        click.echo(f"note: {printed.note}", err=True)


@click.command("tags")
@reads_package()
@click.option("--consignment", help="Print the papers of this parcel.")
@click.option("--each-sample", is_flag=True, help="With --consignment: also one tag per sample.")
@samples_option
@site_option
@paper_option
@out_option
def tags(
    package: Path,
    consignment: str | None,
    each_sample: bool,
    samples: str | None,
    site: str | None,
    paper: str,
    out: Path | None,
) -> None:
    """Print custody tags with tear-off stubs for the samples of PACKAGE, as PDF.

    With --consignment: the parcel's list, its tag, and the receipt to sign and return.
    """
    from provenance._drawing.paper import paper_named
    from provenance._identity.naming import parcel_named
    from provenance._printing.labels.facts import gather_facts
    from provenance._printing.papers.consignment import print_consignment
    from provenance._printing.papers.parcel import gather_parcel
    from provenance._printing.papers.tags import print_tags, sample_tag

    if consignment is not None and (samples is not None or site is not None):
        raise click.UsageError("a parcel holds what was packed: no --samples with --consignment")
    if each_sample and consignment is None:
        raise click.UsageError("--each-sample goes with --consignment")
    opened = asked(package)
    resolver = str(opened.descriptor.get("resolver", ""))
    with speaking(opened.model.language), progress_bar("printing") as progress:
        if consignment is not None:
            consignment = parcel_named(opened.tables, consignment)
            printed = print_consignment(
                gather_parcel(opened, consignment),
                paper_named(paper),
                out or Path(f"parcel-{consignment}.pdf"),
                each_sample=each_sample,
                resolver=resolver,
                progress=progress,
            )
        else:
            printed = print_tags(
                [sample_tag(one, resolver) for one in gather_facts(opened, samples, site)],
                paper_named(paper),
                out or Path(f"tags-{opened.name}.pdf"),
                progress=progress,
            )
    _say_what_was_printed(printed, "tag")


@click.command("cards")
@reads_package()
@samples_option
@site_option
@paper_option
@out_option
def cards(
    package: Path, samples: str | None, site: str | None, paper: str, out: Path | None
) -> None:
    """Print one card per hole for the building file, with its location and the results, as PDF."""
    from provenance._drawing.paper import paper_named
    from provenance._printing.papers.hole_card import print_hole_cards
    from provenance._printing.papers.hole_facts import gather_cards

    opened = asked(package)
    with speaking(opened.model.language), progress_bar("printing") as progress:
        printed = print_hole_cards(
            gather_cards(opened, samples, site),
            paper_named(paper),
            out or Path(f"cards-{opened.name}.pdf"),
            resolver=str(opened.descriptor.get("resolver", "")),
            progress=progress,
        )
    _say_what_was_printed(printed, "card")
