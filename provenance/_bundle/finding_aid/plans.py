"""Draws the plans of a building into its page, and says how far places on them can be trusted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from markupsafe import Markup

from provenance._base.errors import TreenailError
from provenance._base.visible import visible
from provenance._bundle.finding_aid.cells import Cells
from provenance._drawing.paper import Paper
from provenance._drawing.svg import svg_inside_page
from provenance._survey.hole.doubt import hole_words, wood_words
from provenance._survey.hole.known_points import KnownPoints, known_points
from provenance._survey.plan.plan_content import PlanContent, levels_of, plan_content
from provenance._survey.plan.plan_sheet import plan_sheet

# a sheet that fills a screen, so that letters of 2 mm can be read there
_PAPER = Paper("screen", 210.0, 210.0)
_MOST_NAMED = 150
"""Of more pieces of wood on one plan none gets a label: they would hide the wood."""
_FOOT = "Each timber and each hole leads to its record; the same are listed below."


@dataclass(frozen=True)
class Plan:
    """One plan: its heading, the drawing as SVG inside HTML, what is in doubt or left off."""

    title: str
    words: str
    svg: Markup
    notes: tuple[str, ...]


class Plans:
    """The plans of one record, drawn from the positions that it holds."""

    def __init__(self, cells: Cells) -> None:
        self._cells = cells

    @cached_property
    def _found(self) -> tuple[KnownPoints | None, str]:
        tables = self._cells.record.model.tables
        needed = {"site", "place", "datum", "tie", "element", "sample", "position"}
        if not needed <= set(tables):
            return None, "the record has no tables of positions"
        try:
            return known_points(self._cells.record.package), ""
        except (TreenailError, ValueError, KeyError) as error:
            return None, str(error)

    @property
    def known(self) -> KnownPoints | None:
        """Where everything is, None where `trouble` says why it cannot be told."""
        return self._found[0]

    @property
    def trouble(self) -> str:
        """Why no plan of the record can be drawn, or ''."""
        return self._found[1]

    @cached_property
    def trust(self) -> Mapping[tuple[str, str], str]:
        """How far the place of each hole and piece of wood can be trusted, in sentences.

        By table and key; nothing for what the survey did not judge.
        """
        known = self.known
        if known is None or not known.judged:
            return {}
        record = known.record
        said = {
            ("sample", record.cell("sample", "sample_id", int(sample))): hole_words(known, at)
            for at, sample in enumerate(known.holes.sample)
        }
        woods = record.column("element", "element_id").to_list()
        said |= {("element", key): wood_words(known, at) for at, key in enumerate(woods)}
        return {key: visible(words) for key, words in said.items() if words}

    def of_building(self, building_id: str, root: str) -> Sequence[Plan]:
        """The plans of a building, a storey each where there are several; none if nothing on it
        has coordinates."""
        known = self.known
        if known is None:
            return []
        stored = levels_of(known.record, building_id)
        levels: list[int | None] = [*stored] if len(stored) > 1 else [None]
        plans: list[Plan] = []
        for level in levels:
            content = plan_content(
                self._cells.record.package, known, building_id, level, underlays=False
            )
            # outlines alone are no survey of wood
            if content.woods or content.holes:
                plans.append(self._drawn(content, root, f"plan{len(plans) + 1}"))
        return plans

    def _drawn(self, content: PlanContent, root: str, name: str) -> Plan:
        record = self._cells.record

        def words(table: str, key: str) -> tuple[str, str] | None:
            href = self._cells.address(table, key)
            if href is None:
                return None
            if table == "sample":
                stamps = [row["stamp"] for row in record.plugs_of.get(key, ()) if row["stamp"]]
                said = f"Hole of sample {key}" + (f", stamped {stamps[-1]}" if stamps else "")
            elif table == "element":
                use = record.label("element", "function", record.elements[key]["function"])
                said = f"Wood {key}" + (f", {use.lower()}" if use else "")
            else:
                said = f"{record.place_name(record.places[key])}, {key}"
            return root + href, visible(said)

        crowded = len(content.woods) > _MOST_NAMED
        sheet = plan_sheet(
            content,
            _PAPER,
            record=visible(record.package.title),
            foot=_FOOT,
            named=() if crowded else None,
        )
        return Plan(
            sheet.title,
            sheet.description,
            Markup(svg_inside_page(sheet, words, name=name)),
            content.notes,
        )
