"""Everything derived at once: tables in the package, figures, and labour by the user's rates."""

from __future__ import annotations

import pandas as pd
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.errors import TreenailError
from provenance._derive.date_counts import leaves_of
from provenance._derive.figures import FIGURES, draw_figures
from provenance._derive.summary import derive_package, derive_tables, labour_hours, tally_wood
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
    return builder.package


def test_derived_tables_lie_in_the_package_and_can_be_derived_again(house) -> None:
    derive_package(house)
    before = {name: house.table(name) for name in ("size", "stem", "span", "cluster")}
    assert [len(frame) for frame in before.values()] == [5, 5, 5, 1]
    derive_package(house)
    for name, frame in before.items():
        pd.testing.assert_frame_equal(house.table(name), frame)


def test_the_reference_library_finds_nothing_wrong_in_derived_tables(house) -> None:
    from frictionless import Package as Reference

    derive_package(house)
    report = Reference(str(house.folder / "datapackage.json")).validate()
    derived = {"size", "stem", "span", "cluster"}
    assert [task for task in report.tasks if task.name in derived and not task.valid] == []


def test_dates_keep_pieces_of_one_size_apart_and_alternatives_are_shown(house) -> None:
    """Five pieces that fit end to end are one tree by size, more when their dates differ."""
    estimates = {one.sharing: one.count.trees for one in derive_tables(house).estimates}
    assert estimates["species and building"] == 1
    assert estimates["species, building and cutting year"] > 1


def test_every_figure_says_n_and_is_the_same_each_time(house, tmp_path) -> None:
    derived = derive_tables(house)
    once = draw_figures(house, derived, tmp_path / "1")
    again = draw_figures(house, derived, tmp_path / "2")
    of_trees = {"age-at-felling", "ring-growth"} if "tree_age" not in derived.tables else set()
    assert [figure.name for figure in once] == [one for one in FIGURES if one not in of_trees]
    for one, other in zip(once, again, strict=True):
        svg = one.files["svg"].read_text("utf-8")
        assert "n = " in svg or "n =" in svg
        assert svg == other.files["svg"].read_text("utf-8")
        assert one.files["png"].read_bytes() == other.files["png"].read_bytes()


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


def test_labour_comes_only_from_rates_with_a_source(house, tmp_path) -> None:
    derived = derive_tables(house)
    rates = tmp_path / "rates.yaml"
    rates.write_text("- {activity: felling, per: piece, hours: 2, source: own trial (invented)}\n")
    hours = labour_hours(derived, rates)
    assert list(hours["hours"]) == [10.0]
    assert list(hours["source"]) == ["own trial (invented)"]
    rates.write_text("- {activity: felling, per: piece, hours: 2}\n")
    with pytest.raises(TreenailError, match="source is missing"):
        labour_hours(derived, rates)
    rates.write_text("- {activity: felling, per: acre, hours: 2, source: x}\n")
    with pytest.raises(TreenailError, match="'acre'"):
        labour_hours(derived, rates)


def test_pieces_and_volume_add_up_by_building_phase_and_species(house) -> None:
    derived = derive_tables(house)
    tally = tally_wood(house, derived)
    assert tally["pieces"].sum() == 5
    assert tally["newton_m3"].sum() == pytest.approx(
        float(derived.tables["size"]["newton_m3"].sum()), abs=1e-3
    )
    assert dict(zip(tally["phase"], tally["pieces"], strict=True)) == {"": 2, "B1-1781": 3}


def test_names_of_places_are_drawn_as_they_are(house, tmp_path, recwarn) -> None:
    """No formula is made of dollar signs, and no letter that a font lacks is complained of."""
    places = house.table("place")
    places["name"] = "Barn $\\frac$ 木\x1b"
    house.write_table("place", places)
    drawn = draw_figures(house, derive_tables(house), tmp_path / "figures")
    svg = next(one for one in drawn if one.name == "dated-samples").files["svg"].read_text("utf-8")
    assert "Barn $\\frac$ 木⟨U+001B⟩" in svg
    assert [str(one.message) for one in recwarn] == []
