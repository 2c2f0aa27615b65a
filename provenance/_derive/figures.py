"""Draws the derived figures; each says n, its rule and a caution."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from provenance._base.disk import write_bytes, write_text
from provenance._derive.chart import ChartPage
from provenance._derive.date_counts import outside_histogram, stem_and_leaf_figure
from provenance._derive.figure_parts import Places, dated_spans
from provenance._derive.forest_figures import (
    age_at_felling,
    ages_in_words,
    growth_in_words,
    ring_growth,
)
from provenance._derive.sample_bars import bar_diagram
from provenance._derive.summary import Derived
from provenance._derive.volume_bars import volume_bars
from provenance._drawing.drawing import Sheet
from provenance._drawing.png import png_of
from provenance._drawing.svg import svg_of
from provenance._record.package import Package


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
InWords = Callable[[Derived], str]
"""Says what a figure shows, for those who cannot see it; only where there are data."""


def figures(derived: Derived, places: Places) -> list[Figure]:
    """Every figure that has data, in the order of FIGURES."""
    made = []
    for name, (title, draw, in_words) in FIGURES.items():
        page = ChartPage(title)
        caption = draw(page, derived, places)
        if caption is not None:
            words = in_words(derived)
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


def _dates_in_words(derived: Derived) -> str:
    dated = dated_spans(derived.tables["span"])
    years = dated["outer_year"].to_list()
    cutting = (dated["cutting"] == "cutting").sum()
    return (
        f"{len(dated)} dated samples; last rings from {min(years)} to {max(years)}, "
        f"{cutting} of them cutting dates."
    )


def _volume_in_words(derived: Derived) -> str:
    volumes = derived.tables["size"]["newton_m3"].drop_nulls()
    return f"Bars by building and species; {len(volumes)} pieces, {sum(volumes):.1f} m³ in all."


FIGURES: dict[str, tuple[str, Draw, InWords]] = {
    "dated-samples": ("Dated samples by building and room", bar_diagram, _dates_in_words),
    "outside-dates": ("Outside dates", outside_histogram, _dates_in_words),
    "outside-decades": (
        "Outside dates by decade, stem and leaf",
        stem_and_leaf_figure,
        _dates_in_words,
    ),
    "volume": ("Volume of recorded wood by building and species", volume_bars, _volume_in_words),
    "age-at-felling": ("Age of trees at felling, by species", age_at_felling, ages_in_words),
    "ring-growth": ("Ring widths and marks of growth", ring_growth, growth_in_words),
}
"""File name → title, what draws it and what says it in words, in the order of a report."""
