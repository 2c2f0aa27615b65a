"""Draws how many dates or ring counts fall into each step, as columns and as a stem and leaf."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import polars as pl

from provenance._derive.axes import count_axis, round_steps, year_axis
from provenance._derive.chart import GRID_GREY, LEFT, RIGHT, SMALL, TEXT, ChartPage, Fill
from provenance._derive.figure_parts import (
    LAST_RINGS,
    LAST_TICK,
    NOT_CONSTRUCTION,
    Places,
    counted,
    dated_spans,
    key_of_last_rings,
)
from provenance._derive.summary import Derived
from provenance._drawing.drawing import Line

_PLOT_HEIGHT = 46.0
_LEAST_NUMBER = 1.7
"""The smallest size in which the numbers above columns are read."""
_LEAST_COLUMNS = 16
"""Room for that many columns, so that a few do not fill the sheet."""


def outside_histogram(page: ChartPage, derived: Derived, places: Places) -> list[str] | None:
    """How many outside dates fall into each five years, by what they say."""
    spans = dated_spans(derived.tables["span"])
    if spans.is_empty():
        return None
    key_of_last_rings(page, spans)
    values = {
        cutting: spans.filter(cutting=cutting)["outer_year"].to_list() for cutting in LAST_RINGS
    }
    series = [(LAST_RINGS[cutting][0], years) for cutting, years in values.items() if years]
    step = _columns(page, series, first_step=5, axis_words="year of the last ring", years=True)
    return [
        f"n = {counted(len(spans), 'dated sample', 'dated samples')}, in steps of {step} years.",
        NOT_CONSTRUCTION,
    ]


def _columns(
    page: ChartPage,
    series: Sequence[tuple[Fill, Sequence[int]]],
    *,
    first_step: int,
    axis_words: str,
    years: bool = False,
) -> int:
    """Values counted in steps, as columns with their number above; returns the step.

    The step is the smallest round one from `first_step` on at which every number has room.
    """
    values = [value for _, some in series for value in some]
    most = str(max(Counter(value // first_step for value in values).values()))
    start, end = LEFT + page.width(most) + 3.0, RIGHT - LAST_TICK
    for round_step in round_steps(first_step):
        step = int(round_step)
        counts = Counter(value // step for value in values)
        # counts of rings begin at nought
        first, last = min(counts) if years else min(0, *counts), max(counts) + 1
        spare = max(0, _LEAST_COLUMNS - (last - first))
        before = spare // 2 if years else 0
        first, last = first - before, last + spare - before
        across = (end - start) / (last - first)
        size = min(SMALL, (across - 0.3) / page.width(str(max(counts.values())), 1.0))
        if size >= _LEAST_NUMBER:
            break
    page.y -= SMALL + 1.0
    page.write((LEFT, page.y), "samples")
    top = page.y - SMALL - 1.5
    bottom = top - _PLOT_HEIGHT
    upright = count_axis(max(counts.values()), bottom, top, lambda _: 0.6 * SMALL)
    page.counts(upright, start, end)
    if years:
        level = year_axis(first * step, last * step, start, end, page.width)
    else:
        level = count_axis(last * step, start, end, page.width, first_step=first_step)
    page.years(level, bottom, bottom)
    reached: Counter[int] = Counter()
    for fill, some in series:
        for place, count in sorted(Counter(value // step for value in some).items()):
            below, above = upright(reached[place]), upright(reached[place] + count)
            page.add(*fill.lines((level(place * step), below, across, above - below)))
            reached[place] += count
    for place, count in sorted(reached.items()):
        middle = level(place * step) + across / 2
        page.write((middle, upright(count) + 0.7), str(count), size, align="centre")
    page.y = bottom - 2 * SMALL - 2.6
    page.write(((start + end) / 2, page.y), axis_words, align="centre")
    return step


def leaves_of(spans: pl.DataFrame) -> list[tuple[int, list[str]]]:
    """Decade → the last digits of its outside dates, in order; no decade between is left out.

    Cutting dates bear a point behind.
    """
    dated = dated_spans(spans)
    rows: dict[int, list[tuple[int, str]]] = {}
    for year, cutting in zip(dated["outer_year"], dated["cutting"], strict=True):
        stem, leaf = divmod(year, 10)
        rows.setdefault(stem, []).append((leaf, "." if cutting == "cutting" else ""))
    return [
        (stem, [f"{leaf}{sign}" for leaf, sign in sorted(rows.get(stem, []))])
        for stem in range(min(rows, default=0), max(rows, default=-1) + 1)
    ]


def stem_and_leaf_figure(page: ChartPage, derived: Derived, places: Places) -> list[str] | None:
    """The stem-and-leaf display as a drawing, with the number of dates in each decade."""
    spans = derived.tables["span"]
    rows = leaves_of(spans)
    if not rows:
        return None
    heads = ("decade", "samples", "last digit of the year")
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
    dated = dated_spans(spans)
    year_0 = " Decades before AD 1 are counted with a year 0, which is 1 BC."
    return [
        f"n = {counted(len(dated), 'dated sample', 'dated samples')}. Left the decade, right one "
        f"digit a date; a point marks a cutting date." + (year_0 if rows[0][0] < 0 else ""),
        NOT_CONSTRUCTION,
    ]
