"""Finds when the tree of each dated piece of wood was felled, as far as all its samples tell."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import polars as pl

from provenance._model.determination import estimate_of, notation_of
from provenance._model.felling import Basis, Cutting, Felling, felling_of
from provenance._model.felling_together import combine
from provenance._record.assumptions import assumptions_of
from provenance._record.joined import standing_results
from provenance._record.same_trees import same_trees
from provenance._record.snapshot import Snapshot

NEAR_CUTTING_RINGS = "near_cutting_rings"
"""The assumption that says how many rings at most a near-cutting date lacks."""


@dataclass(frozen=True)
class FelledPiece:
    """One dated piece of wood and when its tree was felled.

    `felling` is None where there is a disagreement: 'samples' of the piece or pieces of the 'tree'
    allow no common year. `own` is what the samples of the piece alone say, None where they
    disagree. `species` is what all laboratories found that tell it.
    """

    element_id: str
    tree_id: str
    dated_count: int
    felling: Felling | None
    disagreement: str
    own: Felling | None
    species: str


def dated_results(tables: Snapshot) -> pl.DataFrame:
    """One row a dated sample: its result that counts, its element_id and the wood's place_id.

    Dated is what has a last ring or a laboratory's range of the felling. Of several results that
    stand the one reported last counts; which of them disagree is for the check to say.
    """
    found: pl.DataFrame = tables.once("dated results", _dated_results)
    return found


def _dated_results(tables: Snapshot) -> pl.DataFrame:
    results = standing_results(tables)
    years = {"outer_year", "felled_from_year", "felled_to_year"} & set(results.columns)
    samples = tables["sample"].select("sample_id", "element_id").drop_nulls("sample_id")
    wood = tables["element"].select("element_id", "place_id").drop_nulls("element_id")
    return (
        results.filter(pl.any_horizontal(pl.col(one).is_not_null() for one in sorted(years)))
        # stable, so that of results on one day the later row counts
        .sort("reported_on", nulls_last=False, maintain_order=True)
        .unique("sample_id", keep="last", maintain_order=True)
        .join(
            samples.unique("sample_id", keep="first"),
            on="sample_id",
            how="left",
            maintain_order="left",
        )
        .join(
            wood.unique("element_id", keep="first"),
            on="element_id",
            how="left",
            maintain_order="left",
        )
    )


def fellings_of(tables: Snapshot, results: pl.DataFrame) -> list[Felling]:
    """When the tree of each of `dated_results` was felled, by that sample alone.

    A near-cutting date, which by itself says nothing of the latest year, has one where the record
    assumes, with a source, how many rings at most are gone from such wood.
    """
    symbols = tables.model.vocabularies["result_symbol"]
    assumed = assumptions_of(tables)
    found = []
    for row in results.iter_rows(named=True):
        one = felling_of(notation_of(row, symbols), symbols, estimate_of(row))
        if one.cutting is Cutting.NEAR and one.earliest is not None and one.latest is None:
            species, place = row.get("species") or "", row["place_id"] or ""
            rings = assumed.find(NEAR_CUTTING_RINGS, species=species, place=place)
            if rings is not None:
                latest = one.earliest + int(rings.figure)
                one = replace(one, latest=latest, basis=Basis.NEAR_CUTTING)
        found.append(one)
    return found


def felled_pieces(
    tables: Snapshot, only: Collection[str] | None = None
) -> Mapping[str, FelledPiece]:
    """Every dated piece of wood in the record by its code, or only those of `only`.

    Samples of one piece and then pieces of one tree give the years that all of them allow. Samples
    that disagree leave their piece without years, and it says nothing of its tree; pieces that
    disagree leave all of the tree without years. `only` must have all pieces of a tree.
    """
    trees = same_trees(tables)
    results = dated_results(tables).filter(
        pl.col("element_id").is_in(list(trees if only is None else only))
    )
    of_piece: dict[str, list[Felling]] = defaultdict(list)
    species: dict[str, set[str]] = defaultdict(set)
    for row, one in zip(results.iter_rows(named=True), fellings_of(tables, results), strict=True):
        of_piece[row["element_id"]].append(one)
        species[row["element_id"]] |= {row["species"]} if row.get("species") else set()
    pieces = {element: combine(fellings) for element, fellings in sorted(of_piece.items())}
    of_tree: dict[str, list[Felling]] = defaultdict(list)
    for element, own in pieces.items():
        of_tree[trees[element]] += [own] if own else []
    whole = {tree: combine(fellings) for tree, fellings in of_tree.items()}
    found = {}
    for element, own in pieces.items():
        felling = whole[trees[element]] if own else None
        found[element] = FelledPiece(
            element,
            trees[element],
            len(of_piece[element]),
            felling,
            "samples" if own is None else "tree" if felling is None else "",
            own,
            min(species[element]) if len(species[element]) == 1 else "",
        )
    return found
