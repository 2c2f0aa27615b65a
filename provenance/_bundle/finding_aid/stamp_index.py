"""Writes every stamp in order, as punched and as read upside down, for a reader without scripts."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup, escape

from provenance._base.visible import visible
from provenance._bundle.finding_aid.addresses import page_path
from provenance._bundle.finding_aid.cells import PAGE_ROWS, Cells, link, shown
from provenance._bundle.finding_aid.writing import Page, Writer
from provenance._identity.plug_fit import without_plug
from provenance._identity.rotation import turned
from provenance._identity.selection import number_order
from provenance._record.snapshot import Row

_ROOT = "../"
_LONGEST = 100
"""A longer text is no stamp, and its digits are no number: only the beginning is sorted by."""


@dataclass(frozen=True)
class Entry:
    """One line: what is read on the plug, and what that is."""

    read: str
    words: Markup

    @property
    def shown(self) -> Markup:
        """The reading as HTML."""
        return shown(self.read)


def write_stamp_index(cells: Cells, writer: Writer) -> list[tuple[str, str]]:
    """Write the pages of the index; returns the address and the span of each, none without stamps.

    Addresses are as seen from index.html.
    """
    entries = stamp_entries(cells)
    parts = [entries[at : at + PAGE_ROWS] for at in range(0, len(entries), PAGE_ROWS)]
    names = ["stamps.html", *(f"stamps-{number}.html" for number in range(2, len(parts) + 1))]
    pages = [
        (name, visible(f"{part[0].read} to {part[-1].read}"))
        for name, part in zip(names, parts, strict=False)
    ]
    for (name, span), part in zip(pages, parts, strict=True):
        heading = "Stamps in order" if len(parts) == 1 else f"Stamps in order, {span}"
        writer.write(
            Page(f"pages/{name}", "stamps.html", heading),
            entries=part,
            pages=pages,
            here=name,
        )
    return [(f"pages/{name}", span) for name, span in pages]


def stamp_entries(cells: Cells) -> list[Entry]:
    """Every stamp and reserved number, and what it reads upside down, as people sort numbers."""
    record = cells.record
    entries = []
    for row in record.rows("plug"):
        stamp = row["stamp"]
        if not stamp:
            continue
        href = cells.address("plug", row["plug_id"])
        entries += _both_ways_up(stamp, href, _of_plug(cells, row, href))
    for row in record.reserved:
        number = row["sample_id"]
        href = cells.address("reservation", number)
        words = link(href, escape("reserved number"), _ROOT)
        said = f"{words}, {shown(without_plug(row['crew']))}"
        entries += _both_ways_up(number, href, Markup(said))
    return sorted(entries, key=lambda one: (number_order(one.read[:_LONGEST]), one.words))


def _both_ways_up(stamp: str, href: str | None, words: Markup) -> list[Entry]:
    entries = [Entry(stamp, words)]
    over = turned(stamp)
    if over is not None and over != stamp:
        upside_down = f"upside down: {link(href, shown(stamp), _ROOT)}"
        entries.append(Entry(over, Markup(upside_down)))
    return entries


def _of_plug(cells: Cells, row: Row, href: str | None) -> Markup:
    """Its sample, wood and place, with its mark and state where these are not the usual ones."""
    record = cells.record
    sample = record.samples.get(row["sample_id"], {})
    element = record.elements.get(sample.get("element_id", ""), {})
    said = [link(href, shown(f"sample {row['sample_id']}"), _ROOT)]
    if element:
        use = record.label("element", "function", element["function"]).lower()
        wood = shown(f"{use} {element['element_id']}".strip())
        said.append(link(page_path("element", element["element_id"]), wood, _ROOT))
        said += [shown(record.place_name(one)) for one in record.chain(element["place_id"])[:1]]
    mark = row["orientation_mark"]
    if mark not in ("", "none"):
        said.append(shown(record.label("plug", "orientation_mark", mark).lower()))
    if row["status"] not in ("", "in_place"):
        said.append(shown(record.label("plug", "status", row["status"]).lower()))
    return Markup(", ").join(said)
