"""Lays a plan out on one page: the map in its frame, and below it what a reader needs."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from textwrap import shorten

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_
from provenance._base.listed import listed
from provenance._drawing.drawing import Group, Item, Sheet, Text, Transform
from provenance._drawing.paper import Paper
from provenance._record.package import Package
from provenance._survey.plan.plan_content import NAMED, PlanContent
from provenance._survey.plan.plan_map import draw_map
from provenance._survey.plan.sheet_parts import (
    best_scale,
    frame_ticks,
    legend,
    north_arrow,
    scale_bar,
    scale_words,
    text_lines,
    wrapped,
)

_MARGIN_MM, _FOOT_MM, _TICKS_MM = 10.0, 32.0, 5.0
_ARROW_MM = 11.0
"""The north arrow and what is free beside it."""
_STAMPS_TOLD = 40
"""In the words for those who cannot see the plan; the lists beside it have all."""
_ROUND_MM = 8.0
"""Paper left free round what is drawn, for labels."""
SECRET = N_("Shows where things are. Not for the public edition.")


def foot_line(package: Package) -> str:
    """The last line of a plan: that it is secret, and which verdict the bundle it is from bears."""
    said = f" From a bundle of the record, {package.verdict}." if package.verdict else ""
    return shorten(SECRET + said, 160, placeholder=" …")


@dataclass(frozen=True)
class _Page:
    width: float
    height: float

    @property
    def frame(self) -> tuple[float, float, float, float]:
        left = _MARGIN_MM + _TICKS_MM
        bottom = _MARGIN_MM + _FOOT_MM + _TICKS_MM
        return left, bottom, self.width - left - _MARGIN_MM, self.height - bottom - _MARGIN_MM


def plan_sheet(
    content: PlanContent,
    paper: Paper,
    *,
    record: str,
    foot: str = SECRET,
    named: Collection[str] | None = None,
    scale: int | None = None,
) -> Sheet:
    """The plan on a sheet of that paper, upright or lying, whichever allows the larger scale.

    `record` names the package, `foot` is its last line, `named` the only wood with a label (all
    when None), `scale` the divisor that is asked for. Raises UnusableInput when nothing on it has
    coordinates, or the page is too small for that scale.
    """
    extent = content.extent()
    if extent is None:
        raise UnusableInput(
            f"nothing in {content.building_id} has coordinates yet; tie timber ends to datums "
            "and run 'treenail survey compute', or record outlines of its rooms"
        )
    low_x, low_y, high_x, high_y = extent
    best, page = _best_page(content, extent, paper)
    if scale is not None and scale < best:
        raise UnusableInput(
            f"{_title(content)} is too large for this paper at "
            f"{scale_words(scale, content.measures)}; the largest scale that fits is "
            f"{scale_words(best, content.measures)}"
        )
    scale = scale or best
    area = page.frame
    transform = Transform(
        scale,
        ((low_x + high_x) / 2, (low_y + high_y) / 2),
        (area[0] + area[2] / 2, area[1] + area[3] / 2),
    )
    drawn = draw_map(content, transform, area, named=named)
    ticks, step = frame_ticks(area, transform, content.measures)
    notes = list(content.notes)
    if drawn.unlabelled:
        notes.append(f"No room for the labels of: {listed(drawn.unlabelled, NAMED)}.")
    title = _title(content)
    items: list[Item] = [*drawn.items, Group(ticks)]
    items += _foot(content, page, title, record, scale, step, notes)
    items.append(Text((_MARGIN_MM + _TICKS_MM, _MARGIN_MM), foot, 2.0, grey=0.25))
    return Sheet(page.width, page.height, tuple(items), title, _words(content, scale))


def scale_that_fits(content: PlanContent, paper: Paper) -> int | None:
    """The largest usual scale at which the plan fits that paper; None when nothing is on it."""
    extent = content.extent()
    return None if extent is None else _best_page(content, extent, paper)[0]


def _best_page(
    content: PlanContent, extent: tuple[float, float, float, float], paper: Paper
) -> tuple[int, _Page]:
    """The largest scale, and the page upright or lying that allows it."""
    low_x, low_y, high_x, high_y = extent
    choices = []
    for page in (_Page(paper.width_mm, paper.height_mm), _Page(paper.height_mm, paper.width_mm)):
        _, _, width, height = page.frame
        free = (width - 2 * _ROUND_MM, height - 2 * _ROUND_MM)
        choices.append((best_scale(high_x - low_x, high_y - low_y, *free, content.measures), page))
    lying = high_x - low_x > high_y - low_y
    return min(choices, key=lambda c: (c[0], (c[1].width > c[1].height) != lying))


def _title(content: PlanContent) -> str:
    name = content.building_name or content.building_id
    level = {None: "", 0: ", ground floor"}.get(content.level, f", story {content.level}")
    code = f" ({content.building_id})" if content.building_name else ""
    return f"Plan of {name}{code}{level}"


def _words(content: PlanContent, scale: float) -> str:
    stamps = listed([hole.stamp for hole in content.holes], _STAMPS_TOLD)
    return (
        f"Plan at {scale_words(scale, content.measures)} with {len(content.woods)} timbers, "
        f"{len(content.holes)} holes and cuts and {len(content.datums)} datums. Stamps: "
        f"{stamps or 'none'}."
    )


def _foot(
    content: PlanContent,
    page: _Page,
    title: str,
    record: str,
    scale: float,
    step: str,
    notes: list[str],
) -> list[Item]:
    left, top = _MARGIN_MM + _TICKS_MM, _MARGIN_MM + _FOOT_MM - 2.0
    right = page.width - _MARGIN_MM
    items: list[Item] = [
        Text((left, top - 4.2), title, 4.2, "bold"),
        Text((left, top - 8.6), f"Site {content.site_id}. {record}", 2.6),
    ]
    bar_x = right - 62
    items += scale_bar(bar_x, top - 4.4, scale, content.measures, most_mm=42.0)
    items += north_arrow(right - 5.5, top - 6.5, 10.0, content.grid_north_deg)
    north = (
        "N: true north."
        if content.grid_north_deg is not None
        else "y: site grid; true north is not recorded."
    )
    grid = f"Ticks every {step} of the site grid. {north}"
    if content.own_grid:
        grid = f"Ticks every {step} of the building's own grid, which says nothing of north."
    # not into the arrow, which reaches down beside it
    beside = wrapped(grid, 2.0, right - _ARROW_MM - bar_x, 2)
    items += text_lines(beside, bar_x, top - 10.0, 2.0, grey=0.25)
    in_doubt = bool(content.doubts) or any(hole.trust.is_doubted for hole in content.holes)
    items += legend(left, top - 11.5, doubts=in_doubt)
    told = wrapped(" ".join(notes), 2.0, right - bar_x, 4)
    items += text_lines(told, bar_x, top - 10.8 - 2.6 * len(beside), 2.0, grey=0.25)
    return items
