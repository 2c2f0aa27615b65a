"""Numbers of trees of a whole record: which wood is counted where, and what is said of it."""

from __future__ import annotations

import dataclasses

import polars as pl
import pytest

from provenance._derive.summary import derive_tables
from provenance._derive.wood.size import derive_sizes
from provenance._derive.wood.taper import LEAST_PIECES, note_tapers
from provenance._derive.wood.tree_counts import derive_tree_bounds
from provenance._derive.wood.tree_words import TreeWords
from tests.builders import PackageBuilder, a_package

HANDBOOK = "Invented handbook, p. 3"


def some_wood(tmp_path, *pieces: tuple[str, float, float], **values: object) -> PackageBuilder:
    """A house with a room and round wood in it: code, thicker and thinner end."""
    builder = a_package(tmp_path).with_row("site").with_row("place")
    builder.with_row("place", place_id="R4", kind="room", parent_place_id="B1")
    builder.with_row("place", place_id="B2", name="Barn")
    for code, butt, top in pieces:
        sizes = dict.fromkeys(("diameter_a1_cm", "diameter_a2_cm"), butt)
        sizes |= dict.fromkeys(("diameter_b1_cm", "diameter_b2_cm"), top)
        row = {"place_id": "R4", "length_m": 4, "element_id": code} | sizes | values
        builder.with_row("element", **row)
    return builder


def assuming(builder: PackageBuilder, kind: str, figure: float, **more: object) -> PackageBuilder:
    row = {"assumption_id": kind, "assumption_kind": kind, "figure": figure, "source": HANDBOOK}
    return builder.with_bare_row("assumption", **(row | more))


def round_sizes(package) -> pl.DataFrame:
    """The sizes, with the cross-section of each piece as it stands in this test."""
    return derive_sizes(package).with_columns(section=pl.lit("round"), log_share=pl.lit(1.0))


def counted(package, **derived: pl.DataFrame) -> dict[tuple[str, str, str, str], dict[str, object]]:
    """Rows of tree_bound by place, phase, species and bound."""
    sizes = derived.pop("size", None)
    sizes = round_sizes(package) if sizes is None else sizes
    found = derive_tree_bounds(package, {"size": sizes, **derived})
    keys = ("place_id", "phase_id", "species", "bound")
    return {
        tuple(row[key] or "" for key in keys): row
        for row in found["tree_bound"].iter_rows(named=True)
    }


def test_each_count_stands_for_its_building_phase_and_species(tmp_path) -> None:
    builder = some_wood(tmp_path, ("E1", 24, 18), ("E2", 24, 18), ("E3", 14, 10))
    builder.with_row("element", element_id="E4", place_id="B2", species_field="ABCO")
    builder.with_row("element", element_id="E5", place_id="", species_field="")
    package = assuming(builder, "end_error", 2).package
    years = {"felled_from_year": [1700, 1700, 1750, None], "felled_to_year": [1701, 1701, 1750, 1]}
    found = counted(
        package,
        felling=pl.DataFrame({"element_id": ["E1", "E2", "E3", "E4"], **years}),
        phase=pl.DataFrame({"phase_id": ["K1", "K2"], "place_id": ["B1", "R4"]}),
        phase_piece=pl.DataFrame(
            {"phase_id": ["K1", "K1", "K2"], "element_id": ["E1", "E2", "E1"]}
        ),
    )
    trees = {key: (row["trees"], row["bound_reason"]) for key, row in found.items()}
    assert trees == {
        ("", "", "", "lower"): (4, "species_sum"),
        ("", "", "", "upper"): (5, "pieces"),
        ("", "", "ABCO", "lower"): (1, "present"),
        ("", "", "ABCO", "upper"): (1, "pieces"),
        ("", "", "PIPO", "lower"): (3, "periods"),
        ("", "", "PIPO", "upper"): (3, "pieces"),
        ("B1", "", "", "lower"): (3, "periods"),
        ("B1", "", "", "upper"): (3, "pieces"),
        ("B1", "", "PIPO", "lower"): (3, "periods"),
        ("B1", "", "PIPO", "upper"): (3, "pieces"),
        ("B1", "K1", "", "lower"): (2, "overlap"),
        ("B1", "K1", "", "upper"): (2, "pieces"),
        ("B1", "K1", "PIPO", "lower"): (2, "overlap"),
        ("B1", "K1", "PIPO", "upper"): (2, "pieces"),
        ("B2", "", "", "lower"): (1, "present"),
        ("B2", "", "", "upper"): (1, "pieces"),
        ("B2", "", "ABCO", "lower"): (1, "present"),
        ("B2", "", "ABCO", "upper"): (1, "pieces"),
    }
    phase = found["B1", "K1", "", "lower"]
    assert (phase["at_diameter_cm"], phase["end_error_cm"]) == (20, 2)
    assert phase["end_error_assumption_id"] == "end_error"


def test_a_likely_count_needs_a_figure_with_its_spread_and_known_shares(tmp_path) -> None:
    """40 m at 5 m a tree are 8, with 10 % of it as spread: 8 ± 1.645 · 0.8."""
    ends = [(f"E{k}", 18 + 2 * k, 17 + 2 * k) for k in range(10)]
    builder = assuming(some_wood(tmp_path, *ends), "meters_per_tree", 5, spread=0.5)
    package = assuming(builder, "longest_stem", 10, species="ABCO").package
    likely = counted(package)["", "", "", "likely"]
    assert likely["trees"] == pytest.approx(8)
    assert (likely["trees_low"], likely["trees_high"]) == pytest.approx((6.684, 9.316))
    assert (likely["assumption_id"], likely["between_trees_assumption_id"]) == (
        "meters_per_tree",
        None,
    )
    plank = round_sizes(package).with_columns(
        section=pl.when(element_id="E3").then(pl.lit("plank")).otherwise("section")
    )
    assert ("", "", "", "likely") not in counted(package, size=plank)
    assumed = package.table("assumption")
    for column, said in (("spread", ""), ("figure", "100"), ("species", "ABCO")):
        package.write_table("assumption", assumed.assign(**{column: said}))
        assert ("", "", "", "likely") not in counted(package), column


def test_sentences_say_the_bounds_what_they_rest_on_and_what_is_missing(tmp_path) -> None:
    builder = some_wood(tmp_path, ("E1", 24, 18), ("E2", 22, 16), ("E3", 9, 8), ("E4", 8, 8))
    package = builder.package

    def said(**derived: pl.DataFrame) -> list[str]:
        found = derive_tree_bounds(package, {"size": round_sizes(package), **derived})
        return TreeWords(package, found).of("B1", missing=True)

    assert said() == [
        "4 pieces of wood come from at least 2 and at most 4 trees.",
        "2 pieces all pass a stem diameter of 19.0 cm, which a stem has only once (each end drawn "
        "in by 1.0 cm).",
        "No longest stem is given, so lengths prove nothing: enter it with its source in the "
        "table 'assumption'.",
        "No likely count: for that the table 'assumption' needs the length of recorded wood per "
        "tree, with "
        "spread and source.",
    ]
    assuming(builder, "longest_stem", 5)
    assuming(builder, "meters_per_tree", 4.6, spread=0.5)
    assuming(builder, "tree_spread", 0.4, place_id="B1")
    years = pl.DataFrame(
        {
            "element_id": ["E1", "E2", "E3"],
            "felled_from_year": [1700, 1701, 1749],
            "felled_to_year": [1702, 1701, 1750],
        }
    )
    lengths = said()
    assert lengths == [
        "4 pieces of wood come from 4 trees.",
        "The wood is at least 16.0 m of whole logs, and one stem gives at most 5.0 m "
        f"({HANDBOOK}).",
    ]
    assumed = package.table("assumption")
    package.write_table("assumption", assumed[assumed["assumption_id"] != "longest_stem"])
    dated = said(felling=years)
    assert dated[0] == (
        "4 pieces of wood come from at least 3 and at most 4 trees; likely 3 (90 % range 3 to 4) "
        f"by 4.6 m of recorded wood per tree ({HANDBOOK}), trees differing by 40 % ({HANDBOOK})."
    )
    assert dated[1] == (
        "Felled in periods that exclude each other: 1700 to 1702 at least 2 (same diameter); 1749 "
        "to 1750 at least 1; each end drawn in by 1.0 cm."
    )


def test_each_species_has_its_sentence_where_the_counts_are_added_up(tmp_path) -> None:
    builder = some_wood(tmp_path, ("E1", 24, 18), ("E2", 24, 18))
    row = dict.fromkeys(("diameter_a1_cm", "diameter_a2_cm"), 19)
    builder.with_row("element", element_id="E3", species_field="ABCO", **row)
    builder.with_row("element", element_id="E4", species_field="UNKN", **row)
    package = builder.package
    found = derive_tree_bounds(package, {"size": round_sizes(package)})
    told = TreeWords(package, found).of("B1")
    assert told[1:4] == [
        "Abies concolor, 1 piece: 1 tree.",
        "Pinus ponderosa, 2 pieces: 2 trees; 2 pieces all pass a stem diameter of 19.0 cm, which a "
        "stem has only once (each end drawn in by 1.0 cm).",
        "1 piece of unknown species can be of the same trees as the others.",
    ]


def test_wood_hewn_on_two_sides_counts_by_its_diameter_where_both_readings_were_taken(
    tmp_path,
) -> None:
    package = some_wood(tmp_path, ("E1", 24, 21), ("E2", 24, 21)).package
    hewn = round_sizes(package).with_columns(section=pl.lit("two_sided"))
    lower = counted(package, size=hewn)["", "", "", "lower"]
    assert (lower["trees"], lower["at_diameter_cm"]) == (2, 22)
    squared = hewn.with_columns(section=pl.lit("rectangle"), log_share=pl.lit(0.25))
    assert counted(package, size=squared)["", "", "", "lower"]["trees"] == 1
    package.write_table("element", package.table("element").assign(diameter_a2_cm=""))
    assert counted(package, size=hewn)["", "", "", "lower"]["trees"] == 1


def test_low_taper_is_noted_only_beside_enough_round_wood_without_a_base(tmp_path) -> None:
    ends = [(f"E{k:02}", 20, 10 + k / 4) for k in range(LEAST_PIECES)]
    package = assuming(some_wood(tmp_path, *ends), "least_top", 9.75).package
    noted = note_tapers(package, round_sizes(package))
    assert noted.filter(pl.col("low_taper") == "yes")["element_id"].to_list() == ["E18", "E19"]
    # the median taper is that of E09 and E10: (7.75 + 7.5) / 2 cm in 4 m
    assert noted["stem_left_m"][1] == pytest.approx(0.5 / (7.625 / 4))
    wood = package.table("element")
    package.write_table("element", wood.assign(stem_base="yes"))
    assert note_tapers(package, round_sizes(package))["low_taper"].count() == 0
    package.write_table("element", wood.iloc[1:])
    fewer = note_tapers(package, round_sizes(package))
    assert fewer["low_taper"].count() == fewer["stem_left_m"].count() == 0


def test_an_older_package_counts_no_trees_and_keeps_no_supposed_ones(tmp_path) -> None:
    package = some_wood(tmp_path, ("E1", 24, 18)).package
    tables = dict(package.model.tables)
    for name in ("tree_bound", "tree_bound_piece", "assumption"):
        del tables[name]
    tables["stem"] = dataclasses.replace(tables["size"], name="stem")
    model = dataclasses.replace(package.model, tables=tables)
    older = dataclasses.replace(package, model=model)
    derived = derive_tables(older).tables
    assert "tree_bound" not in derived
    assert derived["stem"].is_empty()
    assert TreeWords(older, derived).of() == []
