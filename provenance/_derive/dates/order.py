"""Lays out the order of building in tables, and says in sentences what contradicts it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import chain

import polars as pl

from provenance._record.building_order import BuildingOrder, Years, order_of, years_of
from provenance._record.order_words import contradiction_words, loop_words
from provenance._record.package import Package
from provenance._record.relations import relations_of
from provenance._record.tables import polars_type

TABLE, STEPS = "build_order", "build_order_edge"


def derive_building_order(
    package: Package, derived: Mapping[str, pl.DataFrame]
) -> tuple[dict[str, pl.DataFrame], tuple[str, ...]]:
    """The tables `build_order` and `build_order_edge`, and a sentence for each contradiction.

    `derived` has the derived tables felling, phase and phase_piece. Rows are sorted by layer and
    code, so that the same record gives the same tables in whatever order its rows stand. An older
    package, which has no such tables, gets none.
    """
    if TABLE not in package.model.tables:
        return {}, ()
    relations = relations_of(package.tables)
    order = order_of(relations, years_of(package.tables, derived))
    model = package.model
    rows: dict[str, list[dict[str, object]]] = {
        TABLE: list(_rows(order)),
        STEPS: [{"earlier_build_id": one, "later_build_id": other} for one, other in order.steps],
    }
    tables = {
        name: pl.DataFrame(
            rows[name], {one.name: polars_type(one) for one in model.table(name).fields}
        )
        for name in rows
    }
    contradict = (contradiction_words(one, model) for one in order.contradictions)
    return tables, tuple(chain(loop_words(relations, model), contradict))


def _rows(order: BuildingOrder) -> Iterable[dict[str, object]]:
    for build in order.builds:
        for place in build.places:
            years = order.years[place]
            yield {
                "place_id": place,
                "build_id": build.code,
                "layer": build.layer,
                "built_from_year": years.earliest and years.earliest.year,
                "built_from_by": years.earliest and years.earliest.by,
                "from_place_id": years.earliest and years.earliest.place,
                "built_to_year": years.latest and years.latest.year,
                "built_to_by": years.latest and years.latest.by,
                "to_place_id": years.latest and years.latest.place,
                "contradiction": "loop" if build.looped else _contradiction(years),
            }


def _contradiction(years: Years) -> str | None:
    early, late = years.earliest, years.latest
    return "dates" if early and late and early.year > late.year else None
