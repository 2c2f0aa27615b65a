"""Draws the order of building: boxes of what was built together, the earliest at the bottom."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from provenance._derive.dates.order import STEPS, TABLE
from provenance._derive.figures.chart import LEFT, RIGHT, SMALL, ChartPage
from provenance._derive.figures.figure_parts import Places, counted
from provenance._derive.figures.order_layout import GAP, Laid, lay_out
from provenance._derive.summary import Derived
from provenance._drawing.drawing import Line
from provenance._model.notation import write_year

MOST_BUILDS = 120
"""A group of more boxes than this, all linked, is not drawn: nobody could follow its lines."""
_WIDTHS, _NARROWEST = (80.0, 44.0, 34.0), 27.0
_LEADING, _PAD = 1.3 * SMALL, 0.9
_BETWEEN = 5.0
_MARKS = {"loop": "earlier than itself", "dates": "dates contradict"}


@dataclass(frozen=True)
class _Box:
    """What was built together: its places, the lines of text, and whether the record contradicts
    itself there.
    """

    code: str
    places: tuple[str, ...]
    layer: int
    years: tuple[str, ...]
    mark: str

    @property
    def height(self) -> float:
        lines = len(self.places) + len(self.years) + bool(self.mark)
        return lines * _LEADING + 2 * _PAD


_Laid = tuple[Laid, list[_Box]]


def order_diagram(page: ChartPage, derived: Derived, places: Places) -> list[str] | None:
    """Every place that has an order as a diagram; what hangs together stands beside the next."""
    boxes = _boxes(derived)
    if not boxes:
        return None
    steps = derived.tables[STEPS].select("earlier_build_id", "later_build_id").rows()
    parts = _linked(boxes, steps)
    drawn = [part for part in parts if len(part) <= MOST_BUILDS]
    laid: list[_Laid] = []
    for part in drawn:
        codes = {one.code for one in part}
        inside = [step for step in steps if step[0] in codes]
        laid.append(_laid(page, part, inside, places))
    page.y -= 2.0
    for shelf in _shelves(laid):
        page.y -= max(one.height for one, _ in shelf)
        left = LEFT
        for one, part in shelf:
            _draw(page, one, part, places, left)
            left += one.width
        page.y -= _BETWEEN
    count = sum(len(one.places) for one in boxes)
    words = [
        f"n = {counted(count, 'place', 'places')} in {counted(len(boxes), 'box', 'boxes')}, "
        f"{counted(len(steps), 'step', 'steps')}. Read from the bottom up: a line leads from "
        "what is earlier to what is later; a dot marks where lines branch. What was built together "
        "shares a box. A step that follows from others is left out.",
        "Years are limits by dated wood, documents and assumptions; those in parentheses follow "
        "from other places by the lines. Nothing here is a date of construction.",
        "What this does not show: height is not a measure of time, so boxes side by side or "
        "without a line up from one to the other may be in any order. Relations that are only "
        "possible, and what rests on what, are not drawn.",
    ]
    if wrong := [one.code for one in boxes if one.mark]:
        words.append(
            f"Thick outline ({len(wrong)}): the record contradicts itself there; 'treenail check' "
            "names the relations."
        )
    if left_out := len(parts) - len(drawn):
        words.append(
            f"{counted(left_out, 'group', 'groups')} of more than {MOST_BUILDS} linked boxes not "
            f"drawn; the table {TABLE} has them."
        )
    return words


def order_in_words(derived: Derived) -> str:
    """The boxes of each layer with their years, from the earliest layer on."""
    boxes = _boxes(derived)
    said = []
    for layer in sorted({one.layer for one in boxes}):
        here = [
            f"{' with '.join(one.places)} ({', '.join(_said(one))})"
            for one in boxes
            if one.layer == layer
        ]
        said.append(f"Layer {layer}: {', '.join(here)}.")
    return f"Places from the earliest layer, 1, upwards. {' '.join(said)}"


# -- what is in the boxes --------------------------------------------------------------------------


def _boxes(derived: Derived) -> list[_Box]:
    table = derived.tables.get(TABLE)
    if table is None:
        return []
    boxes = []
    for _, rows in table.group_by("layer", "build_id", maintain_order=True):
        first, own = rows.row(0, named=True), rows["place_id"].to_list()
        mark = _MARKS.get(first["contradiction"] or "", "")
        # of places that are earlier than themselves each has years of its own
        loop = first["contradiction"] == "loop"
        years = ("order not known",) if loop else _years(first, own, mark)
        boxes.append(_Box(first["build_id"], tuple(own), first["layer"], years, mark))
    return boxes


def _years(row: dict[str, Any], own: Sequence[str], mark: str) -> tuple[str, ...]:
    first = _year(row["built_from_year"], row["from_place_id"], own)
    last = _year(row["built_to_year"], row["to_place_id"], own)
    if mark:
        return (f"not before {first}", f"not after {last}")
    if first and last:
        return (f"{first} to {last}",)
    if first or last:
        return (f"{first} or later" if first else f"{last} or earlier",)
    return ("years not known",)


def _year(year: int | None, of: str | None, own: Sequence[str]) -> str:
    if year is None:
        return ""
    return write_year(year) if of in own else f"({write_year(year)})"


def _linked(boxes: Sequence[_Box], steps: Iterable[tuple[str, str]]) -> list[list[_Box]]:
    """Boxes that hang together by steps, the largest group first."""
    import networkx as nx

    graph = nx.Graph(steps)
    graph.add_nodes_from(one.code for one in boxes)
    part_of = {
        code: number
        for number, codes in enumerate(nx.connected_components(graph))
        for code in codes
    }
    parts: dict[int, list[_Box]] = {}
    for one in sorted(boxes, key=lambda one: one.code):
        parts.setdefault(part_of[one.code], []).append(one)
    return sorted(parts.values(), key=lambda part: (-len(part), part[0].code))


# -- on the page -----------------------------------------------------------------------------------


def _laid(
    page: ChartPage, part: list[_Box], steps: Sequence[tuple[str, str]], places: Places
) -> _Laid:
    """As wide as the words are where there is room, else narrower."""
    texts = [text for one in part for text in _texts(one, places)]
    words = max(page.width(text, SMALL, "bold") for text in texts) + 2 * _PAD
    layers = {one.code: one.layer for one in part}
    heights = {one.code: one.height for one in part}
    widest = max(list(layers.values()).count(layer) for layer in set(layers.values()))
    least = max(_NARROWEST, *(page.width(one.mark, SMALL, "bold") + 2 * _PAD for one in part))
    for width in (*_WIDTHS, least):
        width = max(min(words, width), least)
        if widest * (width + GAP) <= RIGHT - LEFT or width == least:
            laid = lay_out(layers, steps, heights, width, RIGHT - LEFT)
            assert laid is not None
            return laid, part
    raise AssertionError("the last width is tried whatever the layers are")


def _texts(one: _Box, places: Places) -> list[str]:
    return [*(_name(place, places) for place in one.places), *_said(one)]


def _said(one: _Box) -> list[str]:
    return [*one.years, one.mark] if one.mark else [*one.years]


def _name(place: str, places: Places) -> str:
    """The code, which stays whole longest, and the name behind it."""
    name = places.name(place)
    return place if name == place else f"{place} {name}"


def _shelves(
    laid: Sequence[_Laid],
) -> list[list[_Laid]]:
    """Groups beside each other, as many as there is room for."""
    shelves: list[list[_Laid]] = []
    room = 0.0
    for one in laid:
        if not shelves or one[0].width > room:
            shelves.append([])
            room = RIGHT - LEFT
        shelves[-1].append(one)
        room -= one[0].width
    return shelves


def _draw(page: ChartPage, laid: Laid, part: list[_Box], places: Places, left: float) -> None:
    for points in laid.lines:
        page.add(Line(tuple((left + x, page.y + y) for x, y in points), width=0.25))
    for x, y in laid.dots:
        corners = ((-0.4, -0.4), (0.4, -0.4), (0.4, 0.4), (-0.4, 0.4))
        dot = tuple((left + x + right, page.y + y + up) for right, up in corners)
        page.add(Line(dot, closed=True, width=0.1, fill=0.0))
    for one in part:
        x, y, width, height = laid.boxes[one.code]
        x, y = left + x, page.y + y
        corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
        page.add(Line(corners, closed=True, width=0.7 if one.mark else 0.25, fill=1.0))
        down = y + height - _PAD + 0.3 * SMALL
        most = width - 2 * _PAD
        for text in _texts(one, places):
            down -= _LEADING
            page.write(
                (x + _PAD, down), text, SMALL, "bold" if text == one.mark else "plain", most=most
            )
