"""Says when the tree of each dated piece of wood was felled, as the derived table `felling`."""

from __future__ import annotations

import polars as pl

from provenance._model.felling_together import class_of
from provenance._record.fellings import felled_pieces
from provenance._record.joined import outermost_places
from provenance._record.package import Package
from provenance._record.tables import laid_out


def derive_fellings(package: Package) -> pl.DataFrame:
    """One row a dated piece of wood with the columns of the table `felling`, by its code.

    Where samples of a piece or pieces of a tree allow no common year there are no years, and
    `disagreement` says which; the check names the rows. The candidates are for `mark_candidates`.
    """
    tables = package.tables
    wood = tables["element"].unique("element_id", keep="first", maintain_order=True)
    of = {row["element_id"]: row for row in wood.iter_rows(named=True)}
    buildings = outermost_places(tables)
    rows = []
    for element, piece in felled_pieces(tables).items():
        felling, row = piece.felling, of[element]
        rows.append(
            {
                "element_id": element,
                "tree_id": piece.tree_id,
                "site_id": row["site_id"],
                "place_id": row["place_id"],
                "building_id": buildings.get(row["place_id"] or ""),
                "function": row["function"],
                "species": piece.species or None,
                "dated_count": piece.dated_count,
                "felled_from_year": felling and felling.earliest,
                "felled_to_year": felling and felling.latest,
                "felling_class": class_of(felling).value,
                "felling_season": felling and felling.season,
                "felled_by": felling and felling.basis and felling.basis.value,
                "disagreement": piece.disagreement or None,
            }
        )
    return table_of(package, "felling", rows)


def table_of(package: Package, name: str, rows: list[dict[str, object]]) -> pl.DataFrame:
    """Rows as a table of the package, with the columns that its own schema has."""
    # all rows decide the type of a column: the first hundred may be blank
    frame = pl.DataFrame(rows, infer_schema_length=None)
    return laid_out(frame, package.model.table(name))
