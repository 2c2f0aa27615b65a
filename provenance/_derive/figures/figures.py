"""Draws the derived figures; each says n, its rule and a caution, and has its numbers beside it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from provenance._base.disk import write_bytes, write_text, writing
from provenance._base.frames import write_csv
from provenance._derive.figures.chart import ChartPage
from provenance._derive.figures.date_counts import outside_histogram, stem_and_leaf_figure
from provenance._derive.figures.felling_curve import felled_trees, felling_curve, felling_runs
from provenance._derive.figures.figure_parts import Places, counted, outside_dates
from provenance._derive.figures.forest_figures import (
    age_at_felling,
    ages_in_words,
    growth_in_words,
    ring_growth,
)
from provenance._derive.figures.order_diagram import order_diagram, order_in_words
from provenance._derive.figures.sample_bars import bar_diagram, sample_rows
from provenance._derive.figures.volume_bars import volume_bars
from provenance._derive.figures.year_marks import years_in_words
from provenance._derive.summary import Derived
from provenance._derive.wood.size import total
from provenance._drawing.drawing import Sheet
from provenance._drawing.png import png_of
from provenance._drawing.svg import svg_of
from provenance._record.package import Package

Draw = Callable[[ChartPage, Derived, Places], Sequence[str] | None]
"""Draws on a page, and returns the words below the figure; None where there are no data."""
InWords = Callable[[Derived], str]
"""Says what a figure shows, for those who cannot see it; only where there are data."""
Numbers = Callable[[Derived, Places], pl.DataFrame]
"""The numbers that a figure shows, as a table; only where there are data."""


@dataclass(frozen=True)
class Kind:
    """One kind of figure; `table` is the derived table that it is drawn from."""

    title: str
    table: str
    draw: Draw
    in_words: InWords
    numbers: Numbers


@dataclass(frozen=True)
class Figure:
    """One figure: its name, its title, in words what it shows, its numbers and their table."""

    name: str
    title: str
    words: str
    sheet: Sheet
    numbers: pl.DataFrame
    table: str


@dataclass(frozen=True)
class FigureFile:
    """One drawn figure: its name, what it shows in a line, and its files, form → path."""

    name: str
    title: str
    files: Mapping[str, Path]


def figures(derived: Derived, places: Places, names: Sequence[str] = ()) -> list[Figure]:
    """Every figure (or those of `names`) that has data, in the order of FIGURES."""
    made = []
    for name, kind in FIGURES.items():
        if (names and name not in names) or kind.table not in derived.tables:
            continue
        page = ChartPage(kind.title)
        caption = kind.draw(page, derived, places)
        if caption is not None:
            words = kind.in_words(derived)
            sheet = page.sheet(caption, " ".join([words, *caption]))
            numbers = kind.numbers(derived, places)
            made.append(Figure(name, kind.title, words, sheet, numbers, kind.table))
    return made


def draw_figures(package: Package, derived: Derived, folder: Path) -> list[FigureFile]:
    """Draw every figure that has data into `folder`, as SVG and as PNG, with its numbers as CSV.

    The same record gives the same bytes.
    """
    files = []
    for one in figures(derived, Places.of(package)):
        paths = {form: folder / f"{one.name}.{form}" for form in ("svg", "png", "csv")}
        write_text(paths["svg"], svg_of(one.sheet))
        write_bytes(paths["png"], png_of(one.sheet))
        with writing(paths["csv"]) as stream:
            write_csv(stream, one.numbers)
        files.append(FigureFile(one.name, one.title, paths))
    return files


def _samples_in_words(derived: Derived) -> str:
    spans = derived.tables["span"]
    years = spans["outer_year"].drop_nulls().to_list()
    said = f"; last rings {years_in_words(min(years), max(years))}" if years else ""
    return f"{counted(len(spans), 'dated sample', 'dated samples')}{said}."


def _dates_in_words(derived: Derived) -> str:
    dates = outside_dates(derived)
    years, cutting = dates["outer_year"], dates.filter(cutting="cutting")
    return (
        f"{counted(len(dates), 'tree', 'trees')}; "
        f"last rings {years_in_words(years[0], years[-1])}, "
        f"{counted(len(cutting), 'cutting date', 'cutting dates')}."
    )


def _fellings_in_words(derived: Derived) -> str:
    closed = felled_trees(derived).drop_nulls(["first", "last"])
    runs = felling_runs(derived)
    most = max(one + other for *_, one, other in runs.iter_rows())
    return (
        f"Felling of {counted(len(closed), 'tree', 'trees')}, "
        f"{years_in_words(runs['first_year'][0], runs['last_year'][-1])}; at most {most} of them "
        "can be of the same year."
    )


def _stored(table: str) -> Numbers:
    return lambda derived, _: derived.tables[table]


def _volume_in_words(derived: Derived) -> str:
    volume = total(derived.tables["size"], "volume")
    all_of_it = derived.measures.volume(lambda per: f"{volume.value * per:.1f}")
    return f"Bars by building and species; {volume.pieces} pieces, {all_of_it} in all."


FIGURES: dict[str, Kind] = {
    "dated-samples": Kind(
        "Dated samples by building and room", "span", bar_diagram, _samples_in_words, sample_rows
    ),
    "outside-dates": Kind(
        "Outside dates of trees",
        "span",
        outside_histogram,
        _dates_in_words,
        lambda derived, _: outside_dates(derived),
    ),
    "outside-decades": Kind(
        "Outside dates of trees by decade, stem and leaf",
        "span",
        stem_and_leaf_figure,
        _dates_in_words,
        lambda derived, _: outside_dates(derived),
    ),
    "felling-years": Kind(
        "Years in which trees can have been felled",
        "felling",
        felling_curve,
        _fellings_in_words,
        lambda derived, _: felling_runs(derived),
    ),
    "volume": Kind(
        "Volume in place of recorded wood by building and species",
        "size",
        volume_bars,
        _volume_in_words,
        _stored("size"),
    ),
    "age-at-felling": Kind(
        "Age of trees at felling, by species",
        "tree_age",
        age_at_felling,
        ages_in_words,
        _stored("tree_age"),
    ),
    "ring-growth": Kind(
        "Ring widths and marks of growth",
        "tree_age",
        ring_growth,
        growth_in_words,
        _stored("tree_age"),
    ),
    "building-order": Kind(
        "Possible order of building",
        "build_order",
        order_diagram,
        order_in_words,
        _stored("build_order"),
    ),
}
"""File name → what draws it, says it in words and gives its numbers, in the order of a report."""
