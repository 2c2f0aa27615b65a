"""Draws what trees tell of the forest: age at felling, widths of rings and marks of growth."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import polars as pl

from provenance._derive.dates.age_change import age_changes
from provenance._derive.figures.axes import Axis, count_axis, round_steps, year_axis
from provenance._derive.figures.chart import LEFT, RIGHT, SMALL, ChartPage
from provenance._derive.figures.figure_parts import LAST_TICK, Places, counted
from provenance._derive.summary import Derived
from provenance._drawing.drawing import Line, Point
from provenance._model.notation import write_year
from provenance._record.joined import split_codes

Row = Mapping[str, Any]
_HEIGHT, _MOST_PANELS, _LEAST_IN_PANEL, _MOST_PERIODS = 40.0, 5, 5, 10
_MARK, _ARROW, _HEAD = 1.0, 3.2, 0.9
"""Half a diamond, the length of an arrow and that of its head, in mm."""
_THIN, _FINE = 0.18, 0.3
NOT_FOREST = (
    "Builders chose the trees, and what is kept was chosen again: this is wood of a building, not "
    "a sample of the forest."
)


# -- age at felling --------------------------------------------------------------------------------


def age_at_felling(page: ChartPage, derived: Derived, places: Places) -> list[str] | None:
    """The age of each tree against its year of felling, a panel for each species."""
    ages = _aged(derived)
    if ages.is_empty():
        return None
    _key(page)
    whole = ages.filter(pl.col("pith") != "not_known")
    oldest = max(ages.select(pl.max_horizontal("age_from_years", "age_to_years")).to_series())
    last = max(ages.select(pl.max_horizontal("felled_from_year", "felled_to_year")).to_series())
    years = (min(ages["felled_from_year"]), last)
    folded = _panels(page, ages, years, oldest, "years old", _draw_age)
    page.write(((LEFT + RIGHT) / 2, page.y), "year of felling", align="centre")
    changes = age_changes(ages)
    return [
        f"n = {counted(len(ages), 'tree', 'trees')}, each once; {len(whole)} with the pith or an "
        f"estimate of the rings to it, {len(ages) - len(whole)} without.{folded} Of several "
        "samples of a tree the one with the best evidence of the pith counts, unless another has "
        "older rings. An age is that at the height of the sample.",
        *(one.in_words for one in changes if one.tau is not None),
        *_too_few([one.in_words for one in changes if one.tau is None]),
        "Not shown: how old the trees were at their base, how far an estimate of rings errs, and "
        f"trees without a year of felling or an inside year. {NOT_FOREST}",
    ]


def ages_in_words(derived: Derived) -> str:
    """What the figure shows, for those who cannot see it."""
    ages = _aged(derived)
    whole = ages.drop_nulls("age_to_years")
    between = ""
    if len(whole):
        least, most = min(whole["age_from_years"]), max(whole["age_to_years"])
        between = f", {len(whole)} of them from {least} to {most} years old"
    return f"{counted(len(ages), 'tree', 'trees')} by year of felling and age{between}."


def _aged(derived: Derived) -> pl.DataFrame:
    """The trees with an age, at least."""
    ages = derived.tables.get("tree_age", pl.DataFrame({"age_from_years": []}))
    return ages.drop_nulls("age_from_years")


def _too_few(said: Sequence[str]) -> list[str]:
    if len(said) < 2:
        return list(said)
    return [f"{said[0]} Nor are there enough of {len(said) - 1} more species."]


def _draw_age(page: ChartPage, row: Row, across: Axis, up: Axis) -> None:
    """One tree; felled in a later one of several years it was older by as many."""
    first, last = row["felled_from_year"], row["felled_to_year"]
    counted_rings, pith = row["age_from_years"], row["pith_from_year"]
    age = counted_rings if pith is None else first - pith + 1
    later = first if last is None else last
    older = row["age_to_years"] or age + later - first
    middle, half = (first + later) / 2, (age + older) / 2
    at = (across(middle), up(half))
    if later > first:
        page.add(Line(((across(first), up(age)), (across(later), up(older))), width=_THIN))
    if last is None:
        _arrow(page, at, (0.7 * _ARROW, 0.7 * _ARROW))
    if pith is None:
        _arrow(page, at, (0.0, _ARROW))
        return
    if counted_rings < age:
        page.add(Line((at, (at[0], up(counted_rings + half - age))), width=_THIN))
    _diamond(page, at, is_sure=row["pith"] == "in_sample")


def _key(page: ChartPage) -> None:
    """What the marks of ages mean."""
    page.y -= 1.6 * SMALL
    at = (LEFT + 2.0, page.y + 1.0)

    def sure() -> None:
        _diamond(page, at, is_sure=True)

    def unsure() -> None:
        page.add(Line((at, (at[0], at[1] - 1.8)), width=_THIN))
        _diamond(page, at, is_sure=False)

    entries: list[tuple[Callable[[], None], str]] = [
        (sure, "pith in the sample"),
        (
            unsure,
            "rings to the pith estimated (line: down to those counted), or its year not exact",
        ),
        (lambda: _arrow(page, (at[0], at[1] - 1.2), (0.0, _ARROW)), "no pith: older than this"),
        (
            lambda: page.add(Line(((at[0] - 1, at[1] - 1), (at[0] + 1, at[1] + 1)), width=_THIN)),
            "felled in one of these years, and so old then",
        ),
        (
            lambda: _arrow(page, (at[0] - 1, at[1] - 1), (0.7 * _ARROW, 0.7 * _ARROW)),
            "felled later, and so much older",
        ),
    ]
    for draw, words in entries:
        if at[0] + 4.0 + page.width(words) > RIGHT:
            page.y -= 1.6 * SMALL
            at = (LEFT + 2.0, page.y + 1.0)
        draw()
        at = (at[0] + 4.0 + page.write((at[0] + 2.4, page.y), words) + 3.0, at[1])
    page.y -= 1.0


def _diamond(page: ChartPage, at: Point, *, is_sure: bool) -> None:
    (x, y), half = at, _MARK
    corners = ((x - half, y), (x, y - half), (x + half, y), (x, y + half))
    page.add(Line(corners, closed=True, width=_FINE, fill=0.0 if is_sure else 1.0))


def _arrow(page: ChartPage, at: Point, reach: Point) -> None:
    """An arrow from a place, with an open head."""
    tip = (at[0] + reach[0], at[1] + reach[1])
    length = (reach[0] ** 2 + reach[1] ** 2) ** 0.5
    along = (reach[0] / length * _HEAD, reach[1] / length * _HEAD)
    sides = [
        (tip[0] - along[0] + turn * along[1] * 0.6, tip[1] - along[1] - turn * along[0] * 0.6)
        for turn in (1, -1)
    ]
    page.add(Line((at, tip), width=_FINE), Line((sides[0], tip, sides[1]), width=_FINE))


def _panels(
    page: ChartPage,
    trees: pl.DataFrame,
    years: tuple[int, int],
    highest: float,
    up_words: str,
    draw: Callable[[ChartPage, Row, Axis, Axis], None],
) -> str:
    """A panel for each species on the same axes, most trees first; rare ones share the last.

    Returns a sentence that says which species share it, '' where none do.
    """
    named = trees.with_columns(species=pl.col("species").fill_null("not known"))
    by_size = named.group_by("species").len().sort("len", "species", descending=[True, False])
    own = by_size.filter(pl.col("len") >= _LEAST_IN_PANEL)["species"].to_list()[:_MOST_PANELS]
    rest = [one for one in by_size["species"] if one not in own]
    kinds = [*([one] for one in own), *([rest] if rest else [])]
    size = 0.6 * SMALL
    # room above the highest for its arrow
    bare = count_axis(highest, 0.0, _HEIGHT - _ARROW - 1.0, lambda _: size)
    start = LEFT + max(page.width(words) for _, words in bare.ticks) + 3.0
    margin = max(1.0, (years[1] - years[0]) * 0.02)
    across = year_axis(years[0] - margin, years[1] + margin, start, RIGHT - LAST_TICK, page.width)
    for one in kinds:
        rows = named.filter(pl.col("species").is_in(one)).to_dicts()
        page.y -= 2 * SMALL
        title = one[0] if len(one) == 1 else "other species" if own else "all species"
        words = f"{title} ({counted(len(rows), 'tree', 'trees')}), {up_words}"
        page.write((LEFT, page.y), words, face="bold")
        page.y -= 1.5
        bottom = page.y - _HEIGHT
        up = count_axis(highest, bottom, page.y - _ARROW - 1.0, lambda _: size)
        page.counts(up, start, RIGHT - LAST_TICK)
        page.years(across, page.y, bottom)
        for row in rows:
            draw(page, row, across, up)
        page.y = bottom - SMALL - 1.6
    page.y -= SMALL + 1.0
    return f" In one panel: {', '.join(rest)}." if len(rest) > 1 else ""


# -- rings -----------------------------------------------------------------------------------------


def ring_growth(page: ChartPage, derived: Derived, places: Places) -> list[str] | None:
    """The mean ring width of each tree over the years of its rings, and marks of growth."""
    trees = _grown(derived)
    if trees.is_empty():
        return None
    wide = trees.drop_nulls(["mean_width_mm", "inner_year", "outer_year"])
    folded = ""
    if len(wide):
        years = (min(wide["inner_year"]), max(wide["outer_year"]))
        widest = max(wide["mean_width_mm"])
        folded = _panels(page, wide, years, widest, "mean ring width in mm", _draw_width)
        page.write(((LEFT + RIGHT) / 2, page.y), "years of the rings", align="centre")
    marked = _mark_table(page, trees)
    return [
        f"n = {counted(len(trees), 'tree', 'trees')}, {len(wide)} with a mean ring width; each "
        f"line runs from the first to the last ring of the sample that counts for its tree.{folded}"
        + marked,
        "Not shown: how the width changes within a tree. Rings of old trees and outer rings are "
        "narrower, so compare lines of like length. A tree without a mark may not have been looked "
        f"at for it, and in which year a mark lies is not recorded. {NOT_FOREST}",
    ]


def growth_in_words(derived: Derived) -> str:
    """What the figure shows, for those who cannot see it."""
    trees = _grown(derived)
    widths = trees["mean_width_mm"].drop_nulls()
    between = f", mean width {min(widths):.2f} to {max(widths):.2f} mm" if len(widths) else ""
    marked = trees["growth_marks"].drop_nulls()
    return (
        f"{counted(len(trees), 'tree', 'trees')} by the years of their rings{between}; "
        f"{len(marked)} with marks of growth."
    )


def _grown(derived: Derived) -> pl.DataFrame:
    """The trees of whose growth a laboratory reported something."""
    trees = derived.tables.get("tree_age")
    if trees is None:
        return pl.DataFrame()
    return trees.filter(pl.any_horizontal(pl.col("mean_width_mm", "growth_marks").is_not_null()))


def _draw_width(page: ChartPage, row: Row, across: Axis, up: Axis) -> None:
    y = up(row["mean_width_mm"])
    left, right = across(row["inner_year"]), across(row["outer_year"])
    ends = [Line(((x, y - 0.6), (x, y + 0.6)), width=_FINE) for x in (left, right)]
    page.add(Line(((left, y), (right, y)), width=_FINE), *ends)


def _mark_table(page: ChartPage, trees: pl.DataFrame) -> str:
    """How many trees have each mark of growth, by the period in which their last ring lies."""
    told = trees.drop_nulls(["growth_marks", "outer_year"])
    if told.is_empty():
        return ""
    whole = trees.drop_nulls("outer_year")["outer_year"].to_list()
    for step in map(int, round_steps(50)):
        periods = range(min(whole) // step, max(whole) // step + 1)
        if len(periods) <= _MOST_PERIODS:
            break
    counts = Counter(
        (code, row["outer_year"] // step)
        for row in told.iter_rows(named=True)
        for code in split_codes(row["growth_marks"])
    )
    codes = sorted({code for code, _ in counts})
    labels = {code: code.replace("_", " ") for code in codes}
    head = "last ring from"
    left = LEFT + max(page.width(one) for one in (head, "all trees", *labels.values())) + 4.0
    apart = (RIGHT - left) / _MOST_PERIODS
    ends = [left + (at + 0.7) * apart for at in range(len(periods))]
    of_all = Counter(year // step for year in whole)
    lines = [(head, [write_year(period * step) for period in periods])]
    lines += [(labels[code], [str(counts[code, one] or "") for one in periods]) for code in codes]
    lines.append(("all trees", [str(of_all[one]) for one in periods]))
    page.y -= 1.5
    for words, cells in lines:
        page.y -= 1.5 * SMALL
        page.write((LEFT, page.y), words, face="bold" if words == head else "plain")
        for x, text in zip(ends, cells, strict=True):
            page.write((x, page.y), text, align="right")
    return f" Below: trees with each mark of growth, by their last ring in steps of {step} years."
