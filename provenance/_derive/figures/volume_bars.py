"""Draws the volume of recorded wood by building and species."""

from __future__ import annotations

from collections import Counter

from provenance._derive.figures.axes import count_axis
from provenance._derive.figures.chart import LEFT, RIGHT, SMALL, ChartPage, Fill, widest
from provenance._derive.figures.figure_parts import LAST_TICK, Places, counted
from provenance._derive.summary import Derived
from provenance._derive.wood.size import total, without_volume
from provenance._drawing.drawing import Line
from provenance._model.measures import Measures

_SPECIES_STROKES = (
    Fill(),
    Fill(strokes="rising", pitch=1.6),
    Fill(0.8),
    Fill(strokes="falling", pitch=1.6),
    Fill(0.55),
    Fill(strokes="crossed", pitch=1.8),
    Fill(strokes="level"),
    Fill(0.8, strokes="upright"),
    Fill(0.8, strokes="rising"),
    Fill(strokes="upright", pitch=2.0),
)
_LABEL_MOST = 50.0
LEAST_M3 = 0.01
"""The smallest volume that is told apart from nothing."""


def volume_bars(page: ChartPage, derived: Derived, places: Places) -> list[str] | None:
    """Volume of wood in place by building and species, with the number of pieces."""
    every = derived.tables["size"]
    if "volume_m3" not in every.columns:  # written by an older program
        return None
    say = derived.measures
    sizes = every.drop_nulls("volume_m3")
    if sizes.is_empty():
        return None
    pieces = [
        (
            places.building_words(row["place_id"]) or "no place recorded",
            row["species"] or "not known",
            row["volume_m3"],
        )
        for row in sizes.iter_rows(named=True)
    ]
    volume: dict[tuple[str, str], float] = {}
    for building, species, one in sorted(pieces):
        volume[building, species] = volume.get((building, species), 0.0) + one
    count_of_building = Counter(building for building, _, _ in pieces)
    count_of_species = Counter(species for _, species, _ in pieces)
    of_building: dict[str, float] = {}
    of_species: dict[str, float] = {}
    for (building, species), one in volume.items():
        of_building[building] = of_building.get(building, 0.0) + one
        of_species[species] = of_species.get(species, 0.0) + one
    ranked = sorted(of_species, key=lambda name: (-of_species[name], name))
    fills = {
        name: _SPECIES_STROKES[place % len(_SPECIES_STROKES)] for place, name in enumerate(ranked)
    }
    page.key(
        (fills[name], f"{name} {_volume(of_species[name], say)} ({count_of_species[name]})")
        for name in ranked
    )
    labels = {
        name: f"{_volume(of_building[name], say)} ({count_of_building[name]})"
        for name in of_building
    }
    room = widest(of_building, page.width, 45.0)
    start = LEFT + max(room + 2.5, LAST_TICK)
    end = RIGHT - max(widest(labels.values(), page.width, _LABEL_MOST) + 1.5, LAST_TICK)
    unit, per = say.volume_unit
    most = max(*of_building.values(), LEAST_M3) * per
    axis = count_axis(most, start, end, page.width, first_step=_first_step(most))
    top, high, row = page.y, 7.0, 10.0
    bottom = top - row * len(of_building) - 1.0
    page.years(axis, top, bottom)
    for building in sorted(of_building):
        page.y -= row
        page.write((LEFT, page.y + 2.6), building, most=room)
        reached = 0.0
        for species in ranked:
            if one := volume.get((building, species), 0.0):
                left, right = axis(reached * per), axis((reached + one) * per)
                page.add(*fills[species].lines((left, page.y, right - left, high)))
                _name_inside(page, species, left, right, page.y + high / 2)
                reached += one
        page.write((axis(reached * per) + 1.0, page.y + 2.6), labels[building], most=_LABEL_MOST)
    page.add(Line(((start, bottom), (start, top)), width=0.25))
    page.y = bottom - 2 * SMALL - 2.6
    page.write(((start + end) / 2, page.y), unit, align="centre")
    all_of_it = total(every, "volume")
    value, sd = (
        say.volume(lambda per, one=one: f"{one * per:.2f}")  # type: ignore[misc]  # bound now
        for one in (all_of_it.value, all_of_it.sd)
    )
    return [
        f"n = {counted(len(sizes), 'timber', 'timbers')} with a volume, of {len(every)}; in "
        f"parentheses the number of timbers. {without_volume(every)}".rstrip(),
        "The volume is that of the wood as it is, by its cross-section, from the readings at both "
        "ends.",
        f"All together {value}; reading the sizes alone makes it uncertain by {sd} (one standard "
        "deviation). How far the wood departs from its cross-section, shrinkage and bark are not "
        "known; wood that is hidden or gone is not in it. The logs of worked wood were larger.",
    ]


def _volume(volume: float, measures: Measures) -> str:
    """A volume to the digits that are worth saying."""
    least = max(volume, LEAST_M3)
    return measures.volume(lambda per: f"{least * per:.{1 if least * per >= 1 else 2}f}")


def _first_step(most: float) -> float:
    """A power of ten that gives an axis up to `most` far more ticks than it has room for."""
    step = 1.0
    while step * 100 > most:
        step /= 10
    return step


def _name_inside(page: ChartPage, name: str, left: float, right: float, middle: float) -> None:
    """The name on white in the middle of a part of a bar, where it has room."""
    width = page.width(name) + 1.2
    if width + 1.0 > right - left:
        return
    x0, x1, low, high = (
        (left + right - width) / 2,
        (left + right + width) / 2,
        middle - 1.7,
        middle + 1.7,
    )
    corners = ((x0, low), (x1, low), (x1, high), (x0, high))
    page.add(Line(corners, closed=True, grey=None, fill=1.0))
    page.write(((left + right) / 2, middle - 0.36 * SMALL), name, align="centre")
