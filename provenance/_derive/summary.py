"""Derives everything at once: the derived tables, which the figures and pages then show."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import polars as pl
import polars.selectors as cs

from provenance._base.disk import writing
from provenance._derive.dates.candidates import STORED_YEARS, mark_candidates
from provenance._derive.dates.dating import derive_spans
from provenance._derive.dates.felling import derive_fellings
from provenance._derive.dates.order import derive_building_order
from provenance._derive.dates.phase_events import compare_events
from provenance._derive.dates.phases import PhaseRule, derive_phases
from provenance._derive.dates.ring_series import derive_ring_series
from provenance._derive.dates.tree_ages import derive_tree_ages
from provenance._derive.wood.labor import derive_labor
from provenance._derive.wood.size import derive_faces, derive_sizes
from provenance._derive.wood.taper import note_tapers
from provenance._derive.wood.tree_counts import derive_tree_bounds
from provenance._derive.wood.trees import END_ERROR_CM
from provenance._derive.wood.wood_use import derive_architecture, derive_wood_use, wood_in_phases
from provenance._model.measures import SI, Measures
from provenance._record.computed_from import note_sources
from provenance._record.package import Package
from provenance._record.same_trees import same_trees
from provenance._record.tables import laid_out

SOURCES = ("assumption", "element", "episode", "file", "lab_result", "place", "relation", "sample")
"""What the derived tables are made from; an older package may lack some, and of `file` only ring
widths count.
"""
_COMPUTED_NO_MORE = ("cluster", "stem")
"""Tables of older packages: clusters of cutting dates and supposed trees. They are emptied."""
_PHASES = ("felling", "phase", "phase_piece", "phase_place", "phase_event")
_USE_OF_WOOD = (*_PHASES, "tree_bound", "wood_use", "labor", "architecture")


@dataclass(frozen=True)
class Derived:
    """The derived tables by name, and the rule by which phases were found."""

    tables: Mapping[str, pl.DataFrame]
    phase_rule: PhaseRule = field(default_factory=PhaseRule)
    order_contradictions: tuple[str, ...] = ()
    """Sentences about relations and years that cannot all be so."""
    measures: Measures = SI
    """How figures of them say volumes."""


def derive_tables(
    package: Package,
    *,
    end_error_cm: float = END_ERROR_CM,
    phase_rule: PhaseRule | None = None,
    stored_years: int = STORED_YEARS,
) -> Derived:
    """Derive sizes, spans, fellings, phases, counts of trees, use of wood, labor, ages, ring
    widths and the order of building; nothing is written.

    A package of older schemas has the tables that these know. `end_error_cm` is for wood for which
    the record assumes no error of a diameter.
    """
    rule, known = phase_rule or PhaseRule(), package.model.tables
    tables = {
        name: laid_out(pl.DataFrame(), known[name]) for name in _COMPUTED_NO_MORE if name in known
    }
    tables["size"] = note_tapers(package, derive_sizes(package))
    tables["span"] = derive_spans(package)
    if known.keys() >= set(_PHASES):
        tables |= _phases(package, rule, stored_years)
    tables |= derive_tree_bounds(package, tables, end_error_cm=end_error_cm)
    if known.keys() >= set(_USE_OF_WOOD):
        tables |= _use_of_wood(package, tables)
    if known.keys() >= {*_PHASES, "tree_age"}:
        tables["tree_age"] = derive_tree_ages(
            package, tables["felling"], tables["phase"], tables["phase_piece"]
        )
    if "ring_series" in known:
        tables["ring_series"] = derive_ring_series(package)
    order, contradictions = derive_building_order(package, tables)
    return Derived(tables | order, rule, contradictions, package.model.measures)


def as_stored(package: Package) -> Derived:
    """What the package's own derived tables hold, as they were last written; those with rows."""
    return Derived(
        {
            one.name: package.tables[one.name]
            for one in package.model.of_role("derived")
            if package.tables.count(one.name)
        },
        measures=package.model.measures,
    )


def derive_package(package: Package, *, into: Path | None = None, **rules: Any) -> Derived:
    """Derive everything and write the derived tables into the package, all of them anew.

    With the folder `into` they are written there, and the package stays as it is.
    """
    with package.locked() if into is None else nullcontext():
        derived = derive_tables(package, **rules)
        for name, frame in derived.tables.items():
            path = into / f"{name}.csv" if into else package.table_path(name)
            with writing(path) as stream:
                # an older package's schema may lack columns, or have some that are computed no more
                table = package.model.table(name)
                package.write_table_to(stream, name, _rounded(laid_out(frame, table)))
        if into is None:
            known = [name for name in SOURCES if name in package.model.tables]
            note_sources(package, "derive", known)
    return derived


def _phases(package: Package, rule: PhaseRule, stored_years: int) -> dict[str, pl.DataFrame]:
    """Fellings, phases and what events say of them."""
    fellings = derive_fellings(package)
    phases = derive_phases(package, fellings, rule)
    marked = mark_candidates(
        package, fellings, phases["phase"], phases["phase_piece"], stored_years
    )
    return {
        "felling": marked,
        **phases,
        "phase_event": compare_events(package, phases["phase"]),
    }


def _use_of_wood(package: Package, found: Mapping[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """Use of wood, labor and architecture beside phases."""
    wood = wood_in_phases(package.tables, found["size"], found["phase"], found["phase_piece"])
    return {
        "wood_use": derive_wood_use(package, wood, same_trees(package.tables)),
        "labor": derive_labor(package, wood, derive_faces(package), found["tree_bound"]),
        "architecture": derive_architecture(package, found["phase"]),
    }


def _rounded(frame: pl.DataFrame) -> pl.DataFrame:
    """Numbers to the fourth decimal, volumes to the cubic centimeter, so that the same record gives
    the same text anywhere.
    """
    volumes = cs.float() & cs.ends_with("_m3")
    return frame.with_columns((cs.float() - volumes).round(4), volumes.round(6))
