"""Draws how many trees have their outside date in each step, as columns and as a stem and leaf."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import polars as pl

from provenance._derive.figures.axes import count_axis, round_steps, year_axis
from provenance._derive.figures.chart import GRID_GREY, LEFT, RIGHT, SMALL, TEXT, ChartPage, Fill
from provenance._derive.figures.figure_parts import (
    LAST_RINGS,
    LAST_TICK,
    NOT_CONSTRUCTION,
    Places,
    counted,
    dated_spans,
    key_of_last_rings,
    outside_dates,
    record_marks,
)
from provenance._derive.figures.year_marks import Mark, MarkRows, far_words, in_reach, marks_caption
from provenance._derive.summary import Derived
from provenance._drawing.drawing import Line

_PLOT_HEIGHT = 46.0
_LEAST_NUMBER = 1.7
"""The smallest size in which the numbers above columns are read."""
_LEAST_COLUMNS = 16
"""Room for that many columns, so that a few do not fill the sheet."""


def outside_histogram(page: ChartPage, derived: Derived, places: Places) -> list[str] | None:
    """How many trees have their outside date in each five years, by what the date says."""
    dates = outside_dates(derived)
    if dates.is_empty():
        return None
    key_of_last_rings(page, dates)
    values = {
        cutting: dates.filter(cutting=cutting)["outer_year"].to_list() for cutting in LAST_RINGS
    }
    series = [(LAST_RINGS[cutting][0], years) for cutting, years in values.items() if years]
    marks, far = in_reach(
        record_marks(derived, places), dates["outer_year"][0], dates["outer_year"][-1]
    )
    step, said = _columns(
        page,
        series,
        first_step=5,
        of_what="trees",
        axis_words="year of the last ring",
        marks=marks,
    )
    samples = len(dated_spans(derived.tables["span"]))
    return [
        f"n = {counted(len(dates), 'tree', 'trees')}, in steps of {step} years, from "
        f"{counted(samples, 'dated sample', 'dated samples')}; of several samples of one tree the "
        "one counts that says most of the felling.",
        *said,
        *far_words(far),
        "Not shown: when trees without a cutting date were felled, and ranges of felling without "
        "a last ring. " + NOT_CONSTRUCTION,
    ]


def _columns(
    page: ChartPage,
    series: Sequence[tuple[Fill, Sequence[int]]],
    *,
    first_step: int,
    of_what: str,
    axis_words: str,
    marks: Sequence[Mark] = (),
) -> tuple[int, list[str]]:
    """Values counted in steps, as columns with their number above.

    Returns the step, and what is to be said of the marks among the columns.
    The step is the smallest round one from `first_step` on at which every number has room.
    """
    values = [value for _, some in series for value in some]
    most = str(max(Counter(value // first_step for value in values).values()))
    start, end = LEFT + page.width(most) + 3.0, RIGHT - LAST_TICK
    for round_step in round_steps(first_step):
        step = int(round_step)
        counts = Counter(value // step for value in values)
        first, last = min(counts), max(counts) + 1
        first = min([first, *(one.first // step for one in marks)])
        last = max([last, *(one.last // step + 1 for one in marks)])
        spare = max(0, _LEAST_COLUMNS - (last - first))
        before = spare // 2
        first, last = first - before, last + spare - before
        across = (end - start) / (last - first)
        size = min(SMALL, (across - 0.3) / page.width(str(max(counts.values())), 1.0))
        if size >= _LEAST_NUMBER:
            break
    page.y -= SMALL + 1.0
    page.write((LEFT, page.y), of_what)
    level = year_axis(first * step, last * step, start, end, page.width)
    # a year begins at its number here, as a step does
    rows = MarkRows(page, level, marks, before=0.0, after=1.0)
    top = page.y - SMALL - 1.5 - rows.height
    bottom = top - _PLOT_HEIGHT
    rows.draw(top + SMALL, bottom)
    upright = count_axis(max(counts.values()), bottom, top, lambda _: 0.6 * SMALL)
    page.counts(upright, start, end)
    page.years(level, bottom, bottom)
    reached: Counter[int] = Counter()
    for fill, some in series:
        for place, count in sorted(Counter(value // step for value in some).items()):
            below, above = upright(reached[place]), upright(reached[place] + count)
            page.add(*fill.lines((level(place * step), below, across, above - below)))
            reached[place] += count
    for place, count in sorted(reached.items()):
        middle = level(place * step) + across / 2
        page.write((middle, upright(count) + 0.7), str(count), size, align="centre", halo=True)
    page.y = bottom - 2 * SMALL - 2.6
    page.write(((start + end) / 2, page.y), axis_words, align="centre")
    return step, marks_caption(marks, all_named=rows.all_named)


def leaves_of(dates: pl.DataFrame) -> list[tuple[int, list[str]]]:
    """Decade → the last digits of its outside dates, in order; no decade between is left out.

    `dates` has outer_year and cutting; cutting dates bear a point behind.
    """
    rows: dict[int, list[tuple[int, str]]] = {}
    for year, cutting in zip(dates["outer_year"], dates["cutting"], strict=True):
        stem, leaf = divmod(year, 10)
        rows.setdefault(stem, []).append((leaf, "." if cutting == "cutting" else ""))
    return [
        (stem, [f"{leaf}{sign}" for leaf, sign in sorted(rows.get(stem, []))])
        for stem in range(min(rows, default=0), max(rows, default=-1) + 1)
    ]


def stem_and_leaf_figure(page: ChartPage, derived: Derived, places: Places) -> list[str] | None:
    """The stem-and-leaf display as a drawing, with the number of dates in each decade."""
    dates = outside_dates(derived)
    rows = leaves_of(dates)
    if not rows:
        return None
    heads = ("decade", "trees", "last digit of the year")
    stems = [page.width(str(stem), TEXT, "mono") for stem, _ in rows]
    stem_end = LEFT + max(page.width(heads[0]), *stems)
    count_end = stem_end + 4.0 + page.width(heads[1])
    rule = count_end + 3.0
    page.y -= SMALL + 1.0
    page.write((stem_end, page.y), heads[0], align="right")
    page.write((count_end, page.y), heads[1], align="right")
    page.write((rule + 2.0, page.y), heads[2])
    page.y -= 1.5
    top = page.y
    for number, (stem, leaves) in enumerate(rows):
        if number and stem % 5 == 0:
            # a line every fifty years leads the eye
            level = page.y - 1.0
            page.add(Line(((LEFT, level), (RIGHT, level)), width=0.15, grey=GRID_GREY))
        base = page.y - 1.3 * TEXT
        page.write((stem_end, base), str(stem), TEXT, "mono", "right")
        if leaves:
            page.write((count_end, base), str(len(leaves)), TEXT, align="right", grey=0.3)
            page.paragraph(" ".join(leaves), TEXT, "mono", left=rule + 2.0)
        else:
            page.y = base
    page.add(Line(((rule, top), (rule, page.y - 1.0)), width=0.25))
    page.y -= 1.0
    year_0 = " Decades before AD 1 are counted with a year 0, which is 1 BC."
    return [
        f"n = {counted(len(dates), 'tree', 'trees')}. Left the decade, right one digit a tree, of "
        "its best outside date; a point marks a cutting date." + (year_0 if rows[0][0] < 0 else ""),
        "Not shown: rings that are lost from the outside, and ranges of felling without a last "
        "ring. " + NOT_CONSTRUCTION,
    ]
