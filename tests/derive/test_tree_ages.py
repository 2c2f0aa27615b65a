"""How old trees were at felling: one row a tree, by the sample that tells most of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl
import pytest
from scipy.stats import kendalltau

from provenance._derive.dates.age_change import LEAST_CAMPAIGNS, LEAST_TREES, age_changes, change_of
from provenance._derive.dates.tree_ages import derive_tree_ages
from provenance._derive.figures.chart import ChartPage
from provenance._derive.figures.figure_parts import Places
from provenance._derive.figures.forest_figures import age_at_felling, ages_in_words, ring_growth
from provenance._derive.summary import Derived
from provenance._drawing.drawing import Line, Text
from provenance._model.schema import read_core
from provenance._record.tables import polars_type
from tests.builders import a_package
from tests.derive.test_figures import assert_legible


def frame(name: str, rows: list[dict[str, Any]]) -> pl.DataFrame:
    """Rows of a derived table, typed as its schema says."""
    fields = read_core().table(name).fields
    return pl.DataFrame(rows, {one.name: polars_type(one) for one in fields})


def a_felling(element: str, first: int | None, last: int | None, **more: Any) -> dict[str, Any]:
    row = {"element_id": element, "tree_id": element, "site_id": "HOLL", "building_id": "B1"}
    years = {"felled_from_year": first, "felled_to_year": last, "felling_class": "range"}
    return row | {"species": "PIPO"} | years | more


# element, sample, inside year, its sign, pith offset, rings
SAMPLES = [
    # two cores of one beam: the pith counts, not the estimate that would make it older
    ("A", "A1", 1702, "p", None, 80),
    ("A", "A2", 1706, "np", 20, 76),
    # the estimate, with its range; no more than the rings are certain
    ("B", "B1", 1706, "", 6, 76),
    # nothing says how far the pith is: 'near' alone is no number
    ("C", "C1", 1712, "np", None, 70),
    # the year of the pith was only counted
    ("D", "D1", 1700, "±p", None, 82),
    # two pieces of one tree: the lower one has rings older than the pith of the upper one
    ("E", "E1", 1750, "p", None, 32),
    ("E-b", "E2", 1721, "fp", None, 61),
    # of two without pith the one that reaches back further
    ("F", "F1", 1720, "", None, 90),
    ("F", "F2", 1719, "", None, 50),
    # felled after a year
    ("G", "G1", 1702, "p", None, 79),
    # of a felling that is not known
    ("H", "H1", 1702, "p", None, 79),
]


def the_ages(tmp_path) -> dict[str, dict[str, Any]]:
    builder = a_package(tmp_path).with_chain()
    for element in dict.fromkeys(one[0] for one in SAMPLES):
        builder.with_row("element", element_id=element)
    for element, sample, inner, sign, offset, rings in SAMPLES:
        builder.with_row("sample", sample_id=sample, element_id=element)
        builder.with_row("lab_result", result_id=f"R-{sample}", sample_id=sample, notation=None,
                         inner_year=inner, inner_symbol=sign, pith_offset=offset,
                         ring_count=rings, mean_width_mm=rings / 100,
                         growth_marks="fire_scar" if sample == "E1" else None)  # fmt: skip
    fellings = [
        a_felling("A", 1781, 1782, felling_class="cutting"),
        *(a_felling(element, 1781, 1790) for element in "BCDF"),
        a_felling("E", 1781, 1785),
        a_felling("E-b", 1781, 1785, tree_id="E", building_id="B2"),
        a_felling("G", 1781, None, felling_class="after"),
        a_felling("H", None, None, felling_class="not_known"),
    ]
    phases = [{"phase_id": "P1", "tree_count": 3}, {"phase_id": "P2", "tree_count": 5}]
    members = [{"phase_id": "P1", "element_id": "A"}, {"phase_id": "P2", "element_id": "A"}]
    found = derive_tree_ages(
        builder.package, frame("felling", fellings), frame("phase", phases),
        frame("phase_piece", members),
    )  # fmt: skip
    return {row["tree_id"]: row for row in found.iter_rows(named=True)}


def test_the_age_of_each_tree_as_worked_out_by_hand(tmp_path) -> None:
    ages = the_ages(tmp_path)
    assert {
        tree: (row["sample_id"], row["pith"], row["age_from_years"], row["age_to_years"])
        for tree, row in ages.items()
    } == {
        "A": ("A1", "in_sample", 80, 80),  # 1702 to 1781, both counted; no ring of 1782
        "B": ("B1", "estimated", 76, 91),  # 1706 to 1781 at least; 1700 to 1790 at most
        "C": ("C1", "not_known", 70, None),
        "D": ("D1", "not_exact", 82, 91),
        "E": ("E2", "not_known", 61, None),
        "F": ("F2", "not_known", 63, None),
        "G": ("G1", "in_sample", 80, None),
        "H": ("H1", "in_sample", None, None),
    }
    assert (ages["B"]["pith_from_year"], ages["B"]["pith_to_year"]) == (1700, 1706)
    assert (ages["A"]["phase_id"], ages["A"]["building_id"]) == ("P2", "B1")
    # its pieces lie in two buildings; marks are of all its samples, widths of the one that counts
    assert (ages["E"]["building_id"], ages["E"]["growth_marks"]) == (None, "fire_scar")
    assert ages["E"]["mean_width_mm"] == pytest.approx(0.61)


def test_an_older_package_whose_results_say_nothing_of_growth_has_ages_too(tmp_path) -> None:
    builder = a_package(tmp_path).with_chain().with_row("lab_result")
    package = builder.package
    new = {"mean_width_mm", "mean_sensitivity", "missing_ring_count", "growth_marks"}
    model = package.model
    old = replace(
        model.table("lab_result"),
        fields=tuple(one for one in model.table("lab_result").fields if one.name not in new),
    )
    package = replace(package, model=replace(model, tables={**model.tables, "lab_result": old}))
    fellings = frame("felling", [a_felling("B1-014", 1781, 1782, felling_class="cutting")])
    found = derive_tree_ages(package, fellings, frame("phase", []), frame("phase_piece", []))
    assert found.select("age_to_years", "mean_width_mm").rows() == [(80, None)]


# -- change through time ---------------------------------------------------------------------------


def trees(random: np.random.Generator, campaigns: int, each: int, a_century: float = 0.0) -> Any:
    """Year, age and campaign of trees of which those of one campaign are alike (invented)."""
    at = np.repeat(np.arange(campaigns), each)
    year = random.permutation(np.linspace(1600, 1900, campaigns).round())[at]
    age = 120 + random.normal(0, 16, campaigns)[at] + random.normal(0, 25, len(at))
    return year, (age + (year - 1750) / 100 * a_century).round(), at


def test_the_statistic_is_that_of_scipy_with_and_without_ties() -> None:
    random = np.random.default_rng(2)
    for campaigns, each in ((60, 1), (12, 5), (5, 20)):
        year, age, at = trees(random, campaigns, each)
        found = change_of("PIPO", year, age, at)
        assert found.tau == pytest.approx(kendalltau(year, age).statistic)


def test_false_alarms_are_rare_and_a_strong_change_is_found_in_its_range() -> None:
    """Tree by tree, 5 of 25 of these would be alarms; benchmarks/forest.py has more."""
    random = np.random.default_rng(3)
    quiet = [change_of("PIPO", *trees(random, 8, 7)) for _ in range(25)]
    alarms = sum(one.chance <= 0.05 for one in quiet if one.chance is not None)
    naive = [kendalltau(*trees(random, 8, 7)[:2]).pvalue <= 0.05 for _ in range(25)]
    assert alarms <= 3 < sum(naive)
    for one in quiet:
        assert one.a_century is not None
        low = -np.inf if one.low is None else one.low
        high = np.inf if one.high is None else one.high
        assert low <= one.a_century <= high
    strong = change_of("PIPO", *trees(random, 12, 8, a_century=-40))
    assert "younger" in strong.in_words
    assert strong.low is not None
    assert strong.high is not None
    assert strong.low < -40 < strong.high < 0


def an_age(tree: int, year: int, age: int, **more: Any) -> dict[str, Any]:
    return {
        "tree_id": f"E{tree}", "species": "PIPO", "felled_from_year": year, "felled_to_year": year,
        "pith": "in_sample", "pith_from_year": year - age + 1, "age_from_years": age,
        "age_to_years": age, "inner_year": year - age + 1, "outer_year": year,
    } | more  # fmt: skip


def test_with_too_few_trees_or_campaigns_nothing_is_said_but_how_many() -> None:
    ages = [an_age(one, 1700 + one % LEAST_CAMPAIGNS, 80 + one) for one in range(LEAST_TREES)]
    (enough,) = age_changes(frame("tree_age", ages))
    assert enough.tau is not None
    few = [
        ages[1:],
        [one | {"phase_id": "P"} for one in ages],
        [*ages[1:], ages[0] | {"pith": "not_known", "age_to_years": None, "pith_from_year": None}],
    ]
    for rows, counts in zip(few, ((49, 5), (50, 1), (49, 5)), strict=True):
        (found,) = age_changes(frame("tree_age", rows))
        assert (found.trees, found.campaigns, found.tau) == (*counts, None)
        campaigns = "1 campaign" if counts[1] == 1 else f"{counts[1]} campaigns"
        said = f"PIPO, {counts[0]} trees with pith from {campaigns}: too few to say"
        assert found.in_words.startswith(said)


# -- figures ---------------------------------------------------------------------------------------


def derived_with(rows: list[dict[str, Any]]) -> Derived:
    return Derived({"tree_age": frame("tree_age", rows)})


def drawn(draw: Any, rows: list[dict[str, Any]]) -> tuple[ChartPage, list[str] | None]:
    page = ChartPage("Title")
    return page, draw(page, derived_with(rows), Places({}, {}))


def test_every_tree_has_one_mark_where_its_year_and_age_are() -> None:
    rows = [
        an_age(1, 1700, 100),
        an_age(2, 1750, 50, pith="estimated", age_from_years=40),
        an_age(3, 1800, 70, pith="not_known", pith_from_year=None, age_to_years=None),
        an_age(4, 1720, 60, felled_to_year=None, age_to_years=None),
        an_age(5, 1760, 80, felled_to_year=1780, age_to_years=100),
    ]
    page, caption = drawn(age_at_felling, rows)
    assert caption is not None
    sheet = page.sheet(caption, "")
    texts = [one for one in sheet.items if isinstance(one, Text)]
    assert "PIPO (5 trees), years old" in {one.text for one in texts}
    x = {int(one.text): one.at[0] for one in texts if one.text in ("1700", "1800")}
    y = {int(one.text): one.at[1] for one in texts if one.text in ("0", "100")}
    foot = min(one.at[1] for one in texts if one.text == "1700")

    def read(point: tuple[float, float]) -> tuple[float, float]:
        year = 1700 + (point[0] - x[1700]) / (x[1800] - x[1700]) * 100
        return year, (point[1] - y[0]) / (y[100] - y[0]) * 100 + 0.36 * 2.6 / (y[100] - y[0]) * -100

    lines = [one for one in sheet.items if isinstance(one, Line)]
    top = max(y.values())
    plot = [one for one in lines if foot < one.points[0][1] < top + 3]
    marks = {
        (round(read(one.points[0])[0]), round(read(one.points[0])[1])): one.fill
        for one in plot
        if one.closed
        for one in [Line((((one.points[0][0] + one.points[2][0]) / 2, one.points[0][1]),),
                         fill=one.fill)]
    }  # fmt: skip
    assert marks == {(1700, 100): 0.0, (1750, 50): 1.0, (1720, 60): 0.0, (1770, 90): 0.0}
    ends = {
        tuple(round(value) for point in one.points for value in read(point))
        for one in plot
        if not one.closed and len(one.points) == 2 and one.grey == 0.0
    }
    assert {(1750, 50, 1750, 40), (1760, 80, 1780, 100)} <= ends
    # arrows: up from the tree without pith, up and to the right from the one felled later
    starts = [one.points for one in plot if len(one.points) == 2 and one.width == 0.3]
    up = [b for a, b in starts if round(read(a)[0]) == 1800 and a[0] == b[0]]
    later = [b for a, b in starts if round(read(a)[0]) == 1720 and b[0] > a[0] and b[1] > a[1]]
    assert (len(up), len(later)) == (1, 1)
    assert "n = 5 trees, each once; 4 with the pith" in caption[0]
    assert "too few to say" in caption[1]


def test_figures_of_the_forest_stay_on_the_sheet_whatever_they_hold() -> None:
    """One tree or many, years before Christ, and a record without any."""
    crowd = [
        an_age(one, -40 + one * 3, 20 + one % 90, species=f"SP{one % 9}", growth_marks="scar",
               mean_width_mm=0.3 + one % 7)
        for one in range(300)
    ]  # fmt: skip
    for rows in ([], crowd[:1], crowd):
        for draw in (age_at_felling, ring_growth):
            page, caption = drawn(draw, rows)
            assert (caption is None) == (not rows)
            if caption is not None:
                sheet = page.sheet(caption, "")
                assert_legible(sheet)
                points = [at for one in sheet.items if isinstance(one, Line) for at in one.points]
                assert all(0 <= x <= sheet.width and 0 <= y <= sheet.height for x, y in points)
    assert ages_in_words(derived_with(crowd)).startswith(
        "300 trees by year of felling and age, 300 of them"
    )
