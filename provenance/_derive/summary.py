"""Derives everything at once: the derived tables, the figures' data and the words beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl
import polars.selectors as cs

from provenance._base.disk import writing
from provenance._derive.candidates import STORED_YEARS, mark_candidates
from provenance._derive.dating import derive_spans
from provenance._derive.felling import derive_fellings
from provenance._derive.labour import derive_labour
from provenance._derive.order import derive_building_order
from provenance._derive.phase_events import compare_events
from provenance._derive.phases import PhaseRule, derive_phases
from provenance._derive.size import derive_faces, derive_sizes
from provenance._derive.trees import Piece, StemRule, TreeCount, count_trees
from provenance._derive.wood_use import derive_architecture, derive_wood_use, wood_in_phases
from provenance._record.computed_from import note_sources
from provenance._record.joined import outermost_places
from provenance._record.package import Package
from provenance._record.same_trees import same_trees
from provenance._record.tables import laid_out, polars_type

SOURCES = ("assumption", "element", "episode", "lab_result", "place", "relation", "sample")
"""What the derived tables are made from; an older package may lack some."""


@dataclass(frozen=True)
class TreeEstimate:
    """One way to count the trees: what pieces of one tree must share, and the count."""

    sharing: str
    count: TreeCount


@dataclass(frozen=True)
class Derived:
    """The derived tables by name, and the tree estimates with their alternatives."""

    tables: Mapping[str, pl.DataFrame]
    estimates: tuple[TreeEstimate, ...]
    stem_rule: StemRule
    phase_rule: PhaseRule
    order_contradictions: tuple[str, ...] = ()
    """Sentences about relations and years that cannot all be so."""


def derive_tables(
    package: Package,
    *,
    stem_rule: StemRule | None = None,
    phase_rule: PhaseRule | None = None,
    stored_years: int = STORED_YEARS,
) -> Derived:
    """Derive sizes, supposed trees, spans, fellings and phases; nothing is written.

    A package of older schemas has the tables that these know.
    """
    stem_rule = stem_rule or StemRule()
    phase_rule = phase_rule or PhaseRule()
    sizes = derive_sizes(package)
    spans = derive_spans(package)
    estimates = estimate_trees(package, sizes, spans, stem_rule)
    tables = {
        "size": sizes,
        "stem": _stem_rows(package, estimates[0]),
        "span": spans,
        **_derive_phases(package, phase_rule, stored_years),
    }
    tables |= _what_wood_says(package, tables)
    order, contradictions = derive_building_order(package, tables)
    return Derived(tables | order, estimates, stem_rule, phase_rule, contradictions)


def _derive_phases(package: Package, rule: PhaseRule, stored_years: int) -> dict[str, pl.DataFrame]:
    """Fellings, phases and what events say of them, as far as the package has these tables."""
    known = package.model.tables
    # clusters of cutting dates, which older packages have, are computed no more
    empty = {"cluster": laid_out(pl.DataFrame(), known["cluster"])} if "cluster" in known else {}
    if not {"felling", "phase", "phase_piece", "phase_place", "phase_event"} <= known.keys():
        return empty
    fellings = derive_fellings(package)
    phases = derive_phases(package, fellings, rule)
    marked = mark_candidates(
        package, fellings, phases["phase"], phases["phase_piece"], stored_years
    )
    events = compare_events(package, phases["phase"])
    return {**empty, "felling": marked, **phases, "phase_event": events}


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


def estimate_trees(
    package: Package, sizes: pl.DataFrame, spans: pl.DataFrame, rule: StemRule
) -> tuple[TreeEstimate, ...]:
    """Count the trees in several ways, the most cautious grouping first.

    Pieces with both ends measured take part. 'Species, building and cutting year': dated pieces
    join only pieces of the same year, undated ones only undated ones. The alternatives drop one
    condition after the other, and halve and double the tolerances.
    """
    whole = sizes.drop_nulls(["butt_cm", "top_cm", "length_m"])
    buildings = outermost_places(package.tables)
    dated = spans.filter(cutting="cutting").group_by("element_id").agg(pl.col("outer_year").max())
    years = dict(dated.iter_rows())

    def counted(sharing: str, keys: Sequence[str], with_rule: StemRule) -> TreeEstimate:
        pieces = []
        for row in whole.iter_rows(named=True):
            shared = {
                "species": row["species"] or "",
                "building": buildings.get(row["place_id"], ""),
                "year": years.get(row["element_id"]),
            }
            pieces.append(
                Piece(
                    row["element_id"] or "",
                    row["butt_cm"],
                    row["top_cm"],
                    row["length_m"],
                    tuple(shared[key] for key in keys),
                )
            )
        return TreeEstimate(sharing, count_trees(pieces, with_rule))

    narrow = StemRule(rule.thicker_cm / 2, rule.thinner_cm / 2)
    wide = StemRule(rule.thicker_cm * 2, rule.thinner_cm * 2)
    strict = ("species", "building", "year")
    return (
        counted("species, building and cutting year", strict, rule),
        counted("species, building and cutting year; half the tolerance", strict, narrow),
        counted("species, building and cutting year; twice the tolerance", strict, wide),
        counted("species and building", ("species", "building"), rule),
        counted("species", ("species",), rule),
    )


def _what_wood_says(package: Package, found: Mapping[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """Use of wood, labor and architecture, as far as the package's own schemas have them."""
    known = package.model.tables

    def before(name: str) -> pl.DataFrame:
        if name in found or name not in known:
            return found.get(name, pl.DataFrame())
        return laid_out(pl.DataFrame(), known[name])

    if "wood_use" not in known:
        return {}
    phases = before("phase")
    wood = wood_in_phases(package.tables, found["size"], phases, before("phase_piece"))
    return {
        "wood_use": derive_wood_use(package, wood, same_trees(package.tables)),
        "labour": derive_labour(package, wood, derive_faces(package), before("tree_bound")),
        "architecture": derive_architecture(package, phases),
    }


def _stem_rows(package: Package, estimate: TreeEstimate) -> pl.DataFrame:
    rule = estimate.count.rule
    said = (
        f"same {estimate.sharing}; upper butt at most {rule.thicker_cm:g} cm thicker and "
        f"{rule.thinner_cm:g} cm thinner than the lower top"
    )
    rows = [
        {"element_id": element, "stem_id": f"T{number}", "place_in_stem": place, "rule": said}
        for number, stem in enumerate(estimate.count.stems, start=1)
        for place, element in enumerate(stem, start=1)
    ]
    fields = package.model.table("stem").fields
    return pl.DataFrame(rows, {one.name: polars_type(one) for one in fields})


def _rounded(frame: pl.DataFrame) -> pl.DataFrame:
    """Numbers to the fourth decimal, volumes to the cubic centimeter, so that the same record gives
    the same text anywhere.
    """
    volumes = cs.float() & cs.ends_with("_m3")
    return frame.with_columns((cs.float() - volumes).round(4), volumes.round(6))
