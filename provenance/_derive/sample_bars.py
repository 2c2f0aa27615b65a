"""Draws every dated sample as a bar from its first to its last ring, by building and room."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from provenance._derive.axes import Axis, year_axis
from provenance._derive.chart import LEFT, RIGHT, SMALL, TEXT, ChartPage, Fill, widest
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
from provenance._model.notation import write_year
from provenance._record.joined import split_codes

_RINGS = Fill(0.85)
_CANDIDATES = {
    "reuse": "reuse?", "stockpiling": "stored?", "repair": "repair?", "other_time": "other time?"
}  # fmt: skip
_BAR, _END, _LEAST_END = 2.5, 2.0, 0.7
"""Height of a sample's bar, length of the end that says what the last ring is, in mm."""
_ROW, _PLACE_ROW, _BUILDING_ROW = 3.9, 4.6, 6.0
_COLUMN_MOST, _LABEL_MOST = 38.0, 50.0


@dataclass(frozen=True)
class _Sample:
    """A dated sample: codes, first ring if known, last ring, and the words beside its bar."""

    sample_id: str
    element_id: str
    place: str
    building: str
    first: int | None
    last: int
    cutting: str
    label: str


@dataclass(frozen=True)
class _Row:
    """A heading of the bar diagram, or one sample."""

    height: float
    heading: str = ""
    count: str = ""
    sample: _Sample | None = None


def bar_diagram(page: ChartPage, derived: Derived, places: Places) -> list[str] | None:
    """Every dated sample as a bar from its first to its last ring, by building and room."""
    spans = dated_spans(derived.tables["span"])
    if spans.is_empty():
        return None
    candidates: dict[str, str] = {}
    if "felling" in derived.tables:
        said = derived.tables["felling"].select("element_id", "candidate").drop_nulls()
        candidates = dict(said.iter_rows())
    samples = sorted(
        (
            _sample(row, places, candidates.get(row["element_id"] or "", ""))
            for row in spans.iter_rows(named=True)
        ),
        # wood whose place is not known comes last
        key=lambda one: (not one.building, one.building, one.place, one.last, one.sample_id),
    )
    rows = _rows(samples, places)
    key_of_last_rings(page, spans)

    room = widest((one.sample_id for one in samples), page.width, _COLUMN_MOST)
    sample_at = LEFT + 3.0
    wood_at = sample_at + room + 2.0
    wood_room = widest((one.element_id for one in samples), page.width, _COLUMN_MOST)
    start = max(wood_at + wood_room + 2.5, LEFT + LAST_TICK)
    label_room = widest((one.label for one in samples), page.width, _LABEL_MOST)
    end = RIGHT - max(label_room + 1.5, LAST_TICK)
    low = min(one.last if one.first is None else one.first for one in samples)
    high = max(one.last for one in samples)
    span = max(high - low, 10)
    axis = year_axis(high - 1.015 * span, high, start, end, page.width)

    # the words of the ticks stand above and below the bars
    page.y -= SMALL + 2.0
    top, bottom = page.y, page.y - sum(row.height for row in rows) - 1.5
    page.years(axis, top, bottom, above=True)
    page.add(Line(((start, bottom), (start, top)), width=0.25))
    for row in rows:
        page.y -= row.height
        if row.sample is None:
            at = (LEFT, page.y + 1.2)
            if row.height == _BUILDING_ROW:
                # the name is cut rather than the number behind it
                most = RIGHT - LEFT - page.width(row.count) - 2.0
                wide = page.write(at, row.heading, TEXT, "bold", most=most, halo=True)
                page.write((LEFT + wide + 2.0, at[1]), row.count, halo=True)
            else:
                page.write(at, row.heading, most=RIGHT - LEFT, grey=0.3, halo=True)
        else:
            one = row.sample
            at_y = page.y + 0.9
            page.write((sample_at, at_y), one.sample_id, most=room)
            page.write((wood_at, at_y), one.element_id, most=wood_room)
            _bar(page, axis, one)
            x = axis(one.last) + 1.0
            page.write((x, at_y), one.label, most=RIGHT - x, halo=True)
    page.y = bottom - SMALL - 2.0
    no_first = sum(one.first is None for one in samples)
    no_last = len(derived.tables["span"]) - len(spans)
    return [
        f"n = {counted(len(spans), 'dated sample', 'dated samples')}. Grey: rings in the sample; "
        "the end shows what the last ring says. Marked with '?': candidates beside the largest "
        f"phase of the building ({derived.phase_rule})."
        + (f" Without grey: first ring not stated ({no_first})." if no_first else "")
        + (f" Not drawn: a range of felling without a last ring ({no_last})." if no_last else ""),
        NOT_CONSTRUCTION,
    ]


def _sample(row: Mapping[str, Any], places: Places, candidate: str) -> _Sample:
    last = row["outer_year"]
    words = [write_year(last), *split_codes(row["outer_symbol"])]
    words += [_CANDIDATES[candidate]] if candidate in _CANDIDATES else []
    place = row["place_id"] or ""
    return _Sample(
        sample_id=row["sample_id"] or "",
        element_id=row["element_id"] or "",
        place=place,
        building=places.buildings.get(place, ""),
        first=None if row["inner_year"] is None else min(row["inner_year"], last),
        last=last,
        cutting=row["cutting"],
        label=" ".join(words),
    )


def _rows(samples: Sequence[_Sample], places: Places) -> list[_Row]:
    """The samples below headings for their buildings, with n, and for their places."""
    counts = Counter(one.building for one in samples)
    rows: list[_Row] = []
    building = place = None
    for one in samples:
        if one.building != building:
            building, place = one.building, None
            words = places.building_words(one.place) or "no place recorded"
            count = counted(counts[building], "dated sample", "dated samples")
            rows.append(_Row(_BUILDING_ROW, words, count))
        if one.place != place:
            place = one.place
            if place != building and building:
                rows.append(_Row(_PLACE_ROW, places.name(place)))
        rows.append(_Row(_ROW, sample=one))
    return rows


def _bar(page: ChartPage, axis: Axis, one: _Sample) -> None:
    last = axis(one.last)
    bottom = page.y + (_ROW - _BAR) / 2
    mark = _END
    if one.first is not None:
        length = last - axis(one.first)
        if length > _END:
            page.add(*_RINGS.lines((last - length, bottom, length, _BAR)))
        # a bar that is shorter than the mark of its end is all mark
        mark = max(min(_END, length), _LEAST_END)
    fill, _ = LAST_RINGS[one.cutting]
    page.add(*fill.lines((last - mark, bottom, mark, _BAR)))
