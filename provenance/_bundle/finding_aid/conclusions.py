"""Shows in the pages what 'treenail derive' wrote into the package: figures and sentences."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from provenance._bundle.finding_aid.addresses import page_name
from provenance._bundle.finding_aid.cells import Cells, shown, table_page
from provenance._bundle.finding_aid.writing import put
from provenance._drawing.svg import svg_of

if TYPE_CHECKING:
    from provenance._derive.figures.figures import Figure

_BARS = "dated-samples"


class Conclusions:
    """What follows from the record, as its own derived tables have it and no newer."""

    def __init__(self, cells: Cells, folder: Path) -> None:
        from provenance._derive.figures.figure_parts import Places
        from provenance._derive.story import Story
        from provenance._derive.summary import as_stored

        package = cells.record.package
        self._cells = cells
        self._folder = folder
        self._derived = as_stored(package)
        self._places = Places.of(package)
        self._story = Story(package)

    @property
    def any(self) -> bool:
        """Whether there is a row in a derived table."""
        return bool(self._derived.tables)

    def line(self, place: str) -> str:
        """The felling phases of a place in a few words."""
        return self._story.line(place)

    def of_place(self, place: str) -> list[Markup]:
        """Paragraphs on a place."""
        return [shown(one) for one in self._story.of_place(place)]

    def of_wood(self, element: str) -> list[Markup]:
        """Sentences on a piece of wood."""
        return [shown(one) for one in self._story.of_wood(element)]

    def tables(self) -> list[tuple[str, str]]:
        """Address and title of the tables that the sentences follow from."""
        from provenance._derive.story import TABLES

        return [self._page(name) for name in TABLES if name in self._derived.tables]

    def drawings(self) -> list[dict[str, Any]]:
        """Every figure that has data, drawn."""
        from provenance._derive.figures.figures import figures

        return [self._put(one, one.name) for one in figures(self._derived, self._places)]

    def drawings_of(self, building: str) -> list[dict[str, Any]]:
        """The dated samples of one building, drawn; none where none is dated."""
        from provenance._derive.figures.figures import figures

        spans = self._derived.tables.get("span")
        if spans is None:
            return []
        buildings: Mapping[str, str] = self._places.buildings
        inside = [place for place, outer in buildings.items() if outer == building]
        own = spans.filter(spans["place_id"].is_in(inside))
        # with one building the figure of the whole record is the same
        suffix = "" if len(own) == len(spans) else f".{page_name(building)}"
        derived = replace(self._derived, tables={**self._derived.tables, "span": own})
        drawn = [] if own.is_empty() else figures(derived, self._places, (_BARS,))
        return [self._put(one, f"{one.name}{suffix}") for one in drawn]

    def _put(self, one: Figure, name: str) -> dict[str, Any]:
        path = f"pages/figure/{name}.svg"
        put(self._folder / path, svg_of(one.sheet).encode())
        return {"figure": one, "href": path, "numbers": self._page(one.table)}

    def _page(self, table: str) -> tuple[str, str]:
        return table_page(table, 1), self._cells.record.model.table(table).title
