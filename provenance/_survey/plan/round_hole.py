"""Draws the plan round one hole, with its tapes, at the largest usual scale that shows them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from provenance._drawing.drawing import Item, Picture, Transform
from provenance._model.measures import Measures
from provenance._record.package import Package
from provenance._survey.hole.hole import HolePosition
from provenance._survey.hole.known_points import KnownPoints
from provenance._survey.plan.plan_content import (
    PlanContent,
    PlanDoubt,
    Point,
    levels_of,
    plan_content,
    wood_alone,
)
from provenance._survey.plan.plan_map import Area, Tape, draw_map
from provenance._survey.plan.sheet_parts import frame_ticks, scales_of

_LEAST_SCALE, _MOST_SCALE = 50, 200


@dataclass(frozen=True)
class RoundHole:
    """What lies round a hole, the part of the paper that shows it, and the tapes to it."""

    content: PlanContent
    transform: Transform
    area: Area
    tapes: tuple[Tape, ...]

    def items(self, hole: HolePosition, ground: Picture | None = None) -> tuple[Item, ...]:
        """The map in its area, the hole ringed, with the ticks of the grid round it.

        `ground` is a picture of what is drawn of every hole alike, if there is one.
        """
        drawn = draw_map(
            self.content,
            self.transform,
            self.area,
            marked=hole.sample_id,
            tapes=self.tapes,
            named=[hole.element_id],
            ground=ground,
        )
        return (*drawn.items, *frame_ticks(self.area, self.transform, self.content.measures)[0])

    def cropped(self) -> RoundHole:
        """The same without what lies outside the area, of which there may be very much."""
        left, bottom, width, height = self.area
        factor = self.transform.mm_a_metre
        low_x = self.transform.origin[0] + (left - self.transform.at[0]) / factor
        low_y = self.transform.origin[1] + (bottom - self.transform.at[1]) / factor
        high_x, high_y = low_x + width / factor, low_y + height / factor

        def seen(points: Sequence[Point]) -> bool:
            xs, ys = [x for x, _ in points], [y for _, y in points]
            return not (max(xs) < low_x or min(xs) > high_x or max(ys) < low_y or min(ys) > high_y)

        content = self.content
        return replace(
            self,
            content=replace(
                content,
                woods=tuple(one for one in content.woods if seen(one.outline)),
                holes=tuple(one for one in content.holes if seen([one.at, one.bottom])),
                datums=tuple(one for one in content.datums if seen([one.at])),
            ),
        )


def plan_of_wood(known: KnownPoints, element: int) -> tuple[str, int | None] | None:
    """The building and storey whose plan shows that wood (a row), or None without a place."""
    record = known.record
    place_id = record.cell("element", "place_id", element)
    places = record.places_round(place_id)
    if not places:
        return None
    stored = levels_of(record, places[-1])
    return places[-1], record.storeys.get(place_id) if len(stored) > 1 else None


def surroundings(package: Package, known: KnownPoints, element: int) -> PlanContent:
    """What is on the plan that shows that wood (a row number)."""
    plan = plan_of_wood(known, element)
    if plan is None:
        return wood_alone(package, known, element)
    # an image laid under the plan would be too small here to read
    return plan_content(package, known, *plan, underlays=False)


def view_round(content: PlanContent, hole: HolePosition, area: Area) -> RoundHole:
    """The largest usual scale at which the hole and its datums fit into `area`, all in mm.

    Of what is in doubt only this hole is shown, and no tape to a place that may be the wrong one.
    Datums that lie too far off are left out of the view, the farthest first.
    """
    at = (hole.entry_m[0], hole.entry_m[1])
    places = {datum.datum_id: datum.at for datum in content.datums}
    datums = [(places[tape.datum_id], tape) for tape in hole.tapes if tape.datum_id in places]
    tapes = tuple(
        (start, at, tape.shown(content.measures)[0][0])
        for start, tape in datums
        if tape.u95_m is not None
    )
    doubts = (PlanDoubt(at, hole.trust),) if hole.trust.is_doubted else ()
    content = replace(content, doubts=doubts)
    scale, middle = _view(at, [start for start, _ in datums], area, content.measures)
    paper = (area[0] + area[2] / 2, area[1] + area[3] / 2)
    return RoundHole(content, Transform(scale, middle, paper), area, tapes)


def _view(
    hole: Point, datums: Sequence[Point], area: Area, measures: Measures
) -> tuple[float, Point]:
    far_first = sorted(datums, key=lambda d: -(abs(d[0] - hole[0]) + abs(d[1] - hole[1])))
    scales = [s for s in scales_of(measures) if _LEAST_SCALE <= s <= _MOST_SCALE]
    for left_out in range(len(far_first) + 1):
        points = [hole, *far_first[left_out:]]
        xs, ys = zip(*points, strict=True)
        for scale in scales:
            free = ((area[2] - 24) * scale / 1000, (area[3] - 14) * scale / 1000)
            if max(xs) - min(xs) <= free[0] and max(ys) - min(ys) <= free[1]:
                return float(scale), ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
    return float(scales[-1]), hole
