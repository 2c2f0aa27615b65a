"""A printer is calibrated once: print a page, measure it, type the readings."""

from __future__ import annotations

from provenance._base.languages import _
from provenance._desk.answers import Answer, Done, Page
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.paper.preview import keep, kept
from provenance._intake.values.units import read_length
from provenance._printing.labels.calibration import (
    calibration_from_measures,
    cross_places_mm,
    known_printers,
    print_calibration_page,
    printers_file,
    store_calibration,
)
from provenance._printing.labels.stock import load_stock, shipped_stocks

pages = Pages()


@pages.shown("/record/{record}/print/printer")
def calibrating(asked: Asked) -> Answer:
    """The page to print and measure, and the form for the readings."""
    name = asked.queried("stock")
    stock = load_stock(name if name in shipped_stocks() else next(iter(shipped_stocks())))
    path = asked.desk.scratch() / f"calibration-{stock.name}.pdf"
    print_calibration_page(stock, path)
    (page,) = kept(asked.desk, keep(asked.desk, [path]))
    values = {
        "stock": stock,
        "stocks": shipped_stocks(),
        "page": page,
        "crosses": cross_places_mm(stock),
        "printers": known_printers(printers_file()),
    }
    return Page("paper/printer.html", values)


@pages.done("/record/{record}/print/printer")
def calibrated(asked: Asked) -> Answer:
    """Keep the readings under the name of the printer."""
    name = asked.needed("stock", _("Stock"))
    stock = load_stock(name if name in shipped_stocks() else next(iter(shipped_stocks())))
    printer = asked.needed("printer", _("Name of the printer"))
    left_1, top_1, left_2, top_2 = (
        float(read_length(asked.needed(field, called), "mm", "mm"))
        for field, called in (
            ("left_1", _("Cross 1 from the left edge")),
            ("top_1", _("Cross 1 from the upper edge")),
            ("left_2", _("Cross 2 from the left edge")),
            ("top_2", _("Cross 2 from the upper edge")),
        )
    )
    found = calibration_from_measures(stock, (left_1, top_1, left_2, top_2))
    store_calibration(printers_file(), printer, found)
    to = asked.at("print", stock=stock.name, printer=printer)
    kept_so = _("{printer}: {off}. It is corrected from now on.")
    return Done(to, kept_so.format(printer=printer, off=found.in_words))
