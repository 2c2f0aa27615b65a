"""Lays out the list of what to take along, to be checked off before the crew leaves."""

from __future__ import annotations

from provenance._base.languages import _
from provenance._drawing.paper import Paper
from provenance._model.schema import Model
from provenance._printing.sheets.cells import EMPTY_BOX
from provenance._printing.sheets.frame import PageDraft
from provenance._printing.sheets.listing import Entry, lay_out_listing

COLUMNS = 2
SIZE = 9.5


def lay_out_equipment(model: Model, paper: Paper) -> list[PageDraft]:
    """The pages of the list: general things first, then those of the kind of place."""
    entries = [Entry(_("Check what is packed"), model.title, title=True)]
    entries += [Entry(f"{EMPTY_BOX} {one.item}.", f"{one.purpose}.") for one in model.equipment]
    return lay_out_listing(entries, paper, columns=COLUMNS, size=SIZE)
