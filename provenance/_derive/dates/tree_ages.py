"""Says how old each tree was when it was felled, as far as its samples reach to the pith."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import polars as pl

from provenance._record.joined import split_codes, standing_results
from provenance._record.package import Package
from provenance._record.tables import polars_type

TABLE = "tree_age"
_RANK = ("in_sample", "not_exact", "estimated", "not_known")
_OF_SAMPLE = ("sample_id", "inner_year", "outer_year", "ring_count", "mean_width_mm",
              "mean_sensitivity", "missing_ring_count")  # fmt: skip
Row = Mapping[str, Any]


def derive_tree_ages(
    package: Package, fellings: pl.DataFrame, phases: pl.DataFrame, phase_pieces: pl.DataFrame
) -> pl.DataFrame:
    """One row a tree of the table `felling`, with the columns of the table `tree_age`.

    Of the samples of a tree `sample_of_tree` takes one. An age counts rings at the height of that
    sample, from its innermost ring ('at least') or its pith to the felling; a tree with its last
    ring grew none in the year after, though it may have been felled then, before growth began.
    """
    samples = _dated_samples(package)
    sizes = dict(phases.select("phase_id", "tree_count").iter_rows())
    in_phases: dict[str, list[str]] = {}
    for phase, element in phase_pieces.select("phase_id", "element_id").iter_rows():
        in_phases.setdefault(element, []).append(phase)
    rows = []
    for (tree,), pieces in fellings.sort("element_id").group_by("tree_id", maintain_order=True):
        first = next((row for row in pieces.iter_rows(named=True) if row["element_id"] == tree), {})
        first = first or pieces.row(0, named=True)
        elements = pieces["element_id"].to_list()
        found = [row for element in elements for row in samples.get(element, ())]
        one = sample_of_tree(found)
        buildings = set(pieces["building_id"])
        member = {phase for element in elements for phase in in_phases.get(element, ())}
        marks = {code for row in found for code in split_codes(row.get("growth_marks"))}
        rows.append(
            {
                "tree_id": tree,
                "site_id": first["site_id"],
                "building_id": buildings.pop() if len(buildings) == 1 else None,
                "phase_id": min(member, key=lambda p: (-(sizes.get(p) or 0), p), default=None),
                "species": next((s for s in pieces["species"] if s), None),
                "felled_from_year": first["felled_from_year"],
                "felled_to_year": first["felled_to_year"],
                "growth_marks": ";".join(sorted(marks)) or None,
                **_ages(first, one),
                **{name: one.get(name) for name in _OF_SAMPLE},
            }
        )
    fields = package.model.table(TABLE).fields
    return pl.DataFrame(rows, {one.name: polars_type(one) for one in fields}).sort("tree_id")


def _dated_samples(package: Package) -> dict[str, list[Row]]:
    """Piece of wood → the results that stand and have an inside year, one a sample."""
    tables = package.tables
    wood = {row["sample_id"]: row["element_id"] for row in tables.rows("sample")}
    results = (
        standing_results(tables)
        .drop_nulls("inner_year")
        # stable, so that of results on one day the later row counts
        .sort("reported_on", nulls_last=False, maintain_order=True)
        .unique("sample_id", keep="last", maintain_order=True)
    )
    found: dict[str, list[Row]] = {}
    for row in results.iter_rows(named=True):
        found.setdefault(wood.get(row["sample_id"], ""), []).append(row | _pith(row))
    return found


def _pith(row: Row) -> dict[str, Any]:
    """What a result says of the pith: `pith`, `pith_from_year`, `pith_to_year`.

    Where rings to the pith are estimated it lies between that estimate and the innermost ring; how
    far the estimate errs nobody says.
    """
    signs, inner, offset = split_codes(row["inner_symbol"]), row["inner_year"], row["pith_offset"]
    code = "in_sample" if "p" in signs else "not_exact" if "±p" in signs else ""
    if not code and offset is None:
        return {"pith": "not_known", "pith_from_year": None, "pith_to_year": None}
    missing = 0 if code else offset
    code = code or "estimated"
    return {"pith": code, "pith_from_year": inner - missing, "pith_to_year": inner}


def sample_of_tree(samples: Iterable[Row]) -> Row:
    """The sample that tells most of the age of a tree; {} for none.

    The best evidence of the pith counts: pith in the sample, then one whose year is not exact, then
    an estimate; of several the earliest pith, then the most rings. Where another sample has rings
    older than that pith, it grew lower in the stem, and the best of those counts instead.
    """
    left = list(samples)
    best: Row = {}
    while left:
        best = min(left, key=_order)
        left = [row for row in left if row["inner_year"] < _first_year(best)]
    return best


def _first_year(row: Row) -> int:
    pith: int | None = row["pith_from_year"]
    return int(row["inner_year"]) if pith is None else pith


def _order(row: Row) -> tuple[int, int, int, str]:
    rings = -(row["ring_count"] or 0)
    return _RANK.index(row["pith"]), _first_year(row), rings, row["sample_id"] or ""


def _ages(felling: Row, one: Row) -> dict[str, Any]:
    """The columns about pith and age of a tree; blank where nothing is known."""
    pith, inner = one.get("pith_from_year"), one.get("inner_year")
    first, last = felling["felled_from_year"], felling["felled_to_year"]
    if felling["felling_class"] == "cutting":
        last = first
    low = None if first is None or inner is None else first - inner + 1
    high = None if last is None or pith is None else last - pith + 1
    if low is not None and low < 1:
        # the sample contradicts the felling, which the check names
        low = high = None
    return {
        "pith": one.get("pith", "not_known"),
        "pith_from_year": pith,
        "pith_to_year": one.get("pith_to_year"),
        "age_from_years": low,
        "age_to_years": high,
    }
