"""Draws how many trees can have been felled in each year, by the years that each of them allows."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from typing import Any

import polars as pl

from provenance._derive.figures.axes import count_axis, year_axis
from provenance._derive.figures.chart import LEFT, RIGHT, SMALL, ChartPage, Fill
from provenance._derive.figures.figure_parts import (
    LAST_TICK,
    NOT_CONSTRUCTION,
    Places,
    counted,
    record_marks,
    rows_of,
)
from provenance._derive.figures.year_marks import MarkRows, far_words, in_reach, marks_caption
from provenance._derive.summary import Derived
from provenance._drawing.drawing import Line

_CUTTING, _RANGES = Fill(0.0), Fill()
_PLOT_HEIGHT = 46.0
_LEAST_YEARS = 30
_RUNS = {
    "first_year": pl.Int64,
    "last_year": pl.Int64,
    "cutting_trees": pl.Int64,
    "range_trees": pl.Int64,
}


def felled_trees(derived: Derived) -> pl.DataFrame:
    """One row a tree with the years of its felling: first, last (null where open), cutting."""
    trees: dict[str, dict[str, Any]] = {}
    for row in rows_of(derived, "felling"):
        first, last = row["felled_from_year"], row["felled_to_year"]
        if first is not None or last is not None:
            # pieces of one tree have the years of the tree, of which one is enough
            one = {"tree_id": row["tree_id"], "first": first, "last": last, "cutting": False}
            held = trees.setdefault(row["tree_id"], one)
            held["cutting"] |= row["felling_class"] == "cutting"
    schema = {"tree_id": pl.String, "first": pl.Int64, "last": pl.Int64, "cutting": pl.Boolean}
    return pl.DataFrame(list(trees.values()), schema).sort("tree_id")


def felling_runs(derived: Derived) -> pl.DataFrame:
    """Runs of years that equally many trees allow, from the first to the last felling.

    Columns: first_year and last_year (astronomical, both included), cutting_trees and range_trees.
    Trees whose years are open at one side are not in it.
    """
    steps: dict[bool, Counter[int]] = {True: Counter(), False: Counter()}
    closed = felled_trees(derived).drop_nulls(["first", "last"])
    for first, last, cutting in closed.select("first", "last", "cutting").iter_rows():
        steps[cutting][first] += 1
        steps[cutting][last + 1] -= 1
    rows = []
    cutting_trees = range_trees = 0
    for year, after in pairwise(sorted({*steps[True], *steps[False]})):
        cutting_trees += steps[True][year]
        range_trees += steps[False][year]
        rows.append((year, after - 1, cutting_trees, range_trees))
    return pl.DataFrame(rows, _RUNS, orient="row")


def felling_curve(page: ChartPage, derived: Derived, places: Places) -> list[str] | None:
    """How many trees can have been felled in each year: cutting dates, and ranges upon them."""
    runs = felling_runs(derived)
    if runs.is_empty():
        return None
    trees = felled_trees(derived)
    closed = trees.drop_nulls(["first", "last"])
    open_count = len(trees) - len(closed)
    cutting = int(closed["cutting"].sum())
    entries = [(_CUTTING, f"cutting date ({cutting})")] if cutting else []
    if len(closed) > cutting:
        entries.append((_RANGES, f"range ({len(closed) - cutting})"))
    page.key(entries)
    low, high = runs["first_year"][0], runs["last_year"][-1]
    marks, far = in_reach(record_marks(derived, places), low, high)
    low = min([low, *(one.first for one in marks)])
    high = max([high, *(one.last for one in marks)])
    spare = max(2, (_LEAST_YEARS - (high - low)) // 2)
    most = max(one + other for *_, one, other in runs.iter_rows())
    start, end = LEFT + page.width(str(most)) + 3.0, RIGHT - LAST_TICK
    level = year_axis(low - spare, high + spare, start, end, page.width)
    page.y -= SMALL + 1.0
    page.write((LEFT, page.y), "trees")
    rows = MarkRows(page, level, marks)
    top = page.y - SMALL - rows.height
    bottom = top - _PLOT_HEIGHT
    rows.draw(top, bottom)
    upright = count_axis(most, bottom, top, lambda _: 0.6 * SMALL)
    page.counts(upright, start, end)
    page.years(level, bottom, bottom)
    for first, last, black, white in runs.iter_rows():
        left, right = level(first - 0.5), level(last + 0.5)
        foot, middle, head = upright(0), upright(black), upright(black + white)
        if black:
            corners = ((left, foot), (right, foot), (right, middle), (left, middle))
            page.add(Line(corners, closed=True, grey=None, fill=0.0))
        if white:
            corners = ((left, middle), (right, middle), (right, head), (left, head))
            page.add(Line(corners, closed=True, grey=None, fill=1.0))
    heights = [upright(black + white) for *_, black, white in runs.iter_rows()]
    outline = [(level(runs["first_year"][0] - 0.5), bottom)]
    for (_, last, *_), height in zip(runs.iter_rows(), heights, strict=True):
        outline += [(outline[-1][0], height), (level(last + 0.5), height)]
    outline.append((outline[-1][0], bottom))
    page.add(Line(tuple(outline), width=0.25))
    page.y = bottom - 2 * SMALL - 2.6
    page.write(((start + end) / 2, page.y), "year of felling", align="centre")
    return [
        f"n = {counted(len(closed), 'tree', 'trees')}. A tree counts in every year in which it can "
        "have been felled, so that the heights do not add up to the number of trees."
        + (" White lies upon black." if cutting and len(closed) > cutting else ""),
        *marks_caption(marks, all_named=rows.all_named),
        *far_words(far),
        "Not shown: "
        + (
            f"{counted(open_count, 'tree', 'trees')} of which only the earliest or the latest year "
            "of felling is known, and "
            if open_count
            else ""
        )
        + "in which of its years a tree was felled. "
        + NOT_CONSTRUCTION,
    ]
