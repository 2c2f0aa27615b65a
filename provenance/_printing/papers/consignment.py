"""Prints what goes with a parcel: list, receipt and tag in one file."""

from __future__ import annotations

from pathlib import Path

from provenance._base.progress import Progress, say_nothing
from provenance._drawing.document import printed_pages
from provenance._drawing.paper import Paper
from provenance._printing.labels.labels import Printed
from provenance._printing.papers.consignment_list import draw_list
from provenance._printing.papers.parcel import Parcel
from provenance._printing.papers.receipt import draw_receipt
from provenance._printing.papers.tags import draw_tags, parcel_tag, sample_tag


def print_consignment(
    parcel: Parcel,
    paper: Paper,
    out: Path,
    *,
    each_sample: bool = False,
    resolver: str = "",
    progress: Progress = say_nothing,
) -> Printed:
    """Write list, receipt and tag of the parcel to `out` (PDF), with `each_sample` more tags."""
    tags = [parcel_tag(parcel)]
    if each_sample:
        tags += [sample_tag(item.facts, resolver) for item in parcel.items if item.facts.site_id]
    title = f"Consignment {parcel.consignment_id}"
    with printed_pages(out, (paper.width, paper.height), title=title) as pages:
        draw_list(pages, paper, parcel)
        draw_receipt(pages, paper, parcel)
        draw_tags(pages, paper, tags, progress)
    return Printed(tuple(pages.paths), len(tags), pages.page_count)
