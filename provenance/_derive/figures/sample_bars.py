"""Draws every dated sample with its rings and the years of its felling, by building and room."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from provenance._derive.figures.axes import Axis, year_axis
from provenance._derive.figures.chart import LEFT, RIGHT, SMALL, TEXT, ChartPage, Fill, widest
from provenance._derive.figures.figure_parts import (
    LAST_RINGS,
    LAST_TICK,
    NOT_CONSTRUCTION,
    Places,
    counted,
    dated_spans,
    phase_marks,
    rows_of,
)
from provenance._derive.figures.year_marks import (
    Mark,
    MarkRows,
    far_words,
    in_reach,
    marks_caption,
    years_in_words,
)
from provenance._derive.summary import Derived
from provenance._drawing.drawing import Line
from provenance._model.notation import write_year
from provenance._record.joined import split_codes

_RINGS, _SAPWOOD = Fill(0.85), Fill(strokes="level", pitch=0.7)
_PITH = {"p": 0.0, "±p": 0.0, "np": 1.0}
"""Sign at the inside → how its mark is filled: black for the pith itself, white for near it."""
_CANDIDATES = {"stockpiling": "stored", "other_time": "another time"}
_BAR, _END, _LEAST_END = 2.5, 2.0, 0.7
"""Height of a sample's bar, length of the end that says what the last ring is, in mm."""
_WHISKER, _CAP, _ARROW = 0.45, 0.85, 3.2
_PITH_SIZE = 1.0
_ROW, _PLACE_ROW, _BUILDING_ROW = 3.9, 4.6, 6.0
_COLUMN_MOST, _LABEL_MOST = 38.0, 50.0
_NUMBERS = {
    "building_id": pl.String,
    "place_id": pl.String,
    "sample_id": pl.String,
    "element_id": pl.String,
    "inner_year": pl.Int64,
    "inner_symbol": pl.String,
    "heartwood_year": pl.Int64,
    "outer_year": pl.Int64,
    "outer_symbol": pl.String,
    "cutting": pl.String,
    "felled_from_year": pl.Int64,
    "felled_to_year": pl.Int64,
    "candidate": pl.String,
}


@dataclass(frozen=True)
class _Row:
    """A heading of the bar diagram, or one sample; `marks` stand on the years below a heading."""

    height: float
    heading: str = ""
    count: str = ""
    sample: Mapping[str, Any] | None = None
    drawn: Sequence[Mark] = ()
    marks: MarkRows | None = None
    below: float = 0.0


def sample_rows(derived: Derived, places: Places) -> pl.DataFrame:
    """What the bar diagram draws: one row a sample with a year, in the order of the rows.

    Wood whose place is not known comes last; within a room the earliest date comes first. Years are
    astronomical; the years of felling are those of the sample alone, the candidate is its wood's.
    """
    spans = derived.tables["span"]
    candidates = {row["element_id"]: row["candidate"] for row in rows_of(derived, "felling")}
    cutting = dict(dated_spans(spans).select("sample_id", "cutting").iter_rows())
    rows = []
    for row in spans.to_dicts():
        place = row["place_id"] or ""
        first, last = row.get("felled_from_year"), row.get("felled_to_year")
        if row["outer_year"] is None and first is None and last is None:
            continue
        candidate = candidates.get(row["element_id"]) or row.get("candidate")
        known = {name: row.get(name) for name in _NUMBERS}
        rows.append(
            known
            | {
                "building_id": places.buildings.get(place, ""),
                "place_id": place,
                "cutting": cutting.get(row["sample_id"], ""),
                "candidate": candidate or "",
            }
        )
    rows.sort(key=_in_order)
    return pl.DataFrame(rows, _NUMBERS)


def _in_order(row: Mapping[str, Any]) -> tuple[Any, ...]:
    years = (row["outer_year"], row["felled_from_year"], row["felled_to_year"])
    date = next(year for year in years if year is not None)
    building = row["building_id"]
    return not building, building, row["place_id"], date, row["sample_id"] or ""


def bar_diagram(page: ChartPage, derived: Derived, places: Places) -> list[str] | None:
    """Every dated sample as a bar from its first to its last ring, by building and room."""
    samples = sample_rows(derived, places).to_dicts()
    if not samples:
        return None
    _key(page, samples)
    labels = [_label(one) for one in samples]
    room = widest((one["sample_id"] or "" for one in samples), page.width, _COLUMN_MOST)
    sample_at = LEFT + 3.0
    wood_at = sample_at + room + 2.0
    wood_room = widest((one["element_id"] or "" for one in samples), page.width, _COLUMN_MOST)
    start = max(wood_at + wood_room + 2.5, LEFT + LAST_TICK)
    label_room = widest(labels, page.width, _LABEL_MOST)
    end = RIGHT - max(label_room + 1.5 + _ARROW, LAST_TICK)
    years = [year for one in samples for year in _years(one)]
    buildings = {one["building_id"] for one in samples}
    marks = {one: places.events_at(one) for one in sorted(buildings)}
    near, far = in_reach(
        dict.fromkeys(one for some in marks.values() for one in some), min(years), max(years)
    )
    years += [year for one in near for year in (one.first, one.last)]
    low, high = min(years), max(years)
    span = max(high - low, 10)
    axis = year_axis(high - 1.015 * span, high, start, end, page.width)
    drawn = set(near)
    shown = {building: [one for one in some if one in drawn] for building, some in marks.items()}
    rows = _rows(page, axis, samples, places, derived, shown)

    # the words of the ticks stand above and below the bars
    page.y -= SMALL + 2.0
    top, bottom = page.y, page.y - sum(row.height for row in rows) - 1.5
    y = top
    for row in rows:
        y -= row.height
        if row.marks:
            row.marks.draw(y, y - row.below)
    page.years(axis, top, bottom, above=True)
    page.add(Line(((start, bottom), (start, top)), width=0.25))
    for row in rows:
        page.y -= row.height
        if row.sample is not None:
            _draw_sample(page, axis, row.sample, (sample_at, room), (wood_at, wood_room))
        elif row.count:
            # the name is cut rather than the number behind it
            at = (LEFT, page.y + row.height - _BUILDING_ROW + 1.2)
            most = RIGHT - LEFT - page.width(row.count) - 2.0
            wide = page.write(at, row.heading, TEXT, "bold", most=most, halo=True)
            page.write((LEFT + wide + 2.0, at[1]), row.count, halo=True)
        else:
            at = (LEFT, page.y + 1.2)
            page.write(at, row.heading, most=RIGHT - LEFT, grey=0.3, halo=True)
    page.y = bottom - SMALL - 2.0
    shown_marks = [one for row in rows for one in row.drawn]
    all_named = all(row.marks.all_named for row in rows if row.marks)
    return [
        f"n = {counted(len(samples), 'dated sample', 'dated samples')}. The end of a bar shows "
        "what its last ring says. The line behind it reaches over the years in which that sample "
        "allows the felling, an arrow where nothing says how late."
        + _said_of_signs(samples)
        + _said_of_gaps(samples),
        *marks_caption(shown_marks, all_named=all_named),
        *far_words(far),
        "Not shown: samples without a date, and wood that was not sampled. " + NOT_CONSTRUCTION,
    ]


def _years(one: Mapping[str, Any]) -> Iterator[int]:
    for name in ("inner_year", "outer_year", "felled_from_year", "felled_to_year"):
        if one[name] is not None:
            yield one[name]


def _key(page: ChartPage, samples: Sequence[Mapping[str, Any]]) -> None:
    """The fills that occur, with how many samples each stands for."""
    counts = Counter(one["cutting"] for one in samples)
    entries = [
        (fill, f"{words} ({counts[cutting]})")
        for cutting, (fill, words) in LAST_RINGS.items()
        if counts[cutting]
    ]
    if any(one["inner_year"] is not None for one in samples):
        entries.append((_RINGS, "rings"))
    if sapwood := sum(_has_sapwood(one) for one in samples):
        entries.append((_SAPWOOD, f"sapwood ({sapwood})"))
    page.key(entries)


def _has_sapwood(one: Mapping[str, Any]) -> bool:
    boundary, last = one["heartwood_year"], one["outer_year"]
    return boundary is not None and last is not None and boundary < last


def _said_of_signs(samples: Sequence[Mapping[str, Any]]) -> str:
    signs = {_pith(one) for one in samples} - {None}
    said = " Diamond at the inner end: pith" if 0.0 in signs else ""
    if 1.0 in signs:
        said += ", white: near pith" if said else " White diamond at the inner end: near pith"
    said += "." if said else ""
    if any(one["candidate"] for one in samples):
        said += " '?' marks candidates, wood that is not of the largest phase of its place."
    return said


def _said_of_gaps(samples: Sequence[Mapping[str, Any]]) -> str:
    no_first = sum(one["inner_year"] is None and one["outer_year"] is not None for one in samples)
    no_last = sum(one["outer_year"] is None for one in samples)
    return (f" Without a bar: first ring not stated ({no_first})." if no_first else "") + (
        f" Only a line: years of felling without a last ring ({no_last})." if no_last else ""
    )


def _label(one: Mapping[str, Any]) -> str:
    first, last = one["felled_from_year"], one["felled_to_year"]
    if one["outer_year"] is not None:
        words = [write_year(one["outer_year"]), *split_codes(one["outer_symbol"])]
    elif first is None:
        words = [f"{write_year(last)} or earlier"]
    elif last is None:
        words = [f"{write_year(first)} or later"]
    else:
        words = [years_in_words(first, last)]
    if candidate := one["candidate"]:
        words.append(f"{_CANDIDATES.get(candidate, candidate)}?")
    return " ".join(words)


def _rows(
    page: ChartPage,
    axis: Axis,
    samples: Sequence[Mapping[str, Any]],
    places: Places,
    derived: Derived,
    events: Mapping[str, Sequence[Mark]],
) -> list[_Row]:
    """The samples below headings for their buildings, with n, and for their places."""
    of_building = Counter(one["building_id"] for one in samples)
    of_place = Counter((one["building_id"], one["place_id"]) for one in samples)
    phases: dict[str, list[Mark]] = {}
    for home, mark in phase_marks(derived, {one for pair in of_place for one in pair}):
        phases.setdefault(home, []).append(mark)
    rows: list[_Row] = []
    building: str | None = None
    place: str | None = None
    for one in samples:
        if one["building_id"] != building:
            building, place = one["building_id"], None
            words = places.building_words(one["place_id"]) or "no place recorded"
            count = counted(of_building[building], "dated sample", "dated samples")
            drawn = [*events[building], *phases.get(building, ())]
            marks = MarkRows(page, axis, drawn)
            headings = sum(home == building != room and bool(building) for home, room in of_place)
            below = of_building[building] * _ROW + headings * _PLACE_ROW
            height = _BUILDING_ROW + marks.height
            rows.append(_Row(height, words, count, drawn=drawn, marks=marks, below=below))
        if one["place_id"] != place:
            place = one["place_id"]
            if place != building and building:
                # what the whole building has is drawn already
                whole = {(two.first, two.last) for two in phases.get(building, ())}
                own = [two for two in phases.get(place, ()) if (two.first, two.last) not in whole]
                words = "; ".join([places.name(place), *(f"phase {two.words}" for two in own)])
                bands = MarkRows(page, axis, own, with_words=False)
                below = of_place[building, place] * _ROW
                rows.append(_Row(_PLACE_ROW, words, drawn=own, marks=bands, below=below))
        rows.append(_Row(_ROW, sample=one))
    return rows


def _draw_sample(
    page: ChartPage,
    axis: Axis,
    one: Mapping[str, Any],
    sample_at: tuple[float, float],
    wood_at: tuple[float, float],
) -> None:
    """One row: codes, rings, what the last of them says, years of felling, and the date."""
    base = page.y + 0.9
    page.write((sample_at[0], base), one["sample_id"] or "", most=sample_at[1])
    page.write((wood_at[0], base), one["element_id"] or "", most=wood_at[1])
    reached = _felling(page, axis, one)
    if one["outer_year"] is not None:
        _rings(page, axis, one)
    page.write((reached + 1.0, base), _label(one), most=RIGHT - reached - 1.0, halo=True)


def _rings(page: ChartPage, axis: Axis, one: Mapping[str, Any]) -> None:
    """The bar from the first to the last ring: heartwood, sapwood, and the mark of its end."""
    last = axis(one["outer_year"])
    bottom = page.y + (_ROW - _BAR) / 2
    mark = _END
    if one["inner_year"] is not None:
        first = axis(min(one["inner_year"], one["outer_year"]))
        if last - first > _END:
            page.add(*_RINGS.lines((first, bottom, last - first, _BAR)))
        # a bar that is shorter than the mark of its end is all mark
        mark = max(min(_END, last - first), _LEAST_END)
    if _has_sapwood(one):
        boundary = axis(max(one["heartwood_year"], one["inner_year"] or one["heartwood_year"]))
        page.add(*_SAPWOOD.lines((boundary, bottom, last - boundary, _BAR)))
    fill, _ = LAST_RINGS[one["cutting"]]
    page.add(*fill.lines((last - mark, bottom, mark, _BAR)))
    if one["inner_year"] is not None and (white := _pith(one)) is not None:
        middle = bottom + _BAR / 2
        sides = ((-1, 0), (0, -1), (1, 0), (0, 1))
        corners = tuple((first + _PITH_SIZE * x, middle + _PITH_SIZE * y) for x, y in sides)
        page.add(Line(corners, closed=True, fill=white))


def _pith(one: Mapping[str, Any]) -> float | None:
    signs = split_codes(one["inner_symbol"])
    return next((_PITH[sign] for sign in signs if sign in _PITH), None)


def _felling(page: ChartPage, axis: Axis, one: Mapping[str, Any]) -> float:
    """The line over the years of felling; returns how far to the right the row reaches."""
    years = (one["outer_year"], one["felled_from_year"], one["felled_to_year"])
    outer, first, last = (None if year is None else axis(year) for year in years)
    y = page.y + _ROW / 2
    if outer is not None and first is None and last is None:
        return outer  # an older table that says nothing of the felling
    begin = first if first is not None else outer
    if begin is None:
        assert last is not None
        begin = last - _ARROW
        page.add(*_arrow(begin, y, -1))
    elif first is not None and (outer is None or first > outer):
        page.add(_cap(first, y))
    if last is None:
        page.add(Line(((begin, y), (begin + _ARROW, y)), width=_WHISKER))
        page.add(*_arrow(begin + _ARROW, y, 1))
        return begin + _ARROW
    if last > begin:
        page.add(Line(((begin, y), (last, y)), width=_WHISKER))
    page.add(_cap(last, y))
    return max(last, outer or last)


def _cap(x: float, y: float) -> Line:
    return Line(((x, y - _CAP), (x, y + _CAP)), width=_WHISKER)


def _arrow(x: float, y: float, way: int) -> list[Line]:
    return [Line(((x - way, y + side), (x, y)), width=_WHISKER) for side in (-0.6, 0.6)]
