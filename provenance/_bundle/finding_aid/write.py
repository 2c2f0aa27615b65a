"""Writes the finding aid of a bundle: index.html, go.html and everything in pages/."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any

from markupsafe import Markup

from provenance._base.progress import Progress, say_nothing
from provenance._base.resources import shipped
from provenance._bundle.describe.editions import Edition
from provenance._bundle.finding_aid.addresses import page_path
from provenance._bundle.finding_aid.cells import Cells
from provenance._bundle.finding_aid.chain_pages import ChainPages
from provenance._bundle.finding_aid.conclusions import Conclusions
from provenance._bundle.finding_aid.pictures import Pictures
from provenance._bundle.finding_aid.plans import Plans
from provenance._bundle.finding_aid.record import Record
from provenance._bundle.finding_aid.relocation_pages import LIST_PATH, RelocationPages
from provenance._bundle.finding_aid.search_data import as_script, search_data
from provenance._bundle.finding_aid.stamp_index import write_stamp_index
from provenance._bundle.finding_aid.table_pages import write_table_pages
from provenance._bundle.finding_aid.writing import Page, Writer, put
from provenance._record.agreements import agreements_of, notices
from provenance._record.attempts import gave_nothing
from provenance._record.package import Package


def write_finding_aid(
    package: Package,
    folder: Path,
    *,
    edition: Edition,
    facts: Sequence[tuple[str, str]],
    links: Sequence[Mapping[str, str]],
    files: Collection[str],
    json_ld: Mapping[str, Any] | None = None,
    shows_svg: bool = True,
    progress: Progress = say_nothing,
) -> None:
    """Write index.html, go.html and pages/ into `folder`, which is still being built.

    Only what is in `package` is shown, so a public edition is made from a package that has been
    redacted. `facts` are shown at the top (name, value), `links` lead to the other files (path,
    link in words); `files` are the paths in the package that a page may link to; `json_ld`
    describes the whole for search engines (schema.org). `shows_svg` tells whether drawings of the
    record that are SVG are shown, which a browser may run elsewhere. `progress` counts pages.
    Raises UnusablePackage when a table cannot be read.
    """
    record = Record(package)
    cells = Cells(record, frozenset(files))
    writer = Writer(folder, package.title)
    pictures = Pictures(cells, package.folder, folder, shows_svg=shows_svg)
    plans = Plans(cells)
    for name in ("aid.css", "aid.js"):
        put(folder / "pages" / name, (shipped("templates") / "bundle" / name).read_bytes())
    put(
        folder / "pages" / "search-data.js",
        as_script(search_data(cells)).encode("utf-8", "surrogatepass"),
    )
    tables = write_table_pages(cells, writer)
    relocations = RelocationPages.of(cells, writer, pictures, plans)
    if edition.is_public:
        relocations = None  # they show where things are
    conclusions = Conclusions(cells, folder)
    pages = ChainPages(cells, writer, pictures, plans, relocations, conclusions)
    pages.write(progress)
    if relocations:
        relocations.write_list()
    homeless = [row for row in record.elements.values() if row["place_id"] not in record.places]
    loose = [row for row in record.samples.values() if row["element_id"] not in record.elements]
    writer.write(
        Page("index.html", "index.html", package.title),
        edition=edition,
        facts=facts,
        links=links,
        notices=notices(agreements_of(package.tables)),
        buildings=[_building(record, row["place_id"], conclusions) for row in record.outer_places],
        homeless=[pages.listed(row) for row in homeless],
        loose=[
            (row["sample_id"], page_path("sample", row["sample_id"]), pages.dates(row))
            for row in loose
        ],
        attachments=[one for site in record.sites for one in pictures.about("site", site)],
        drawings=conclusions.drawings(),
        derive_first=bool(record.elements) and not (edition.is_public or conclusions.any),
        stamps=write_stamp_index(cells, writer),
        dowel_unit=package.model.unit_of(package.model.table("plug").field("dowel_mm")),
        tables=[one for one in tables if one.count],
        empty=[one.title for one in tables if not one.count],
        all_holes=LIST_PATH if relocations else None,
        cautions=package.model.cautions,
        json_ld=_data_block(json_ld) if json_ld else None,
    )
    writer.write(Page("go.html", "go.html", "Find the page of a label"))


def _building(record: Record, key: str, conclusions: Conclusions) -> dict[str, Any]:
    wood = [row for one in record.below(key) for row in record.wood_of.get(one["place_id"], ())]
    row = record.places[key]
    return {
        "key": key,
        "name": record.place_name(row),
        "href": page_path("place", key),
        "kind": record.label("place", "kind", row["kind"]),
        "line": conclusions.line(key),
        "wood": len(wood),
        "samples": sum(
            not gave_nothing(row)
            for one in wood
            for row in record.samples_of.get(one["element_id"], ())
        ),
    }


def _data_block(value: Mapping[str, Any]) -> Markup:
    """JSON for a script element that is data: nothing in it can end the element.

    Source: JSON-LD 1.1, 'Embedding JSON-LD in HTML documents'.
    """
    text = json.dumps(value, ensure_ascii=True, indent=1)
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)
