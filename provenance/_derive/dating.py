"""What the dates say: spans, clusters of cutting dates, and candidates for reuse and stockpiling.

Nothing here is a date of construction. A cluster is a hint that trees were felled together; whether
the building went up then is for a person to argue. Rules and parameters stand beside every result.
The reasoning (clusters of cutting dates speak for felling campaigns; earlier dates among them for
reuse or stockpiling) is common practice of archaeological tree-ring dating, no single source.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from provenance._model.determination import estimate_of, notation_of
from provenance._model.edtf import bounds, is_edtf
from provenance._model.felling import Cutting, felling_of, heartwood_end
from provenance._record.joined import outermost_places, standing_results
from provenance._record.package import Package
from provenance._record.tables import polars_type


@dataclass(frozen=True)
class ClusterRule:
    """Cutting dates of one building form a cluster when neighbours lie at most `gap_years` apart
    and at least `least` pieces of wood are in it. Earlier dates up to `stockpile_years` before it
    are candidates for stockpiling, older ones for reuse, later ones for repair. A documented event
    is compared when it lies within `event_years` of the cluster.
    """

    gap_years: int = 1
    least: int = 3
    stockpile_years: int = 5
    event_years: int = 10

    def __str__(self) -> str:
        """The rule in one sentence, as it stands beside every result."""
        return (
            f"cutting dates of one building at most {self.gap_years} year(s) apart, at least "
            f"{self.least} pieces of wood"
        )


def derive_spans(package: Package) -> pl.DataFrame:
    """One row a dated sample with the columns of the derived table `span`, by building and year.

    Dated is what has a last ring or a laboratory's range of the felling, which then stands first.
    A sample with several results that stand appears once, with the one reported last; which
    results disagree is for the check to say.
    """
    tables, table = package.tables, package.model.table("span")
    symbols = package.model.vocabularies["result_symbol"]
    dated = (
        standing_results(tables)
        .filter(
            pl.any_horizontal(
                pl.col(one).is_not_null()
                for one in ("outer_year", "felled_from_year", "felled_to_year")
            )
        )
        # stable, so that of results on one day the later row counts
        .sort("reported_on", nulls_last=False, maintain_order=True)
        .unique("sample_id", keep="last", maintain_order=True)
    )
    said = [(notation_of(row, symbols), estimate_of(row)) for row in dated.iter_rows(named=True)]
    fellings = [felling_of(notation, symbols, estimate) for notation, estimate in said]
    heartwood = [heartwood_end(notation, symbols) for notation, _ in said]
    dated = dated.with_columns(
        pl.Series("heartwood_year", heartwood, dtype=pl.Int64),
        pl.Series("cutting", [one.cutting.value for one in fellings], dtype=pl.String),
        pl.Series("felled_from_year", [one.earliest for one in fellings], dtype=pl.Int64),
        pl.Series("felled_to_year", [one.latest for one in fellings], dtype=pl.Int64),
        pl.Series("felled_by", [one.basis and one.basis.value for one in fellings], pl.String),
    )
    samples = tables["sample"].select("sample_id", "element_id").unique("sample_id", keep="first")
    elements = tables["element"].select("element_id", "place_id", "function", "reused")
    spans = dated.join(samples, on="sample_id", how="left", maintain_order="left").join(
        elements.unique("element_id", keep="first"),
        on="element_id",
        how="left",
        maintain_order="left",
    )
    buildings = outermost_places(tables)
    spans = spans.with_columns(
        building_id=pl.col("place_id").replace_strict(
            buildings, default=None, return_dtype=pl.String
        ),
    )
    blank = [pl.lit("").alias(one) for one in table.names if one not in spans.columns]
    return (
        spans.with_columns(blank)
        .sort("building_id", "outer_year", "sample_id", nulls_last=True, maintain_order=True)
        .select(table.names)
    )


def derive_clusters(
    package: Package, spans: pl.DataFrame, rule: ClusterRule | None = None
) -> pl.DataFrame:
    """Clusters of cutting dates, one row each, with the columns of the derived table `cluster`.

    One piece of wood counts once, by the latest of its cutting dates.
    """
    rule = rule or ClusterRule()
    once = (
        spans.filter(cutting=Cutting.CUTTING.value)
        .drop_nulls(["building_id", "element_id"])
        .group_by("building_id", "element_id")
        .agg(pl.col("outer_year").max())
        .sort("building_id", "outer_year")
    )
    rows = []
    for (building,), group in once.group_by("building_id", maintain_order=True):
        for first, last, count in _runs(group["outer_year"].to_list(), rule.gap_years):
            if count >= rule.least:
                rows.append(
                    {
                        "cluster_id": f"{building}-{first}",
                        "building_id": str(building),
                        "first_year": first,
                        "last_year": last,
                        "date_count": count,
                        "rule": str(rule),
                    }
                    | _nearest_event(package, str(building), first, last, rule)
                )
    table = package.model.table("cluster")
    return pl.DataFrame(rows, {one.name: polars_type(one) for one in table.fields})


def _runs(years: list[int], gap: int) -> list[tuple[int, int, int]]:
    """(first, last, count) of each run of rising years whose neighbours lie at most `gap` apart."""
    runs: list[tuple[int, int, int]] = []
    for year in years:
        if runs and year - runs[-1][1] <= gap:
            first, _, count = runs[-1]
            runs[-1] = (first, year, count + 1)
        else:
            runs.append((year, year, 1))
    return runs


def _nearest_event(
    package: Package, building: str, first: int, last: int, rule: ClusterRule
) -> dict[str, object]:
    buildings = outermost_places(package.tables)
    best: tuple[int, int, str] | None = None
    for event in package.tables.rows("episode"):
        place = event["place_id"]
        if (place and buildings.get(place) != building) or not is_edtf(event["happened"]):
            continue
        start, end = bounds(event["happened"])
        if start is None or end is None:
            continue
        # inside the cluster the distance is 0; before it negative; behind it positive
        after = max(start.year - last, 0) if start.year > last else min(end.year - first, 0)
        if abs(after) <= rule.event_years and (best is None or abs(after) < best[0]):
            best = (abs(after), after, event["episode_id"])
    if best is None:
        return {"episode_id": "", "years_after": None}
    return {"episode_id": best[2], "years_after": best[1]}


def mark_candidates(
    spans: pl.DataFrame, clusters: pl.DataFrame, rule: ClusterRule | None = None
) -> pl.DataFrame:
    """The spans with the columns cluster_id and candidate filled in, beside the largest cluster.

    Compared with the largest cluster of its building, a cutting date up to `stockpile_years`
    earlier is a candidate for stockpiling, an older one for reuse, and a later one, in no other
    cluster, for repair. Wood that the field record calls reused is a candidate for reuse.
    """
    rule = rule or ClusterRule()
    year, is_cutting = pl.col("outer_year"), pl.col("cutting") == Cutting.CUTTING.value
    marked = spans.with_columns(cluster_id=pl.lit(""), candidate=pl.lit(""))

    def put(column: str, what: str, where: pl.Expr) -> None:
        nonlocal marked
        chosen = pl.when(where).then(pl.lit(what)).otherwise(pl.col(column))
        marked = marked.with_columns(chosen.alias(column))

    for cluster in clusters.iter_rows(named=True):
        inside = is_cutting & (pl.col("building_id") == cluster["building_id"])
        years = year.is_between(cluster["first_year"], cluster["last_year"])
        put("cluster_id", cluster["cluster_id"], inside & years)
    largest = clusters.sort(
        "date_count", "first_year", descending=[True, False], maintain_order=True
    ).unique("building_id", keep="first", maintain_order=True)
    for cluster in largest.iter_rows(named=True):
        here = pl.col("building_id") == cluster["building_id"]
        loose = is_cutting & here & (pl.col("cluster_id") == "")
        early = cluster["first_year"] - year
        put("candidate", "reuse", loose & (early > rule.stockpile_years))
        put("candidate", "stockpiling", loose & early.is_between(1, rule.stockpile_years))
        put("candidate", "repair", loose & (year > cluster["last_year"]))
    put("candidate", "reuse", pl.col("reused") == "yes")
    return marked
