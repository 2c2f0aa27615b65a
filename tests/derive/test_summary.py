"""Everything derived at once: tables in the package, and figures."""

from __future__ import annotations

import pandas as pd
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._derive.figures.date_counts import leaves_of
from provenance._derive.figures.figures import FIGURES, draw_figures
from provenance._derive.summary import derive_package, derive_tables
from tests.builders import PARTIES, a_package


@pytest.fixture
def house(tmp_path):
    builder = a_package(tmp_path).with_row("site").with_row("place")
    for party in PARTIES:
        builder.with_bare_row("party", **party)
    dates = [(1781, "B"), (1781, "r"), (1782, "B"), (1702, "B"), (1779, "vv")]
    for number, (year, symbols) in enumerate(dates, start=1):
        builder.with_row(
            "element",
            element_id=f"E{number}",
            diameter_a1_cm=30 - 4 * number,
            diameter_a2_cm=30 - 4 * number,
            diameter_b1_cm=26 - 4 * number,
            diameter_b2_cm=26 - 4 * number,
        )
        builder.with_row("sample", sample_id=number, element_id=f"E{number}")
        builder.with_row(
            "lab_result",
            result_id=f"R{number}",
            sample_id=number,
            inner_year=year - 79,
            outer_year=year,
            outer_symbol=symbols,
        )
    builder.with_row("place", place_id="B2")
    builder.with_bare_row(
        "relation",
        relation_id="R1",
        site_id="HOLL",
        place_id="B2",
        relation_kind="abuts",
        other_place_id="B1",
    )
    return builder.package


def test_derived_tables_lie_in_the_package_and_can_be_derived_again(house) -> None:
    derive_package(house)
    names = ("size", "span", "felling", "phase", "tree_bound")
    before = {name: house.table(name) for name in names}
    assert [len(frame) for frame in before.values()] == [5, 5, 5, 1, 12]
    derive_package(house)
    for name, frame in before.items():
        pd.testing.assert_frame_equal(house.table(name), frame)


def test_the_reference_library_finds_nothing_wrong_in_derived_tables(house) -> None:
    from frictionless import Package as Reference

    derive_package(house)
    report = Reference(str(house.folder / "datapackage.json")).validate()
    derived = derive_tables(house).tables.keys()
    assert {"felling", "phase_piece", "phase_place", "phase_event", "build_order"} <= derived
    assert {"tree_bound_piece", "wood_use", "labor", "architecture"} <= derived
    assert [task for task in report.tasks if task.name in derived and not task.valid] == []


def test_every_figure_says_n_and_is_the_same_each_time(house, tmp_path) -> None:
    derived = derive_tables(house)
    once = draw_figures(house, derived, tmp_path / "1")
    again = draw_figures(house, derived, tmp_path / "2")
    assert [figure.name for figure in once] == [
        name
        for name, kind in FIGURES.items()
        # no laboratory told of widths here
        if len(derived.tables.get(kind.table, ())) and name != "ring-growth"
    ]
    for one, other in zip(once, again, strict=True):
        svg = one.files["svg"].read_text("utf-8")
        assert "n = " in svg or "n =" in svg
        assert svg == other.files["svg"].read_text("utf-8")
        for form in ("png", "csv"):
            assert one.files[form].read_bytes() == other.files[form].read_bytes()


def test_no_figure_speaks_of_a_date_of_construction_as_a_fact(house, tmp_path) -> None:
    derived = derive_tables(house)
    for figure in draw_figures(house, derived, tmp_path):
        text = figure.files["svg"].read_text("utf-8")
        if figure.name.startswith(("dated", "outside")):
            assert "not a date of construction" in text


def test_without_data_there_are_no_figures(tmp_path) -> None:
    package = a_package(tmp_path).package
    assert draw_figures(package, derive_tables(package), tmp_path / "figures") == []


@given(st.lists(st.tuples(st.integers(-300, 2000), st.booleans()), max_size=30))
def test_a_stem_and_leaf_display_holds_every_date(dates) -> None:
    """Each leaf read back with its stem is the year (Tukey's display; layout our own)."""
    rows = [(year, "cutting" if sure else "near") for year, sure in dates]
    frame = pl.DataFrame(rows, {"outer_year": pl.Int64, "cutting": pl.String}, orient="row")
    read = []
    for stem, leaves in leaves_of(frame):
        read += [(stem * 10 + int(leaf[0]), leaf.endswith(".")) for leaf in leaves]
    assert sorted(read) == sorted(dates)


def test_names_of_places_are_drawn_as_they_are(house, tmp_path, recwarn) -> None:
    """No formula is made of dollar signs, and no letter that a font lacks is complained of."""
    places = house.table("place")
    places["name"] = "Barn $\\frac$ 木\x1b"
    house.write_table("place", places)
    drawn = draw_figures(house, derive_tables(house), tmp_path / "figures")
    svg = next(one for one in drawn if one.name == "dated-samples").files["svg"].read_text("utf-8")
    assert "Barn $\\frac$ 木⟨U+001B⟩" in svg
    assert [str(one.message) for one in recwarn] == []
