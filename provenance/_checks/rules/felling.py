"""Rules about fellings that must be one: of one timber, and of pieces of one tree."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import polars as pl

from provenance._checks.language.rule import COMMON_PRACTICE, rule
from provenance._checks.language.views import live_results, species_differ
from provenance._model.felling import Felling, when_in_words
from provenance._model.felling_together import FellingClass, at_odds, class_of
from provenance._record.fellings import FelledPiece, dated_results, felled_pieces, fellings_of
from provenance._record.same_trees import joined_pieces, same_trees
from provenance._record.snapshot import Snapshot


@rule(
    "felling.samples_at_odds",
    table="lab_result",
    field="outer_year",
    severity="warning",
    says="Samples {first_sample_id} and {sample_id} of one timber {element_id} share no possible "
    "felling year: {first_years}, and {years}.",
    remedy="Check that both samples are from this timber, and both results against the reports. "
    "Until then the timber has no felling years.",
    source=COMMON_PRACTICE,
)
def samples_at_odds(tables: Snapshot) -> pl.DataFrame:
    """A tree is felled once; another rule handles two different cutting dates."""
    several = pl.col("element_id").is_not_null() & pl.col("element_id").is_duplicated()
    results = dated_results(tables).filter(several)
    fellings = fellings_of(tables, results)
    of_piece: dict[str, list[int]] = defaultdict(list)
    for place, element in enumerate(results["element_id"]):
        of_piece[element].append(place)
    late, said = [], []
    for places in of_piece.values():
        apart = at_odds([fellings[place] for place in places])
        if apart is None:
            continue
        one, other = (places[place] for place in apart)
        if {class_of(fellings[place]) for place in (one, other)} != {FellingClass.CUTTING}:
            late.append(one)
            first = results["sample_id"][other]
            said.append((first, *_words(fellings[other], fellings[one])))
    return _with_words(results[late], said, "first_sample_id")


@rule(
    "felling.tree_at_odds",
    table="element",
    field="same_tree_element_id",
    severity="warning",
    says="Timbers {first_element_id} and {element_id} are recorded as one tree, but share no "
    "possible felling year: {first_years}, and {years}.",
    remedy="Ask whoever linked them to compare them again; then correct the date, or remove the "
    "link here or in lab_result.same_tree_sample_id. Until then the tree has no felling years.",
    source=COMMON_PRACTICE,
)
def tree_at_odds(tables: Snapshot) -> pl.DataFrame:
    """A tree is felled once, however many timbers were made from it."""
    joined = joined_pieces(tables)
    of_tree: dict[str, list[FelledPiece]] = defaultdict(list)
    for piece in felled_pieces(tables, joined).values() if joined else ():
        if piece.own is not None:
            of_tree[piece.tree_id].append(piece)
    said = {}
    for pieces in of_tree.values():
        fellings = [one.own for one in pieces if one.own is not None]
        if apart := at_odds(fellings):
            late, early = apart
            words = (pieces[early].element_id, *_words(fellings[early], fellings[late]))
            said[pieces[late].element_id] = words
    rows = _rows_of(tables, said)
    return _with_words(rows, [said[one] for one in rows["element_id"]], "first_element_id")


@rule(
    "felling.tree_of_two_species",
    table="element",
    field="same_tree_element_id",
    severity="warning",
    says="Timbers {first_element_id} and {element_id} are recorded as one tree, but one is "
    "{first_species}, the other {species}.",
    remedy="Compare both with the laboratory; then correct the species, or remove the link here "
    "or in lab_result.same_tree_sample_id.",
    source=COMMON_PRACTICE,
)
def tree_of_two_species(tables: Snapshot) -> pl.DataFrame:
    """A tree has one species; the laboratory's determination comes before the crew's."""
    joined = joined_pieces(tables)
    found = live_results(tables).select("element_id", found="species").drop_nulls()
    wood = (
        _rows_of(tables, joined)
        .join(
            found.unique("element_id", keep="first", maintain_order=True),
            on="element_id",
            how="left",
            maintain_order="left",
        )
        .with_columns(
            species=pl.coalesce("found", "species_field"),
            tree_id=pl.col("element_id").replace_strict(
                same_trees(tables), default=None, return_dtype=pl.String
            ),
        )
        .drop_nulls("species")
        .with_columns(
            first_species=pl.col("species").first().over("tree_id"),
            first_element_id=pl.col("element_id").first().over("tree_id"),
        )
    )
    another_genus, another_species = species_differ(tables, "species", "first_species")
    return wood.filter(another_genus | another_species)


def _rows_of(tables: Snapshot, elements: Any) -> pl.DataFrame:
    wood = tables["element"].filter(pl.col("element_id").is_in(list(elements)))
    return wood.unique("element_id", keep="first", maintain_order=True)


def _words(first: Felling, second: Felling) -> tuple[str, str]:
    return f"felled {when_in_words(first)}", f"felled {when_in_words(second)}"


def _with_words(
    rows: pl.DataFrame, said: list[tuple[str, str, str]], first_column: str
) -> pl.DataFrame:
    names = (first_column, "first_years", "years")
    words = pl.DataFrame(said, dict.fromkeys(names, pl.String), orient="row")
    return rows.hstack(words)
