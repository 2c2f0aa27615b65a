"""What the dates say: spans, clusters of cutting dates, and candidates for reuse and stockpiling.

Nothing here is a date of construction. A cluster is a hint that trees were felled together; whether
the building went up then is for a person to argue. Rules and parameters stand beside every result.
The reasoning (clusters of cutting dates speak for felling campaigns; earlier dates among them for
reuse or stockpiling) is common practice of archaeological tree-ring dating, no single source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from provenance._model.edtf import bounds, is_edtf
from provenance._model.notation import Cutting, cutting_class

if TYPE_CHECKING:
    import pandas as pd

    from provenance._record.package import Package

__all__ = ["ClusterRule", "derive_clusters", "derive_spans", "live_results", "mark_candidates"]


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


def live_results(package: Package) -> pd.DataFrame:
    """The laboratory results that no other supersedes, numbers typed."""
    results = package.typed("lab_result")
    superseded = set(results["supersedes_result_id"].dropna())
    return results[~results["result_id"].isin(superseded)]


def derive_spans(package: Package) -> pd.DataFrame:
    """One row a dated sample with the columns of the derived table `span`, by building and year.

    A sample with several live results appears once, with the one reported last; which results
    disagree is for the check to say.
    """
    table = package.model.table("span")
    symbols = package.model.vocabularies["result_symbol"]
    results = live_results(package)
    dated = results[results["outer_year"].notna()].copy()
    # stable, so that of results on one day the later row counts
    dated = dated.sort_values("reported_on", kind="stable", na_position="first")
    dated = dated.drop_duplicates("sample_id", keep="last")
    samples = package.table("sample")[["sample_id", "element_id"]]
    columns = ["element_id", "place_id", "function", "reused"]
    elements = package.table("element")[columns].drop_duplicates("element_id")
    spans = dated.merge(samples, on="sample_id", how="left")
    spans = spans.merge(elements, on="element_id", how="left")
    buildings = buildings_of(package)
    spans["building_id"] = spans["place_id"].map(buildings)
    spans["cutting"] = [
        cutting_class(split_codes(text), symbols).value for text in spans["outer_symbol"]
    ]
    for name in table.names:
        if name not in spans:
            spans[name] = ""
    spans = spans.sort_values(["building_id", "outer_year", "sample_id"], kind="stable")
    return spans[list(table.names)].reset_index(drop=True)


def split_codes(text: object) -> tuple[str, ...]:
    """The codes of a cell that may hold several, parted by semicolons."""
    if not isinstance(text, str):
        return ()
    return tuple(code.strip() for code in text.split(";") if code.strip())


def buildings_of(package: Package) -> dict[str, str]:
    """Place → the outermost place it lies in; a loop in the record ends the walk."""
    parents = dict(package.table("place")[["place_id", "parent_place_id"]].to_numpy().tolist())
    outermost = {}
    for place in parents:
        seen = {place}
        top = place
        while parents.get(top) and parents[top] not in seen:
            top = parents[top]
            seen.add(top)
        outermost[place] = top
    return outermost


def derive_clusters(
    package: Package, spans: pd.DataFrame, rule: ClusterRule | None = None
) -> pd.DataFrame:
    """Clusters of cutting dates, one row each, with the columns of the derived table `cluster`.

    One piece of wood counts once, by the latest of its cutting dates.
    """
    import pandas as pd

    rule = rule or ClusterRule()
    cutting = spans[spans["cutting"] == Cutting.CUTTING.value]
    once = cutting.groupby(["building_id", "element_id"], as_index=False)["outer_year"].max()
    rows = []
    for building, group in once.groupby("building_id", sort=True):
        years = sorted(int(year) for year in group["outer_year"])
        for first, last, count in _runs(years, rule.gap_years):
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
    return pd.DataFrame(rows, columns=list(package.model.table("cluster").names))


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
    buildings = buildings_of(package)
    best: tuple[int, int, str] | None = None
    for event in package.table("episode").to_dict("records"):
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
    spans: pd.DataFrame, clusters: pd.DataFrame, rule: ClusterRule | None = None
) -> pd.DataFrame:
    """The spans with the columns cluster_id and candidate filled in, beside the largest cluster.

    Compared with the largest cluster of its building, a cutting date up to `stockpile_years`
    earlier is a candidate for stockpiling, an older one for reuse, and a later one, in no other
    cluster, for repair. Wood that the field record calls reused is a candidate for reuse.
    """
    rule = rule or ClusterRule()
    marked = spans.copy()
    marked["cluster_id"] = ""
    marked["candidate"] = ""
    is_cutting = marked["cutting"] == Cutting.CUTTING.value
    for cluster in clusters.to_dict("records"):
        inside = (
            is_cutting
            & (marked["building_id"] == cluster["building_id"])
            & marked["outer_year"].between(cluster["first_year"], cluster["last_year"])
        )
        marked.loc[inside, "cluster_id"] = cluster["cluster_id"]
    largest = clusters.sort_values(["date_count", "first_year"], ascending=[False, True])
    for cluster in largest.drop_duplicates("building_id").to_dict("records"):
        loose = (
            is_cutting
            & (marked["building_id"] == cluster["building_id"])
            & (marked["cluster_id"] == "")
        )
        early = cluster["first_year"] - marked["outer_year"]
        marked.loc[loose & (early > rule.stockpile_years), "candidate"] = "reuse"
        stocked = loose & (early > 0) & (early <= rule.stockpile_years)
        marked.loc[stocked, "candidate"] = "stockpiling"
        late = marked["outer_year"] > cluster["last_year"]
        marked.loc[loose & late, "candidate"] = "repair"
    marked.loc[marked["reused"] == "yes", "candidate"] = "reuse"
    return marked
