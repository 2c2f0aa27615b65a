"""Spans and fellings from the record; what a date says of the felling is common practice."""

from __future__ import annotations

import json
from typing import Any

from provenance._derive.dates.dating import derive_spans
from provenance._derive.dates.felling import derive_fellings
from provenance._derive.summary import derive_package
from provenance._record.package import Package, open_package
from provenance._record.same_trees import same_trees
from tests.builders import PARTIES, PackageBuilder, a_package

BARE = ("outer_year", "outer_symbol", "inner_year", "inner_symbol", "notation", "ring_count")


def a_house(tmp_path, *dates: dict[str, Any]) -> PackageBuilder:
    """One element, sample and result for each; the result has what is given and no other years.

    `wood` puts the sample into another piece; `element` has values of the piece.
    """
    builder = a_package(tmp_path).with_row("site").with_row("place")
    builder.with_row("place", place_id="B1-R1", parent_place_id="B1", kind="room", name="Room")
    for party in PARTIES:
        builder.with_bare_row("party", **party)
    for number, date in enumerate(dates, start=1):
        values = {key: value for key, value in date.items() if key not in ("wood", "element")}
        wood = date.get("wood", f"E{number}")
        if "wood" not in date:
            values_of_wood = {"place_id": "B1-R1", **date.get("element", {})}
            builder.with_row("element", element_id=wood, **values_of_wood)
        builder.with_row("sample", sample_id=number, element_id=wood)
        builder.with_row(
            "lab_result",
            result_id=f"R{number}",
            sample_id=number,
            **dict.fromkeys(BARE) | values,
        )
    return builder


def ring(year: int, symbols: str, **more: Any) -> dict[str, Any]:
    return {"outer_year": year, "outer_symbol": symbols, **more}


def felled(package: Package) -> dict[str, tuple[Any, ...]]:
    """Element → tree, years, class and disagreement."""
    shown = ("element_id", "tree_id", "felled_from_year", "felled_to_year", "felling_class")
    rows = derive_fellings(package).select(*shown, "disagreement").iter_rows()
    return {row[0]: row[1:] for row in rows}


def test_a_superseded_result_no_longer_counts(tmp_path) -> None:
    house = a_house(tmp_path, ring(1781, "B"), ring(1779, "vv"))
    house.with_row(
        "lab_result",
        result_id="R1b",
        sample_id="1",
        outer_year=1783,
        revision=2,
        supersedes_result_id="R1",
    )
    spans = derive_spans(house.package)
    assert spans.select("sample_id", "outer_year", "building_id").rows() == [
        ("2", 1779, "B1"),
        ("1", 1783, "B1"),
    ]


def test_a_package_without_results_has_no_spans_and_no_fellings(tmp_path) -> None:
    package = a_house(tmp_path).package
    assert derive_spans(package).is_empty()
    assert derive_fellings(package).is_empty()


SAPWOOD = {"sapwood_least": 9, "sapwood_most": 41, "estimate_source": "Oak of Northfold (invented)"}


def test_a_span_uses_the_laboratorys_range_and_an_estimate_with_its_source(tmp_path) -> None:
    """Worked by hand: boundary 1655 and 9 to 41 rings of sapwood give 1664 to 1696."""
    house = a_house(
        tmp_path,
        ring(1655, "B"),
        ring(1655, "vv", felled_from_year=1710, felled_to_year=1745),
        {"felled_from_year": 1720},
        ring(1655, "HS", **SAPWOOD),
        ring(1655, "+;B"),
    )
    shown = ("sample_id", "cutting", "felled_from_year", "felled_to_year", "felled_by")
    assert sorted(derive_spans(house.package).select(shown).rows()) == [
        ("1", "cutting", 1655, 1656, "last_ring"),
        ("2", "non_cutting", 1710, 1745, "laboratory"),
        ("3", "unstated", 1720, None, "laboratory"),
        ("4", "non_cutting", 1664, 1696, "sapwood"),
        ("5", "near", 1655, None, "last_ring"),
    ]


def test_samples_of_a_piece_and_pieces_of_a_tree_say_together_when_it_was_felled(tmp_path) -> None:
    """By hand: E1 1664 to 1696 by sapwood and a last ring of 1671, so 1671 to 1696. E3, said by
    the laboratory to be of its tree, has 1660 to 1690: both 1671 to 1690. E4 is undated and fits
    E1, so it is of the tree; E9 has no result. E5 and E6 leave no common year, nor do E7's samples.
    """
    house = a_house(
        tmp_path,
        ring(1655, "HS", **SAPWOOD),
        ring(1671, "vv", wood="E1"),
        {"felled_from_year": 1660, "felled_to_year": 1690, "same_tree_sample_id": "2"},
        {"outcome": "undated", "element": {"same_tree_element_id": "E1"}},
        ring(1700, "B"),
        ring(1720, "vv", element={"same_tree_element_id": "E5"}),
        ring(1750, "B"),
        ring(1760, "vv", wood="E7"),
        {"felled_from_year": 1720},
    )
    package = house.package
    assert felled(package) == {
        "E1": ("E1", 1671, 1690, "range", None),
        "E3": ("E1", 1671, 1690, "range", None),
        "E5": ("E5", None, None, "not_known", "tree"),
        "E6": ("E5", None, None, "not_known", "tree"),
        "E7": ("E7", None, None, "not_known", "samples"),
        "E9": ("E9", 1720, None, "after", None),
    }
    assert derive_fellings(package)["dated_count"].to_list() == [2, 1, 1, 1, 2, 1]
    assert same_trees(package.tables) == {
        "E1": "E1", "E3": "E1", "E4": "E1", "E5": "E5", "E6": "E5", "E7": "E7", "E9": "E9",
    }  # fmt: skip


def test_a_near_cutting_date_has_a_latest_year_only_by_an_assumption_with_a_source(
    tmp_path,
) -> None:
    house = a_house(tmp_path, ring(1781, "v"), ring(1781, "v", species="QUSP"), ring(1781, "vv"))
    assert felled(house.package)["E1"] == ("E1", 1781, None, "near", None)
    house.with_bare_row(
        "assumption",
        assumption_id="A1",
        assumption_kind="near_cutting_rings",
        species="PIPO",
        figure=5,
        source="Letter of the laboratory (invented)",
    )
    fellings = derive_fellings(house.package)
    shown = ("felled_from_year", "felled_to_year", "felling_class", "felled_by")
    assert fellings.select(shown).rows() == [
        (1781, 1786, "near", "near_cutting"),
        (1781, None, "near", "last_ring"),
        (1781, None, "after", "last_ring"),
    ]


def test_an_older_package_with_clusters_gets_them_empty_and_nothing_that_it_does_not_know(
    tmp_path,
) -> None:
    package = a_house(tmp_path, ring(1781, "B"), ring(1781, "B"), ring(1781, "B")).package
    old = ("size", "stem", "span", "position", "position_place")
    computed = {one.name for one in package.model.tables.values() if one.role == "derived"}
    new = {"assumption", *computed} - set(old)
    schemas = package.folder / "schemas"
    for name in new:
        (schemas / f"{name}.json").unlink()
        package.table_path(name).unlink()
    span = json.loads((schemas / "span.json").read_text("utf-8"))
    before = {"type": "string", "title": "Before", "description": "Of older schemas.",
              "sensitivity": "open", "section": "link", "obtained": "computed"}  # fmt: skip
    for order, name in enumerate(("cluster_id", "candidate"), start=900):
        span["fields"].append({**before, "name": name, "order": order})
    (schemas / "span.json").write_text(json.dumps(span), "utf-8")
    cluster = {**span, "name": "cluster", "primaryKey": ["cluster_id"], "foreignKeys": []}
    cluster["fields"] = span["fields"][-2:]
    (schemas / "cluster.json").write_text(json.dumps(cluster), "utf-8")
    clusters = package.folder / "tables" / "cluster.csv"
    clusters.write_text("cluster_id,candidate\nB1-1781,reuse\n", "utf-8")
    derived = derive_package(open_package(package.folder))
    assert not new & derived.tables.keys()
    assert clusters.read_text("utf-8") == "cluster_id,candidate\n"
    assert set(derived.tables["span"]["candidate"]) == {None}


def test_an_older_package_without_words_of_one_tree_has_trees_of_one_piece(tmp_path) -> None:
    package = a_house(tmp_path, ring(1781, "B"), ring(1781, "B")).package
    for name in ("lab_result", "element"):
        path = package.folder / "schemas" / f"{name}.json"
        schema = json.loads(path.read_text("utf-8"))
        schema["fields"] = [one for one in schema["fields"] if "same_tree" not in one["name"]]
        links = [one for one in schema["foreignKeys"] if "same_tree" not in one["fields"][0]]
        path.write_text(json.dumps(schema | {"foreignKeys": links}), "utf-8")
    assert same_trees(open_package(package.folder).tables) == {"E1": "E1", "E2": "E2"}
