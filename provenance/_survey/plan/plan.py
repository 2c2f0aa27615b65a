"""Writes plans of buildings and strips of their wood to files."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from provenance._base.disk import write_text
from provenance._base.errors import UnusableInput
from provenance._base.progress import Progress, say_nothing
from provenance._drawing.document import printed_pages
from provenance._drawing.drawing import Item, Sheet, Text
from provenance._drawing.paper import MM, Paper, paper_named
from provenance._drawing.pdf import draw_items
from provenance._drawing.svg import svg_of
from provenance._record.package import Package
from provenance._survey.hole.known_points import KnownPoints, known_points
from provenance._survey.plan.elevation import draw_strip, strip_title
from provenance._survey.plan.plan_content import (
    buildings_of,
    file_name_parts,
    levels_of,
    plan_content,
    refuse_unknown_level,
    stamps_of,
)
from provenance._survey.plan.plan_sheet import foot_line, plan_sheet
from provenance._survey.plan.sheet_parts import scale_named

FORMATS = ("svg", "pdf")
_MARGIN_MM, _STRIP_MM = 12.0, 40.0


@dataclass(frozen=True)
class Drawn:
    """The files that were written, and buildings that have nothing with coordinates."""

    paths: tuple[Path, ...]
    empty: tuple[str, ...]


def write_plans(
    package: Package,
    out: Path,
    *,
    place: str | None = None,
    level: int | None = None,
    format: str = "pdf",
    paper: str = "a4",
    scale: str | None = None,
    strips: bool = True,
    progress: Progress = say_nothing,
) -> Drawn:
    """Draw every building and storey (or the one asked for) into the folder `out`.

    Writes `plan-BUILDING[-LEVEL].FORMAT` (a level only where there are several) and, for buildings
    with samples, `strips-BUILDING` as PDF, or as numbered SVG pages. Files of the same name are
    replaced. `scale` ('1:100', '1 in = 20 ft') holds for all plans; without it each has the largest
    that fits. Raises UnusableInput for an unknown place, level, format or scale, when a plan is too
    large at that scale, or when nothing has coordinates.
    """
    if format not in FORMATS:
        raise UnusableInput(f"there is no plan format '{format}'; there are {', '.join(FORMATS)}")
    divisor = scale_named(scale) if scale else None
    known = known_points(package)
    sheet_paper = paper_named(paper)
    buildings = [place] if place is not None else buildings_of(known.record)
    # of all places, so that a plan has the same name whichever others are drawn with it
    names = file_name_parts(known.record.column("place", "place_id"))
    if place is None and level is not None:
        refuse_unknown_level(package, known.record, buildings, level)
        buildings = [one for one in buildings if level in levels_of(known.record, one)]
    paths: list[Path] = []
    empty: list[str] = []
    for number, building in enumerate(buildings):
        stored = levels_of(known.record, building)
        # one storey needs no storeys, and then wood without one is shown as well
        levels: list[int | None] = [*stored] if len(stored) > 1 else [None]
        levels = [level] if level is not None else levels
        drawn = 0
        for one in levels:
            content = plan_content(package, known, building, one)
            if content.extent() is None or (one is not None and not content.woods):
                continue
            suffix = "" if one is None else f"-{one}"
            foot = foot_line(package)
            sheet = plan_sheet(content, sheet_paper, record=package.title, foot=foot, scale=divisor)
            paths += _written(out / f"plan-{names[building]}{suffix}", format, [sheet])
            drawn += 1
        if strips:
            sheets = list(strip_sheets(package, known, building, sheet_paper, level))
            if sheets:
                paths += _written(out / f"strips-{names[building]}", format, sheets)
        if not drawn:
            empty.append(building)
        progress(number + 1, len(buildings))
    if not paths:
        raise UnusableInput(
            f"{package.folder}: nothing in {', '.join(empty) or 'the package'} has coordinates "
            "yet; tie timber ends to datums and run 'treenail survey compute', or record "
            "coordinates"
        )
    return Drawn(tuple(paths), tuple(empty))


def _written(stem: Path, format: str, sheets: list[Sheet]) -> list[Path]:
    if format == "svg":
        paths = []
        for number, sheet in enumerate(sheets, start=1):
            tail = f"-page-{number}" if len(sheets) > 1 else ""
            path = stem.with_name(f"{stem.name}{tail}.svg")
            write_text(path, svg_of(sheet))
            paths.append(path)
        return paths
    path = stem.with_name(f"{stem.name}.pdf")
    size = (sheets[0].width * MM, sheets[0].height * MM)
    with printed_pages(path, size, title=sheets[0].title, subject=sheets[0].description) as pages:
        for sheet in sheets:
            draw_items(pages.begin_page(), sheet.items)
    return [path]


def strip_sheets(
    package: Package, known: KnownPoints, building: str, paper: Paper, level: int | None = None
) -> Iterable[Sheet]:
    """Pages with the side of every sampled piece of wood of a building, several to a page."""
    content = plan_content(package, known, building, level)
    ids = known.record.column("element", "element_id").to_list()
    sampled = sorted(wood.element_id for wood in content.woods if wood.sampled)
    numbers = [known.record.find("element", one) for one in sampled]
    numbers = [at for at in numbers if at >= 0 and np.isfinite(known.sticks.upright_m[at]).all()]
    stamps = stamps_of(package)
    width, height = paper.width_mm, paper.height_mm
    a_page = int((height - 2 * _MARGIN_MM - 14) // _STRIP_MM)
    title = f"Sampled wood of {content.building_name or building} ({building})"
    for first in range(0, len(numbers), a_page):
        part = numbers[first : first + a_page]
        seen = (
            f"Site {content.site_id}. {package.title}. Seen from the 3 o'clock side, end A on "
            "the left; dashed rings lie on the far side."
        )
        items: list[Item] = [
            Text((_MARGIN_MM, height - _MARGIN_MM - 4), title, 4.2, "bold"),
            Text((_MARGIN_MM, height - _MARGIN_MM - 8.6), seen, 2.4),
            Text((_MARGIN_MM, _MARGIN_MM - 3), foot_line(package), 2.0, grey=0.25),
        ]
        if any(doubt.trust.about.startswith("the hole") for doubt in content.doubts):
            told = "?: what was taped to the hole conflicts, or does not agree with the wood."
            items.append(Text((_MARGIN_MM, height - _MARGIN_MM - 12), told, 2.4))
        for place, element in enumerate(part):
            top = height - _MARGIN_MM - 14 - place * _STRIP_MM
            items.append(Text((_MARGIN_MM, top - 2.6), strip_title(known, element), 2.8, "bold"))
            area = (_MARGIN_MM, top - _STRIP_MM + 2, width - 2 * _MARGIN_MM - 16, _STRIP_MM - 6)
            items += draw_strip(known, stamps, element, area).items
        told = ", ".join(ids[at] for at in part)
        yield Sheet(width, height, tuple(items), title, f"Elevations to scale of {told}.")
