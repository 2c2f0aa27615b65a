"""Says of each dated sample which years its rings cover and when its tree was felled.

Nothing here is a date of construction.
"""

from __future__ import annotations

import polars as pl

from provenance._model.determination import notation_of
from provenance._model.felling import heartwood_end
from provenance._record.fellings import dated_results, fellings_of
from provenance._record.joined import outermost_places
from provenance._record.package import Package
from provenance._record.tables import laid_out


def derive_spans(package: Package) -> pl.DataFrame:
    """One row a dated sample with the columns of the derived table `span`, by building and year.

    Dated is what has a last ring or a laboratory's range of the felling, which then stands first.
    A sample with several results that stand appears once, with the one reported last; which
    results disagree is for the check to say.
    """
    tables = package.tables
    dated = dated_results(tables)
    fellings = fellings_of(tables, dated)
    symbols = package.model.vocabularies["result_symbol"]
    heartwood = [
        heartwood_end(notation_of(row, symbols), symbols) for row in dated.iter_rows(named=True)
    ]
    elements = tables["element"].select("element_id", "function", "reused")
    spans = dated.with_columns(
        pl.Series("heartwood_year", heartwood, dtype=pl.Int64),
        pl.Series("cutting", [one.cutting.value for one in fellings], dtype=pl.String),
        pl.Series("felled_from_year", [one.earliest for one in fellings], dtype=pl.Int64),
        pl.Series("felled_to_year", [one.latest for one in fellings], dtype=pl.Int64),
        pl.Series("felled_by", [one.basis and one.basis.value for one in fellings], pl.String),
        building_id=pl.col("place_id").replace_strict(
            outermost_places(tables), default=None, return_dtype=pl.String
        ),
    ).join(
        elements.unique("element_id", keep="first"),
        on="element_id",
        how="left",
        maintain_order="left",
    )
    return laid_out(spans, package.model.table("span")).sort(
        "building_id", "outer_year", "sample_id", nulls_last=True, maintain_order=True
    )
