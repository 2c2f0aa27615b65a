"""A package that was started before felling seasons, ranges with a source and their columns."""

from __future__ import annotations

import json

from provenance._checks.check import check_package
from provenance._derive.summary import derive_package
from provenance._lab.reconcile import reconcile_results
from provenance._lab.results import read_notations
from provenance._record.package import Package, open_package
from tests.builders import a_package

NEW = {
    "felling_season", "heartwood_year", "estimate_percent", "estimate_source", "sapwood_least",
    "sapwood_most", "felled_by", "mean_width_mm", "mean_sensitivity", "missing_ring_count",
    "growth_marks",
    # of wood and samples
    "like_count", "like_count_how", "building_phase", "height_a_m", "height_b_m", "full_length_m",
    "width_cm", "thickness_cm", "nominal_size", "conversion_kind", "tool_extent", "finish", "marks",
    "mark_text", "sapwood_seen", "fastenings", "not_sampled_reason", "photo_numbers", "attempt",
    "before_end_grain", "before_loose_wood", "before_old_core", "why_here", "radii", "drill_kind",
    "bit_id", "bit_reason", "sapwood_edge", "sapwood_field", "last_ring_season", "failure_cause",
}  # fmt: skip
NEW_SIGNS = ("HS", "be", "C", "½C", "¼C", "(comp)", "±p", "±")


def an_older_package(tmp_path) -> Package:
    package = a_package(tmp_path).with_chain().with_row("lab_result", outer_symbol="+;B").package
    for name in ("lab_result", "span", "element", "sample"):
        path = package.folder / "schemas" / f"{name}.json"
        schema = json.loads(path.read_text("utf-8"))
        felled = {"felled_from_year", "felled_to_year"} if name == "span" else set()
        schema["fields"] = [one for one in schema["fields"] if one["name"] not in NEW | felled]
        path.write_text(json.dumps(schema), "utf-8")
        table = package.table(name).drop(columns=[*(NEW | felled)], errors="ignore")
        table.to_csv(package.table_path(name), index=False)
    path = package.folder / "schemas" / "model.json"
    model = json.loads(path.read_text("utf-8"))
    lists = {one["name"]: one for one in model["vocabularies"]}
    signs = lists["result_symbol"]
    signs["terms"] = [
        {key: value for key, value in term.items() if key not in ("at_best", "season")}
        for term in signs["terms"]
        if term["code"] not in NEW_SIGNS
    ]
    del lists["felling_season"]
    for name in ("felling", "tree_age", "ring_series", "agreement"):
        (package.folder / "schemas" / f"{name}.json").unlink()
    model["vocabularies"] = list(lists.values())
    path.write_text(json.dumps(model), "utf-8")
    return open_package(package.folder)


def test_an_older_package_is_checked_derived_and_reconciled_as_before(tmp_path) -> None:
    package = an_older_package(tmp_path)
    assert {one.message for one in check_package(package) if one.rule.startswith("result.not")} == {
        "Result R-1 of sample 231: the notation '1702p - 1781B' says B, the column 'outer_symbol' "
        "says +;B."
    }
    spans = derive_package(package).tables["span"]
    # its list does not say it, and + takes a cutting date away all the same
    assert spans.select("sample_id", "cutting").rows() == [("231", "near")]
    line = reconcile_results(package).lines.iloc[0]
    assert line["dates"] == "1702 p - 1781 + B"
    assert line["felled"] == "felled in 1781 or a few years later"
    blank = package.table("lab_result").assign(notation="felled 1710-45 (95 %)", outer_year="")
    filled, _, _ = read_notations(package.model, blank)
    assert filled.loc[2, ["felled_from_year", "felled_to_year"]].tolist() == ["1710", "1745"]
    assert set(filled) == set(blank)
