"""Draws the derived figures; each says n, its rule and a caution."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._base.disk import write_bytes, write_text
from provenance._derive.chart import ChartPage
from provenance._derive.date_counts import age_bars, outside_histogram, stem_and_leaf_figure
from provenance._derive.figure_parts import Places, dated_spans
from provenance._derive.sample_bars import bar_diagram
from provenance._derive.summary import Derived
from provenance._derive.volume_bars import volume_bars
from provenance._drawing.drawing import Sheet
from provenance._drawing.png import png_of
from provenance._drawing.svg import svg_of

if TYPE_CHECKING:
    from provenance._record.package import Package

__all__ = ["FIGURES", "Figure", "FigureFile", "draw_figures", "figures"]


@dataclass(frozen=True)
class Figure:
    """One figure: its name, its title, and in words what it shows."""

    name: str
    title: str
    words: str
    sheet: Sheet


@dataclass(frozen=True)
class FigureFile:
    """One drawn figure: its name, what it shows in a line, and its files, form → path."""

    name: str
    title: str
    files: Mapping[str, Path]


Draw = Callable[[ChartPage, Derived, Places], Sequence[str] | None]
"""Draws on a page, and returns the words below the figure; None where there are no data."""


def figures(derived: Derived, places: Places) -> list[Figure]:
    """Every figure that has data, in the order of FIGURES."""
    made = []
    for name, (title, draw) in FIGURES.items():
        page = ChartPage(title)
        caption = draw(page, derived, places)
        if caption is not None:
            words = _in_words(derived, name)
            sheet = page.sheet(caption, " ".join([words, *caption]))
            made.append(Figure(name, title, words, sheet))
    return made


def draw_figures(package: Package, derived: Derived, folder: Path) -> list[FigureFile]:
    """Draw every figure that has data into `folder`, as SVG and as PNG.

    The same record gives the same bytes.
    """
    files = []
    for one in figures(derived, Places.of(package)):
        paths = {form: folder / f"{one.name}.{form}" for form in ("svg", "png")}
        write_text(paths["svg"], svg_of(one.sheet))
        write_bytes(paths["png"], png_of(one.sheet))
        files.append(FigureFile(one.name, one.title, paths))
    return files


def _in_words(derived: Derived, name: str) -> str:
    """What a figure shows, for those who cannot see it."""
    spans = derived.tables["span"]
    if name == "volume":
        volumes = derived.tables["size"]["newton_m3"].drop_nulls()
        return f"Bars by building and species; {len(volumes)} pieces, {sum(volumes):.1f} m³ in all."
    if name == "rings":
        rings = spans["ring_count"].drop_nulls().to_list()
        return (
            f"Bars by number of rings; {len(rings)} samples of {min(rings)} to {max(rings)} rings."
        )
    dated = dated_spans(spans)
    years = dated["outer_year"].to_list()
    cutting = (dated["cutting"] == "cutting").sum()
    return (
        f"{len(dated)} dated samples; last rings from {min(years)} to {max(years)}, "
        f"{cutting} of them cutting dates."
    )


FIGURES: dict[str, tuple[str, Draw]] = {
    "dated-samples": ("Dated samples by building and room", bar_diagram),
    "outside-dates": ("Outside dates", outside_histogram),
    "outside-decades": ("Outside dates by decade, stem and leaf", stem_and_leaf_figure),
    "volume": ("Volume of recorded wood by building and species", volume_bars),
    "rings": ("Rings in the dated samples", age_bars),
}
"""File name → title and the function that draws it, in the order of a report."""
